"""The page at ``/`` and the parts of it that are fetched again after every change."""

from __future__ import annotations

from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from service.drawing import ball_icon_svg
from service.store import Reader
from vision.layout import BALL_IDS

from ..frame import Shown, Site
from .so_far import so_far_view
from .view import practice_view

_NAMES = tuple((name, Markup(ball_icon_svg(name))) for name in BALL_IDS)
"""The sixteen names that a ball may have, each with its symbol."""


class _Itself:
    """A value that is equal to itself alone: what was learned of a set is another value."""

    def __init__(self, value: object) -> None:
        self._value = value

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Itself) and self._value is other._value

    __hash__ = None  # type: ignore[assignment]


def install(site: Site) -> None:
    """Add the page to the site."""

    async def rendered(request: Request, *, whole: bool) -> HTMLResponse:
        known = await site.desk.known_set(site.shown(request).table)

        def make(reader: Reader, shown: Shown) -> dict[str, Any]:
            return {"view": practice_view(reader, known, shown), "names": _NAMES}

        if whole:
            return await site.page("practice/page.html", request, make)
        return await site.part("practice/parts.html", request, make, given=(_Itself(known),))

    @site.app.get("/", include_in_schema=False)
    async def page(request: Request) -> HTMLResponse:
        return await rendered(request, whole=True)

    @site.app.get("/so-far", include_in_schema=False)
    async def so_far(request: Request) -> HTMLResponse:
        return await site.part(
            "practice/so_far.html",
            request,
            lambda reader, shown: {"so_far": so_far_view(reader, shown)},
            given=(),
        )

    @site.app.get("/parts", include_in_schema=False)
    async def parts(request: Request) -> HTMLResponse:
        return await rendered(request, whole=False)
