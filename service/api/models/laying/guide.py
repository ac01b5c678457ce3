"""The set-up guide."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from ..readings import LayoutOut
from ..shared import Open, Point


class GuideGiven(BaseModel):
    """What is to be laid: one of ``layout_id``, ``reading_id`` and ``layout``.

    With the tolerance alone what is being laid stays.
    """

    layout_id: int | None = None
    reading_id: int | None = None
    layout: dict[str, Any] | None = None
    mirror: Literal["across", "along"] | None = None
    turn: Literal[0, 180] | None = None
    tolerance_mm: Annotated[
        float | None, Field(description="How near is near enough; null: as last time.")
    ] = None


class Toward(BaseModel):
    """A part of a ball's way."""

    rail: Literal["head", "foot", "left", "right"]
    mm: float
    diamonds: float


class MoveOut(BaseModel):
    """One ball and its place."""

    id: str
    read_as: Annotated[str, Field(description="Its name as read; another where it is in doubt.")]
    from_mm: Point
    to_mm: Point
    off_mm: float
    off_diamonds: float
    toward: list[Toward]
    error_mm: Annotated[float, Field(description="95 % error of where it lies.")]
    right: bool
    sure: Annotated[bool, Field(description="The reading is good enough to say so.")]
    said: str


class StateOut(Open):
    """One look at the table."""

    done: bool
    sure: bool
    obstructed: bool
    settled: bool
    said: Annotated[str, Field(description="Where the set-up stands, to be read aloud.")]
    balls: list[MoveOut]
    steps: list[dict[str, Any]]
    warnings: list[str]


class GuideOut(BaseModel):
    """What is to be laid at a table, and how far it has come."""

    table_id: int
    layout_id: int | None
    title: str
    tolerance_mm: float
    set_at: datetime
    layout: LayoutOut
    reading_id: Annotated[
        int | None, Field(description="The reading looked at; null for a picture not kept.")
    ]
    state: Annotated[StateOut | None, Field(description="Null: nothing was read there yet.")]
    svg: Annotated[str | None, Field(description="The drawing, where it was asked for.")] = None
