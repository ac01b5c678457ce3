"""The camera, folder or video that is watched at a table."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool

from service.store import OVERHEAD

from ... import models as m
from ...deps import CameraName, DeskDep, ReaderDep, SourcesDep, TableNumber
from ...documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute)


@router.get("/watch", response_model=m.WatchOut, tags=["watch"])
def get_watch(
    desk: DeskDep, reader: ReaderDep, table: TableNumber = 1, camera: CameraName = OVERHEAD
) -> dict[str, Any]:
    """What is watched, whether it is there, what it said last, and its last still."""
    return desk.watches.state(reader.table(table).id, camera).to_dict()


@router.put("/watch", response_model=m.WatchOut, tags=["watch"])
async def put_watch(
    desk: DeskDep,
    reader: ReaderDep,
    sources: SourcesDep,
    asked: m.WatchAsked,
    table: TableNumber = 1,
    camera: CameraName = OVERHEAD,
) -> dict[str, Any]:
    """Watch a source at this table: every rest becomes a live still by itself. Several cameras of
    a table are watched each by itself; what they see of one rest becomes one reading.

    It goes on until it is stopped, over a restart of the service too (a video is watched once); a
    source that goes away is waited for.
    Stills that a folder holds already are passed over. It takes the place of another watch.
    """
    number = reader.table(table).id
    sources.check(asked.source)
    begun = await run_in_threadpool(desk.kept_watches.begin, number, asked.source, camera)
    return begun.to_dict()


@router.delete("/watch", response_model=m.WatchOut, tags=["watch"])
async def delete_watch(
    desk: DeskDep, reader: ReaderDep, table: TableNumber = 1, camera: CameraName = OVERHEAD
) -> dict[str, Any]:
    """Stop watching; a table that is not watched stays as it is."""
    number = reader.table(table).id
    await run_in_threadpool(desk.kept_watches.end, number, camera)
    return desk.watches.state(number, camera).to_dict()
