"""Base of bodies, and shapes that several have."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

NUMBER_LIMIT = 2**31 - 1
"""Row numbers stay below what every database's number columns hold."""
NAME_LIMIT = 100
Point = tuple[float, float]
RowNumber = Annotated[int, Field(ge=1, le=NUMBER_LIMIT)]


def _shown(text: str) -> str:
    if not text.isprintable():
        raise ValueError("characters that can be shown are allowed, on one line")
    return text


Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=NAME_LIMIT),
    AfterValidator(_shown),
]
"""What a person calls something: one line, without space around it."""


class Open(BaseModel):
    """A body whose further fields are passed on as they are."""

    model_config = ConfigDict(extra="allow")
