"""The way that a plan names by its ``mode``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from calibration.table import Table
from service.position import Intent, IntentError
from vision.layout import Layout

from .in_order import InOrder
from .pressure import Pressure
from .progressive import Progressive
from .rotation import BY_RULE, Rotation
from .same_again import SameAgain
from .tried import Tried
from .turn import Turn

MODES: Mapping[str, tuple[str, ...]] = {
    "in order": (),
    "same again": ("each",),
    "rotation": (),
    "progressive": ("what", "start_mm", "step_mm", "least_mm", "most_mm", "window_mm", "counts"),
    "pressure": ("in_a_row", "counts"),
}
"""Every mode with its settings."""
_TEXTS = ("what", "counts")
_WHOLE = ("each", "in_a_row")


class Way(Protocol):
    """A way to practise."""

    def next(
        self, tried: Sequence[Tried], layout: Layout | None = None, table: Table | None = None
    ) -> Turn | None:
        """The next turn after these attempts, on the table as it lies; None at the end."""

    def report(self, tried: Sequence[Tried]) -> dict[str, Any]:
        """What this way's own score is."""


def way_of(
    mode: str, shots: tuple[Intent | None, ...], settings: Mapping[str, Any] | None = None
) -> Way:
    """The way of that mode; errors name the setting, what was given and what is allowed."""
    given = dict(settings or {})
    if mode not in tuple(MODES):
        raise IntentError(f"mode: got {mode!r}; allowed: {', '.join(MODES)}. Correct it.")
    unknown = sorted(set(given) - set(MODES[mode]))
    if unknown:
        allowed = ", ".join(MODES[mode]) or "no settings"
        raise IntentError(
            f"{unknown[0]}: no setting of mode {mode!r}; allowed: {allowed}. Remove it."
        )
    for name, value in given.items():
        _check(name, value)
    if mode == "rotation":
        return Rotation(rule=_rule(shots))
    if mode == "same again":
        return SameAgain(shots=shots, **given)
    if mode == "progressive":
        return Progressive(shots=shots, **given)
    if mode == "pressure":
        return Pressure(shots=shots, **given)
    return InOrder(shots=shots)


def _rule(shots: tuple[Intent | None, ...]) -> Intent:
    if len(shots) > 1:
        raise IntentError(
            f"shots: got {len(shots)} intents; allowed in rotation: none, or one with the limits "
            "of every leave. Remove the others."
        )
    return (shots[0] if shots else None) or BY_RULE


def _check(name: str, value: Any) -> None:
    if name in _TEXTS:
        fits, what = isinstance(value, str), "a word"
    elif name in _WHOLE:
        fits = isinstance(value, int) and not isinstance(value, bool) and value >= 1
        what = "a whole number from 1"
    else:
        fits = isinstance(value, int | float) and not isinstance(value, bool)
        what = "a number of mm"
    if not fits:
        raise IntentError(f"{name}: got {value!r}; allowed: {what}. Correct it.")
