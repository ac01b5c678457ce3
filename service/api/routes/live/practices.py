"""Practices: begun, told, finished."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Response

from service.desk.turns.where import practice_at
from service.report.kept import practice_on_paper
from service.sheets.practice_sheet import practice_pdf
from service.words.lengths import Units

from ... import models as m
from ...deps import (
    Before,
    DeskDep,
    Limit,
    Number,
    OnlyPlayer,
    OnlyTable,
    ReaderDep,
    TableNumber,
    check_there,
)
from ...documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute)


@router.get("/practices", response_model=m.Practices, tags=["practices"])
def list_practices(
    reader: ReaderDep,
    limit: Limit = 100,
    before: Before = None,
    table: OnlyTable = None,
    player: OnlyPlayer = None,
) -> dict[str, Any]:
    """Practices, newest first."""
    check_there(reader, table=table, player=player)
    found = reader.practices(limit=limit, before=before, table_id=table, player_id=player)
    is_full = len(found) == limit
    return {
        "practices": [record.to_dict() for record in found],
        "next_before": found[-1].id if is_full and found[-1].id > 1 else None,
    }


@router.post("/practices", status_code=201, response_model=m.PracticeOut, tags=["practices"])
async def post_practice(
    desk: DeskDep, response: Response, asked: m.PracticeAsked, table: TableNumber = 1
) -> dict[str, Any]:
    """Begin a practice at this table by whoever plays there; one that is open is finished.

    Ways: `free`; `plan` (shots in order); `same again`; `rotation` (the rules name the ball);
    `progressive` (the distance adapts); `pressure` (so many in a row). After each shot the next
    intent is pending by itself when its layout lies there; an intent that a person sets goes
    before it.
    """
    body = await desk.run(desk.begin_practice, asked.model_dump(exclude_none=True), table, at=table)
    response.headers["Location"] = f"/api/v1/practices/{body['id']}"
    return body


@router.get("/practices/{number}", response_model=m.PracticeOut, tags=["practices"])
async def get_practice(number: Number, desk: DeskDep) -> dict[str, Any]:
    """One practice: its own score, pots and position apart, and what is next."""
    return await desk.run(desk.practice, number, at=practice_at(number))


@router.get(
    "/practices/{number}/report.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
    tags=["practices"],
)
def get_practice_report(
    number: Number,
    reader: ReaderDep,
    units: Annotated[Units, Query(description="What lengths are shown in.")] = Units.MM,
) -> Response:
    """The practice on paper: the answer, its figures with their intervals, every attempt drawn."""
    sheet = practice_on_paper(reader, number, units=units)
    name = quote(f"{sheet.title}.pdf", safe="")
    return Response(
        practice_pdf(sheet),
        media_type="application/pdf",
        headers={"Content-Disposition": f"inline; filename*=UTF-8''{name}"},
    )


@router.patch("/practices/{number}", response_model=m.PracticeOut, tags=["practices"])
async def patch_practice(number: Number, desk: DeskDep, asked: m.PracticeChange) -> dict[str, Any]:
    """Another title, or `{"finished": true}`, which ends it."""
    return await desk.run(
        desk.change_practice,
        number,
        asked.model_dump(exclude_unset=True),
        at=practice_at(number),
    )


@router.post("/practices/{number}/skip", response_model=m.PracticeOut, tags=["practices"])
async def post_skip(
    number: Number, desk: DeskDep, asked: m.SkipAsked | None = None
) -> dict[str, Any]:
    """Pass over the next shot of the practice's plan; `POST /undo` takes that back.

    With `{"place": 2}` only where the second is next, so that one tap too many skips no other.
    """
    return await desk.run(
        desk.skip, number, None if asked is None else asked.place, at=practice_at(number)
    )
