"""Intents and their landing zones, and what may be asked before one is set."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from .shared import Point


class Ring(BaseModel):
    """A polygon of the landing zone: its outline and its holes, table frame, mm."""

    exterior: list[Point]
    holes: list[list[Point]]


class PlacesOut(BaseModel):
    """Where the cue ball may stop."""

    polygons_mm: list[Ring]
    wanted_mm: Annotated[Point | None, Field(description="The best place in it.")]
    empty: bool
    emptied_by: Annotated[str | None, Field(description="The limit that leaves no place.")]
    emptied_why: str | None
    wanted_margin_mm: Annotated[float | None, Field(description="Its distance to the edge.")]


class PocketZoneOut(PlacesOut):
    """The zone of one pocket, where the intent leaves the next pocket open."""

    pocket: str


class ZoneOut(PlacesOut):
    """The landing zone; ``pockets`` holds each pocket's where the intent names none."""

    pockets: list[PocketZoneOut]


class IntentRow(BaseModel):
    """An intent as it is kept."""

    id: int
    set_at: datetime
    before_reading_id: int
    state: Literal["pending", "scored", "withdrawn"]
    intent: dict[str, Any]
    table_id: int = 1
    player_id: int = 1
    practice_id: int | None = None
    given_by: Annotated[
        Literal["person", "way", "layout"],
        Field(description="A person, the practice's way, or a layout that was set up again."),
    ] = "person"
    waits_for: Annotated[
        dict[str, Any] | None,
        Field(description="The layout that must lie there before it holds; null: none must."),
    ] = None
    place: Annotated[
        int | None, Field(description="Which of the practice's plan it is, from 1; null: none.")
    ] = None


class IntentOut(IntentRow):
    """The intent that waits for its shot, and its landing zone."""

    state_said: Annotated[
        str | None,
        Field(description="Why it waits for its layout; null where its shot can be played."),
    ] = None
    zone: ZoneOut


class MirrorAsked(BaseModel):
    """Which copy of a shot is meant."""

    mirror: Annotated[
        Literal["across", "along"] | None,
        Field(description="across: left and right change places; along: head and foot do."),
    ] = None
    turn: Annotated[Literal[0, 180], Field(description="Degrees, after the mirror.")] = 0


class ZoneAsked(BaseModel):
    """An intent that is not set, and the layout to work its zone out on."""

    model_config = ConfigDict(extra="forbid")

    intent: Annotated[dict[str, Any], Field(description="As PUT /intent takes it.")]
    reading: Annotated[
        int | None,
        Field(
            ge=1, le=2**31 - 1,
            description="Number of the reading that it is worked out on; left out: the layout "
            "that a shot would be played from now.",
        ),
    ] = None  # fmt: skip


class ZonePreviewOut(BaseModel):
    """The landing zone of an intent that is not set, and what its places leave."""

    reading_id: int
    intent: Annotated[dict[str, Any], Field(description="With its balls named.")]
    zone: ZoneOut
    cut_deg: Annotated[
        Point | None,
        Field(description="Least and most cut from the zone's places; null without a next pocket."),
    ]
    distance_mm: Annotated[
        Point | None, Field(description="Least and most distance to the ghost ball, likewise.")
    ]
    words: Annotated[str, Field(description="The intent as a sentence.")]


class MapOut(BaseModel):
    """A map of the bed: rows from y = 0 upward, columns from the head nose line.

    The cell in row i and column j has its middle at ((j + 1/2) step, (i + 1/2) step) mm.
    """

    reading_id: int
    ball: str
    surface_mm: Point
    step_mm: float
    assumed: Annotated[
        list[str], Field(description="The player's settings behind it that are starting values.")
    ]


class ChancesOut(MapOut):
    """Pot chances; null where no cue ball can lie."""

    chance: list[list[float | None]]
    best_mm: Point | None
    best_chance: float | None


class WhereOut(MapOut):
    """An answer a cell; null where no cue ball can lie."""

    answers: list[list[Literal["hand", "bridge", "out of reach", "no", "partly", "yes"] | None]]
