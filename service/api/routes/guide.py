"""The set-up guide at a table: what is to be laid, and looks at how far it has come."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.concurrency import run_in_threadpool

from service.desk.laying.guiding import Guides, Look
from service.desk.stored import calibration_of
from service.drawing import guide_svg
from service.guide import Guided
from service.layouts.entry import table_of
from service.words.laying.guide import move_words, state_words, step_words, swap_words
from service.words.lengths import Lengths, Units

from .. import models as m
from ..deps import DeskDep, Document, TableNumber, UnitsQuery
from ..documents import DocumentRoute
from ..upload import BODY_DOCUMENT, read_upload

router = APIRouter(route_class=DocumentRoute)
Drawing = Annotated[bool, Query(description="With the drawing, as SVG.")]


def _guides(request: Request) -> Guides:
    guides = request.app.state.guides
    assert isinstance(guides, Guides)
    return guides


GuidesDep = Annotated[Guides, Depends(_guides)]


@router.get(
    "/guide", response_model=m.GuideOut, response_model_exclude_unset=True, tags=["layouts"]
)
def get_guide(
    guides: GuidesDep,
    table: TableNumber = 1,
    drawing: Drawing = False,
    units: UnitsQuery = Units.MM,
) -> dict[str, Any]:
    """What is to be laid at the table, and the newest reading against it."""
    return guide_body(guides.state(table), drawing=drawing, units=units)


@router.put(
    "/guide",
    response_model=m.GuideOut,
    response_model_exclude_unset=True,
    openapi_extra={
        "requestBody": {
            "content": {"application/json": {"schema": m.GuideGiven.model_json_schema()}}
        }
    },
    tags=["layouts"],
)
async def put_guide(
    desk: DeskDep,
    guides: GuidesDep,
    document: Document,
    table: TableNumber = 1,
    drawing: Drawing = False,
    units: UnitsQuery = Units.MM,
) -> dict[str, Any]:
    """Say what is to be laid, and how near is near enough."""
    await desk.run(guides.put, document, table, at=table)
    look = await run_in_threadpool(guides.state, table)
    return guide_body(look, drawing=drawing, units=units)


@router.delete("/guide", status_code=204, tags=["layouts"])
async def delete_guide(desk: DeskDep, guides: GuidesDep, table: TableNumber = 1) -> None:
    """Nothing is to be laid any more."""
    await desk.run(guides.drop, table, at=table)


@router.post(
    "/guide/look",
    response_model=m.GuideOut,
    response_model_exclude_unset=True,
    openapi_extra=BODY_DOCUMENT,
    tags=["layouts"],
)
async def look(
    request: Request,
    desk: DeskDep,
    guides: GuidesDep,
    table: TableNumber = 1,
    drawing: Drawing = False,
    units: UnitsQuery = Units.MM,
) -> dict[str, Any]:
    """A picture of the table while it is being laid → what is left to do. Nothing is kept."""
    upload = await read_upload(request, name="look", key=None, settled=True)
    taught = (await desk.known_set(table)).taught

    def seen() -> dict[str, Any]:
        found = guides.look(upload.data, name=upload.name, taught=taught, table_id=table)
        return guide_body(found, drawing=drawing, units=units)

    return await run_in_threadpool(seen)


def guide_body(look: Look, *, drawing: bool, units: Units) -> dict[str, Any]:
    """The guide with its state in figures, in words, and as a drawing where asked for."""
    record = look.record
    out: dict[str, Any] = {
        "table_id": record.table_id,
        "layout_id": record.layout_id,
        "title": record.layout.still or "Layout",
        "tolerance_mm": record.tolerance_mm,
        "set_at": record.set_at,
        "layout": record.layout.to_dict(),
        "reading_id": look.reading_id,
        "state": None if look.found is None else state_body(look.found, units),
    }
    if drawing and look.found is not None:
        table = (
            table_of(record.layout)
            if look.calibration is None
            else calibration_of(look.calibration).table
        )
        said = out["state"]["said"]
        out["svg"] = guide_svg(table, look.found, said, units=units)
    return out


def state_body(found: Guided, units: Units) -> dict[str, Any]:
    """One look with every move and step in words beside its figures."""
    lengths = Lengths(units=units, surface_mm=found.now.surface_mm)
    state = found.to_dict()
    for row, move in zip(state["balls"], found.moves, strict=True):
        row["said"] = move_words(move, lengths)
    for row, step in zip(state["steps"], found.steps, strict=True):
        row["said"] = step_words(step, lengths)
    for row, swap in zip(state["swaps"], found.swaps, strict=True):
        row["said"] = swap_words(swap.balls, swap.saves_mm, lengths)
    return {**state, "said": state_words(found, lengths)}
