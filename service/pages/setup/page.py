"""The page at ``/setup``, and the part of it that shows the balls of a still to be named."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from fastapi import Query, Request
from fastapi.responses import HTMLResponse

from service.called import Name
from service.desk.scene import Scene
from service.pages.frame import Shown, Site
from service.pages.practice.naming import ball_rows
from service.store import OVERHEAD, Reader
from service.words.lengths import Lengths
from vision.layout import BALL_IDS

from .view import setup_view

MOST_ROWS = 2**31 - 1


def install(site: Site) -> None:
    """Add the page and its part to the site."""

    @site.app.get("/setup", include_in_schema=False)
    async def page(request: Request, camera: Annotated[Name, Query()] = OVERHEAD) -> HTMLResponse:
        known = await site.desk.known_set(site.shown(request).table)

        def make(reader: Reader, shown: Shown) -> dict[str, Any]:
            view = setup_view(reader, known, shown, camera)
            return {**view, "names": BALL_IDS, **_nameable(site)}

        return await site.page("setup/page.html", request, make)

    @site.app.get("/setup/taught", include_in_schema=False)
    async def taught(
        request: Request, reading: Annotated[int | None, Query(ge=1, le=MOST_ROWS)] = None
    ) -> HTMLResponse:
        def make(reader: Reader, shown: Shown) -> dict[str, Any]:
            waits = reader.pending_intent(shown.table) is not None
            if reading is None:
                return {"rows": (), "reading": None, "waits": waits}
            scene = Scene.of(reader, reader.reading(reading))
            rows = ball_rows(scene, reader.corrections(reading), Lengths(units=shown.units))
            return {
                "waits": waits,
                "rows": rows,
                "reading": scene.reading,
                "size_px": scene.calibration.camera.image_size_px,
                "names": BALL_IDS,
            }

        return await site.part("setup/taught.html", request, make)


def _nameable(site: Site) -> dict[str, Any]:
    """Where others reach the service: the folders that may be named, and no path beside them."""
    folders = site.app.state.sources.folders
    if folders is None:
        return {}
    return {
        "is_any_folder": False,
        "folders": tuple((Path(folder).name, folder) for folder in sorted(folders)),
    }
