"""What watches a table."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field


class WatchAsked(BaseModel):
    """A source to watch."""

    model_config = ConfigDict(extra="forbid")

    source: Annotated[
        str,
        Field(
            min_length=1,
            max_length=2000,
            description="A camera's number (0 is the first) or address (rtsp, rtsps, http or "
            "https), a folder in which stills arrive, or a video file.",
        ),
    ]


class LastStillOut(BaseModel):
    """The still that came last."""

    reading_id: int
    name: str
    at: datetime


class WatchOut(BaseModel):
    """A table's watch as it stands."""

    source: Annotated[
        str | None, Field(description="Without name and password; null: never watched.")
    ]
    state: Annotated[
        Literal["watching", "lost", "stopped"],
        Field(description="lost: the source is away; it is waited for and used again by itself."),
    ]
    said: Annotated[str, Field(description="The last sentence for the player.")]
    code: Annotated[
        str,
        Field(
            description="What that sentence is about: no-picture and frozen of a camera, "
            "obstructed, or the code of the refusal (too-dark, moved, bad-still …); empty: nothing."
        ),
    ] = ""
    since: Annotated[datetime | None, Field(description="Since when it is in this state.")]
    last_still: LastStillOut | None
    resumed: Annotated[
        bool, Field(description="Watched before the service started; it went on by itself.")
    ] = False


class WatchAt(WatchOut):
    """The watch of one of a table's cameras."""

    table_id: int
    camera: str = "overhead"
