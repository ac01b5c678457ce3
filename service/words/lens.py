"""What became of every board still, and of every part of the picture, as lines of a table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from calibration.lens.coverage import REGIONS, bare_regions

from .plain import NONE, percent

if TYPE_CHECKING:
    from calibration.lens.file import BoardStill, Lens


def lens_lines(lens: Lens) -> list[str]:
    """What a fitted lens says of itself."""
    wide, high = lens.image_size_px
    used = [still for still in lens.stills if still.used]
    lines = [
        f"{len(used)} of {len(lens.stills)} stills used, {sum(s.corners for s in used)} corners",
        f"error at held-out corners {lens.held_out_rms_px:.3f} px, of the fit "
        f"{lens.fit_rms_px:.3f} px",
        f"board seen in {percent(lens.coverage)} of the picture ({wide}x{high} px)",
        *_board_words(lens),
        f"focal length {lens.fx_px:.1f} px, first distortion coefficient {lens.distortion[0]:+.4f}",
    ]
    return lines + [f"left out {name}: {reason}" for name, reason in lens.rejected]


def _board_words(lens: Lens) -> list[str]:
    """The board and what its ruler bar did to it."""
    if lens.board is None:
        return []
    text = f"board as printed: {lens.board.options}"
    if lens.ruler_mm is not None:
        text += f" (scaled by its 100 mm bar, which measures {lens.ruler_mm:g} mm)"
    return [text]


def still_lines(lens: Lens) -> list[str]:
    """A line a still: corners, width of its edges, error of the fit and held out, its fate."""
    names = [Path(still.name).name for still in lens.stills]
    width = max(map(len, [*names, "still"]))
    head = f"{'still':<{width}}  corners  edges px  fit px  held-out px"
    return [
        head,
        *(_still_line(name, width, still) for name, still in zip(names, lens.stills, strict=True)),
    ]


def _still_line(name: str, width: int, still: BoardStill) -> str:
    numbers = (
        f"{still.corners:>7d}  {_number(still.edge_px, 1):>8}  {_number(still.rms_px, 3):>6}  "
        f"{_number(still.held_out_px, 3):>11}"
    )
    return f"{name:<{width}}  {numbers}  {'used' if still.used else 'left out: ' + still.code}"


def _number(value: float | None, digits: int) -> str:
    return NONE if value is None else f"{value:.{digits}f}"


def coverage_lines(lens: Lens) -> list[str]:
    """The part of each ninth of the picture in which the board was seen."""
    if len(lens.coverage_by_region) != len(REGIONS):
        return []
    cells = [f"{percent(part):>6}" for part in lens.coverage_by_region]
    rows = ["  ".join(cells[start : start + 3]) for start in (0, 3, 6)]
    bare = ", ".join(name for name, _ in bare_regions(lens.coverage_by_region))
    doubt = (
        f"hardly seen at the picture's {bare}: the lens is a guess there; `restmark calibrate` "
        "says whether the bed reaches so far, or take more stills with the board there"
    )
    lines = ["board seen in each ninth of the picture, as it lies:", *rows]
    return [*lines, doubt] if bare else lines
