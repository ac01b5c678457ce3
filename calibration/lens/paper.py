"""Which lens board fits on which sheet of paper, and where on the sheet it lies."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

from calibration.errors import CalibrationError

from .board import BoardPattern

PAPERS_MM = {"A3": (297.0, 420.0), "A4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height upright; A sizes after ISO 216."""
UNPRINTABLE_MM = 5.0
"""Edge of the sheet that common printers leave white."""
CAPTION_MM = 9.0
"""Strip below the pattern for the ruler bar, the text and a gap."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A board on a sheet that is held so that the pattern stands as ``squares`` says."""

    board: BoardPattern
    paper: str
    page_mm: tuple[float, float]
    """Width and height, turned on its side where only that carries the board."""

    def __post_init__(self) -> None:
        room_mm = printable_mm(self.page_mm)
        # a print of the full width is allowed despite rounding
        if any(w > r + 1e-9 for w, r in zip(self.board.size_mm, room_mm, strict=True)):
            raise CalibrationError(
                f"sheet: got a pattern of {_by(self.board.size_mm)} mm on a page of "
                f"{_by(self.page_mm)} mm; allowed: {_by(room_mm)} mm. Lay it out again."
            )

    @property
    def corner_mm(self) -> tuple[float, float]:
        """Top left corner of the pattern from the top left of the page, right and down."""
        (page_w, page_h), (wide, high) = self.page_mm, self.board.size_mm
        spare_mm = page_h - CAPTION_MM - 2 * UNPRINTABLE_MM - high
        return (page_w - wide) / 2, UNPRINTABLE_MM + spare_mm / 2


def printable_mm(page_mm: tuple[float, float]) -> tuple[float, float]:
    """Width and height that the pattern may take on a page."""
    return page_mm[0] - 2 * UNPRINTABLE_MM, page_mm[1] - 2 * UNPRINTABLE_MM - CAPTION_MM


def largest_square_mm(paper: str, squares: tuple[int, int]) -> float:
    """Side of the largest squares of which ``squares`` (columns, rows) fit on ``paper``.

    Raises:
        CalibrationError: the paper is unknown.
    """
    return max(_square_mm(page_mm, squares) for page_mm in _pages(paper))


def default_square_mm(paper: str, squares: tuple[int, int]) -> float:
    """The largest whole millimetre that fits.

    Raises:
        CalibrationError: the paper is unknown.
    """
    return float(floor(largest_square_mm(paper, squares) + 1e-9))


def lay_out(paper: str, board: BoardPattern) -> Sheet:
    """``board`` on ``paper``, upright where it fits so.

    Raises CalibrationError for an unknown paper and where the board does not fit, with what fits.
    """
    for page_mm in _pages(paper):
        if board.square_mm <= _square_mm(page_mm, board.squares) + 1e-9:
            return Sheet(board=board, paper=paper, page_mm=page_mm)
    most_mm = largest_square_mm(paper, board.squares)
    columns, rows = board.squares
    raise CalibrationError(
        f"board.square_mm: got {board.square_mm:g}, that is {_by(board.size_mm)} mm for "
        f"{columns}x{rows} squares; allowed on {paper}: up to {floor(most_mm * 10) / 10:g} mm a "
        f"square. Take smaller or fewer squares or larger paper ({', '.join(PAPERS_MM)})."
    )


def _pages(paper: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """The sheet upright and on its side."""
    if paper not in PAPERS_MM:
        raise CalibrationError(
            f"paper: got {paper!r}; allowed: {', '.join(PAPERS_MM)}. Name the sheet in the printer."
        )
    wide, high = PAPERS_MM[paper]
    return (wide, high), (high, wide)


def _square_mm(page_mm: tuple[float, float], squares: tuple[int, int]) -> float:
    return min(room / count for room, count in zip(printable_mm(page_mm), squares, strict=True))


def _by(size_mm: tuple[float, float]) -> str:
    return f"{size_mm[0]:g} x {size_mm[1]:g}"
