"""Base of bodies, and shapes that several have."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

NUMBER_LIMIT = 2**31 - 1
"""Row numbers stay below what every database's number columns hold."""
Point = tuple[float, float]
RowNumber = Annotated[int, Field(ge=1, le=NUMBER_LIMIT)]


class Open(BaseModel):
    """A body whose further fields are passed on as they are."""

    model_config = ConfigDict(extra="allow")
