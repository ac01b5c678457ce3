"""Players and their settings: hand, reach and spreads."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from service.desk.desk import Desk

from .. import models as m
from ..bodies import page_body, settings_body
from ..deps import Before, DeskDep, Document, Limit, Number, ReaderDep, TableNumber
from ..documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute, tags=["player"])


@router.get("/players", response_model=m.Players)
def list_players(reader: ReaderDep, limit: Limit = 100, before: Before = None) -> dict[str, Any]:
    """Players, newest first. Every store has player 1."""
    return page_body("players", reader.players(limit=limit, before=before), limit)


@router.post("/players", status_code=201, response_model=m.PlayerNamed)
async def post_player(desk: DeskDep, response: Response, player: m.NewPlayer) -> dict[str, Any]:
    """Add a player. Starting values hold until settings are given."""
    record = await desk.run(desk.places.add_player, player.name)
    response.headers["Location"] = f"/api/v1/players/{record.id}"
    return record.to_dict()


@router.get("/players/{number}", response_model=m.PlayerNamed)
def get_one_player(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One player."""
    return reader.player(number).to_dict()


@router.patch("/players/{number}", response_model=m.PlayerNamed)
async def patch_player(number: Number, desk: DeskDep, change: m.PlayerChange) -> dict[str, Any]:
    """Name a player otherwise."""
    return (await desk.run(desk.places.rename_player, number, change.name)).to_dict()


@router.get("/players/{number}/settings", response_model=m.PlayerOut)
def get_settings(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """That player's settings that hold."""
    return settings_body(reader.settings(reader.player(number).id), number)


@router.put("/players/{number}/settings", response_model=m.PlayerOut)
async def put_settings(number: Number, desk: DeskDep, document: Document) -> dict[str, Any]:
    """Set them: a whole `player.json`. What it leaves out stays at its starting value.

    It holds for zones and attempts from now on; attempts made before keep their own settings.
    """
    return settings_body(await desk.run(desk.set_player, document, number), number)


@router.get("/player", response_model=m.PlayerOut)
def get_player(reader: ReaderDep, table: TableNumber = 1) -> dict[str, Any]:
    """The settings of whoever plays at the table now: hand, reach and spreads."""
    player = reader.player_at(table)
    return settings_body(reader.settings(player.id), player.id)


@router.put("/player", response_model=m.PlayerOut)
async def put_player(desk: DeskDep, document: Document, table: TableNumber = 1) -> dict[str, Any]:
    """Set them: a whole `player.json`. What it leaves out stays at its starting value.

    It holds for zones and attempts from now on; attempts made before keep their own settings.
    """
    return await desk.run(_set_player_at, desk, document, table, at=table)


def _set_player_at(desk: Desk, document: dict[str, Any], table: int) -> dict[str, Any]:
    with desk.store.reading() as reader:
        number = reader.player_at(table).id
    return settings_body(desk.set_player(document, number), number)
