"""Landmarks as values: what is seen where, what it is on the table, and what may be off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import CalibrationError
from calibration.kept.calibration import HEADS
from calibration.notices import Notice
from calibration.table import Table

Vector = tuple[float, float, float]

KINDS = ("nose", "cushion back", "sight", "pocket", "point", "ball")
"""``point`` is a place that someone pointed out, of whatever sort; ``ball`` a frozen ball."""
SIDES = ("head", "foot", "left", "right")
OUTWARD: Mapping[str, tuple[float, float]] = {
    "head": (-1.0, 0.0),
    "foot": (1.0, 0.0),
    "left": (0.0, 1.0),
    "right": (0.0, -1.0),
}
"""Unit vector from the bed over each side's nose line, table frame."""

DIMENSION_SIGMA_MM: Mapping[str, float] = {
    "rail_cap_height_mm": 3.0,
    "nose_height_mm": 0.4,
    "sight_offset_mm": 1.6,
    "cushion_width_mm": 1.5,
    "corner_mouth_mm": 6.0,
    "side_mouth_mm": 6.0,
    **{f"nose_{side}_mm": 0.3 for side in SIDES},
    **{f"back_{side}_mm": 0.6 for side in SIDES},
}
"""How far (1 sigma, mm) a table's own dimensions may be from the model's figures.

Nose height: half the standard's band of ± 0.57, and what cloth and shims add. Sight offset and
cushion width: half the standard's tolerance band (trade specification:
93.7 ± 3.2; 47.6 to 50.8). Rail cap: nobody standardises it; 40 to 48 is what is met. Mouths:
104.8 to 130.2 and 123.8 to 142.9 are allowed somewhere. ``nose_…``: how far the edge that a
camera sees lies from the nose line, along one whole side; ``back_…`` likewise for the seam
between cushion and rail cap.
"""

DIMENSION_EXPECTED_MM: Mapping[str, float] = {f"nose_{side}_mm": 0.5 for side in SIDES}
"""What a dimension is expected to be where that is not 0: noses are round, and the edge between
lit cushion and shaded bed lies on the upper half of the round, behind its foremost line."""

SIDE_DIMENSIONS = frozenset(f"{edge}_{side}_mm" for edge in ("nose", "back") for side in SIDES)
"""Those that say where the edge of one whole side is seen."""
NOSE_ROUND_MM = 4.0
"""Radius of a nose with its cloth: 2.5 to 6 are met."""


def nose_sigma_mm(table: Table, eye_mm: FloatArray, side: str) -> float:
    """How far (1 sigma) a side's seen edge may lie from where it is expected, seen from a place.

    Aslant by tangent t the round's own outline lies r · t² / 2 before its foremost line, as the
    middle of the light's edge may or may not: a third of a sigma each way from above grows so.
    """
    out = np.array(OUTWARD[side])
    length, width = table.surface_mm
    nose = np.array([length, width]) * np.maximum(out, 0.0)
    slope = float(out @ (nose - np.asarray(eye_mm)[:2])) / float(eye_mm[2] - table.nose_height_mm)
    return float(np.hypot(DIMENSION_SIGMA_MM[f"nose_{side}_mm"], NOSE_ROUND_MM / 4 * slope**2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Landmark:
    """One thing of known place on the table, seen in the picture."""

    name: str
    kind: str
    point_mm: Vector
    """Its place by the table model."""
    seen_px: tuple[float, float]
    sigma_px: float
    """Expected error of ``seen_px``, per axis."""
    normal_px: tuple[float, float] | None = None
    """Unit vector across the line where only that direction is seen; None for a point."""
    moves: tuple[tuple[str, Vector], ...] = ()
    """Dimension of the table → how ``point_mm`` moves for each mm of it."""
    built_sigma_mm: float = 0.0
    """Independent building tolerance of this one landmark, 1 sigma."""
    part: str = ""
    """The cushion, pocket or sight that it is of; empty for other places."""
    measured: bool = False
    """Whether its place was measured on the table; else it rides on the surface's size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Landmarks:
    """What was found in one empty-table still."""

    items: tuple[Landmark, ...]
    head: str
    image_size_px: tuple[int, int]
    notes: tuple[Notice, ...] = ()
    """What whoever uses them should know, for example that some were left out."""
    shape: str = ""
    """What the cloth's outline says where it has not the table's shape; for refusals."""

    def __post_init__(self) -> None:
        if self.head not in HEADS:
            raise CalibrationError(
                f"head: got {self.head!r}; allowed: {', '.join(HEADS)}. Say on which side of the "
                "picture the table's head end lies."
            )

    def count(self, kind: str) -> int:
        """Number of landmarks of one kind."""
        return sum(item.kind == kind for item in self.items)

    @property
    def found_words(self) -> str:
        """Which kinds there are and how many of each."""
        counts = {kind: self.count(kind) for kind in KINDS if self.count(kind)}
        return ", ".join(f"{count} {kind}" for kind, count in counts.items()) or "none"

    @property
    def seen_px(self) -> FloatArray:
        """(N, 2), pixels."""
        return np.array([item.seen_px for item in self.items], dtype=float).reshape(-1, 2)

    @property
    def points_mm(self) -> FloatArray:
        """(N, 3), table frame, by the table model."""
        return np.array([item.point_mm for item in self.items], dtype=float).reshape(-1, 3)

    @property
    def dimensions(self) -> tuple[str, ...]:
        """The table's dimensions that any landmark depends on, in a fixed order."""
        used = {name for item in self.items for name, _ in item.moves}
        return tuple(name for name in DIMENSION_SIGMA_MM if name in used)


def side_of(cushion: str) -> str:
    """The side of a cushion: ``left`` of ``left-head``."""
    return cushion.split("-")[0]


def sight_mark(
    table: Table, name: str, *, seen_px: FloatArray, sigma_px: float, built_sigma_mm: float
) -> Landmark:
    """The centre of the sight called ``name``."""
    out_x, out_y = OUTWARD[name.split("-")[0]]
    point = (*table.sights_mm[name], table.rail_cap_height_mm)
    return Landmark(
        name=f"sight {name}",
        kind="sight",
        part=name,
        point_mm=point,
        seen_px=(float(seen_px[0]), float(seen_px[1])),
        sigma_px=sigma_px,
        moves=(
            ("rail_cap_height_mm", (0.0, 0.0, 1.0)),
            ("sight_offset_mm", (out_x, out_y, 0.0)),
        ),
        built_sigma_mm=built_sigma_mm,
    )


def side_point_mm(table: Table, side: str, along_mm: float, out_mm: float) -> tuple[float, float]:
    """x, y of the place ``along_mm`` from the head or right end of a side, ``out_mm`` behind it."""
    out_x, out_y = OUTWARD[side]
    if out_x:
        return (out_mm * out_x + (table.length_mm if out_x > 0 else 0.0), along_mm)
    return (along_mm, out_mm * out_y + (table.width_mm if out_y > 0 else 0.0))
