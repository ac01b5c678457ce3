"""The calibration: camera, table and their errors as one value and as a versioned file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from calibration import jsonfile, strict
from calibration.arrays import FloatArray, is_covariance
from calibration.camera import Camera
from calibration.errors import CalibrationError, FileFormatError
from calibration.notices import Notice, notices_from, sentences
from calibration.strict import NotNegative, Share
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from calibration.vary import PARAMETERS, SURFACE, sensitivity

from .bed_picture import BedPicture
from .budget import Budget
from .fits_together import check_agreement
from .proof import KeptProof
from .rail_marks import RailMark

TABLE_FORMAT = "restmark-table"
TABLE_VERSION = 1
HEADS = ("left", "right", "top", "bottom")
SCALE_SOURCES = ("lens file", "tape measure", "ball check", "EXIF", "default", "exact")
"""What settled focal length against height; ``exact`` is a camera known beforehand."""
_NEEDED = (
    "camera",
    "table",
    "head",
    "scale_source",
    "parameter_names",
    "parameter_cov",
    "residuals",
    "warnings",
)
"""Later fields are missing in older files."""
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
    sigma_px: NotNegative
    """Its expected standard deviation."""
    weight: Share
    """1 where it counts fully, towards 0 where it disagrees with the others."""
    part: str = ""
    """The cushion, pocket or sight that it is of; empty in older files."""

    def __post_init__(self) -> None:
        strict.check(self, label="residual", error=FileFormatError, remedy=_REMEDY)


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
    notices: tuple[Notice, ...] = ()
    """What whoever uses it should know."""
    rail_marks: tuple[RailMark, ...] = ()
    """What the empty still showed on the rails; without them drift cannot be checked."""
    bed_picture: BedPicture | None = None
    """What it showed of the bed, to compare later stills with. None in older files."""
    proof: KeptProof | None = None
    """By how much errors proved larger than stated; None where nobody proved it."""

    def __post_init__(self) -> None:
        strict.check(self, label="calibration", error=CalibrationError, remedy=_REMEDY)
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
        rows = {len(row) for row in self.parameter_cov}
        if len(self.parameter_cov) != count or rows - {count}:
            raise CalibrationError(
                f"calibration.parameter_cov: got {len(self.parameter_cov)} rows; allowed: {count} "
                f"rows of {count} finite numbers, one a parameter. {_REMEDY}"
            )
        if not is_covariance(np.asarray(self.parameter_cov, dtype=float)):
            raise CalibrationError(
                "calibration.parameter_cov: got a matrix that is no covariance; allowed: a "
                f"symmetric one without negative variances. {_REMEDY}"
            )

    @classmethod
    def exact(cls, camera: Camera, table: Table, *, head: str = "left") -> Calibration:
        """A calibration without error: for truth and tests.

        Raises:
            CalibrationError: ``head`` is no side of the picture.
        """
        return cls(camera=camera, table=table, head=head, scale_source="exact")

    @property
    def warnings(self) -> tuple[str, ...]:
        """The notices' sentences."""
        return sentences(self.notices)

    @property
    def budget(self) -> Budget | None:
        """The stated error over the bed, worked out from the covariance; None without one."""
        return (
            Budget.of(self.camera, self.table, self.own_covariance_mm2)
            if self.parameter_names
            else None
        )

    @property
    def error_factor(self) -> float:
        """What readings multiply their sigmas by, as the user's own proof found; 1 without."""
        return 1.0 if self.proof is None else self.proof.factor

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
        by_parameter = self.slopes_mm(flat, height_mm, by_tape=by_tape)
        cov = np.asarray(self.parameter_cov, dtype=float).reshape(by_parameter.shape[2:] * 2)
        whole = by_parameter @ cov @ np.swapaxes(by_parameter, 1, 2)
        # a guessed scale leaves variances so large that rounding alone makes it lopsided
        return np.asarray((whole + np.swapaxes(whole, 1, 2)) / 2)

    def slopes_mm(
        self,
        points_mm: ArrayLike,
        height_mm: float = BALL_CENTRE_HEIGHT_MM,
        *,
        by_tape: bool = False,
    ) -> FloatArray:
        """How places (N, 2) move with each parameter of ``parameter_cov``, (N, 2, parameters).

        Their errors are common to all places: a joint covariance needs this.
        """
        flat = np.asarray(points_mm, dtype=float).reshape(-1, 2)
        if not self.parameter_names:
            return np.zeros((len(flat), 2, 0))
        points = np.column_stack([flat, np.full(len(flat), float(height_mm))])
        by_parameter = np.linalg.inv(self.camera.jacobian(flat, height_mm)) @ sensitivity(
            self.camera, self.parameter_names, points
        )
        if not by_tape:
            for axis, name in enumerate(SURFACE):
                if name in self.parameter_names:
                    share = flat[:, axis] / self.table.surface_mm[axis]
                    by_parameter[:, axis, self.parameter_names.index(name)] += share
        return np.asarray(by_parameter)

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
        """Plain JSON object with format and version.

        ``budget`` is there for people and other programs: ``from_dict`` works it out again.
        """
        budget = self.budget
        return {
            "format": TABLE_FORMAT,
            "version": TABLE_VERSION,
            "head": self.head,
            "scale_source": self.scale_source,
            "warnings": list(self.warnings),
            "notices": [notice.to_dict() for notice in self.notices],
            "budget": None if budget is None else budget.to_dict(),
            "table": self.table.to_dict(),
            "camera": self.camera.to_dict(),
            "parameter_names": list(self.parameter_names),
            "parameter_cov": jsonfile.as_lists(self.parameter_cov),
            "residuals": [asdict(residual) for residual in self.residuals],
            "rail_marks": [mark.to_dict() for mark in self.rail_marks],
            "bed_picture": None if self.bed_picture is None else self.bed_picture.to_dict(),
            "proof": None if self.proof is None else self.proof.to_dict(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "calibration") -> Calibration:
        """Inverse of ``to_dict``.

        Raises:
            FileFormatError: a field is missing or wrong; the text names it by its path.
            CalibrationError, TableError: the values together make no calibration.
        """
        jsonfile.check_version(
            data, file_format=TABLE_FORMAT, version=TABLE_VERSION, path=path, remedy=_REMEDY
        )
        out = strict.build(
            cls,
            {**data, "notices": notices_from(data, path=path)},
            path=path,
            label="calibration",
            remedy=_REMEDY,
            needed=_NEEDED,
            convert={
                "camera": lambda part, at: Camera.from_dict(part, path=at),
                "table": lambda part, at: Table.from_dict(part, path=at),
                "residuals": strict.listed(_residual),
                "rail_marks": strict.listed(lambda part, at: RailMark.from_dict(part, path=at)),
                "bed_picture": strict.or_none(lambda part, at: BedPicture.from_dict(part, path=at)),
                "proof": strict.or_none(lambda part, at: KeptProof.from_dict(part, path=at)),
            },
        )
        check_agreement(out.camera, out.table, out.rail_marks, out.bed_picture, path=path)
        return out

    def write(self, path: Path | str) -> None:
        """Write the table file, whole or not at all.

        Raises:
            FileFormatError: the place cannot be written.
        """
        jsonfile.write_json(path, self.to_dict())

    @classmethod
    def read(cls, path: Path | str) -> Calibration:
        """Read a table file.

        Raises:
            FileFormatError, CalibrationError, TableError: it is not one, as in ``from_dict``.
        """
        data = jsonfile.read_json(
            path, file_format=TABLE_FORMAT, version=TABLE_VERSION, remedy=_REMEDY
        )
        return cls.from_dict(data, path=str(path))


def _residual(data: object, path: str) -> Residual:
    return strict.build(Residual, data, path=path, label="residual", remedy=_REMEDY)
