"""A lesson at ``/lessons``: chosen layouts in their order, with title and note, to be passed on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import HTMLResponse

from service.layouts.entry import NOTE_MOST, TITLE_MOST
from service.layouts.lesson import PARTS_MOST
from service.store import NotFoundError, Reader
from service.words.lengths import Units

from ..frame import Shown, Site
from .layouts import Card


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One layout of the lesson, with the addresses that change its place."""

    card: Card
    earlier: str
    later: str
    without: str


def install(site: Site) -> None:
    """Add the page to the site."""

    @site.app.get("/lessons", include_in_schema=False)
    async def page(request: Request) -> HTMLResponse:
        def make(reader: Reader, shown: Shown) -> dict[str, Any]:
            return lesson_view(reader, request, shown.units)

        return await site.page("laying/lessons.html", request, make)


def lesson_view(reader: Reader, request: Request, units: Units) -> dict[str, Any]:
    """What the template needs; numbers that no layout has are left out."""
    asked = request.query_params
    title, note = asked.get("title", "")[:TITLE_MOST], asked.get("note", "")[:NOTE_MOST]
    numbers = [text for part in asked.getlist("layouts") for text in part.split(",")]
    cards = [
        card for text in numbers[:PARTS_MOST] if (card := _card(reader, text, units)) is not None
    ]
    chosen = [card.number for card in cards]

    def address(order: list[int]) -> str:
        kept = {"layouts": ",".join(map(str, order)), "title": title, "note": note}
        return "/lessons?" + urlencode({name: value for name, value in kept.items() if value})

    parts = [
        Part(
            card=card,
            earlier=address(_swapped(chosen, k - 1)) if k else "",
            later=address(_swapped(chosen, k)) if k + 1 < len(chosen) else "",
            without=address(chosen[:k] + chosen[k + 1 :]),
        )
        for k, card in enumerate(cards)
    ]
    files = urlencode(
        {
            "layouts": ",".join(map(str, chosen)),
            "title": title.strip() or "Lesson",
            "note": note,
            "units": units.value,
        }
    )
    return {"parts": parts, "title": title, "note": note, "chosen": chosen, "files": files}


def _card(reader: Reader, text: str, units: Units) -> Card | None:
    if not (text.isascii() and text.isdecimal() and len(text) <= 10 and 0 < int(text) < 2**31):
        return None
    try:
        return Card.of(reader.layout(int(text)), units)
    except NotFoundError:
        return None


def _swapped(order: list[int], k: int) -> list[int]:
    return [*order[:k], order[k + 1], order[k], *order[k + 2 :]]
