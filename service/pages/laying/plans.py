"""Plans at ``/plans`` and ``/plans/{n}``: shots put in order by taps, played, put away."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import HTTPException, Request
from fastapi.responses import HTMLResponse

from service.desk.stored import calibration_of
from service.position import Intent
from service.store import LayoutRecord, NotFoundError, PlanRecord, Reader
from service.words.intents import intent_words
from service.words.laying.ways import way_words
from service.words.lengths import Lengths
from service.words.plain import counted

from ..frame import Shown, Site
from .layouts import Card
from .plan_ways import WayView, way_view

PLANS_SHOWN = 48
LAYOUTS_OFFERED = 24
ATTEMPTS_LOOKED_AT = 40
PLAYED_OFFERED = 6
NUMBER_LIMIT = 2**31 - 1
NO_INTENT = "A shot of your own choosing"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanCard:
    """One plan of the list."""

    number: int
    title: str
    says: str
    """How many shots, and in what way."""
    shots: tuple[str, ...]
    can_be_played: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A shot of a plan, or one that may be put in it."""

    words: str
    title: str = ""
    """Of the kept layout that it is played from; empty where none is known."""
    picture: str = ""
    document: str = ""
    """The intent as JSON."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanView:
    """One plan and what it may be made of."""

    card: PlanCard
    document: str
    """The plan as JSON, which the page's script changes and sends."""
    is_struck: bool
    shots: tuple[Shot, ...]
    from_layouts: tuple[Shot, ...]
    played: tuple[Shot, ...]
    older: int | None
    """Below which number older layouts are offered; None: there are none."""
    way: WayView
    names: tuple[str, ...]
    """Titles that are a tap away."""


def install(site: Site) -> None:
    """Add both pages and their parts to the site."""

    def listed(request: Request) -> Any:
        is_away = request.query_params.get("away") == "1"
        return lambda reader, shown: plans_view(reader, shown, struck=is_away)

    def one(number: int, request: Request) -> Any:
        text = request.query_params.get("before", "")
        before = int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None
        return lambda reader, shown: {"view": plan_view(reader, shown, number, before=before)}

    @site.app.get("/plans", include_in_schema=False)
    async def plans(request: Request) -> HTMLResponse:
        return await site.page("laying/plans.html", request, listed(request))

    @site.app.get("/plans/parts", include_in_schema=False)
    async def plans_parts(request: Request) -> HTMLResponse:
        return await site.part("laying/plans_parts.html", request, listed(request))

    @site.app.get("/plans/{number}", include_in_schema=False)
    async def plan(number: int, request: Request) -> HTMLResponse:
        return await site.page("laying/plan.html", request, one(number, request))

    @site.app.get("/plans/{number}/parts", include_in_schema=False)
    async def plan_parts(number: int, request: Request) -> HTMLResponse:
        return await site.part("laying/plan_all_parts.html", request, one(number, request))


def plans_view(reader: Reader, shown: Shown, *, struck: bool) -> dict[str, Any]:
    """The list: plans that may be played, or those that were put away."""
    lengths = _lengths(reader, shown)
    found = reader.plans(limit=PLANS_SHOWN, struck=struck)
    return {
        "cards": [_card(record, lengths) for record in found],
        "struck": struck,
        "ends": _ends(reader, shown),
    }


def plan_view(reader: Reader, shown: Shown, number: int, *, before: int | None) -> PlanView:
    """One plan with all that it may be made of.

    Raises:
        HTTPException: 404; there is none.
    """
    if not 0 < number <= NUMBER_LIMIT:
        raise HTTPException(404)
    try:
        record = reader.plan(number)
    except NotFoundError:
        raise HTTPException(404) from None
    lengths = _lengths(reader, shown)
    kept = reader.layouts(limit=LAYOUTS_OFFERED + 1, before=before)
    shown_now = [each for each in kept[:LAYOUTS_OFFERED] if each.intent is not None]
    by_intent = {_key(each.intent): each for each in reversed(shown_now) if each.intent}
    played = {
        _key(each.intent.document): each.intent.document
        for each in reader.attempts(limit=ATTEMPTS_LOOKED_AT, table_id=shown.table)
    }
    own = [key for key in played if key not in by_intent][:PLAYED_OFFERED]
    return PlanView(
        card=_card(record, lengths),
        document=json.dumps(dict(record.document)),
        is_struck=record.struck_at is not None,
        shots=tuple(_shot(each, lengths, by_intent) for each in record.document.get("shots") or ()),
        from_layouts=tuple(_shot(each.intent, lengths, {}, of=each) for each in shown_now),
        played=tuple(_shot(played[key], lengths, {}) for key in own),
        older=kept[LAYOUTS_OFFERED - 1].id if len(kept) > LAYOUTS_OFFERED else None,
        way=way_view(record.document, lengths),
        names=_names(record, shown_now),
    )


def _card(record: PlanRecord, lengths: Lengths) -> PlanCard:
    document = record.document
    shots = document.get("shots") or ()
    mode = str(document.get("mode", "in order"))
    way = "" if mode == "in order" else f" · {way_words(mode)}"
    return PlanCard(
        number=record.id,
        title=record.title or f"Plan {record.id}",
        says=counted(len(shots), "shot") + way,
        shots=tuple(_said(each, lengths) for each in shots),
        can_be_played=bool(shots) or mode == "rotation",
    )


def _shot(
    document: Mapping[str, Any] | None,
    lengths: Lengths,
    by_intent: Mapping[str, LayoutRecord],
    *,
    of: LayoutRecord | None = None,
) -> Shot:
    if document is None:
        return Shot(words=NO_INTENT)
    record = of or by_intent.get(_key(document))
    card = None if record is None else Card.of(record, lengths.units)
    return Shot(
        words=_said(document, lengths),
        title="" if card is None else card.title,
        picture="" if card is None else card.picture,
        document=json.dumps(dict(document)),
    )


def _said(document: Mapping[str, Any] | None, lengths: Lengths) -> str:
    return NO_INTENT if document is None else intent_words(Intent.from_dict(document), lengths)


def _key(document: Mapping[str, Any] | None) -> str:
    """What two documents of the same intent have in common."""
    given = {} if document is None else Intent.from_dict(document).to_dict()
    return json.dumps(given, sort_keys=True)


def _names(record: PlanRecord, layouts: list[LayoutRecord]) -> tuple[str, ...]:
    """Titles to choose from: the day it was made, and what its layouts are tagged with."""
    day = record.made_at.astimezone()
    tags = dict.fromkeys(tag for each in layouts for tag in each.tags)
    offered = ("Warm-up", f"{day:%A}", *(tag.capitalize() for tag in tags))
    return tuple(name for name in dict.fromkeys(offered) if name != record.title)[:8]


def _lengths(reader: Reader, shown: Shown) -> Lengths:
    record = reader.calibration(table_id=shown.table)
    if record is None:
        return Lengths(units=shown.units)
    return Lengths.on(calibration_of(record).table, shown.units)


def _ends(reader: Reader, shown: Shown) -> str:
    """Which practice a new one would end; empty where none is open."""
    practice = reader.open_practice(shown.table)
    if practice is None:
        return ""
    return practice.title or way_words(str(practice.way.get("kind", "free")))
