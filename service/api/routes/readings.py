"""What was read in stills, their names, and the ball set learned from them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from service.desk.changing.repeated import repeats_at
from service.desk.names.unusual import unusual_at
from service.desk.scene import Scene
from service.desk.turns.where import reading_at
from service.pages import scene_svg
from service.store import NotFoundError
from service.words.lengths import Units

from .. import models as m
from ..bodies import page_body
from ..deps import (
    Before,
    DeskDep,
    Document,
    Limit,
    Number,
    OnlyTable,
    ReaderDep,
    TableNumber,
    UnitsQuery,
    check_there,
)
from ..documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute)
_SVG: dict[int | str, dict[str, Any]] = {200: {"content": {"image/svg+xml": {}}}}
NAMES_DOCUMENT: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {
                    "properties": {
                        "names": {
                            "type": "array",
                            "minItems": 1,
                            "items": m.NameSaid.model_json_schema(),
                        }
                    },
                    "required": ["names"],
                }
            }
        },
    }
}


@router.get(
    "/readings",
    response_model=m.Readings,
    response_model_exclude_unset=True,
    tags=["readings"],
)
def list_readings(
    reader: ReaderDep, limit: Limit = 100, before: Before = None, table: OnlyTable = None
) -> dict[str, Any]:
    """Readings, newest first."""
    check_there(reader, table=table)
    found = reader.readings(limit=limit, before=before, table_id=table)
    return page_body("readings", found, limit)


@router.get(
    "/readings/latest",
    response_model=m.ReadingOut,
    response_model_exclude_unset=True,
    tags=["readings"],
)
def get_latest_reading(reader: ReaderDep, table: TableNumber = 1) -> dict[str, Any]:
    """The newest reading of a still that was taken live at this table.

    Imported stills, and stills that were read again, are in the list of readings.
    """
    reading = reader.latest_live(reader.table(table).id)
    if reading is None:
        raise NotFoundError(
            "reading: there is none yet; allowed: one after the first still. POST a still to "
            "/api/v1/stills."
        )
    return reading.to_dict()


@router.get(
    "/readings/{number}",
    response_model=m.ReadingOut,
    response_model_exclude_unset=True,
    tags=["readings"],
)
def get_reading(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One reading."""
    return reader.reading(number).to_dict()


@router.post(
    "/readings/{number}/names",
    response_model=m.Corrected,
    response_model_exclude_unset=True,
    openapi_extra=NAMES_DOCUMENT,
    tags=["readings"],
)
async def post_names(number: Number, desk: DeskDep, document: Document) -> dict[str, Any]:
    """Say which ball is which: `{"names": [{"id": "3", "x_mm": 812, "y_mm": 440}]}`.

    A place means the ball within 30 mm of it; a ball that loses its name to another gets that
    one's old name and is in doubt; `id` null leaves a name in doubt. Attempts of the reading are
    judged again, and all sure names of its still teach this table's ball set: later stills are
    read with it, and `learned` says whether that could be done.
    """
    return await desk.run(desk.correct_names, number, document, at=reading_at(number))


@router.get("/readings/{number}/names", response_model=m.Corrections, tags=["readings"])
def list_names(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """What was said of a reading's names, oldest first."""
    reader.reading(number)
    return {"corrections": [each.to_dict() for each in reader.corrections(number)]}


@router.delete(
    "/readings/{number}/names/{correction}",
    response_model=m.TakenBack,
    response_model_exclude_unset=True,
    tags=["readings"],
)
async def delete_names(number: Number, correction: Number, desk: DeskDep) -> dict[str, Any]:
    """Take the last of those corrections back.

    The reading is as it was before it, its attempts are judged again, and the ball set forgets
    what it learned from it.
    """
    return await desk.run(desk.take_names_back, number, correction, at=reading_at(number))


@router.put(
    "/readings/{number}/outcome",
    response_model=m.OutcomeSaid,
    response_model_exclude_unset=True,
    tags=["readings"],
)
async def put_outcome(number: Number, desk: DeskDep, asked: m.OutcomeAsked) -> dict[str, Any]:
    """Say what happened before a live still where it was understood wrongly.

    A shot that was none has its attempt struck, and its intent waits again. What was a shot is
    judged with the intent that waited when the still came. Every figure follows; where more
    happened since, what waits for its shot now stays as it is. The layout set up again is the
    earlier one that comes nearest, or the one of `repeats_reading_id`.
    """
    return await desk.run(
        desk.say_outcome, number, asked.event, asked.repeats_reading_id, at=reading_at(number)
    )


@router.get("/readings/{number}/repeats", response_model=m.Repeats, tags=["readings"])
def get_repeats(number: Number, reader: ReaderDep, units: UnitsQuery = Units.MM) -> dict[str, Any]:
    """Earlier layouts that a live reading's one may be, set up again; the nearest first."""
    return {"repeats": repeats_at(reader, number, units=units)}


@router.delete(
    "/readings/{number}/outcome",
    response_model=m.OutcomeSaid,
    response_model_exclude_unset=True,
    tags=["readings"],
)
async def delete_outcome(number: Number, desk: DeskDep) -> dict[str, Any]:
    """Take that back: what was understood holds again, and its attempt counts as it did."""
    return await desk.run(desk.say_outcome, number, None, at=reading_at(number))


@router.get("/set", response_model=m.KnownSetOut, tags=["readings"])
async def get_set(desk: DeskDep, reader: ReaderDep, table: TableNumber = 1) -> dict[str, Any]:
    """How well this table's ball set is known, ball by ball, and from which readings."""
    number = reader.table(table).id
    known = await desk.known_set(number)
    found = unusual_at(reader, known, number)
    return known.to_dict() | {"unusual": None if found is None else found.to_dict()}


@router.get(
    "/readings/{number}/top-view.svg", response_class=Response, responses=_SVG, tags=["readings"]
)
def get_top_view(number: Number, reader: ReaderDep) -> Response:
    """The layout from above, with the zone or the verdict that goes with it."""
    drawn = scene_svg(Scene.of(reader, reader.reading(number)))
    return Response(drawn, media_type="image/svg+xml")
