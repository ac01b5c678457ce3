"""The lens file: intrinsics and distortion of one camera, with their covariance and history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from calibration import jsonfile
from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.errors import CalibrationError, FileFormatError

from .board import BoardPattern

LENS_FORMAT = "restmark-lens"
LENS_VERSION = 1
INTRINSICS = ("fx_px", "fy_px", "cx_px", "cy_px", "k1", "k2", "p1", "p2", "k3")
REJECTIONS = ("no-board", "few-corners", "blurred", "outlier", "other-size", "bad-still")
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
    corners: int = 0
    edge_px: float | None = None
    """10–90 % width of its edges, of the board where found; None where none can be judged."""
    rms_px: float | None = None
    """Reprojection error over both axes with the fitted lens; None where it was not fitted."""
    held_out_px: float | None = None
    """The same with a lens that was fitted without this still, at corners that did not settle
    the board's place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """Intrinsics and distortion of one camera at one picture size."""

    image_size_px: tuple[int, int]
    fx_px: float
    fy_px: float
    cx_px: float
    cy_px: float
    distortion: tuple[float, float, float, float, float]
    """k1, k2, p1, p2, k3."""
    parameter_cov: tuple[tuple[float, ...], ...]
    """9 × 9, in the order of ``INTRINSICS``; rows of fixed parameters are 0."""
    fit_rms_px: float
    held_out_rms_px: float
    """Error at corners of stills that the fit did not see, both axes together."""
    coverage: float
    """Part of the picture's cells with a board corner, 0 … 1."""
    coverage_by_region: tuple[float, ...] = ()
    """The same of each of the picture's ninths, in the order of ``coverage.REGIONS``."""
    board: BoardPattern | None = None
    """The board as it lay before the camera: scaled by ``ruler_mm`` where that was given."""
    ruler_mm: float | None = None
    """What the print's 100 mm bar measured; None where square and marker were told as printed."""
    stills: tuple[BoardStill, ...] = ()

    def __post_init__(self) -> None:
        values = (*self.values, self.fit_rms_px, self.held_out_rms_px, self.coverage)
        if not np.all(np.isfinite(values)) or min(self.fx_px, self.fy_px) <= 0:
            raise CalibrationError(
                f"lens: got {values}; allowed: finite numbers with focal lengths above 0. "
                "Fit the lens again from sharper stills."
            )
        if min(self.image_size_px) < 2:
            raise CalibrationError(
                f"lens.image_size_px: got {self.image_size_px}; allowed: width and height of at "
                "least 2 px. Fit the lens again."
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
        width, height = jsonfile.numbers(data, "image_size_px", path, count=2)
        k1, k2, p1, p2, k3 = jsonfile.numbers(data, "distortion", path, count=5)
        names = jsonfile.field(data, "parameter_names", path)
        if names != list(INTRINSICS):
            raise FileFormatError(
                f"{path}.parameter_names: got {names!r}; allowed: {list(INTRINSICS)}. {_REMEDY}"
            )
        return cls(
            image_size_px=(int(width), int(height)),
            fx_px=jsonfile.number(data, "fx_px", path),
            fy_px=jsonfile.number(data, "fy_px", path),
            cx_px=jsonfile.number(data, "cx_px", path),
            cy_px=jsonfile.number(data, "cy_px", path),
            distortion=(k1, k2, p1, p2, k3),
            parameter_cov=jsonfile.square_matrix(data, "parameter_cov", path, size=len(INTRINSICS)),
            fit_rms_px=jsonfile.number(data, "fit_rms_px", path),
            held_out_rms_px=jsonfile.number(data, "held_out_rms_px", path),
            coverage=jsonfile.number(data, "coverage", path),
            coverage_by_region=jsonfile.numbers(data, "coverage_by_region", path),
            board=_board_from_dict(data, path),
            ruler_mm=_maybe(data, "ruler_mm", path),
            stills=tuple(
                _still_from_dict(item, f"{path}.stills[{i}]")
                for i, item in enumerate(jsonfile.items(data, "stills", path))
            ),
        )

    def write(self, path: Path | str) -> None:
        """Write the lens file, whole or not at all."""
        jsonfile.write_json(path, self.to_dict())

    @classmethod
    def read(cls, path: Path | str) -> Lens:
        """Read a lens file; FileFormatError where it is not one."""
        data = jsonfile.read_json(
            path, file_format=LENS_FORMAT, version=LENS_VERSION, remedy=_REMEDY
        )
        return cls.from_dict(data, path=str(path))


def _still_from_dict(data: object, path: str) -> BoardStill:
    if not isinstance(data, Mapping):
        raise FileFormatError(f"{path}: got {data!r}; allowed: an object. {_REMEDY}")
    return BoardStill(
        name=jsonfile.text(data, "name", path),
        used=bool(jsonfile.field(data, "used", path)),
        code=jsonfile.text(data, "code", path),
        reason=jsonfile.text(data, "reason", path),
        corners=int(jsonfile.number(data, "corners", path)),
        edge_px=_maybe(data, "edge_px", path),
        rms_px=_maybe(data, "rms_px", path),
        held_out_px=_maybe(data, "held_out_px", path),
    )


def _maybe(data: Mapping[str, Any], name: str, path: str) -> float | None:
    """The finite number ``data[name]``, or None for null."""
    if jsonfile.field(data, name, path) is None:
        return None
    return jsonfile.number(data, name, path)


def _board_from_dict(data: Mapping[str, Any], path: str) -> BoardPattern | None:
    if jsonfile.field(data, "board", path) is None:
        return None
    board, here = jsonfile.mapping(data, "board", path), f"{path}.board"
    columns, rows = jsonfile.numbers(board, "squares", here, count=2)
    settings: dict[str, Any] = {"square_mm": jsonfile.number(board, "square_mm", here)}
    pattern = jsonfile.text(board, "pattern", here)
    if pattern == "charuco":
        settings["marker_mm"] = jsonfile.number(board, "marker_mm", here)
        settings["dictionary"] = jsonfile.text(board, "dictionary", here)
    try:
        return BoardPattern(pattern=pattern, squares=(int(columns), int(rows)), **settings)
    except CalibrationError as refused:
        # its text starts with the field's path from the board on
        raise FileFormatError(f"{path}.{refused.detail}") from None
