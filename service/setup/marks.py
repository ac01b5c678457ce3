"""Named places of the table in the still: where each was seen, or where it should be.

The names are those of hand-given points, so that whoever sees one wrong can say where it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from calibration.kept.calibration import Calibration
from calibration.seen.marks import Landmark, Landmarks
from calibration.seen.points import GivenPoint
from calibration.table import POCKET_NAMES

STANDINGS = ("found", "expected", "by hand", "set aside")
"""Seen in the still; not seen, but that is where it should be; pointed out; disagrees."""
SET_ASIDE = 0.1
"""A landmark that weighs less was set aside by the solve."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A sight, a pocket's nose point or a spot in the still."""

    name: str
    """As a hand-given point is called: ``left-3``, ``foot-left/1``, ``foot spot``."""
    kind: str
    """``sight``, ``nose point`` or ``spot``."""
    u: float
    v: float
    standing: str
    off_mm: float | None = None
    """How far from its expected place it was seen; None where that is not known."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return asdict(self)


def kind_of_name(name: str) -> str:
    """The kind of place that a name means."""
    if name.endswith(" spot"):
        return "spot"
    return "nose point" if "/" in name else "sight"


def found_marks(landmarks: Landmarks, given: Sequence[GivenPoint]) -> tuple[Mark, ...]:
    """What there is before anything is solved: the sights that were seen, the points by hand."""
    seen = [
        _mark(item.part, item.seen_px, "found") for item in landmarks.items if item.kind == "sight"
    ]
    return (*seen, *hand_marks(given))


def hand_marks(given: Sequence[GivenPoint]) -> tuple[Mark, ...]:
    """The points by hand alone."""
    return tuple(
        _mark(point.name, point.seen_px, "by hand") for point in given if point.name is not None
    )


def solved_marks(
    landmarks: Landmarks, made: Calibration, given: Sequence[GivenPoint]
) -> tuple[Mark, ...]:
    """Every sight and nose point: as seen where it was, else where the calibration has it."""
    by_hand = {point.name: point for point in given if point.name is not None}
    seen = {item.part: item for item in landmarks.items if item.kind == "sight"}
    said = {residual.name: residual for residual in made.residuals}
    marks = []
    for name, expected_px in _expected(made).items():
        if name in by_hand:
            marks.append(_hand(by_hand[name], said))
            continue
        item = seen.get(name)
        if item is None:
            marks.append(_mark(name, expected_px, _standing_of_nose(name, landmarks)))
            continue
        residual = said.get(item.name)
        aside = residual is not None and residual.weight < SET_ASIDE
        off_mm = None if residual is None else abs(residual.off_mm)
        marks.append(_mark(name, item.seen_px, "set aside" if aside else "found", off_mm))
    spots = [_hand(point, said) for name, point in by_hand.items() if name.endswith(" spot")]
    return (*marks, *spots)


def edges_px(landmarks: Landmarks) -> list[list[float]]:
    """Stretches of cushions and pockets that were seen: u, v each."""
    return [
        [round(item.seen_px[0], 1), round(item.seen_px[1], 1)]
        for item in landmarks.items
        if item.kind in ("nose", "cushion back", "pocket")
    ]


def _expected(made: Calibration) -> dict[str, tuple[float, float]]:
    table, camera = made.table, made.camera
    places = {name: (*place, table.rail_cap_height_mm) for name, place in table.sights_mm.items()}
    for pocket in table.pockets:
        for number, place in enumerate(pocket.nose_points_mm, start=1):
            places[f"{pocket.name}/{number}"] = (*place, table.nose_height_mm)
    seen = camera.project(np.array(list(places.values())))
    return {name: (float(u), float(v)) for name, (u, v) in zip(places, seen.tolist(), strict=True)}


def _standing_of_nose(name: str, landmarks: Landmarks) -> str:
    """A nose point counts as found where an edge of its pocket was."""
    pocket = name.partition("/")[0]
    found = pocket in POCKET_NAMES and any(
        item.kind == "pocket" and _is_of(item, pocket) for item in landmarks.items
    )
    return "found" if found else "expected"


def _is_of(item: Landmark, pocket: str) -> bool:
    return item.name.startswith(f"pocket {pocket} ")


def _hand(point: GivenPoint, said: Mapping[str, Any]) -> Mark:
    name = str(point.name)
    residual = next(
        (said[label] for label in (f"sight {name}", f"nose point {name}", name) if label in said),
        None,
    )
    off_mm = None if residual is None else abs(residual.off_mm)
    return _mark(name, point.seen_px, "by hand", off_mm)


def _mark(
    name: str | None, seen_px: tuple[float, float], standing: str, off_mm: float | None = None
) -> Mark:
    assert name is not None
    return Mark(
        name=name,
        kind=kind_of_name(name),
        u=round(seen_px[0], 2),
        v=round(seen_px[1], 2),
        standing=standing,
        off_mm=None if off_mm is None else round(off_mm, 2),
    )
