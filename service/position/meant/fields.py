"""Fields of an intent: what their numbers may be, and checks that two of them need together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import Field

from calibration.strict import shown
from service.position.errors import IntentError

CutDeg = Annotated[float, Field(strict=True, ge=0, le=90, description="degrees from 0 to 90")]
NoLimit = Annotated[float, Field(strict=True, ge=0, description="mm from 0, or null for no limit")]
"""An upper limit; infinity is none."""


def check_one_of(name: str, value: Any, allowed: Sequence[str], *, optional: bool = False) -> None:
    """Refuse a word that is not among the allowed ones."""
    if value is None and optional:
        return
    if not isinstance(value, str) or value not in allowed:
        raise IntentError(f"{name}: got {shown(value)}; allowed: {', '.join(allowed)}. Correct it.")


def check_not_crossed(name: str, limits: tuple[float, float]) -> None:
    """Refuse an upper limit below the lower one; equal ones are not crossed."""
    low, high = limits
    if low > high:
        raise IntentError(
            f"{name}: got [{low:g}, {high:g}], limits crossed; allowed: the lower limit first. "
            "Swap them."
        )
