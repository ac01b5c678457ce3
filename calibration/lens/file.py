"""The lens file: intrinsics and distortion of one camera, with their covariance and history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from calibration import jsonfile, strict
from calibration.arrays import FloatArray, is_covariance
from calibration.camera import Camera
from calibration.errors import CalibrationError, FileFormatError
from calibration.strict import Count, NotNegative, PicturePx, Positive, Share

from .board import BoardPattern

LENS_FORMAT = "restmark-lens"
LENS_VERSION = 1
INTRINSICS = ("fx_px", "fy_px", "cx_px", "cy_px", "k1", "k2", "p1", "p2", "k3")
REJECTIONS = ("no-board", "few-corners", "blurred", "outlier", "other-size", "bad-still")
_AGAIN = "Fit the lens again from sharper stills."
_REMEDY = "Make the file again with `restmark lens`."


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardStill:
    """What became of one board still."""

    name: str
    used: bool
    code: str = ""
    """Kind of reason where not used: one of ``REJECTIONS``."""
    reason: str = ""
    """Why it was not used, in words."""
    corners: Count = 0
    edge_px: NotNegative | None = None
    """10–90 % width of its edges, of the board where found; None where none can be judged."""
    rms_px: NotNegative | None = None
    """Reprojection error over both axes with the fitted lens; None where it was not fitted."""
    held_out_px: NotNegative | None = None
    """The same with a lens that was fitted without this still, at corners that did not settle
    the board's place."""

    def __post_init__(self) -> None:
        strict.check(self, label="still", error=FileFormatError, remedy=_REMEDY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """Intrinsics and distortion of one camera at one picture size."""

    image_size_px: tuple[PicturePx, PicturePx]
    fx_px: Positive
    fy_px: Positive
    cx_px: float
    cy_px: float
    distortion: tuple[float, float, float, float, float]
    """k1, k2, p1, p2, k3."""
    parameter_cov: tuple[tuple[float, ...], ...]
    """9 × 9, in the order of ``INTRINSICS``; rows of fixed parameters are 0."""
    fit_rms_px: NotNegative
    held_out_rms_px: NotNegative
    """Error at corners of stills that the fit did not see, both axes together."""
    coverage: Share
    """Part of the picture's cells with a board corner, 0 … 1."""
    coverage_by_region: tuple[Share, ...] = ()
    """The same of each of the picture's ninths, in the order of ``coverage.REGIONS``."""
    board: BoardPattern | None = None
    """The board as it lay before the camera: scaled by ``ruler_mm`` where that was given."""
    ruler_mm: NotNegative | None = None
    """What the print's 100 mm bar measured; None where square and marker were told as printed."""
    stills: tuple[BoardStill, ...] = ()

    def __post_init__(self) -> None:
        strict.check(self, label="lens", error=CalibrationError, remedy=_AGAIN)
        count = len(INTRINSICS)
        lengths = ", ".join(map(str, sorted({len(row) for row in self.parameter_cov})))
        square = [len(row) for row in self.parameter_cov] == [count] * count
        if not square or not is_covariance(np.asarray(self.parameter_cov)):
            raise CalibrationError(
                f"lens.parameter_cov: got rows of {lengths} numbers; allowed: {count} rows of "
                f"{count}, symmetric and without negative variances. {_AGAIN}"
            )

    @classmethod
    def exact(cls, camera: Camera) -> Lens:
        """A lens file without error, from a known camera: for truth and tests."""
        return cls(
            image_size_px=camera.image_size_px,
            fx_px=camera.fx_px,
            fy_px=camera.fy_px,
            cx_px=camera.cx_px,
            cy_px=camera.cy_px,
            distortion=camera.distortion,
            parameter_cov=((0.0,) * len(INTRINSICS),) * len(INTRINSICS),
            fit_rms_px=0.0,
            held_out_rms_px=0.0,
            coverage=1.0,
        )

    @property
    def values(self) -> tuple[float, ...]:
        """Intrinsics in the order of ``INTRINSICS``."""
        return (self.fx_px, self.fy_px, self.cx_px, self.cy_px, *self.distortion)

    @property
    def matrix(self) -> FloatArray:
        """Intrinsic matrix K, (3, 3), px."""
        return np.array(
            [[self.fx_px, 0.0, self.cx_px], [0.0, self.fy_px, self.cy_px], [0.0, 0.0, 1.0]]
        )

    @property
    def rejected(self) -> tuple[tuple[str, str], ...]:
        """Name and reason of every still that was not used."""
        return tuple((still.name, still.reason) for still in self.stills if not still.used)

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object with format and version."""
        return {
            "format": LENS_FORMAT,
            "version": LENS_VERSION,
            "image_size_px": list(self.image_size_px),
            **dict(zip(INTRINSICS[:4], self.values[:4], strict=True)),
            "distortion": list(self.distortion),
            "fit_rms_px": self.fit_rms_px,
            "held_out_rms_px": self.held_out_rms_px,
            "coverage": self.coverage,
            "coverage_by_region": list(self.coverage_by_region),
            "board": None if self.board is None else self.board.to_dict(),
            "ruler_mm": self.ruler_mm,
            "parameter_names": list(INTRINSICS),
            "parameter_cov": jsonfile.as_lists(self.parameter_cov),
            "stills": [asdict(still) for still in self.stills],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "lens") -> Lens:
        """Inverse of ``to_dict``; errors name the field by its path."""
        jsonfile.check_version(
            data, file_format=LENS_FORMAT, version=LENS_VERSION, path=path, remedy=_REMEDY
        )
        row = strict.record(data, path, remedy=_REMEDY)
        names = row.get("parameter_names")
        if names != list(INTRINSICS):
            raise FileFormatError(
                f"{path}.parameter_names: got {strict.shown(names)}; allowed: {list(INTRINSICS)}. "
                f"{_REMEDY}"
            )
        return strict.build(
            cls,
            row,
            path=path,
            label="lens",
            remedy=_REMEDY,
            needed=strict.names_of(cls),
            convert={
                "board": strict.or_none(_board),
                "stills": strict.listed(_still),
            },
        )

    def write(self, path: Path | str) -> None:
        """Write the lens file, whole or not at all.

        Raises:
            FileFormatError: the place cannot be written.
        """
        jsonfile.write_json(path, self.to_dict())

    @classmethod
    def read(cls, path: Path | str) -> Lens:
        """Read a lens file.

        Raises:
            FileFormatError: it is not one, or a field is missing or wrong.
        """
        data = jsonfile.read_json(
            path, file_format=LENS_FORMAT, version=LENS_VERSION, remedy=_REMEDY
        )
        return cls.from_dict(data, path=str(path))


def _still(data: object, path: str) -> BoardStill:
    return strict.build(
        BoardStill,
        data,
        path=path,
        label="still",
        remedy=_REMEDY,
        needed=strict.names_of(BoardStill),
    )


def _board(data: object, path: str) -> BoardPattern:
    return BoardPattern.from_dict(data, path=path)
