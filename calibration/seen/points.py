"""Hand-given points: places that somebody pointed out in the still, by name or by millimetres.

Names are those of sights (``left-3``), of pockets' nose points (``foot-left/1``: the left one as
seen from the bed, ``/2`` the right one) and of spots (``foot spot``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from calibration import jsonfile, strict
from calibration.arrays import FloatArray
from calibration.errors import CalibrationError
from calibration.table import POCKET_NAMES, Table

from .marks import Landmark, Vector, sight_mark
from .pocket_mouths import nose_point_moves
from .sights import BUILT_SIGMA_MM as SIGHT_BUILT_MM

POINTS_FORMAT = "restmark-points"
POINTS_VERSION = 1
CLICK_SIGMA_PX = 1.0
"""Expected error of a point set by hand, per axis, where the file states none."""
FEWEST_ALONE = 4
"""Points that can stand alone; fewer can only help automatic landmarks."""
FEWEST_CHECKED = 6
"""Points alone from which on a single wrong one shows by its residual."""
LEAST_SPAN = 0.5
"""Least part of the length and of the width that points alone must span."""
NOSE_POINT_BUILT_MM = 1.5
"""A nose point is a rounded corner: where it turns is a matter of opinion, 1 sigma."""
SPOT_BUILT_MM = 1.5
"""Spots are glued on or marked by eye, 1 sigma."""
FREE_BUILT_MM = 1.0
"""A place measured by tape from two noses, 1 sigma, where the file states nothing else."""
_LEAST_WIDTH_MM = 150.0
_ROOM_MM, _LOWEST_MM, _HIGHEST_MM = 400.0, -50.0, 300.0
_PLACE = ("x_mm", "y_mm", "z_mm")
_KEYS = ("is", "u", "v", "sigma_px", *_PLACE, "sigma_mm")
_REMEDY = "Correct the points file."


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenPoint:
    """One place of the table and where somebody sees it in the still."""

    seen_px: tuple[float, float]
    name: str | None = None
    """Name of a sight, nose point or spot; None for a place in millimetres."""
    place_mm: Vector | None = None
    """x, y, z in the table frame; None for a named one."""
    sigma_px: float = CLICK_SIGMA_PX
    sigma_mm: float = FREE_BUILT_MM
    """Error of a place in millimetres, per axis; a named one has its own."""

    def __post_init__(self) -> None:
        strict.check(self, label="point", error=CalibrationError, remedy=_REMEDY)
        label = self.label
        if (self.name is None) == (self.place_mm is None):
            raise CalibrationError(
                f"point {label}: got {'both' if self.name else 'neither'} of a name and a place in "
                f"mm; allowed: one of them. {_REMEDY}"
            )
        if not 0.02 <= self.sigma_px <= 50 or not 0 <= self.sigma_mm <= 50:
            raise CalibrationError(
                f"point {label}: got an expected error of {self.sigma_px:g} px and "
                f"{self.sigma_mm:g} mm; allowed: 0.02 to 50 px, 0 to 50 mm. {_REMEDY}"
            )

    @property
    def label(self) -> str:
        """The name, or the place in words."""
        if self.place_mm is None:
            return str(self.name)
        return "at " + ", ".join(f"{value:g}" for value in self.place_mm) + " mm"

    def to_dict(self) -> dict[str, Any]:
        """One entry of a points file."""
        seen = {"u": self.seen_px[0], "v": self.seen_px[1], "sigma_px": self.sigma_px}
        if self.place_mm is None:
            return {"is": self.name, **seen}
        place = dict(zip(("x_mm", "y_mm", "z_mm"), self.place_mm, strict=True))
        return {**place, "sigma_mm": self.sigma_mm, **seen}

    @classmethod
    def from_dict(cls, data: object, *, path: str = "points[0]") -> GivenPoint:
        """Inverse of ``to_dict``; errors name the field by its path."""
        row = strict.record(data, path, known=_KEYS, error=CalibrationError, remedy=_REMEDY)
        if isinstance(row.get("is"), str):
            path = f"{path} ({strict.shown(row['is'], bare=True)})"
        strict.record(row, path, known=_KEYS, closed=True, error=CalibrationError, remedy=_REMEDY)
        free = any(key in row for key in _PLACE)
        wanted = (
            "u",
            "v",
            *(_PLACE if free else ()),
            *(("is",) if "is" in row or not free else ()),
        )
        missing = [key for key in wanted if key not in row]
        if missing:
            raise CalibrationError(
                f"{path}.{missing[0]}: missing; allowed: is (or x_mm, y_mm, z_mm), u and v. "
                f"{_REMEDY}"
            )
        found = {
            key: strict.number(row[key], f"{path}.{key}", error=CalibrationError, remedy=_REMEDY)
            for key in row
            if key != "is"
        }
        given: dict[str, object] = {k: v for k, v in found.items() if k.startswith("sigma")}
        given["seen_px"] = (found["u"], found["v"])
        if "is" in row:
            given["name"] = row["is"]
        if free:
            given["place_mm"] = tuple(found[key] for key in _PLACE)
        return strict.build(
            cls, given, path=path, label="point", error=CalibrationError, remedy=_REMEDY
        )


def read_points(path: Path | str) -> tuple[GivenPoint, ...]:
    """The points of a points file.

    Raises:
        FileFormatError, CalibrationError: it is not one, or a point cannot be.
    """
    data = jsonfile.read_json(
        path, file_format=POINTS_FORMAT, version=POINTS_VERSION, remedy=_REMEDY
    )
    each = strict.listed(lambda item, at: GivenPoint.from_dict(item, path=at))
    return each(data.get("points"), f"{path}.points")


def points_to_dict(points: Sequence[GivenPoint]) -> dict[str, Any]:
    """A points file's object."""
    return {
        "format": POINTS_FORMAT,
        "version": POINTS_VERSION,
        "points": [point.to_dict() for point in points],
    }


def point_names(table: Table) -> tuple[str, ...]:
    """Every name that a hand-given point can have."""
    noses = [f"{pocket}/{number}" for pocket in POCKET_NAMES for number in (1, 2)]
    return (*table.sights_mm, *noses, *(f"{name} spot" for name in table.spots_mm))


def point_marks(
    points: Sequence[GivenPoint], table: Table, image_size_px: tuple[int, int]
) -> tuple[Landmark, ...]:
    """The points as landmarks of ``table``; refuses unknown, repeated and impossible ones.

    Raises:
        CalibrationError: a point is unknown, given twice, outside the picture or off the table.
    """
    labels = [point.label for point in points]
    twice = sorted({label for label in labels if labels.count(label) > 1})
    if twice:
        raise CalibrationError(
            f"points: got {', '.join(twice)} more than once; allowed: each place once. {_REMEDY}"
        )
    width, height = image_size_px
    for point in points:
        u, v = point.seen_px
        if not (-0.5 <= u <= width - 0.5 and -0.5 <= v <= height - 0.5):
            raise CalibrationError(
                f"point {point.label}: got pixel {u:g},{v:g}; allowed: inside the picture, 0,0 to "
                f"{width - 1},{height - 1}. {_REMEDY}"
            )
    return tuple(_mark(point, table) for point in points)


def check_alone(marks: Sequence[Landmark], table: Table) -> None:
    """Refuse points that cannot stand alone: too few, or not spread over the table.

    Raises:
        CalibrationError: they cannot; the text says which are lacking.
    """
    names = ", ".join(mark.name for mark in marks) or "none"
    where = (
        f"{FEWEST_ALONE} or more, at both ends and on both long sides, no matter which one is "
        f"left out not on one line; {FEWEST_CHECKED} or more let a wrong one show"
    )
    if len(marks) < FEWEST_ALONE:
        raise CalibrationError(
            f"points: got {len(marks)} ({names}) without automatic landmarks beside them; "
            f"allowed: {where}. Add points."
        )
    flat = np.array([mark.point_mm[:2] for mark in marks])
    span = np.ptp(flat, axis=0) / np.array(table.surface_mm)
    if np.any(span < LEAST_SPAN):
        raise CalibrationError(
            f"points: got points ({names}) that span {span[0]:.0%} of the length and {span[1]:.0%} "
            f"of the width; allowed: {LEAST_SPAN:.0%} of both. Add points at the other end or side."
        )
    for index, mark in enumerate(marks):
        rest = np.delete(flat, index, axis=0)
        if _width_mm(rest) < _LEAST_WIDTH_MM:
            others = ", ".join(m.name for i, m in enumerate(marks) if i != index)
            raise CalibrationError(
                f"points: got points on one line of the table ({others}) but for {mark.name}; "
                f"allowed: {where}. Add points away from that line."
            )


def stands_alone(marks: Sequence[Landmark], table: Table) -> bool:
    """Whether the points are enough without automatic landmarks."""
    try:
        check_alone(marks, table)
    except CalibrationError:
        return False
    return True


def _width_mm(flat: FloatArray) -> float:
    """Extent of points (N, 2) across their best line."""
    centred = flat - flat.mean(axis=0)
    across = np.linalg.svd(centred, full_matrices=False)[2][-1]
    return float(np.ptp(centred @ across))


def _mark(point: GivenPoint, table: Table) -> Landmark:
    """A point as a landmark of kind ``point`` with the dimensions that move it."""
    seen = np.array(point.seen_px)
    if point.place_mm is not None:
        _check_place(point.place_mm, table, point.label)
        free = _plain(point, f"point {point.label}", point.place_mm, point.sigma_mm)
        return replace(free, measured=True)
    name = str(point.name)
    if name in table.sights_mm:
        sight = sight_mark(
            table, name, seen_px=seen, sigma_px=point.sigma_px, built_sigma_mm=SIGHT_BUILT_MM
        )
        return replace(sight, kind="point")
    spot = name.removesuffix(" spot")
    if spot != name and spot in table.spots_mm:
        return _plain(point, name, (*table.spots_mm[spot], 0.0), SPOT_BUILT_MM)
    pocket, _, number = name.partition("/")
    if pocket in POCKET_NAMES and number in ("1", "2"):
        index = int(number) - 1
        place = (*table.pocket(pocket).nose_points_mm[index], table.nose_height_mm)
        mark = _plain(point, f"nose point {name}", place, NOSE_POINT_BUILT_MM)
        return replace(mark, moves=nose_point_moves(table, table.pocket(pocket), index))
    raise CalibrationError(
        f"point {name}: got an unknown name; allowed: {', '.join(point_names(table))}, or x_mm, "
        f"y_mm and z_mm instead. {_REMEDY}"
    )


def _plain(point: GivenPoint, name: str, place_mm: Vector, built_sigma_mm: float) -> Landmark:
    return Landmark(
        name=name,
        kind="point",
        point_mm=place_mm,
        seen_px=point.seen_px,
        sigma_px=point.sigma_px,
        built_sigma_mm=built_sigma_mm,
    )


def _check_place(place_mm: Vector, table: Table, label: str) -> None:
    x_mm, y_mm, z_mm = place_mm
    inside = (
        -_ROOM_MM <= x_mm <= table.length_mm + _ROOM_MM
        and -_ROOM_MM <= y_mm <= table.width_mm + _ROOM_MM
        and _LOWEST_MM <= z_mm <= _HIGHEST_MM
    )
    if not inside:
        raise CalibrationError(
            f"point {label}: got a place off the table; allowed: x -400 to "
            f"{table.length_mm + _ROOM_MM:g}, y -400 to {table.width_mm + _ROOM_MM:g}, z "
            f"{_LOWEST_MM:g} to {_HIGHEST_MM:g} mm. {_REMEDY}"
        )
