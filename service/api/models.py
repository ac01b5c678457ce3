"""The bodies of the API as OpenAPI publishes them."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Point = tuple[float, float]


class Open(BaseModel):
    """A body whose further fields are passed on as they are."""

    model_config = ConfigDict(extra="allow")


class Problem(Open):
    """Problem details of RFC 9457."""

    type: Annotated[str, Field(description="Address of a page that says what this kind means.")]
    title: str
    status: int
    detail: Annotated[str, Field(description="What was given, what is allowed, what to do.")]
    instance: Annotated[str, Field(description="Path of the request.")]
    code: Annotated[str, Field(description="Stable name of the kind, for programs.")]


class ProblemKind(BaseModel):
    """A kind of problem that this service can answer with."""

    code: str
    title: str
    status: int
    meaning: str


class Health(BaseModel):
    """Whether the service is up, and what it holds."""

    status: Literal["ok"]
    version: str
    calibrated: bool
    stills: int
    readings: int
    attempts: int
    damaged_stills: Annotated[
        list[int], Field(description="Stills whose file was gone or damaged at the start.")
    ] = []
    warnings: Annotated[list[str], Field(description="What to do about it.")] = []


class CalibrationOut(BaseModel):
    """The calibration that holds, and when it was set."""

    id: int
    set_at: datetime
    surface_mm: Point
    head: Annotated[str, Field(description="Side of the picture where the head end lies.")]
    scale_source: Annotated[str, Field(description="What settled the scale.")]
    image_size_px: tuple[int, int]
    calibration: Annotated[dict[str, Any], Field(description="The whole table.json.")]


class StillOut(BaseModel):
    """A still as it arrived."""

    id: int
    received_at: datetime
    name: str
    media_type: str
    sha256: str
    size_bytes: int


class BallOut(Open):
    """A ball: centre in the table frame with its covariance, and its name."""

    id: Annotated[str, Field(description="cue, 1 … 15")]
    x_mm: float
    y_mm: float
    cov_mm2: tuple[Point, Point]
    confidence: float
    doubtful: bool


class LayoutOut(Open):
    """A layout, as `restmark read --json` prints it."""

    still: str
    surface_mm: Point
    settled: bool
    obstructed: bool
    balls: list[BallOut]
    warnings: list[str]


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


class VerdictOut(Open):
    """A verdict, as `restmark score --json` prints it; a value that does not apply is null."""

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


class PlayerOut(BaseModel):
    """The player's settings that hold."""

    id: Annotated[int | None, Field(description="Null where nobody gave any.")]
    set_at: datetime | None
    player_source: Annotated[
        Literal["given", "starting values"],
        Field(description="`starting values` where nobody gave any."),
    ]
    player: Annotated[dict[str, Any], Field(description="The whole player.json.")]


class JudgedAgain(BaseModel):
    """An attempt of a corrected reading."""

    id: int
    judged: Annotated[bool, Field(description="Whether it has a verdict on the new names.")]
    detail: Annotated[str | None, Field(description="Why not; its old verdict stays.")] = None


Taught = Annotated[
    list[str], Field(description="Balls of this set that are known by their look from now on.")
]


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


class BallKnown(BaseModel):
    """How well one ball of the set is known."""

    id: str
    looks: Annotated[int, Field(description="Stills that it was learned from.")]


class NotLearnedOut(BaseModel):
    """A reading that was put right but taught nothing."""

    reading_id: int
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


class Arrival(BaseModel):
    """The answer to a posted still."""

    reading: ReadingOut
    attempt: AttemptOut | None = None


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


class IntentOut(BaseModel):
    """The intent that waits for its shot, and its landing zone."""

    id: int
    set_at: datetime
    before_reading_id: int
    state: Literal["pending", "scored", "withdrawn"]
    intent: dict[str, Any]
    zone: ZoneOut


class Stills(BaseModel):
    """Stills, newest first; ``next_before`` is the ``before`` of the next page."""

    stills: list[StillOut]
    next_before: int | None


class Readings(BaseModel):
    """Readings, newest first."""

    readings: list[ReadingOut]
    next_before: int | None


class Attempts(BaseModel):
    """Attempts, newest first."""

    attempts: list[AttemptOut]
    next_before: int | None


class SummaryOut(BaseModel):
    """What the attempts add up to, as the last line of `restmark session --json`."""

    summary: dict[str, Any]


class ProgressOut(BaseModel):
    """What sessions over weeks say together."""

    progress: dict[str, Any]
    words: list[str]
