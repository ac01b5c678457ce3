"""Attempts with their verdicts."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.desk.turns.where import attempt_at

from .. import models as m
from ..bodies import page_body
from ..deps import (
    Before,
    DeskDep,
    Document,
    Limit,
    Number,
    OnlyPlayer,
    OnlyPractice,
    OnlyTable,
    ReaderDep,
    TableNumber,
    check_there,
)
from ..documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute)


@router.get("/attempts", response_model=m.Attempts, tags=["attempts"])
def list_attempts(
    reader: ReaderDep,
    limit: Limit = 100,
    before: Before = None,
    table: OnlyTable = None,
    practice: OnlyPractice = None,
    player: OnlyPlayer = None,
    struck: Annotated[
        bool | None, Query(description="true: only those that were struck, which count nowhere.")
    ] = False,
) -> dict[str, Any]:
    """Attempts, newest first."""
    check_there(reader, table=table, player=player, practice=practice)
    found = reader.attempts(
        limit=limit,
        before=before,
        table_id=table,
        player_id=player,
        practice_id=practice,
        struck=struck,
    )
    return page_body("attempts", found, limit)


@router.get("/attempts/{number}", response_model=m.AttemptOut, tags=["attempts"])
def get_attempt(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One attempt with its verdict."""
    return reader.attempt(number).to_dict()


@router.put("/attempts/{number}/note", response_model=m.AttemptOut, tags=["attempts"])
async def put_note(number: Number, desk: DeskDep, document: Document) -> dict[str, Any]:
    """Note what no still shows: `spin` (follow, stun, draw), `side_spin` (none, left, right), \
    `rails`, and `in_a_row` where the attempt belonged to a set. It replaces an earlier note."""
    return (await desk.run(desk.set_note, number, document, at=attempt_at(number))).to_dict()


@router.post("/attempts/{number}/strike", response_model=m.AttemptOut, tags=["attempts"])
async def post_strike(number: Number, desk: DeskDep) -> dict[str, Any]:
    """Have an attempt count no longer: every figure follows. It can be restored."""
    return (await desk.run(desk.strike, number, at=attempt_at(number))).to_dict()


@router.post("/attempts/{number}/restore", response_model=m.AttemptOut, tags=["attempts"])
async def post_restore(number: Number, desk: DeskDep) -> dict[str, Any]:
    """Have a struck attempt count again."""
    return (await desk.run(desk.restore, number, at=attempt_at(number))).to_dict()


@router.post("/attempts/{number}/reopen", response_model=m.Reopened, tags=["attempts"])
async def post_reopen(number: Number, desk: DeskDep) -> dict[str, Any]:
    """Have the table's last attempt wait for its shot again, as where its still came too early.

    It is struck, and what came after the layout before it is put aside.
    """
    attempt, intent = await desk.run(desk.reopen, number, at=attempt_at(number))
    return {"attempt": attempt.to_dict(), "intent": intent.to_dict()}


@router.post("/undo", response_model=m.UndoneOut, tags=["attempts"])
async def post_undo(desk: DeskDep, table: TableNumber = 1) -> dict[str, Any]:
    """Take the last change by hand at this table back: again and again, one after the other.

    Changes by hand are attempts struck, restored, reopened and noted, names and outcomes put
    right, and shots of a plan skipped.
    """
    return (await desk.run(desk.undo, table, at=table)).to_dict()
