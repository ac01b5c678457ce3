"""Plans that are kept."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from service.desk.desk import Desk
from service.desk.laying.plans import Plans

from .. import models as m
from ..deps import Before, DeskDep, Document, Limit, Number, ReaderDep
from ..documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute)
_GIVEN: dict[str, Any] = {
    "requestBody": {"content": {"application/json": {"schema": m.PlanGiven.model_json_schema()}}}
}


def _plans(desk: Desk) -> Plans:
    return Plans(desk.store)


@router.get("/plans", response_model=m.PlansKept, tags=["plans"])
def list_plans(
    reader: ReaderDep,
    limit: Limit = 100,
    before: Before = None,
    struck: Annotated[bool, Query(description="Those that were struck instead.")] = False,
) -> dict[str, Any]:
    """Plans, newest first."""
    found = reader.plans(limit=limit, before=before, struck=struck)
    more = len(found) == limit and found[-1].id > 1
    return {
        "plans": [record.to_dict() for record in found],
        "next_before": found[-1].id if more else None,
    }


@router.post(
    "/plans", status_code=201, response_model=m.PlanKept, openapi_extra=_GIVEN, tags=["plans"]
)
async def post_plan(desk: DeskDep, response: Response, document: Document) -> dict[str, Any]:
    """Keep a plan: `{"title": …, "plan": …}`, the plan as in `plan.json`."""
    record = await desk.run(_plans(desk).add, document)
    response.headers["Location"] = f"/api/v1/plans/{record.id}"
    return record.to_dict()


@router.get("/plans/{number}", response_model=m.PlanKept, tags=["plans"])
def get_plan(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One plan."""
    return reader.plan(number).to_dict()


@router.patch("/plans/{number}", response_model=m.PlanKept, openapi_extra=_GIVEN, tags=["plans"])
async def patch_plan(number: Number, desk: DeskDep, document: Document) -> dict[str, Any]:
    """Give it another title or content."""
    return (await desk.run(_plans(desk).change, number, document)).to_dict()


@router.post("/plans/{number}/strike", response_model=m.PlanKept, tags=["plans"])
async def strike_plan(number: Number, desk: DeskDep) -> dict[str, Any]:
    """List it no longer. It can be restored."""
    return (await desk.run(_plans(desk).strike, number)).to_dict()


@router.post("/plans/{number}/restore", response_model=m.PlanKept, tags=["plans"])
async def restore_plan(number: Number, desk: DeskDep) -> dict[str, Any]:
    """List it again."""
    plans = _plans(desk)
    return (await desk.run(lambda: plans.strike(number, restore=True))).to_dict()
