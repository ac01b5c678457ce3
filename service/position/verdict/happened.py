"""What happened between two layouts, and whether they can be compared at all."""

from __future__ import annotations

import math
from collections.abc import Sequence

from calibration.table import Table
from service.position.errors import AttemptError
from vision.layout import BALL_IDS, Ball, Layout

SURFACE_SLACK_MM = 0.5
"""Surfaces of layouts and table may differ by this much."""
MOVED_LEAST_MM = 5.0
"""A ball that changed its place by more than this and by more than its error has moved."""


def potted(before: Layout, after: Layout) -> list[str]:
    """Object balls of ``before`` that are missing in ``after``, by number.

    None where a part of the bed is hidden after the shot: a ball could lie there.
    """
    return [] if after.hidden_mm else missing(before, after)


def missing(before: Layout, after: Layout) -> list[str]:
    """Object balls of ``before`` that are not seen in ``after``, by number."""
    there = {ball.id for ball in after.balls}
    gone = {ball.id for ball in before.balls} - there - {"cue"}
    return sorted(gone, key=BALL_IDS.index)


def moved_mm(was: Ball, now: Ball) -> float:
    """How far a ball moved; 0 where that is within its error or too little to matter."""
    x, y = now.x_mm - was.x_mm, now.y_mm - was.y_mm
    moved = math.hypot(x, y)
    if moved <= MOVED_LEAST_MM:
        return 0.0
    along = [
        x * x * cov[0][0] + x * y * (cov[0][1] + cov[1][0]) + y * y * cov[1][1]
        for cov in (was.cov_mm2, now.cov_mm2)
    ]
    spread = math.sqrt(max(sum(along), 0.0)) / moved
    return moved if moved > 3 * spread else 0.0


def check_layouts(before: Layout, after: Layout, table: Table) -> None:
    """Refuse layouts that are obstructed, unsettled or of another surface.

    Raises:
        AttemptError: code ``obstructed``, ``unsettled`` or ``other-surface``.
    """
    layouts: Sequence[tuple[str, Layout]] = (("before", before), ("after", after))
    for when, layout in layouts:
        if layout.obstructed:
            raise AttemptError(
                f"{when} ({layout.still or 'unnamed still'}): something lies over the playing "
                "surface; allowed: a still without arm, cue or body over the table. Take another.",
                code="obstructed",
            )
        if not layout.settled:
            raise AttemptError(
                f"{when} ({layout.still or 'unnamed still'}): balls are still moving; allowed: a "
                "settled layout. Take the still later.",
                code="unsettled",
            )
        if any(
            abs(a - b) > SURFACE_SLACK_MM
            for a, b in zip(layout.surface_mm, table.surface_mm, strict=True)
        ):
            raise AttemptError(
                f"{when}.surface_mm: got {layout.surface_mm[0]:g}x{layout.surface_mm[1]:g}; "
                f"allowed: this table's {table.length_mm:g}x{table.width_mm:g} mm. Use stills and "
                "calibration of one table.",
                code="other-surface",
            )
