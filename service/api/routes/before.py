"""What may be asked before a shot; nothing of it is kept."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter, Query, Response

from service.desk.before.maps import chances_of, hooks_of, reach_of
from service.desk.before.preview import zone_preview
from service.desk.stored import calibration_behind
from service.drawing.layers import chance_png, where_png
from service.position.plan.chance_map import ChanceMap
from service.position.plan.where_map import STEP_MM, WhereMap
from service.store import ReadingRecord
from service.words.intents import intent_words
from service.words.lengths import Lengths

from .. import models as m
from ..deps import NUMBER_LIMIT, ReaderDep, TableNumber
from ..documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute)
_PNG: dict[int | str, dict[str, Any]] = {200: {"content": {"image/png": {}}}}
PocketName = Literal[
    "head-left", "head-right", "side-left", "side-right", "foot-left", "foot-right"
]
Number = Literal[
    "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "13", "14", "15"
]  # fmt: skip
Ball = Annotated[Number, Query(description="The ball that is to be potted from there.")]
Gone = Annotated[Number | None, Query(description="A ball that will be down by then.")]
Pocket = Annotated[PocketName | None, Query(description="Into this pocket only.")]
ReadingNumber = Annotated[
    int | None,
    Query(ge=1, le=NUMBER_LIMIT, description="The layout's reading; left out: as it lies now."),
]
Step = Annotated[float, Query(ge=10, le=200, description="Size of a cell, mm.")]


@router.post("/zone", response_model=m.ZonePreviewOut, tags=["before the shot"])
def post_zone(asked: m.ZoneAsked, reader: ReaderDep, table: TableNumber = 1) -> dict[str, Any]:
    """The landing zone of an intent, without setting it.

    It tells what empties the zone, and which cuts and distances its places leave.
    """
    made = zone_preview(reader, asked.intent, reading_id=asked.reading, table_id=table)
    lengths = Lengths.on(calibration_behind(reader, reader.reading(made.reading_id)).table)
    return {**made.to_dict(), "words": intent_words(made.intent, lengths)}


@router.get("/chances", response_model=m.ChancesOut, tags=["before the shot"])
def get_chances(
    reader: ReaderDep,
    ball: Ball,
    pocket: Pocket = None,
    without: Gone = None,
    reading: ReadingNumber = None,
    step_mm: Step = STEP_MM,
    table: TableNumber = 1,
) -> dict[str, Any]:
    """The chance of potting a ball from everywhere on the bed, for the player at that table."""
    before, made = chances_of(
        reader, ball, pocket=pocket, without=without, reading_id=reading, table_id=table,
        step_mm=step_mm,
    )  # fmt: skip
    best = made.best
    chance = [
        [None if np.isnan(value) else round(float(value), 4) for value in row]
        for row in made.chance
    ]
    return {
        **_head(before, made),
        "chance": chance,
        "best_mm": None if best is None else best[0],
        "best_chance": None if best is None else best[1],
    }


@router.get("/chances.png", response_class=Response, responses=_PNG, tags=["before the shot"])
def get_chances_picture(
    reader: ReaderDep,
    ball: Ball,
    pocket: Pocket = None,
    without: Gone = None,
    reading: ReadingNumber = None,
    step_mm: Step = STEP_MM,
    table: TableNumber = 1,
) -> Response:
    """The same as a picture of the bed, to be laid over the table: pale is much, dark little."""
    _, made = chances_of(
        reader, ball, pocket=pocket, without=without, reading_id=reading, table_id=table,
        step_mm=step_mm,
    )  # fmt: skip
    return _picture(chance_png(made))


@router.get("/reach", response_model=m.WhereOut, tags=["before the shot"])
def get_reach(
    reader: ReaderDep,
    ball: Ball,
    pocket: PocketName,
    reading: ReadingNumber = None,
    step_mm: Step = STEP_MM,
    table: TableNumber = 1,
) -> dict[str, Any]:
    """From where the player reaches the shot: by hand, with the bridge, or not at all."""
    before, made = reach_of(
        reader, ball, pocket, reading_id=reading, table_id=table, step_mm=step_mm
    )
    return {**_head(before, made), "answers": _answers(made)}


@router.get("/reach.png", response_class=Response, responses=_PNG, tags=["before the shot"])
def get_reach_picture(
    reader: ReaderDep,
    ball: Ball,
    pocket: PocketName,
    reading: ReadingNumber = None,
    step_mm: Step = STEP_MM,
    table: TableNumber = 1,
) -> Response:
    """The same as a picture: striped where nothing reaches, dotted where the bridge does."""
    _, made = reach_of(reader, ball, pocket, reading_id=reading, table_id=table, step_mm=step_mm)
    return _picture(where_png(made))


@router.get("/hooked", response_model=m.WhereOut, tags=["before the shot"])
def get_hooked(
    reader: ReaderDep,
    ball: Ball,
    without: Gone = None,
    reading: ReadingNumber = None,
    step_mm: Step = STEP_MM,
    table: TableNumber = 1,
) -> dict[str, Any]:
    """From where other balls hide a ball: `no`, `partly` or `yes`."""
    before, made = hooks_of(
        reader, ball, without=without, reading_id=reading, table_id=table, step_mm=step_mm
    )
    return {**_head(before, made), "answers": _answers(made)}


@router.get("/hooked.png", response_class=Response, responses=_PNG, tags=["before the shot"])
def get_hooked_picture(
    reader: ReaderDep,
    ball: Ball,
    without: Gone = None,
    reading: ReadingNumber = None,
    step_mm: Step = STEP_MM,
    table: TableNumber = 1,
) -> Response:
    """The same as a picture: striped where the ball is hidden, dotted where partly."""
    _, made = hooks_of(
        reader, ball, without=without, reading_id=reading, table_id=table, step_mm=step_mm
    )
    return _picture(where_png(made))


def _head(before: ReadingRecord, made: ChanceMap | WhereMap) -> dict[str, Any]:
    return {
        "reading_id": before.id,
        "ball": made.ball,
        "surface_mm": made.surface_mm,
        "step_mm": made.step_mm,
        "assumed": list(made.assumed),
    }


def _answers(made: WhereMap) -> list[list[str | None]]:
    return [[None if cell < 0 else made.answers[cell] for cell in row] for row in made.cells]


def _picture(data: bytes) -> Response:
    return Response(data, media_type="image/png", headers={"Cache-Control": "no-store"})
