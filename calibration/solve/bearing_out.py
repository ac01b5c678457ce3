"""Whether stated errors are borne out: measured against predicted, region by region of the bed.

One record a calibration whose truth is known; the figures over many of them say whether what
calibrations state is true. A single calibration says little: its error is common to the bed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.chi_square import PLANE_95
from calibration.errors import CalibrationError
from calibration.kept.budget import GRID, bed_grid_mm
from calibration.kept.calibration import Calibration
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table

WHOLE = "whole bed"
ALONG, ACROSS = ("head", "middle", "foot"), ("right", "centre", "left")
REGIONS = tuple(f"{end} {hand}" for end in ALONG for hand in ACROSS)
"""The bed's ninths, left and right as seen from the head end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One calibration's true error and what it states, over the grid of ``quality.GRID``."""

    label: str
    """What it is counted under, for example a level of noise."""
    error_mm: FloatArray
    """(G, 2): where a ball would be placed minus where it is."""
    cov_mm2: FloatArray
    """(G, 2, 2): the stated covariance there."""

    def __post_init__(self) -> None:
        cells = GRID[0] * GRID[1]
        shapes = (np.shape(self.error_mm), np.shape(self.cov_mm2))
        if shapes != ((cells, 2), (cells, 2, 2)):
            raise CalibrationError(
                f"record {self.label}: got shapes {shapes[0]} and {shapes[1]}; allowed: "
                f"({cells}, 2) and ({cells}, 2, 2), one row a cell of the bed's grid."
            )
        if not np.all(np.isfinite(self.error_mm)) or np.min(np.linalg.det(self.cov_mm2)) <= 0:
            raise CalibrationError(
                f"record {self.label}: got an error that is not finite or a covariance that is "
                "not positive; allowed: finite errors and positive covariances. Leave stills "
                "without a calibration out."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Measured against predicted over all records of one label, in one region."""

    label: str
    region: str
    """One of ``REGIONS``, or ``WHOLE``."""
    count: int
    """Calibrations."""
    measured_mm: float
    """Root mean square of the error's length."""
    predicted_mm: float
    """What the stated covariances make of it."""
    ratio_x: float
    ratio_y: float
    """Measured over predicted root mean square along and across the table."""
    pull: float
    """Root mean square of the error in stated sigmas, per axis: 1 where errors are as stated."""
    inside_95: float
    """Share of errors inside their stated 95 % ellipse."""

    @property
    def ratio(self) -> float:
        """Measured over predicted root mean square; 1 is a true statement."""
        return self.measured_mm / self.predicted_mm


def record_of(
    calibration: Calibration,
    camera: Camera,
    table: Table,
    *,
    label: str,
    by_tape: bool = True,
) -> Record:
    """The record of a calibration whose true ``camera`` and ``table`` are known.

    ``by_tape``: against millimetres from the head nose and the lower long nose, so that a
    surface built off its told size counts in full; else against the noses all round, as a ball
    is read (``Calibration.own_covariance_mm2``).
    """
    true = bed_grid_mm(table)
    told = bed_grid_mm(calibration.table)
    points = np.column_stack([true, np.full(len(true), BALL_CENTRE_HEIGHT_MM)])
    placed = calibration.table_mm(camera.project(points))
    return Record(
        label=label,
        error_mm=placed - (true if by_tape else told),
        cov_mm2=calibration.own_covariance_mm2(told, by_tape=by_tape),
    )


def bear_out(records: Sequence[Record]) -> tuple[Figures, ...]:
    """Figures for every label, in the order in which they come: the whole bed, then its ninths."""
    out = []
    for label in dict.fromkeys(record.label for record in records):
        own = [record for record in records if record.label == label]
        error = np.stack([record.error_mm for record in own])
        cov = np.stack([record.cov_mm2 for record in own])
        out.append(_figures(label, WHOLE, error, cov))
        for name, cells in _cells().items():
            out.append(_figures(label, name, error[:, cells], cov[:, cells]))
    return tuple(out)


def as_text(figures: Sequence[Figures]) -> str:
    """A table of figures: one line a label, its whole bed and the span of its ninths."""
    lines = [
        f"{'':<26} {'n':>4} {'measured':>9} {'predicted':>9} {'ratio':>6} {'ninths':>11} "
        f"{'pull':>5} {'ninths':>11} {'in 95 %':>8}"
    ]
    for label in dict.fromkeys(one.label for one in figures):
        own = {one.region: one for one in figures if one.label == label}
        whole = own.pop(WHOLE)
        ratios, pulls = [one.ratio for one in own.values()], [one.pull for one in own.values()]
        lines.append(
            f"{label:<26} {whole.count:>4} {whole.measured_mm:>6.3f} mm {whole.predicted_mm:>6.3f} "
            f"mm {whole.ratio:>6.2f} {min(ratios):>5.2f}-{max(ratios):<5.2f} {whole.pull:>5.2f} "
            f"{min(pulls):>5.2f}-{max(pulls):<5.2f} {whole.inside_95:>7.0%}"
        )
    return "\n".join(lines)


def _cells() -> dict[str, NDArray[np.intp]]:
    """Cells of each ninth of the bed, in the order of ``bed_grid_mm``."""
    rows, columns = GRID
    index = np.arange(rows * columns).reshape(GRID)
    return {
        f"{end} {hand}": index[
            j * rows // 3 : (j + 1) * rows // 3, i * columns // 3 : (i + 1) * columns // 3
        ].ravel()
        for i, end in enumerate(ALONG)
        for j, hand in enumerate(ACROSS)
    }


def _figures(label: str, region: str, error_mm: ArrayLike, cov_mm2: ArrayLike) -> Figures:
    error, cov = np.asarray(error_mm), np.asarray(cov_mm2)
    squares = np.einsum("...i,...ij,...j->...", error, np.linalg.inv(cov), error)
    measured2 = np.mean(error**2, axis=(0, 1))
    predicted2 = np.mean(np.diagonal(cov, axis1=-2, axis2=-1), axis=(0, 1))
    ratio_x, ratio_y = np.sqrt(measured2 / predicted2)
    return Figures(
        label=label,
        region=region,
        count=len(error),
        measured_mm=float(np.sqrt(measured2.sum())),
        predicted_mm=float(np.sqrt(predicted2.sum())),
        ratio_x=float(ratio_x),
        ratio_y=float(ratio_y),
        pull=float(np.sqrt(np.mean(squares) / 2)),
        inside_95=float(np.mean(squares < PLANE_95)),
    )
