"""Kept layouts and plans."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from pydantic import BaseModel, Field

from ..readings import LayoutOut


class LayoutKept(BaseModel):
    """A layout of the library."""

    id: int
    title: str
    note: str
    tags: list[str]
    made_at: datetime
    changed_at: datetime
    struck_at: Annotated[datetime | None, Field(description="Null: it is listed.")]
    reading_id: Annotated[int | None, Field(description="The reading it was recorded from.")]
    layout: LayoutOut
    intent: Annotated[dict[str, Any] | None, Field(description="The shot that is played from it.")]


class LayoutsKept(BaseModel):
    """Layouts of the library, newest first, and all tags there are."""

    layouts: list[LayoutKept]
    tags: list[str]
    next_before: int | None


class LayoutGiven(BaseModel):
    """A layout to keep: the one given, a reading's, or with neither the table as it lies now."""

    title: str | None = None
    note: str | None = None
    tags: list[str] | None = None
    intent: dict[str, Any] | None = None
    reading_id: int | None = None
    layout: dict[str, Any] | None = None


class LayoutWords(BaseModel):
    """What is to be different; a shot that is null goes."""

    title: str | None = None
    note: str | None = None
    tags: list[str] | None = None
    intent: dict[str, Any] | None = None


class PlanKept(BaseModel):
    """A plan that is kept."""

    id: int
    title: str
    made_at: datetime
    changed_at: datetime
    struck_at: datetime | None
    plan: dict[str, Any]


class PlansKept(BaseModel):
    """Plans, newest first."""

    plans: list[PlanKept]
    next_before: int | None


class PlanGiven(BaseModel):
    """A plan to keep, or what is to be different of one."""

    title: str | None = None
    plan: dict[str, Any] | None = None
