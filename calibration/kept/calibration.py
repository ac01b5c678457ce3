"""The calibration: camera, table and their errors as one value and as a versioned file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from calibration import jsonfile
from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.errors import CalibrationError, FileFormatError
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from calibration.vary import PARAMETERS, SURFACE, sensitivity

from .bed_picture import BedPicture
from .rail_marks import RailMark, marks_from_list

TABLE_FORMAT = "restmark-table"
TABLE_VERSION = 1
HEADS = ("left", "right", "top", "bottom")
SCALE_SOURCES = ("lens file", "tape measure", "ball check", "EXIF", "default", "exact")
"""What settled focal length against height; ``exact`` is a camera known beforehand."""
_REMEDY = "Make the file again with `restmark calibrate`."


@dataclass(frozen=True, slots=True, kw_only=True)
class Residual:
    """What one landmark says against the solved calibration."""

    name: str
    kind: str
    off_px: float
    """Seen minus predicted: signed across its line, or the distance of a point."""
    off_mm: float
    """The same at the landmark's own height on the table."""
    sigma_px: float
    """Its expected standard deviation."""
    weight: float
    """1 where it counts fully, towards 0 where it disagrees with the others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Stated 95 % error of the calibration alone over the bed, at ball height.

    Against a tape measure that starts at the head nose and the lower long nose; the surface's
    own error counts in full.
    """

    median_mm: float
    worst_mm: float
    worst_at_mm: tuple[float, float]
    rows: int = 15
    columns: int = 30
    height_mm: float = BALL_CENTRE_HEIGHT_MM
    noses_median_mm: float | None = None
    noses_worst_mm: float | None = None
    """The same against the noses all round: what readings carry. None in older files."""
    map_mm: tuple[tuple[float, ...], ...] = ()
    """rows × columns: the error at the middle of each cell, from y = 0 upward and from the head
    on; empty in older files."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Pixels to table and back, with the errors of both."""

    camera: Camera
    table: Table
    """As asked for, with what the still itself settled (rail-cap height, sight offset …)."""
    head: str
    """Side of the picture on which the table's head end lies."""
    scale_source: str
    parameter_names: tuple[str, ...] = ()
    parameter_cov: tuple[tuple[float, ...], ...] = ()
    residuals: tuple[Residual, ...] = ()
    budget: Budget | None = None
    warnings: tuple[str, ...] = ()
    rail_marks: tuple[RailMark, ...] = ()
    """What the empty still showed on the rails; without them drift cannot be checked."""
    bed_picture: BedPicture | None = None
    """What it showed of the bed, to compare later stills with. None in older files."""

    def __post_init__(self) -> None:
        if self.head not in HEADS:
            raise CalibrationError(
                f"calibration.head: got {self.head!r}; allowed: {', '.join(HEADS)}. Say on which "
                "side of the picture the table's head end lies."
            )
        if self.scale_source not in SCALE_SOURCES:
            raise CalibrationError(
                f"calibration.scale_source: got {self.scale_source!r}; allowed: "
                f"{', '.join(SCALE_SOURCES)}. {_REMEDY}"
            )
        unknown = [name for name in self.parameter_names if name not in PARAMETERS]
        count = len(self.parameter_names)
        if unknown or len(set(self.parameter_names)) < count:
            raise CalibrationError(
                f"calibration.parameter_names: got {', '.join(unknown or self.parameter_names)}; "
                f"allowed: each once of {', '.join(sorted(PARAMETERS))}. {_REMEDY}"
            )
        matrix = np.asarray(self.parameter_cov, dtype=float)
        if count and (matrix.shape != (count, count) or not np.all(np.isfinite(matrix))):
            raise CalibrationError(
                f"calibration.parameter_cov: got shape {matrix.shape}; allowed: {count} x {count} "
                f"finite numbers, one row a parameter. {_REMEDY}"
            )

    @classmethod
    def exact(cls, camera: Camera, table: Table, *, head: str = "left") -> Calibration:
        """A calibration without error: for truth and tests."""
        return cls(camera=camera, table=table, head=head, scale_source="exact")

    # -- mapping ---------------------------------------------------------------------------

    def table_mm(
        self, pixels_px: ArrayLike, height_mm: float = BALL_CENTRE_HEIGHT_MM
    ) -> FloatArray:
        """Pixels (N, 2) → table x, y (N, 2) in mm on the plane z = ``height_mm``."""
        return self.camera.back_project(pixels_px, height_mm)

    def covariance_mm2(
        self,
        points_mm: ArrayLike,
        cov_px2: ArrayLike,
        height_mm: float = BALL_CENTRE_HEIGHT_MM,
        *,
        by_tape: bool = False,
    ) -> FloatArray:
        """Covariance (N, 2, 2), mm², at table points (N, 2) of that height.

        ``cov_px2`` is the error of the pixels, (2, 2) or (N, 2, 2); the calibration's own error
        is added. The latter is common to all points of a still, not independent. ``by_tape`` as
        in ``own_covariance_mm2``.
        """
        seen = self.camera.covariance_mm2(points_mm, cov_px2, height_mm)
        return np.asarray(seen + self.own_covariance_mm2(points_mm, height_mm, by_tape=by_tape))

    def own_covariance_mm2(
        self,
        points_mm: ArrayLike,
        height_mm: float = BALL_CENTRE_HEIGHT_MM,
        *,
        by_tape: bool = False,
    ) -> FloatArray:
        """The calibration's own share of the error, (N, 2, 2) in mm², at points (N, 2).

        The noses define the frame: a table longer than told stretches every place with it, and
        against noses, zones and other balls nothing is off. ``by_tape`` asks for the error
        against a tape measure from the head nose and the lower long nose, where it is.
        """
        flat = np.asarray(points_mm, dtype=float).reshape(-1, 2)
        if not self.parameter_names:
            return np.zeros((len(flat), 2, 2))
        points = np.column_stack([flat, np.full(len(flat), float(height_mm))])
        by_parameter = np.linalg.inv(self.camera.jacobian(flat, height_mm)) @ sensitivity(
            self.camera, self.parameter_names, points
        )
        if not by_tape:
            for axis, name in enumerate(SURFACE):
                if name in self.parameter_names:
                    share = flat[:, axis] / self.table.surface_mm[axis]
                    by_parameter[:, axis, self.parameter_names.index(name)] += share
        cov = np.asarray(self.parameter_cov, dtype=float)
        return np.asarray(by_parameter @ cov @ np.swapaxes(by_parameter, 1, 2))

    def outline_px(self) -> dict[str, tuple[FloatArray, ...]]:
        """Pixel polylines for drawing over a still: ``noses``, ``pockets``, ``sights``.

        Noses and pocket mouths are (n, 2) polylines that follow the lens's distortion; sights
        are one (18, 2) array of points.
        """
        table = self.table
        return {
            "noses": tuple(
                self._line_px(ends, table.nose_height_mm)
                for ends in table.nose_segments_mm.values()
            ),
            "pockets": tuple(
                self._line_px(pocket.nose_points_mm, table.nose_height_mm)
                for pocket in table.pockets
            ),
            "sights": (
                self.camera.project(
                    [(*place, table.rail_cap_height_mm) for place in table.sights_mm.values()]
                ),
            ),
        }

    def _line_px(
        self, ends_mm: tuple[tuple[float, float], tuple[float, float]], height_mm: float
    ) -> FloatArray:
        start, end = np.asarray(ends_mm, dtype=float)
        count = max(2, int(np.hypot(*(end - start)) / 50.0) + 1)
        part = np.linspace(0.0, 1.0, count)[:, None]
        flat = start + part * (end - start)
        return self.camera.project(np.column_stack([flat, np.full(count, height_mm)]))

    # -- files -----------------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object with format and version."""
        return {
            "format": TABLE_FORMAT,
            "version": TABLE_VERSION,
            "head": self.head,
            "scale_source": self.scale_source,
            "warnings": list(self.warnings),
            "budget": None if self.budget is None else _budget_to_dict(self.budget),
            "table": self.table.to_dict(),
            "camera": self.camera.to_dict(),
            "parameter_names": list(self.parameter_names),
            "parameter_cov": jsonfile.as_lists(self.parameter_cov),
            "residuals": [asdict(residual) for residual in self.residuals],
            "rail_marks": [mark.to_dict() for mark in self.rail_marks],
            "bed_picture": None if self.bed_picture is None else self.bed_picture.to_dict(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "calibration") -> Calibration:
        """Inverse of ``to_dict``; errors name the field by its path."""
        jsonfile.check_version(
            data, file_format=TABLE_FORMAT, version=TABLE_VERSION, path=path, remedy=_REMEDY
        )
        names = _texts(data, "parameter_names", path)
        budget = jsonfile.field(data, "budget", path)
        return cls(
            camera=Camera.from_dict(jsonfile.mapping(data, "camera", path), path=f"{path}.camera"),
            table=Table.from_dict(jsonfile.mapping(data, "table", path), path=f"{path}.table"),
            head=jsonfile.text(data, "head", path),
            scale_source=jsonfile.text(data, "scale_source", path),
            parameter_names=names,
            parameter_cov=jsonfile.square_matrix(data, "parameter_cov", path, size=len(names)),
            residuals=tuple(
                _residual_from_dict(item, f"{path}.residuals[{i}]")
                for i, item in enumerate(jsonfile.items(data, "residuals", path))
            ),
            budget=None if budget is None else _budget_from_dict(budget, f"{path}.budget"),
            warnings=_texts(data, "warnings", path),
            rail_marks=_rail_marks(data, path),
            bed_picture=_bed_picture(data, path),
        )

    def write(self, path: Path | str) -> None:
        """Write the table file, whole or not at all."""
        jsonfile.write_json(path, self.to_dict())

    @classmethod
    def read(cls, path: Path | str) -> Calibration:
        """Read a table file; FileFormatError where it is not one."""
        data = jsonfile.read_json(
            path, file_format=TABLE_FORMAT, version=TABLE_VERSION, remedy=_REMEDY
        )
        return cls.from_dict(data, path=str(path))


def _rail_marks(data: Mapping[str, Any], path: str) -> tuple[RailMark, ...]:
    """Optional: files without them are as good for everything but drift."""
    if "rail_marks" not in data:
        return ()
    return marks_from_list(jsonfile.items(data, "rail_marks", path), f"{path}.rail_marks")


def _bed_picture(data: Mapping[str, Any], path: str) -> BedPicture | None:
    """Optional as well: readings do without it."""
    if data.get("bed_picture") is None:
        return None
    return BedPicture.from_dict(data["bed_picture"], path=f"{path}.bed_picture")


def _texts(data: Mapping[str, Any], name: str, path: str) -> tuple[str, ...]:
    row = {str(i): item for i, item in enumerate(jsonfile.items(data, name, path))}
    return tuple(jsonfile.text(row, key, f"{path}.{name}") for key in row)


def _budget_to_dict(budget: Budget) -> dict[str, Any]:
    return {
        **asdict(budget),
        "worst_at_mm": list(budget.worst_at_mm),
        "map_mm": jsonfile.as_lists(budget.map_mm),
    }


def _budget_from_dict(data: object, path: str) -> Budget:
    if not isinstance(data, Mapping):
        raise FileFormatError(f"{path}: got {data!r}; allowed: an object or null. {_REMEDY}")
    at_x, at_y = jsonfile.numbers(data, "worst_at_mm", path, count=2)
    return Budget(
        median_mm=jsonfile.number(data, "median_mm", path),
        worst_mm=jsonfile.number(data, "worst_mm", path),
        worst_at_mm=(at_x, at_y),
        rows=int(jsonfile.number(data, "rows", path)),
        columns=int(jsonfile.number(data, "columns", path)),
        height_mm=jsonfile.number(data, "height_mm", path),
        noses_median_mm=_number_or_none(data, "noses_median_mm", path),
        noses_worst_mm=_number_or_none(data, "noses_worst_mm", path),
        map_mm=_map(data, path),
    )


def _number_or_none(data: Mapping[str, Any], name: str, path: str) -> float | None:
    return None if data.get(name) is None else jsonfile.number(data, name, path)


def _map(data: Mapping[str, Any], path: str) -> tuple[tuple[float, ...], ...]:
    if "map_mm" not in data:
        return ()
    rows = {str(i): row for i, row in enumerate(jsonfile.items(data, "map_mm", path))}
    return tuple(jsonfile.numbers(rows, key, f"{path}.map_mm") for key in rows)


def _residual_from_dict(data: object, path: str) -> Residual:
    if not isinstance(data, Mapping):
        raise FileFormatError(f"{path}: got {data!r}; allowed: an object. {_REMEDY}")
    return Residual(
        name=jsonfile.text(data, "name", path),
        kind=jsonfile.text(data, "kind", path),
        off_px=jsonfile.number(data, "off_px", path),
        off_mm=jsonfile.number(data, "off_mm", path),
        sigma_px=jsonfile.number(data, "sigma_px", path),
        weight=jsonfile.number(data, "weight", path),
    )
