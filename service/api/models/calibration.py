"""Calibrations."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from pydantic import BaseModel, Field

from .shared import Point


class CalibrationRow(BaseModel):
    """A calibration without its document."""

    id: int
    table_id: int = 1
    camera: str = "overhead"
    set_at: datetime
    ended_at: Annotated[
        datetime | None, Field(description="When its camera was taken away; null: it was not.")
    ] = None
    surface_mm: Point
    head: Annotated[str, Field(description="Side of the picture where the head end lies.")]
    scale_source: Annotated[str, Field(description="What settled the scale.")]
    image_size_px: tuple[int, int]


class CalibrationOut(CalibrationRow):
    """A calibration, and when it was set."""

    calibration: Annotated[dict[str, Any], Field(description="The whole table.json.")]


class Calibrations(BaseModel):
    """Calibrations, newest first; of a table and a camera the newest holds."""

    calibrations: list[CalibrationRow]
    next_before: int | None
