"""How well the board stills cover the picture: the lens is known only where a board was seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.arrays import FloatArray
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
MOST_BARE = 2
"""Ninths that may be seen less: what the lens does there stays open, and its error says so."""


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


def bare_regions(by_region: Sequence[float]) -> tuple[tuple[str, float], ...]:
    """The ninths in which too little of the board was seen to know the lens there, with parts."""
    # a third is one cell short of half: not a matter of rounding
    return tuple(
        (name, part)
        for name, part in zip(REGIONS, by_region, strict=False)
        if part < POOREST_REGION - 1e-9
    )


def check_coverage(by_region: Sequence[float]) -> None:
    """Refuse a lens whose board covered the whole picture or many of its ninths too poorly.

    Raises:
        CalibrationError: it did; the text names the parts.
    """
    whole = float(np.mean(by_region))
    bare = [f"{name} ({part:.0%})" for name, part in bare_regions(by_region)]
    if whole < POOREST_COVERAGE:
        raise CalibrationError(
            f"lens: got board corners in {whole:.0%} of the picture; allowed: "
            f"{POOREST_COVERAGE:.0%} or more{_least(bare)}. Take more stills with the board at "
            "the picture's edges and corners."
        )
    if len(bare) > MOST_BARE:
        raise CalibrationError(
            f"lens: got board corners in too little of the picture's {', '.join(bare)}; allowed: "
            f"{POOREST_REGION:.0%} or more of every ninth but {MOST_BARE}. Take more stills with "
            "the board there."
        )


def bare_share(
    points_px: FloatArray, by_region: Sequence[float], size_px: tuple[int, int]
) -> dict[str, float]:
    """Part of pixels (N, 2) that lies in each ninth where too little of the board was seen."""
    cell = np.floor((np.asarray(points_px) + 0.5) / np.asarray(size_px) * 3).astype(int)
    ninth = np.clip(cell, 0, 2) @ np.array([1, 3])
    shares = {
        name: float(np.mean(ninth == REGIONS.index(name))) for name, _ in bare_regions(by_region)
    }
    return {name: share for name, share in shares.items() if share > 0}


def _least(empty: Sequence[str]) -> str:
    return f"; least at {', '.join(empty)}" if empty else ""
