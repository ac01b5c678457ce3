"""Sights against edges: where many sights say otherwise, the edges were something else's.

A few sights off their places are chalk, a cue's joint or a repair; a solve that leaves many behind
has followed other straight lines than the table's, and its small residuals there mean nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from .errors import CalibrationError
from .files import Residual

OFF_MM = 4.0
"""Further than the building tolerance of 3.2 mm and a pixel's error besides."""
MOST_OFF = 2
MOST_SHARE = 0.15
"""Sights that may be off their places: this many, or this part of those seen."""


def check_sights(residuals: Sequence[Residual]) -> None:
    """Refuse a solve that many sights contradict, by their names."""
    sights = [r for r in residuals if r.kind == "sight"]
    off = sorted((r for r in sights if abs(r.off_mm) > OFF_MM), key=lambda r: -abs(r.off_mm))
    if len(off) <= max(MOST_OFF, MOST_SHARE * len(sights)):
        return
    listed = ", ".join(f"{r.name} {abs(r.off_mm):.1f} mm" for r in off)
    raise CalibrationError(
        f"landmarks: got {len(off)} of {len(sights)} sights away from where the cushions' edges "
        f"put them ({listed}); allowed: {MOST_OFF}, or {MOST_SHARE:.0%}, beyond {OFF_MM:g} mm. "
        "Clear the rails of cues and cloths, and take the still again, sharp and evenly lit."
    )
