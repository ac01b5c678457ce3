"""All pages put together: each is installed on the site, then the files they load."""

from __future__ import annotations

from importlib.resources import files

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from service.desk.desk import Desk
from service.words.lengths import Units

from . import documents, door, laying, practice, progress, setup, tables
from .frame import Site
from .frame import parts as frame_parts


def install_pages(app: FastAPI, desk: Desk, *, units: Units = Units.MM) -> None:
    """Add every page and the static files to ``app``.

    ``units`` is what lengths are shown in until a reader chooses, which their browser keeps.
    """
    site = Site(app, desk, units)
    app.state.wrong_page = site.wrong
    for room in (frame_parts, practice, laying, progress, setup, tables, documents, door):
        room.install(site)
    static = files("service.pages") / "static"
    app.mount("/static", StaticFiles(directory=str(static)), name="static")
