"""Attempts, and the answer to a still."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from .intent import IntentRow
from .readings import ReadingOut
from .shared import Point, RowNumber


class VerdictOut(BaseModel):
    """A verdict, as `restmark score --json` prints it; a value that does not apply is null."""

    model_config = ConfigDict(extra="allow")

    verdict: Literal["in", "out", "too close to call"] | None
    p_in: float | None = None
    miss_mm: float | None = None
    miss_vector_mm: Point | None = None
    along_mm: float | None = None
    across_mm: float | None = None
    warnings: list[str] = []


class KindOut(BaseModel):
    """What kind of shot it was; null where that is not known or was not noted."""

    travel_mm: Annotated[
        float | None, Field(description="Planned way of the cue ball after the contact.")
    ] = None
    cut_deg: Annotated[float | None, Field(description="Cut of the shot played.")] = None
    rails: int | None = None
    spin: Literal["follow", "stun", "draw"] | None = None
    side_spin: Literal["none", "left", "right"] | None = None


class AttemptOut(BaseModel):
    """A shot compared with its intent."""

    id: int
    made_at: datetime
    before: Annotated[str, Field(description="Name of the still before the shot.")]
    before_reading_id: int
    after: str
    after_reading_id: int
    intent: dict[str, Any]
    verdict: VerdictOut
    kind: KindOut | None = None
    in_a_row: Annotated[
        int | None, Field(description="It belonged to a set of so many successes in a row.")
    ] = None
    player: Annotated[
        dict[str, Any] | None, Field(description="The player's settings it was judged by.")
    ] = None
    player_source: Literal["given", "starting values"] | None = None
    table_id: int = 1
    player_id: int = 1
    practice_id: int | None = None
    struck_at: Annotated[
        datetime | None, Field(description="When it was struck; null: it counts.")
    ] = None
    set_up: Annotated[
        dict[str, Any] | None,
        Field(description="How far off the balls lay when it began, as the guide said."),
    ] = None


class Attempts(BaseModel):
    """Attempts, newest first."""

    attempts: list[AttemptOut]
    next_before: int | None


class Arrival(BaseModel):
    """The answer to a posted still."""

    reading: ReadingOut
    attempt: AttemptOut | None = None
    outcome: Annotated[
        dict[str, Any] | None,
        Field(description="What happened since the live still before; null for a table's first."),
    ] = None
    intent: Annotated[
        IntentRow | None, Field(description="The intent that waits for its shot from now on.")
    ] = None
    same_as: Annotated[
        int | None,
        Field(description="The reading of this very still, which came before: nothing is new."),
    ] = None


class Reopened(BaseModel):
    """An attempt reopened: struck, and its intent pending again."""

    attempt: AttemptOut
    intent: IntentRow


class OutcomeAsked(BaseModel):
    """What happened before a reading."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{"event": "placed"}]})

    event: Literal["shot", "placed", "set_up", "corrected", "spotted", "nothing", "impossible"]
    repeats_reading_id: Annotated[
        RowNumber | None,
        Field(
            description="With `set_up`: the reading in which the layout lay first that was set up "
            "again, one of `GET /readings/NUMBER/repeats`; null: the nearest."
        ),
    ] = None


class RepeatOut(BaseModel):
    """An earlier layout that a later one may be, set up again."""

    repeats_reading_id: Annotated[int, Field(description="The reading in which it lay first.")]
    repeats: Annotated[str, Field(description="Name of that reading's still.")]
    received_at: datetime
    set_up_off_mm: Annotated[
        dict[str, float], Field(description="How far each ball lies from its place there.")
    ]
    said: Annotated[str, Field(description="Still and farthest ball in words.")]


class Repeats(BaseModel):
    """Earlier layouts with the same balls, the nearest first."""

    repeats: list[RepeatOut]


class OutcomeSaid(BaseModel):
    """A reading with its outcome put right, and what follows."""

    reading: ReadingOut
    attempt: Annotated[
        AttemptOut | None, Field(description="The attempt that it ends now; null: none.")
    ]
    struck: Annotated[list[int], Field(description="Attempts that count no longer.")]
    intent: Annotated[
        IntentRow | None, Field(description="The intent that waits for its shot from now on.")
    ]


class UndoneOut(BaseModel):
    """The change by hand that was taken back."""

    id: int
    at: datetime
    kind: Annotated[
        str,
        Field(
            description="strike, restore, reopen, note, names, names-back, outcome, outcome-back "
            "or skip."
        ),
    ]
    attempt_id: int | None = None
    reading_id: Annotated[
        int | None, Field(description="The reading whose names, or outcome, are as they were.")
    ] = None
