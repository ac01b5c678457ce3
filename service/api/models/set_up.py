"""Bodies that the set-up takes and gives, as OpenAPI publishes them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from calibration.seen.points import CLICK_SIGMA_PX

from .shared import Open

Text = Annotated[str, Field(max_length=200)]
Number = Annotated[str, Field(min_length=1, max_length=40)]


class _Asked(BaseModel):
    model_config = ConfigDict(extra="forbid")


class PointSaid(_Asked):
    """A place of the table and where it is in the still."""

    name: Annotated[
        Text, Field(alias="is", description="A sight, a pocket's nose point or a spot: left-3.")
    ]
    u: Annotated[float, Field(allow_inf_nan=False, description="Pixel from the left.")]
    v: Annotated[float, Field(allow_inf_nan=False, description="Pixel from the top.")]
    sigma_px: Annotated[
        float, Field(allow_inf_nan=False, description="How well it was pointed at, per axis.")
    ] = CLICK_SIGMA_PX


class CalibrationAsked(_Asked):
    """What to make a calibration of."""

    still: Annotated[Number, Field(description="The still of the empty table.")]
    surface: Annotated[Text, Field(description="9ft, pro8, 8ft, 7ft, or 2540x1270 as measured.")]
    head: Annotated[Text, Field(description="left, right, top or bottom of the picture.")]
    camera_height: Annotated[
        Text | None, Field(description="The lens above the bed: 2590, 102in, 8ft6in.")
    ] = None
    camera_height_error: Annotated[
        Text | None, Field(description="How well that is known; 20 mm where nothing is said.")
    ] = None
    surface_error: Annotated[
        Text | None,
        Field(description="How well length and width are known; 3.2 mm for a named size, else 1."),
    ] = None
    lens: Annotated[Number | None, Field(description="A kept lens.")] = None
    ball_check: Annotated[
        Number | None, Field(description="A still with balls frozen to the cushions.")
    ] = None
    points: Annotated[
        list[PointSaid], Field(max_length=60, description="Places pointed out by hand.")
    ] = []
    points_only: Annotated[bool, Field(description="Look for nothing else in the still.")] = False
    accept_balls: Annotated[
        bool, Field(description="Take a bed that is not empty; nothing is compared with it later.")
    ] = False


class HostAsked(_Asked):
    """A source of the host's."""

    source: Annotated[str, Field(min_length=1, max_length=1000, description="0, rtsp://…, folder")]


class BoardAsked(_Asked):
    """A printed lens board."""

    paper: Annotated[Text, Field(description="A3, A4 or letter.")] = "A4"
    ruler_mm: Annotated[
        float | None,
        Field(allow_inf_nan=False, description="What the print's 100 mm bar measures."),
    ] = None


class StillAsked(_Asked):
    """A still of the set-up."""

    still: Number


class PlaceSaid(_Asked):
    """A still of a place where the cue ball can just still be played."""

    still: Number
    bridge: Annotated[bool, Field(description="With the mechanical bridge.")] = False
    side: Annotated[
        Literal["back", "body_side", "off_side"] | None,
        Field(description="What the place shows alone."),
    ] = None


class ReachAsked(_Asked):
    """Just reachable places."""

    places: Annotated[list[PlaceSaid], Field(min_length=1, max_length=24)]
    handedness: Literal["right", "left"] | None = None


class SetupStillOut(Open):
    """A still that the set-up holds in memory."""

    id: str
    name: str
    width_px: int
    height_px: int
    picture: Annotated[str, Field(description="Address of the picture.")]


class WorkRefused(Open):
    """Why nothing came of it."""

    code: str
    detail: str
    headline: Annotated[str, Field(description="The same for a player.")]
    to_do: str


class WorkOut(Open):
    """Work of the set-up: where it stands, and what came of it."""

    id: str
    kind: Literal["calibration", "board-still", "lens", "reach"]
    state: Literal["waiting", "working", "done", "refused"]
    step: Annotated[str, Field(description="What it is at, in words.")]
    part: Annotated[float, Field(description="Which part of it is done, 0 to 1.")]
    seen: Annotated[dict[str, Any] | None, Field(description="What was found so far.")]
    refusal: WorkRefused | None
    result: Annotated[dict[str, Any] | None, Field(description="By kind.")]


class BoardOut(Open):
    """A lens board that is being shown."""

    id: str
    used: Annotated[int, Field(description="Stills that count.")]
    wanted: int
    can_fit: bool
    next: Annotated[str, Field(description="What to show next, in words.")]


class LensOut(Open):
    """A kept lens."""

    id: str
    size_px: tuple[int, int]
    held_out_px: Annotated[float, Field(description="Error at corners it was not made from.")]
    words: str


class Lenses(BaseModel):
    """All kept lenses, the newest first."""

    lenses: list[LensOut]
