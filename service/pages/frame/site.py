"""The site: renders a page in its frame, from one consistent look at the store."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.concurrency import run_in_threadpool

from service.desk.desk import Desk
from service.door import Role
from service.store import Reader
from service.words.lengths import Units
from service.words.plain import capital
from service.words.rows import in_unit

from .kept import KeptParts
from .nav import entries
from .shown import Look, Shown, shown_of
from .strip import State, strip_view
from .wrong import wrong_words

_TEMPLATES = Environment(
    loader=PackageLoader("service.pages"), autoescape=True, undefined=StrictUndefined
)
_TEMPLATES.filters["capitalize_first"] = capital
_TEMPLATES.filters["in_unit"] = in_unit
_TEMPLATES.globals["of_old"] = False
TABLES_OFFERED = 50
Make = Callable[[Reader, Shown], dict[str, Any]]
"""Makes what a template needs; it runs in a thread of its own and may take its time."""


class Site:
    """What a page is installed with: the desk, and how pages are rendered."""

    def __init__(self, app: FastAPI, desk: Desk, units: Units) -> None:
        self.app = app
        self.desk = desk
        self.units = units
        """What lengths are shown in until a reader chooses."""
        self._kept = KeptParts()

    def shown(self, request: Request) -> Shown:
        """How this reader wants to see things."""
        return shown_of(request, self.units)

    async def page(self, template: str, request: Request, make: Make) -> HTMLResponse:
        """A whole page in its frame; ``make`` gives what its own part needs."""
        return await run_in_threadpool(self._page, template, request, make)

    async def part(
        self, template: str, request: Request, make: Make, *, given: tuple[Any, ...] | None = None
    ) -> HTMLResponse:
        """A part of a page, without the frame: what scripts fetch to keep it new.

        ``given``: all that it is worked out of beside the store and how this reader sees things,
        as values that tell by ``==`` whether they changed; screens that see the same then share one
        rendering. None: it is rendered for each.
        """
        return await run_in_threadpool(self._part, template, request, make, given)

    def alone(self, template: str, request: Request, context: dict[str, Any]) -> HTMLResponse:
        """A page without the frame, which says nothing of the store."""
        return _rendered(template, {"shown": self.shown(request), **context})

    def wrong(self, request: Request, status: int, code: str, detail: str) -> HTMLResponse:
        """The page that says what a browser could not be shown, and where to go on.

        It asks the store nothing: that may be what failed.
        """
        shown, paths = self.shown(request), self._paths()
        context = {
            "shown": shown,
            "says": wrong_words(status, code, detail),
            "nav": [(entry, False) for entry in entries(paths)],
            "strip": (),
            "has_devices": "/devices" in paths and shown.role is Role.OWNER,
            "units": tuple(Units),
            "looks": tuple(Look),
            "tables": (),
        }
        response = _rendered("frame/wrong.html", context)
        response.status_code = 404 if code == "invalid-request" else status
        return response

    def _page(self, template: str, request: Request, make: Make) -> HTMLResponse:
        shown = self.shown(request)
        path = request.url.path
        paths = self._paths()
        with self.desk.store.reading() as reader:
            tables = reader.tables(limit=TABLES_OFFERED)[::-1]
            nav = entries(paths, several=len(tables) > 1)
            context = {
                **make(reader, shown),
                "nav": [(entry, entry.is_here(path)) for entry in nav],
                "strip": self.strip(reader, shown),
                "shown": shown,
                "has_devices": "/devices" in paths and shown.role is Role.OWNER,
                "units": tuple(Units),
                "looks": tuple(Look),
                "tables": tables,
            }
        return _rendered(template, context)

    def _part(
        self, template: str, request: Request, make: Make, given: tuple[Any, ...] | None
    ) -> HTMLResponse:
        shown = self.shown(request)

        def render() -> str:
            with self.desk.store.reading() as reader:
                context = {"shown": shown, **make(reader, shown)}
            return _TEMPLATES.get_template(template).render(context)

        # before the store is looked at: what comes in between makes it newer than its revision
        revision = None if given is None else self.desk.store.revision()
        html = self._kept.html((template, shown), revision, given or (), render)
        headers = {"Cache-Control": "no-store"}
        if given is None:
            # another answer may have been put in its place since, which no tag tells of
            return HTMLResponse(html.text, headers=headers)
        headers["ETag"] = html.tag
        if request.headers.get("if-none-match") == html.tag:
            return HTMLResponse(status_code=304, headers=headers)
        return HTMLResponse(html.text, headers=headers)

    def strip(self, reader: Reader, shown: Shown) -> tuple[State, ...]:
        """The strip of states; its links lead only to pages that this service has."""
        states = strip_view(reader, self.desk, shown)
        paths = self._paths()
        return tuple(
            each if _leads(each.link, paths) else replace(each, link="") for each in states
        )

    def _paths(self) -> set[str]:
        return {getattr(route, "path", "") for route in self.app.routes}


def _leads(link: str, paths: set[str]) -> bool:
    return link.partition("?")[0] in paths or link.startswith("/docs/")


def _rendered(template: str, context: dict[str, Any]) -> HTMLResponse:
    html = _TEMPLATES.get_template(template).render(context)
    return HTMLResponse(html, headers={"Cache-Control": "no-store"})
