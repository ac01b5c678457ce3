"""The pages ``/progress`` and ``/attempts/{n}``, with their parts that are fetched again."""

from __future__ import annotations

from typing import Any

from fastapi import HTTPException, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from service.desk.names.known_set import KnownSet
from service.door.roles import least_role
from service.drawing import ball_icon_svg
from service.store import NotFoundError, Reader
from vision.layout import BALL_IDS

from ..frame import Shown, Site
from .attempt import attempt_view
from .practices import PRACTICES, practices_view
from .standing import progress_page_view

_NAMES = tuple((name, Markup(ball_icon_svg(name))) for name in BALL_IDS)
_NUMBER_LIMIT = 2**31 - 1


_EXPORTS = (
    ("/api/v1/attempts.csv", "Attempts as a table (CSV)"),
    ("/api/v1/export", "Everything as an archive"),
)
"""What is handed out of the attempts: address and words."""


def install(site: Site) -> None:
    """Add both pages to the site."""

    def progress(reader: Reader, shown: Shown, request: Request) -> dict[str, Any]:
        opened = request.query_params.getlist("open")
        return {
            "view": progress_page_view(
                reader, shown, before=_number(request, "before"), opened=opened
            ),
            "practices": practices_view(
                reader, shown, before=_number(request, "practices"), opened=PRACTICES in opened
            ),
            "exports": (
                *_on_paper(reader, shown),
                *(each for each in _EXPORTS if shown.role.may(least_role("GET", each[0]))),
            ),
        }

    @site.app.get("/progress", include_in_schema=False)
    async def progress_page(request: Request) -> HTMLResponse:
        return await site.page(
            "progress/page.html", request, lambda reader, shown: progress(reader, shown, request)
        )

    @site.app.get("/progress/parts", include_in_schema=False)
    async def progress_parts(request: Request) -> HTMLResponse:
        return await site.part(
            "progress/parts.html", request, lambda reader, shown: progress(reader, shown, request)
        )

    def attempt(reader: Reader, shown: Shown, known: KnownSet, number: int) -> dict[str, Any]:
        try:
            view = attempt_view(reader, known, shown, number)
        except NotFoundError:
            raise HTTPException(404) from None
        return {"view": view, "names": _NAMES}

    @site.app.get("/attempts/{number}", include_in_schema=False)
    async def attempt_page(number: int, request: Request) -> HTMLResponse:
        known = await site.desk.known_set(site.shown(request).table)
        return await site.page(
            "progress/attempt.html",
            request,
            lambda reader, shown: attempt(reader, shown, known, _held(number)),
        )

    @site.app.get("/attempts/{number}/parts", include_in_schema=False)
    async def attempt_parts(number: int, request: Request) -> HTMLResponse:
        known = await site.desk.known_set(site.shown(request).table)
        return await site.part(
            "progress/attempt_parts.html",
            request,
            lambda reader, shown: attempt(reader, shown, known, _held(number)),
        )


def _number(request: Request, name: str) -> int | None:
    """From which number on older ones are listed; None: the newest."""
    text = request.query_params.get(name, "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 16 else None


def _held(number: int) -> int:
    if not 0 < number < _NUMBER_LIMIT:
        raise HTTPException(404)
    return number


def _on_paper(reader: Reader, shown: Shown) -> tuple[tuple[str, str], ...]:
    """The last practice of whoever plays at the table, as a PDF; nothing before the first."""
    player = reader.table(shown.table).player_id
    last = reader.practices(limit=1, player_id=player)
    if not last:
        return ()
    address = f"/api/v1/practices/{last[0].id}/report.pdf?units={shown.units.value}"
    return ((address, "Last practice on paper (PDF)"),)
