"""Stills that arrive, and those that came."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Header, Query, Request, Response

from service.desk.turns.where import still_at
from service.store import OVERHEAD

from .. import models as m
from ..bodies import page_body
from ..deps import (
    Before,
    CameraName,
    DeskDep,
    Limit,
    Number,
    OnlyTable,
    ReaderDep,
    TableNumber,
    check_there,
)
from ..documents import DocumentRoute
from ..upload import BODY_DOCUMENT, read_upload

router = APIRouter(route_class=DocumentRoute)
_BINARY: dict[int | str, dict[str, Any]] = {200: {"content": {"image/jpeg": {}, "image/png": {}}}}


@router.post(
    "/stills",
    status_code=201,
    response_model=m.Arrival,
    response_model_exclude_unset=True,
    openapi_extra=BODY_DOCUMENT,
    responses={200: {"model": m.Arrival, "description": "This very still came before."}},
    tags=["stills"],
)
async def post_still(
    request: Request,
    response: Response,
    desk: DeskDep,
    name: Annotated[str, Query(max_length=1000, description="The still's name.")] = "",
    settled: Annotated[
        bool,
        Query(description="False while balls roll: the still is read but never scored."),
    ] = True,
    idempotency_key: Annotated[
        str | None,
        Header(description="The same still under the same key is taken once only."),
    ] = None,
    table: TableNumber = 1,
    camera: CameraName = OVERHEAD,
) -> Any:
    """Read a still that was taken now, and say what happened since the one before.

    A shot ends the pending intent's attempt. A hand (cue ball placed, balls set up again, moved or
    spotted) moves the layout that the intent is played from; where the intent does not fit there
    it waits, and `comparison` says why. The same table still is nothing. What neither play nor
    hand explains is flagged `impossible` and never scored. Balls set up again as they were played
    before have that shot's intent pending at once. An obstructed or unsettled still is read but
    compared with nothing. The very same still twice counts once: `same_as` names its reading.

    Where several cameras are calibrated at the table, a still waits up to two seconds for those of
    the others: all of a moment get one answer, a layout of what all see. A camera that sends none
    is said there (`camera-away`), and the others are read without it.
    """
    upload = await read_upload(request, name=name, key=idempotency_key, settled=settled)
    taken = await desk.hand_in(replace(upload, table_id=table, camera=camera))
    response.headers["Location"] = f"/api/v1/readings/{taken.body['reading']['id']}"
    if taken.is_replay:
        response.headers["Idempotency-Replayed"] = "true"
    elif not taken.is_new:
        response.status_code = 200
    return taken.body


@router.get("/stills", response_model=m.Stills, tags=["stills"])
def list_stills(
    reader: ReaderDep, limit: Limit = 100, before: Before = None, table: OnlyTable = None
) -> dict[str, Any]:
    """Stills, newest first."""
    check_there(reader, table=table)
    found = reader.stills(limit=limit, before=before, table_id=table)
    return page_body("stills", found, limit)


@router.get("/stills/{number}", response_model=m.StillOut, tags=["stills"])
def get_still(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One still's name, time and size."""
    return reader.still(number).to_dict()


@router.post(
    "/stills/{number}/readings",
    status_code=201,
    response_model=m.ReadingOut,
    response_model_exclude_unset=True,
    tags=["stills"],
)
async def post_reading(
    number: Number, response: Response, desk: DeskDep, asked: m.RereadAsked | None = None
) -> dict[str, Any]:
    """Read a kept still again, with the calibration and the ball set that hold now.

    The new reading stands beside the old ones and is not live: attempts keep their verdicts, and
    it becomes neither the newest reading nor the still before the next.
    """
    wanted = None if asked is None else asked.calibration_id
    reading = await desk.run(desk.reread, number, wanted, at=still_at(number))
    response.headers["Location"] = f"/api/v1/readings/{reading.id}"
    return reading.to_dict()


@router.get(
    "/stills/{number}/readings",
    response_model=m.Readings,
    response_model_exclude_unset=True,
    tags=["stills"],
)
def list_still_readings(
    number: Number, reader: ReaderDep, limit: Limit = 100, before: Before = None
) -> dict[str, Any]:
    """A still's readings, newest first: what was read when it came is the last."""
    reader.still(number)
    found = reader.readings(limit=limit, before=before, still_id=number)
    return page_body("readings", found, limit)


@router.get("/stills/{number}/picture", response_class=Response, responses=_BINARY, tags=["stills"])
def get_picture(number: Number, reader: ReaderDep, desk: DeskDep) -> Response:
    """The still itself, byte for byte."""
    still = reader.still(number)
    return Response(
        desk.store.files.read(still.sha256),
        media_type=still.media_type,
        headers={
            "Cache-Control": "private, max-age=31536000, immutable",
            "ETag": f'"{still.sha256}"',
        },
    )
