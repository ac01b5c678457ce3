"""A distance that adapts: farther after a success, nearer after a failure.

The hit rate tends to even whoever plays; the distance that was reached is the score.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from calibration.table import Table
from service.position import Intent, IntentError
from vision.layout import Layout

from .tried import COUNTS, Tried
from .turn import Turn

WHAT = ("ball", "leave")


@dataclass(frozen=True, slots=True, kw_only=True)
class Progressive:
    """One intent at a distance that moves by a step after every attempt that could be told."""

    shots: tuple[Intent | None, ...]
    what: str = "ball"
    """``ball``: the player lays a ball that much farther; ``leave``: the middle of the wanted
    distance to the next ball moves."""
    start_mm: float = 600.0
    step_mm: float = 150.0
    least_mm: float = 150.0
    most_mm: float = 2400.0
    window_mm: float = 300.0
    """Whole width of the wanted distance, for ``leave``."""
    counts: str = "both"
    """What makes a success: ``pot``, ``position`` or ``both``."""

    def __post_init__(self) -> None:
        for name, allowed in (("what", WHAT), ("counts", COUNTS)):
            if getattr(self, name) not in allowed:
                raise IntentError(
                    f"{name}: got {getattr(self, name)!r}; allowed: {', '.join(allowed)}. "
                    "Correct it."
                )
        limits = (self.least_mm, self.start_mm, self.most_mm)
        fits = all(math.isfinite(mm) for mm in (*limits, self.step_mm, self.window_mm))
        in_order = 0 <= self.least_mm <= self.start_mm <= self.most_mm
        if not (fits and in_order and self.step_mm > 0 and self.window_mm > 0):
            raise IntentError(
                f"progressive: got start {self.start_mm:g}, step {self.step_mm:g}, from "
                f"{self.least_mm:g} to {self.most_mm:g} mm; allowed: a step over 0 and a start "
                "between the limits. Correct them."
            )
        if len(self.shots) != 1 or self.shots[0] is None:
            raise IntentError(
                f"shots: got {len(self.shots)} intents; allowed: the one whose distance adapts. "
                "Give one."
            )
        if self.what == "leave" and self.shots[0].next is None:
            raise IntentError(
                "next: missing; allowed: a next ball, to which the distance of the leave is "
                "measured. Name it."
            )

    def distances_mm(self, tried: Sequence[Tried]) -> list[float]:
        """The distance at every attempt so far, and last the one that is next."""
        out = [self.start_mm]
        for each in tried:
            success = each.success(self.counts)
            step = 0.0 if success is None else self.step_mm if success else -self.step_mm
            out.append(min(max(out[-1] + step, self.least_mm), self.most_mm))
        return out

    def next(
        self, tried: Sequence[Tried], layout: Layout | None = None, table: Table | None = None
    ) -> Turn:
        """The intent at the distance that is next."""
        intent = self.shots[0]
        assert intent is not None
        now = self.distances_mm(tried)[-1]
        if self.what == "leave":
            half = self.window_mm / 2
            intent = replace(intent, distance_mm=(max(now - half, 0.0), now + half))
        return Turn(
            intent=intent,
            same_layout=bool(tried) and (self.what == "leave" or now == self._last(tried)),
            distance_mm=now,
        )

    def report(self, tried: Sequence[Tried]) -> dict[str, Any]:
        """The distance reached, and the greatest at which an attempt succeeded."""
        at = self.distances_mm(tried)
        done = [mm for mm, t in zip(at, tried, strict=False) if t.success(self.counts)]
        return {"reached_mm": at[-1], "farthest_success_mm": max(done, default=None)}

    def _last(self, tried: Sequence[Tried]) -> float:
        return self.distances_mm(tried)[-2]
