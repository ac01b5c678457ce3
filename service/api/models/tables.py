"""Tables."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from service.called import Name

from .shared import RowNumber


class TableOut(BaseModel):
    """A table, and who plays at it now."""

    id: int
    name: str
    player_id: Annotated[int, Field(description="Who plays at it now.")]
    made_at: datetime


class Tables(BaseModel):
    """Tables, newest first."""

    tables: list[TableOut]
    next_before: int | None


class NewTable(BaseModel):
    """A table to make."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"examples": [{"name": "By the window"}]}
    )

    name: Name
    player_id: Annotated[RowNumber, Field(description="Who plays at it.")] = 1


class TableChange(BaseModel):
    """What is to be changed of a table; what is left out, or null, stays."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{"player_id": 1}]})

    name: Name | None = None
    player_id: RowNumber | None = None
