"""What taking in an archive did, and what chosen attempts add up to."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, Field


class Imported(BaseModel):
    """Rows of an archive, by kind."""

    added: Annotated[dict[str, int], Field(description="Rows that are new.")]
    there: Annotated[
        dict[str, int], Field(description="Rows that the store had already; they stay as they are.")
    ]
    numbers: Annotated[
        dict[str, dict[str, int]],
        Field(description="`tables` and `players`: numbers there, and their numbers here."),
    ]


class StatisticsOut(BaseModel):
    """What chosen attempts add up to."""

    headline: Annotated[str, Field(description="The weak side, or what is missing to tell it.")]
    words: Annotated[list[str], Field(description="The same in sentences.")]
    statistics: dict[str, Any]
