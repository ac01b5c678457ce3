"""What follows from a correction, and what is known of the ball set."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, Field

from .readings import ReadingOut

Taught = Annotated[
    list[str], Field(description="Balls of this set that are known by their look from now on.")
]


class JudgedAgain(BaseModel):
    """An attempt of a corrected reading."""

    id: int
    judged: Annotated[bool, Field(description="Whether it has a verdict on the new names.")]
    detail: Annotated[str | None, Field(description="Why not; its old verdict stays.")] = None


class Learned(BaseModel):
    """Whether the ball set counts what was said of a reading."""

    made: bool
    detail: Annotated[str | None, Field(description="Why not; the names are kept all the same.")]


class Corrected(BaseModel):
    """A reading with its names put right, and what follows from that."""

    reading: ReadingOut
    attempts: list[JudgedAgain]
    taught: Taught
    learned: Learned


class TakenBack(BaseModel):
    """A reading as it was before its last correction, and what follows from that."""

    reading: ReadingOut
    attempts: list[JudgedAgain]
    taught: Taught


class BallKnown(BaseModel):
    """How well one ball of the set is known."""

    id: str
    looks: Annotated[int, Field(description="Stills that it was learned from.")]


class NotLearnedOut(BaseModel):
    """A reading that was put right but taught nothing."""

    reading_id: int
    detail: str


class UnusualOut(BaseModel):
    """That the set on the table looks like none of the known ones."""

    unlike: Annotated[
        list[str],
        Field(description="Names of balls that look like no standard ball left for them."),
    ]
    cost: Annotated[
        float,
        Field(description="What the names cost against the looks, natural logarithms a still."),
    ]
    stills: Annotated[int, Field(description="Newest live stills that were looked at.")]
    detail: str


class KnownSetOut(BaseModel):
    """What is known of the table's ball set; later stills are named by it."""

    balls: Annotated[list[BallKnown], Field(description="All sixteen, unknown ones with none.")]
    mistrust: Annotated[
        float | None,
        Field(
            description="Share of this set's balls that the network by itself knows nothing of, "
            "0 to 1; null where nothing was taught."
        ),
    ]
    given_at: Annotated[
        datetime | None, Field(description="When a set was given by `serve --set`.")
    ]
    given_refused: Annotated[str | None, Field(description="Why that one is not used.")]
    learned_from: Annotated[
        list[int], Field(description="Numbers of the readings put right by hand that count.")
    ]
    not_learned: list[NotLearnedOut]
    unusual: Annotated[
        UnusualOut | None,
        Field(
            description="Where the newest live stills show a set of none of the known colourings "
            "that was not taught yet; null otherwise."
        ),
    ] = None
