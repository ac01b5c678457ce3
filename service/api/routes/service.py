"""Health and problems."""

from __future__ import annotations

import shutil
from importlib.metadata import version
from typing import Any

from fastapi import APIRouter

from service.store import DAMAGED, NotFoundError

from .. import models as m
from ..deps import DeskDep, ReaderDep
from ..documents import DocumentRoute
from ..kinds import KINDS

router = APIRouter(route_class=DocumentRoute)


@router.get("/health", response_model=m.Health, tags=["service"])
def health(reader: ReaderDep, desk: DeskDep) -> dict[str, Any]:
    """Whether the service is up, what it holds, and what was not whole when it was looked at."""
    store = desk.store
    condition, stills = store.condition, store.stills_check
    return {
        "status": "damaged" if condition.state == DAMAGED else "ok",
        "version": version("restmark"),
        "calibrated": reader.calibration() is not None,
        "tables": [
            {"table_id": number, "calibrated": calibrated}
            for number, calibrated in reader.tables_calibrated().items()
        ],
        **reader.counts(),
        "damaged_stills": [still.id for still in stills.damaged],
        "warnings": list(store.warnings),
        "database": {
            "state": condition.state,
            "looked_at": condition.looked_at,
            "took_s": condition.took_s,
            "copies": list(condition.copies),
        },
        "disk_free_bytes": shutil.disk_usage(store.data_dir).free,
        "watches": [
            {"table_id": number, "camera": camera, **state.to_dict()}
            for (number, camera), state in desk.watches.states().items()
        ],
    }


@router.get("/problems", response_model=list[m.ProblemKind], tags=["service"])
def problem_kinds() -> list[dict[str, Any]]:
    """Every kind of problem that this service answers with."""
    return [problem_kind(code) for code in KINDS]


@router.get("/problems/{code}", response_model=m.ProblemKind, tags=["service"])
def problem_kind(code: str) -> dict[str, Any]:
    """What a problem's `type` points to."""
    kind = KINDS.get(code)
    if kind is None:
        raise NotFoundError(
            f"problem: got {code!r}; allowed: one that /api/v1/problems lists. Look it up there."
        )
    return {"code": code, "title": kind.title, "status": kind.status, "meaning": kind.meaning}
