"""Tables, and who plays at each."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from .. import models as m
from ..bodies import page_body
from ..deps import Before, DeskDep, Limit, Number, ReaderDep
from ..documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute, tags=["tables"])


@router.get("/tables", response_model=m.Tables)
def list_tables(reader: ReaderDep, limit: Limit = 100, before: Before = None) -> dict[str, Any]:
    """Tables, newest first. Every store has table 1."""
    return page_body("tables", reader.tables(limit=limit, before=before), limit)


@router.post("/tables", status_code=201, response_model=m.TableOut)
async def post_table(desk: DeskDep, response: Response, table: m.NewTable) -> dict[str, Any]:
    """Add a table. It has a calibration, layouts, an intent and a practice of its own."""
    record = await desk.run(desk.places.add_table, table.name, table.player_id)
    response.headers["Location"] = f"/api/v1/tables/{record.id}"
    return record.to_dict()


@router.get("/tables/{number}", response_model=m.TableOut)
def get_table(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One table."""
    return reader.table(number).to_dict()


@router.patch("/tables/{number}", response_model=m.TableOut)
async def patch_table(number: Number, desk: DeskDep, change: m.TableChange) -> dict[str, Any]:
    """Name it otherwise, or say who plays at it from now on."""
    record = await desk.run(
        desk.places.change_table, number, change.name, change.player_id, at=number
    )
    return record.to_dict()
