"""The library at ``/layouts``: record, find, lay, put on paper."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import HTTPException, Request
from fastapi.responses import HTMLResponse, Response

from service.desk.laying.library import kept_of
from service.desk.stored import player_now
from service.layouts.files import plain_svg
from service.position import Intent
from service.store import LayoutRecord, NotFoundError, Reader
from service.words.intents import intent_words
from service.words.lengths import Lengths, Units
from service.words.plain import counted

from ..frame import Shown, Site

SHOWN_MOST = 24
"""Layouts on one page; older ones are a link away."""
_QUERY_MOST = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One layout as the page shows it."""

    number: int
    title: str
    note: str
    tags: tuple[str, ...]
    balls: str
    shot: str
    intent: str
    """The shot's own document as JSON; empty where it has none."""
    picture: str

    @classmethod
    def of(cls, record: LayoutRecord, units: Units) -> Card:
        """From a record; the picture's address changes when the layout does."""
        lengths = Lengths(units=units, surface_mm=record.layout.surface_mm)
        shot = ""
        if record.intent is not None:
            shot = intent_words(Intent.from_dict(record.intent), lengths)
        version = urlencode({"v": record.changed_at.isoformat()})
        return cls(
            number=record.id,
            title=record.title,
            note=record.note,
            tags=record.tags,
            balls=counted(len(record.layout.balls), "ball"),
            shot=shot,
            intent="" if record.intent is None else json.dumps(dict(record.intent)),
            picture=f"/layouts/{record.id}/card.svg?{version}",
        )


def install(site: Site) -> None:
    """Add the page and its list to the site."""

    def make_for(request: Request) -> Any:
        def make(reader: Reader, shown: Shown) -> dict[str, Any]:
            return library_view(reader, request, shown)

        return make

    @site.app.get("/layouts", include_in_schema=False)
    async def page(request: Request) -> HTMLResponse:
        return await site.page("laying/layouts.html", request, make_for(request))

    @site.app.get("/layouts/{number}/card.svg", include_in_schema=False)
    def card(number: int, request: Request) -> Response:
        """The drawing as a card has room for it; its address changes when the layout does."""
        with site.desk.store.reading() as reader:
            if not 0 < number < 2**31:
                raise HTTPException(404)
            try:
                kept = kept_of(reader.layout(number))
            except NotFoundError:
                raise HTTPException(404) from None
            player = player_now(reader, site.shown(request).table)
        return Response(plain_svg(kept, player=player, small=True), media_type="image/svg+xml")

    @site.app.get("/layouts/parts", include_in_schema=False)
    async def parts(request: Request) -> HTMLResponse:
        return await site.part("laying/layouts_parts.html", request, make_for(request))


def library_view(reader: Reader, request: Request, shown: Shown) -> dict[str, Any]:
    """What the templates need: the layouts that were asked for, all tags, and what lies now."""
    asked = request.query_params
    words, tag = asked.get("q", "")[:_QUERY_MOST], asked.get("tag", "")[:_QUERY_MOST]
    struck = asked.get("away") == "1"
    before = asked.get("before", "")
    is_number = before.isascii() and before.isdecimal() and 0 < len(before) <= 9
    found = reader.layouts(
        limit=SHOWN_MOST,
        before=int(before) if is_number and int(before) > 0 else None,
        words=words or None,
        tag=tag or None,
        struck=struck,
    )
    asking = {"q": words, "tag": tag, "away": "1" if struck else ""}
    kept = {name: value for name, value in asking.items() if value}
    older = ""
    if len(found) == SHOWN_MOST and found[-1].id > 1:
        older = "?" + urlencode({**kept, "before": found[-1].id})
    return {
        **_now(reader, shown),
        "cards": [Card.of(record, shown.units) for record in found],
        "tags": reader.tags(),
        "words": words,
        "tag": tag,
        "struck": struck,
        "older": older,
        "asked": bool(words or tag or is_number),
    }


def _now(reader: Reader, shown: Shown) -> dict[str, str]:
    """What would be recorded: the balls as they lie, in words, and the shot planned on them."""
    newest = reader.latest_live(shown.table)
    if newest is None:
        return {"now": "", "now_shot": ""}
    if newest.layout.obstructed or not newest.layout.settled:
        said = "Something was over the table in the newest still: clear it first."
        return {"now": said, "now_shot": ""}
    said = f"The newest still shows {counted(len(newest.layout.balls), 'ball')}"
    planned = reader.pending_intent(shown.table)
    if planned is None or planned.before_reading_id != newest.id:
        return {"now": f"{said}.", "now_shot": ""}
    document = dict(planned.document)
    lengths = Lengths(units=shown.units, surface_mm=newest.layout.surface_mm)
    shot = intent_words(Intent.from_dict(document), lengths)
    return {
        "now": f"{said}, and this shot is planned on them: {shot}. Both are recorded.",
        "now_shot": json.dumps(document),
    }
