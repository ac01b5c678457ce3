"""How well the board stills cover the picture: the lens is known only where a board was seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.errors import CalibrationError

from .board import BoardView

COVERAGE_GRID = (9, 6)
"""Columns and rows of picture cells in which board corners are counted."""
REGIONS = (
    "top left",
    "top",
    "top right",
    "left",
    "middle",
    "right",
    "bottom left",
    "bottom",
    "bottom right",
)
"""The picture's ninths, row by row, each of 3 × 2 cells."""
POOREST_COVERAGE = 0.5
"""Least part of the picture's cells with a board corner; less leaves distortion a guess."""
POOREST_REGION = 1 / 3
"""The same of each ninth: a lens bends most towards the picture's corners."""


def picture_coverage(views: Sequence[BoardView], size_px: tuple[int, int]) -> tuple[float, ...]:
    """Part of the cells with a board corner, 0 … 1, in each of ``REGIONS``.

    All ninths have as many cells, so the mean is the whole picture's part.
    """
    columns, rows = COVERAGE_GRID
    points = np.concatenate([view.corners_px for view in views])
    cell = np.floor((points + 0.5) / np.asarray(size_px) * (columns, rows)).astype(int)
    inside = cell[np.all((cell >= 0) & (cell < (columns, rows)), axis=1)]
    filled = np.zeros((rows, columns), dtype=bool)
    filled[inside[:, 1], inside[:, 0]] = True
    ninths = filled.reshape(3, rows // 3, 3, columns // 3).mean(axis=(1, 3))
    return tuple(float(part) for part in ninths.ravel())


def check_coverage(by_region: Sequence[float]) -> None:
    """Refuse a lens whose board covered the whole picture or one of its ninths too poorly.

    Raises:
        CalibrationError: it did; the text names the parts.
    """
    whole = float(np.mean(by_region))
    # a third is one cell short of half: not a matter of rounding
    empty = [
        f"{name} ({part:.0%})"
        for name, part in zip(REGIONS, by_region, strict=True)
        if part < POOREST_REGION - 1e-9
    ]
    if whole < POOREST_COVERAGE:
        raise CalibrationError(
            f"lens: got board corners in {whole:.0%} of the picture; allowed: "
            f"{POOREST_COVERAGE:.0%} or more{_least(empty)}. Take more stills with the board at "
            "the picture's edges and corners."
        )
    if empty:
        raise CalibrationError(
            f"lens: got board corners in too little of the picture's {', '.join(empty)}; allowed: "
            f"{POOREST_REGION:.0%} or more of every ninth. Take more stills with the board there."
        )


def _least(empty: Sequence[str]) -> str:
    return f"; least at {', '.join(empty)}" if empty else ""
