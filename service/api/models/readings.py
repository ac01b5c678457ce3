"""Readings, and what was said of their names."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from pydantic import BaseModel, Field

from .shared import Open, Point
from .stills import StillOut


class BallOut(Open):
    """A ball: centre in the table frame with its covariance, and its name."""

    id: Annotated[str, Field(description="cue, 1 … 15")]
    x_mm: float
    y_mm: float
    cov_mm2: tuple[Point, Point]
    confidence: float
    doubtful: bool


class CameraPartOut(Open):
    """What one of several cameras gave to a joined layout."""

    camera: str
    still: str
    sha256: Annotated[str, Field(description="Hash of its still's bytes.")] = ""
    calibration_id: Annotated[
        int | None,
        Field(description="The calibration that it was read with; null where that was not kept."),
    ] = None
    state: Annotated[
        str,
        Field(
            description="agrees; alone: none sees what it sees; apart: it disagrees, and which is "
            "wrong cannot be told; moved; away: it gave no still"
        ),
    ]
    offset_mm: Annotated[
        Point, Field(description="How far its places lie from the joined ones, by itself.")
    ]
    turn_deg: float
    sigma_mm: float
    layout: Annotated[dict[str, Any] | None, Field(description="Its own layout.")] = None


class LayoutOut(Open):
    """A layout, as `restmark read --json` prints it."""

    still: str
    surface_mm: Point
    settled: bool
    obstructed: bool
    balls: list[BallOut]
    hidden_mm: list[list[Point]] = Field(
        default_factory=list, description="Polygons in which a ball could lie unseen."
    )
    unlike: list[str] = Field(
        default_factory=list,
        description="Balls that look like none of the standard colours, where the set seems to be "
        "one of its own.",
    )
    warnings: list[str]
    cameras: list[CameraPartOut] = Field(
        default_factory=list,
        description="What it was joined from, where several cameras look at the table.",
    )


class Comparison(BaseModel):
    """Whether the still was compared with the pending intent, and if not, why not."""

    made: bool
    code: str | None = None
    detail: str | None = None


class ReadingOut(BaseModel):
    """What was read in a still."""

    id: int
    still: StillOut
    calibration_id: int
    read_at: datetime
    took_ms: float
    layout: LayoutOut
    comparison: Annotated[
        Comparison | None, Field(description="Null where no intent was pending.")
    ] = None
    table_id: int = 1
    live: Annotated[
        bool, Field(description="A still taken now at its table: not imported, not read again.")
    ] = True
    outcome: Annotated[
        dict[str, Any] | None,
        Field(
            description="What happened since the live reading before; null: nobody looked. Where a "
            "person put it right, `said` is true and `understood` holds what it was taken for; "
            "`intent_met` is the intent that waited when the still came."
        ),
    ] = None
    set_id: Annotated[int | None, Field(description="The taught set that held.")] = None
    weights: Annotated[str | None, Field(description="Hash of the networks used.")] = None
    software: Annotated[str | None, Field(description="Release that read it.")] = None


class Readings(BaseModel):
    """Readings, newest first."""

    readings: list[ReadingOut]
    next_before: int | None


class NameSaid(BaseModel):
    """Which ball lies at a place of the table frame."""

    id: Annotated[
        str | None, Field(description="cue, 1 … 15; null where nobody can tell, then in doubt.")
    ]
    x_mm: float
    y_mm: float


class CorrectionOut(BaseModel):
    """What was said of a reading's names at one time."""

    id: int
    made_at: datetime
    names: list[NameSaid]


class Corrections(BaseModel):
    """What was said of a reading's names, oldest first, without what was taken back."""

    corrections: list[CorrectionOut]
