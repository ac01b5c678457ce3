"""What the next shot is to do."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.desk.desk import Desk
from service.desk.refusals import no_intent
from service.store import IntentRecord

from .. import models as m
from ..bodies import intent_body
from ..deps import DeskDep, Document, ReaderDep, TableNumber
from ..documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute)


@router.get("/intent", response_model=m.IntentOut, tags=["attempts"])
def get_intent(reader: ReaderDep, table: TableNumber = 1) -> dict[str, Any]:
    """The intent that waits for its shot, with its landing zone.

    `state_said` says why it cannot be played yet, where its layout does not lie there.
    """
    intent = reader.pending_intent(reader.table(table).id)
    if intent is None:
        raise no_intent()
    return intent_body(reader, intent)


@router.put("/intent", response_model=m.IntentOut, tags=["attempts"])
async def put_intent(desk: DeskDep, document: Document, table: TableNumber = 1) -> dict[str, Any]:
    """Say what the next shot is to do, from the newest layout. The shot ends it."""
    return await _answer(desk, await desk.run(desk.set_intent, document, table, at=table))


@router.post("/intent/again", response_model=m.IntentOut, tags=["attempts"])
async def post_again(desk: DeskDep, table: TableNumber = 1) -> dict[str, Any]:
    """The last attempt's shot once more: it waits until its layout lies there again."""
    return await _answer(desk, await desk.run(desk.set_again, table, at=table))


@router.post("/intent/mirror", response_model=m.IntentOut, tags=["attempts"])
async def post_mirror(
    desk: DeskDep, asked: m.MirrorAsked, table: TableNumber = 1
) -> dict[str, Any]:
    """The pending shot, or the last attempt's, on the other side or end of the table.

    It waits until the mirrored layout lies there.
    """
    return await _answer(
        desk, await desk.run(desk.set_mirrored, asked.model_dump(), table, at=table)
    )


@router.delete("/intent", status_code=204, tags=["attempts"])
async def delete_intent(desk: DeskDep, table: TableNumber = 1) -> None:
    """Withdraw the pending intent."""
    await desk.run(desk.withdraw_intent, table, at=table)


async def _answer(desk: Desk, record: IntentRecord) -> dict[str, Any]:
    def answer() -> dict[str, Any]:
        with desk.store.reading() as reader:
            return intent_body(reader, record)

    return await desk.run(answer, at=record.table_id)
