"""Players and their settings."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from service.called import Name


class PlayerNamed(BaseModel):
    """Somebody who plays."""

    id: int
    name: str
    made_at: datetime


class Players(BaseModel):
    """Players, newest first."""

    players: list[PlayerNamed]
    next_before: int | None


class NewPlayer(BaseModel):
    """A player to add."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{"name": "Left"}]})

    name: Name


class PlayerChange(BaseModel):
    """What is to be changed of a player; what is left out, or null, stays."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{"name": "Right"}]})

    name: Name | None = None


class PlayerOut(BaseModel):
    """A player's settings that hold."""

    id: Annotated[int | None, Field(description="Null where nobody gave any.")]
    set_at: datetime | None
    player_source: Annotated[
        Literal["given", "starting values"],
        Field(description="`starting values` where nobody gave any."),
    ]
    player: Annotated[dict[str, Any], Field(description="The whole player.json.")]
    player_id: Annotated[int, Field(description="Whose settings they are.")] = 1
