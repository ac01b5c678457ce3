"""Fields of an intent: checks and readings whose errors start with the field's path."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from calibration.table import PointMm
from service.position.errors import IntentError


def points(value: Any, name: str) -> tuple[PointMm, ...]:
    """A list of [x, y] in mm."""
    if not isinstance(value, list | tuple):
        raise IntentError(
            f"{name}: got {value!r}; allowed: a list of [x, y] points in mm. Correct it."
        )
    return tuple(
        (x, y) for x, y in (numbers(point, 2, f"{name}[{i}]") for i, point in enumerate(value))
    )


def numbers(value: Any, count: int, name: str) -> tuple[float, ...]:
    """So many numbers, as floats."""
    listed = isinstance(value, list | tuple) and len(value) == count
    if not listed or not all(isinstance(v, int | float) and not isinstance(v, bool) for v in value):
        wanted = "a number" if count == 1 else f"a list of {count} numbers"
        raise IntentError(f"{name}: got {value!r}; allowed: {wanted}. Correct it.")
    try:
        return tuple(float(v) for v in value)
    except OverflowError:
        raise IntentError(
            f"{name}: got a number too large to be a length; allowed: finite mm. Correct it."
        ) from None


def check_one_of(name: str, value: Any, allowed: Sequence[str], *, optional: bool = False) -> None:
    """Refuse a word that is not among the allowed ones."""
    if value is None and optional:
        return
    if not isinstance(value, str) or value not in allowed:
        raise IntentError(f"{name}: got {value!r}; allowed: {', '.join(allowed)}. Correct it.")


def check_limits(name: str, limits: tuple[float, float], top: float, allowed: str) -> None:
    """Refuse limits that are no numbers, out of range or crossed; equal ones are not crossed."""
    low, high = limits
    if not math.isfinite(low) or math.isnan(high) or not (low >= 0 and high <= top):
        raise IntentError(f"{name}: got [{low:g}, {high:g}]; allowed: {allowed}. Correct it.")
    if low > high:
        raise IntentError(
            f"{name}: got [{low:g}, {high:g}], limits crossed; allowed: the lower limit first. "
            "Swap them."
        )
