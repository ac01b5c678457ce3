"""Whether landmarks bear each other out all round: sights against edges, part by part.

A few sights off their places are chalk, a cue's joint or a repair; a solve that leaves many behind
has followed other straight lines than the table's, and its small residuals there mean nothing. Nor
do they where a part of the table shows no landmarks: the solve is a guess there.
"""

from __future__ import annotations

from collections.abc import Sequence

from calibration.errors import CalibrationError
from calibration.kept.calibration import Residual
from calibration.seen.marks import SIDES, side_of
from calibration.seen.points import FEWEST_ALONE
from calibration.table import Table

OFF_MM = 4.0
"""Further than the building tolerance of 3.2 mm and a pixel's error besides."""
MOST_OFF = 2
MOST_SHARE = 0.15
"""Sights that may be off their places: this many, or this part of those seen."""
MOST_EDGE_MM = 3.0
"""A stretch of an edge further from its place than this bears nothing out."""
FEWEST_STRETCHES = 3
"""Stretches of a nose or a seam that every side must show."""
FEWEST_OF_A_SIDE = 3
"""Sights that bear a side out whose edges are lost in noise or shadow: a whole short rail's."""
FEWEST_BY_LENGTH, FEWEST_BY_WIDTH = 3, 2
"""Sights that the head and foot half, the left and right half must show; a cue along a long rail
leaves two of its half in view, at the ends."""


def check_sights(residuals: Sequence[Residual]) -> None:
    """Refuse a solve that many sights contradict, by their names.

    Raises:
        CalibrationError: more sights than ``MOST_OFF`` and ``MOST_SHARE`` are off their places.
    """
    sights = [r for r in residuals if r.kind == "sight"]
    off = sorted((r for r in sights if abs(r.off_mm) > OFF_MM), key=lambda r: -abs(r.off_mm))
    if len(off) <= max(MOST_OFF, MOST_SHARE * len(sights)):
        return
    listed = ", ".join(f"{r.name} {abs(r.off_mm):.1f} mm" for r in off)
    raise CalibrationError(
        f"landmarks: got {len(off)} of {len(sights)} sights away from where the cushions' edges "
        f"put them ({listed}); allowed: {MOST_OFF}, or {MOST_SHARE:.0%}, beyond {OFF_MM:g} mm. "
        "Clear the rails of cues and cloths, and take the still again, sharp and evenly lit.",
        fields={"about": "landmarks", "names": [r.name for r in off]},
    )


def check_spread(residuals: Sequence[Residual], table: Table) -> None:
    """Refuse a solve that leaves a part of the table without landmarks, naming the part.

    Hand-given points that could stand alone are judged as such, not here; fewer of them each
    stand for a sight, wherever they are.

    Raises:
        CalibrationError: a side or a half of the table shows too few landmarks.
    """
    points = sum(r.kind == "point" for r in residuals)
    if points >= FEWEST_ALONE:
        return
    lacking = [*_bare_sides(residuals), *_bare_halves(residuals, table, points)]
    if lacking:
        raise CalibrationError(
            f"landmarks: got {', '.join(lacking)}; allowed: {FEWEST_STRETCHES} stretches of nose "
            f"or seam on each side, {FEWEST_BY_LENGTH} sights in the head and foot half, "
            f"{FEWEST_BY_WIDTH} in the left and right half. Take the still with the whole table "
            "in view and nothing on its rails, sharp and evenly lit.",
            fields={"about": "landmarks", "lacking": lacking},
        )


def _bare_sides(residuals: Sequence[Residual]) -> list[str]:
    kinds = ("nose", "cushion back")
    seen = [side_of(r.part) for r in residuals if r.kind in kinds and abs(r.off_mm) < MOST_EDGE_MM]
    sights = [
        side_of(r.part) for r in residuals if r.kind == "sight" and abs(r.off_mm) <= MOST_EDGE_MM
    ]
    return [
        f"{seen.count(side)} stretches of nose or seam on the {side} side"
        for side in SIDES
        if seen.count(side) < FEWEST_STRETCHES and sights.count(side) < FEWEST_OF_A_SIDE
    ]


def _bare_halves(residuals: Sequence[Residual], table: Table, points: int) -> list[str]:
    length_mm, width_mm = table.surface_mm
    places = [
        table.sights_mm[r.part] for r in residuals if r.kind == "sight" and abs(r.off_mm) <= OFF_MM
    ]
    halves = {
        "head": (FEWEST_BY_LENGTH, sum(x < length_mm / 2 for x, _ in places)),
        "foot": (FEWEST_BY_LENGTH, sum(x > length_mm / 2 for x, _ in places)),
        "right": (FEWEST_BY_WIDTH, sum(y < width_mm / 2 for _, y in places)),
        "left": (FEWEST_BY_WIDTH, sum(y > width_mm / 2 for _, y in places)),
    }
    return [
        f"{count} agreeing sights in the {half} half"
        for half, (fewest, count) in halves.items()
        if count < fewest - points
    ]
