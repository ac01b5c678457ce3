"""What attempts add up to."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel


class SummaryOut(BaseModel):
    """What the attempts add up to, as the last line of `restmark session --json`."""

    summary: dict[str, Any]


class ProgressOut(BaseModel):
    """What sessions over weeks say together."""

    progress: dict[str, Any]
    words: list[str]
