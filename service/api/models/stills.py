"""Stills."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from .shared import RowNumber


class StillOut(BaseModel):
    """A still as it arrived."""

    id: int
    received_at: datetime
    name: str
    media_type: str
    sha256: str
    size_bytes: int
    table_id: int = 1
    source: Literal["posted", "watched", "imported"] = "posted"


class RereadAsked(BaseModel):
    """What a still is to be read again with."""

    model_config = ConfigDict(extra="forbid")

    calibration_id: Annotated[
        RowNumber | None, Field(description="One of its table; null: the one that holds.")
    ] = None


class Stills(BaseModel):
    """Stills, newest first; ``next_before`` is the ``before`` of the next page."""

    stills: list[StillOut]
    next_before: int | None
