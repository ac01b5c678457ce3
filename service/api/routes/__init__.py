"""The routes of /api/v1, one module a subject. Thin: each asks the store or the desk.

In: requests, as ``deps`` and the models take them apart. Out: bodies that the models publish. A
module here has a ``router`` of its own, which ``ROUTERS`` lists.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from .. import models as m
from . import (
    attempts,
    before,
    calibration,
    door,
    figures,
    guide,
    intent,
    layouts,
    live,
    plans,
    players,
    programs,
    readings,
    service,
    set_up,
    stills,
    tables,
)

ROUTERS = (
    service.router,
    calibration.router,
    tables.router,
    players.router,
    stills.router,
    readings.router,
    intent.router,
    before.router,
    attempts.router,
    *live.ROUTERS,
    figures.router,
    *programs.ROUTERS,
    layouts.router,
    plans.router,
    guide.router,
    set_up.router,
    *door.ROUTERS,
)
REFUSALS: dict[int | str, dict[str, Any]] = {
    "4XX": {
        "model": m.Problem,
        "description": "Refused; the body says why and what to do.",
        "content": {"application/problem+json": {}},
    }
}
router = APIRouter(prefix="/api/v1", responses=REFUSALS)
for _each in ROUTERS:
    router.include_router(_each)
