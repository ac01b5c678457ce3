"""Practices."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from service.called import Name

from ..shared import RowNumber


class PracticeAsked(BaseModel):
    """A practice to begin."""

    model_config = ConfigDict(extra="forbid")

    title: Name | None = None
    way: Annotated[
        dict[str, Any] | None,
        Field(
            description="`kind`: free, plan, same again, rotation, progressive or pressure; "
            "`shots`: intents in order; and the kind's settings, as a plan has them."
        ),
    ] = None
    plan_id: Annotated[
        RowNumber | None, Field(description="A kept plan whose shots are played.")
    ] = None


class PracticeChange(BaseModel):
    """What is to change of a practice."""

    model_config = ConfigDict(extra="forbid")

    title: Name | None = None
    finished: Annotated[bool | None, Field(description="true: it ends, and stays so.")] = None


class SkipAsked(BaseModel):
    """Which shot is to be skipped."""

    model_config = ConfigDict(extra="forbid")

    place: Annotated[
        RowNumber | None,
        Field(description="The place of the next one, from 1: another is refused. Null: the next."),
    ] = None


class PracticeRow(BaseModel):
    """A practice as it is kept."""

    id: int
    table_id: int
    player_id: int
    began_at: datetime
    finished_at: Annotated[datetime | None, Field(description="Null: it is open.")]
    title: str
    way: dict[str, Any]
    plan_id: int | None = None
    skipped: Annotated[
        list[int], Field(description="Places of a plan's shots that were skipped, from 1.")
    ] = []


class PracticeOut(PracticeRow):
    """A practice with its own score, pots and position apart, and what is next."""

    attempts: Annotated[int, Field(description="Attempts that count.")]
    report: Annotated[
        dict[str, Any] | None, Field(description="The way's own score; null for free play.")
    ]
    apart: Annotated[
        dict[str, Any],
        Field(description="Rates of pot, position, both, and position by the pot's fate."),
    ]
    next: Annotated[
        dict[str, Any] | None,
        Field(
            description="`turn` (with the `place` of a plan's shot, from 1), `waits` (why it "
            "cannot be played yet), `set_up` (the layout to set up), `finished`; null where the "
            "practice is finished."
        ),
    ]


class Practices(BaseModel):
    """Practices, newest first; ``next_before`` is the ``before`` of the next page."""

    practices: list[PracticeRow]
    next_before: int | None
