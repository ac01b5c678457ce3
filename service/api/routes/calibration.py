"""Calibrations: the one that holds at a table, and those that held."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.concurrency import run_in_threadpool

from service.called import Name
from service.desk.refusals import no_calibration
from service.store import OVERHEAD, NotFoundError

from .. import models as m
from ..bodies import calibration_body, calibration_row, next_before
from ..deps import Before, CameraName, DeskDep, Document, Limit, Number, ReaderDep, TableNumber
from ..documents import DocumentRoute

FurtherCamera = Annotated[Name, Query(alias="camera", description="Which further camera.")]

router = APIRouter(route_class=DocumentRoute, tags=["calibration"])


@router.get("/calibration", response_model=m.CalibrationOut)
def get_calibration(
    reader: ReaderDep, table: TableNumber = 1, camera: CameraName = OVERHEAD
) -> dict[str, Any]:
    """The calibration that holds."""
    reader.table(table)
    record = reader.calibration(table_id=table, camera=camera)
    if record is None:
        raise NotFoundError(no_calibration(table).detail)
    return calibration_body(record)


@router.put("/calibration", response_model=m.CalibrationOut)
async def put_calibration(
    desk: DeskDep, document: Document, table: TableNumber = 1, camera: CameraName = OVERHEAD
) -> dict[str, Any]:
    """Set the calibration: a whole `table.json`. An intent that was pending is withdrawn."""
    return calibration_body(await desk.run(desk.set_calibration, document, table, camera, at=table))


@router.delete("/calibration", status_code=204)
async def delete_calibration(
    desk: DeskDep, reader: ReaderDep, camera: FurtherCamera, table: TableNumber = 1
) -> None:
    """Take a further camera away: its stills are waited for no longer, and its watch ends.

    Calibrations and readings stay; `PUT` brings it back.
    """
    number = reader.table(table).id
    await desk.run(desk.end_camera, number, camera, at=number)
    # not in the table's turn: a still that the watch hands in waits for it
    await run_in_threadpool(desk.kept_watches.end, number, camera)


@router.get("/calibrations", response_model=m.Calibrations)
def list_calibrations(
    reader: ReaderDep,
    limit: Limit = 100,
    before: Before = None,
    table: Annotated[m.RowNumber | None, Query(description="Only that table's.")] = None,
    camera: Annotated[Name | None, Query(description="Only that camera's.")] = None,
) -> dict[str, Any]:
    """Calibrations, newest first, those that held included."""
    found = reader.calibrations(limit=limit, before=before, table_id=table, camera=camera)
    return {
        "calibrations": [calibration_row(record) for record in found],
        "next_before": next_before([record.id for record in found], limit),
    }


@router.get("/calibrations/{number}", response_model=m.CalibrationOut)
def get_calibration_by_number(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One calibration with its document: readings name theirs by this number."""
    record = reader.calibration(number)
    if record is None:
        raise NotFoundError.of("calibration", number, "the list of calibrations")
    return calibration_body(record)
