"""The lens board: what is printed on it and where its corners lie in a still."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import strict
from calibration.arrays import FloatArray
from calibration.errors import CalibrationError

ImageArray = NDArray[np.uint8]
PATTERNS = ("charuco", "chessboard")
FEWEST_CORNERS = 12
"""A still with fewer board corners says too little about the lens to be worth its pose."""
MARKER_SHARE = 0.75
"""Side of a marker in parts of its square where none is given."""
_PLAIN_NEEDS = ("pattern", "squares", "square_mm")
_SQUARES = re.compile(r"^\s*(\d+)\s*[x×]\s*(\d+)\s*$")


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardPattern:
    """A printed board: a ChArUco board or a plain chessboard."""

    pattern: str = "charuco"
    squares: tuple[int, int] = (7, 10)
    """Columns and rows of squares (not of inner corners)."""
    square_mm: float = 40.0
    marker_mm: float = 30.0
    dictionary: str = "5X5_250"
    """Marker dictionary of a ChArUco board, as OpenCV calls it without ``DICT_``."""

    def __post_init__(self) -> None:
        strict.check(self, label="board", error=CalibrationError, remedy="Measure the board.")
        if self.pattern not in PATTERNS:
            raise CalibrationError(
                f"board.pattern: got {self.pattern!r}; allowed: {', '.join(PATTERNS)}. "
                "Name the kind of board that was printed."
            )
        if len(self.squares) != 2 or min(self.squares) < 3 or max(self.squares) > 100:
            raise CalibrationError(
                f"board.squares: got {self.squares}; allowed: columns x rows, 3 to 100 each. "
                "Count the squares of the printed board."
            )
        if not 0 < self.square_mm < 1000:
            raise CalibrationError(
                f"board.square_mm: got {self.square_mm}; allowed: more than 0 and under 1000. "
                "Measure a square of the printed board."
            )
        if self.pattern == "charuco":
            self._check_markers()

    def _check_markers(self) -> None:
        if not 0 < self.marker_mm < self.square_mm:
            raise CalibrationError(
                f"board.marker_mm: got {self.marker_mm}; allowed: more than 0 and less than the "
                f"square ({self.square_mm:g}). Measure a marker of the printed board."
            )
        names = _dictionaries()
        if self.dictionary not in names:
            raise CalibrationError(
                f"board.dictionary: got {self.dictionary!r}; allowed: {', '.join(names)}. "
                "Name the marker dictionary of the printed board."
            )
        needed = self.squares[0] * self.squares[1] // 2
        held = len(_dictionary(self.dictionary).bytesList)
        if held < needed:
            raise CalibrationError(
                f"board.dictionary: got {self.dictionary!r} with {held} markers; allowed: one with "
                f"{needed} or more for {self.squares[0]}x{self.squares[1]} squares. Take fewer "
                "squares or a larger dictionary."
            )

    @classmethod
    def from_text(cls, squares: str, **settings: Any) -> BoardPattern:
        """Board from ``squares`` given as ``COLUMNSxROWS``, other fields as keywords.

        A ``marker_mm`` of None takes ``MARKER_SHARE`` of the square.

        Raises:
            CalibrationError: the squares cannot be read, or no such board can be.
        """
        made = {"squares": squares_of(squares), **settings}
        if made.get("marker_mm", 0) is None:
            made["marker_mm"] = MARKER_SHARE * made.get("square_mm", 40.0)
        return cls(**made)

    def scaled(self, factor: float) -> BoardPattern:
        """The same board with every length times ``factor``."""
        return replace(self, square_mm=self.square_mm * factor, marker_mm=self.marker_mm * factor)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the whole pattern."""
        return self.squares[0] * self.square_mm, self.squares[1] * self.square_mm

    @property
    def options(self) -> str:
        """The board as `restmark board` and `restmark lens` are told it."""
        columns, rows = self.squares
        text = f"--pattern {self.pattern} --squares {columns}x{rows} --square-mm {self.square_mm:g}"
        if self.pattern == "charuco":
            text += f" --marker-mm {self.marker_mm:g} --dictionary {self.dictionary}"
        return text

    @property
    def corner_count(self) -> int:
        """Number of inner corners."""
        return (self.squares[0] - 1) * (self.squares[1] - 1)

    def charuco(self) -> cv2.aruco.CharucoBoard:
        """The board as OpenCV's object, lengths in mm."""
        return cv2.aruco.CharucoBoard(
            self.squares, self.square_mm, self.marker_mm, _dictionary(self.dictionary)
        )

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object, one key a field."""
        out: dict[str, Any] = {
            "pattern": self.pattern,
            "squares": list(self.squares),
            "square_mm": self.square_mm,
        }
        if self.pattern == "charuco":
            out |= {"marker_mm": self.marker_mm, "dictionary": self.dictionary}
        return out

    @classmethod
    def from_dict(cls, data: object, *, path: str = "board") -> BoardPattern:
        """Inverse of ``to_dict``; errors name the field by its path."""
        row = strict.record(data, path, known=strict.names_of(cls))
        needed = strict.names_of(cls) if row.get("pattern") == "charuco" else _PLAIN_NEEDS
        return strict.build(cls, row, path=path, label="board", needed=needed)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardView:
    """The corners of one board in one still, pairwise."""

    name: str
    board_mm: FloatArray
    """(N, 3), mm on the board's plane, z = 0."""
    corners_px: FloatArray
    """(N, 2), pixels."""


def find_board(name: str, still: ImageArray, board: BoardPattern) -> BoardView:
    """Sub-pixel corners of ``board`` in ``still`` ((H, W, 3) BGR or (H, W) grey).

    Raises CalibrationError with the reason where too little of the board is seen; its code is
    ``no-board`` or ``few-corners``.
    """
    grey = still if still.ndim == 2 else cv2.cvtColor(still, cv2.COLOR_BGR2GRAY)
    grey = np.ascontiguousarray(grey, dtype=np.uint8)
    finder = _charuco_corners if board.pattern == "charuco" else _chessboard_corners
    board_mm, corners_px = finder(grey, board)
    if len(corners_px) < min(FEWEST_CORNERS, board.corner_count):
        raise CalibrationError(
            f"{name}: got {len(corners_px)} of {board.corner_count} board corners; allowed: "
            f"{FEWEST_CORNERS} or more. Take the still again, sharp, evenly lit and nearer.",
            code="few-corners" if len(corners_px) else "no-board",
        )
    if np.linalg.matrix_rank(board_mm - board_mm[0], tol=0.1 * board.square_mm) < 2:
        raise CalibrationError(
            f"{name}: got {len(corners_px)} board corners on one line; allowed: corners of several "
            "rows. Take the still again with more of the board in it.",
            code="few-corners",
        )
    board_mm.setflags(write=False)
    corners_px.setflags(write=False)
    return BoardView(name=name, board_mm=board_mm, corners_px=corners_px)


def _charuco_corners(grey: ImageArray, board: BoardPattern) -> tuple[FloatArray, FloatArray]:
    pattern = board.charuco()
    corners, ids, _, _ = cv2.aruco.CharucoDetector(pattern).detectBoard(grey)
    if corners is None or ids is None or len(corners) == 0:
        return np.zeros((0, 3)), np.zeros((0, 2))
    points = np.asarray(pattern.getChessboardCorners(), dtype=float)[np.asarray(ids).ravel()]
    return points, _refined(grey, points, np.asarray(corners, dtype=float).reshape(-1, 2), board)


def _refined(
    grey: ImageArray, points: FloatArray, corners: FloatArray, board: BoardPattern
) -> FloatArray:
    """Saddle points again, in the widest window that the markers leave clear.

    The detector's own window is sized once a still and takes in marker edges on a tilted board.
    """
    side_px = square_px(points, corners, board)
    if not np.isfinite(side_px):
        return corners
    clear_px = side_px * clear_mm(board) / board.square_mm
    half = int(np.clip(round(0.8 * clear_px), 2, 6))
    refined = cv2.cornerSubPix(
        grey,
        np.ascontiguousarray(corners, dtype=np.float32).reshape(-1, 1, 2),
        (half, half),
        (-1, -1),
        (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-4),
    )
    return np.asarray(refined, dtype=float).reshape(-1, 2)


def square_px(board_mm: FloatArray, corners_px: FloatArray, board: BoardPattern) -> float:
    """Side of the board's smaller squares in a still (10 % are smaller), px; NaN without pairs."""
    away = np.linalg.norm(board_mm[:, None] - board_mm[None], axis=2)
    first, second = np.nonzero(np.isclose(away, board.square_mm))
    if len(first) == 0:
        return float("nan")
    sides_px = np.linalg.norm(corners_px[first] - corners_px[second], axis=1)
    return float(np.quantile(sides_px, 0.1))


def clear_mm(board: BoardPattern) -> float:
    """Distance from a square's edge within which only that edge is printed."""
    if board.pattern == "chessboard":
        return 0.4 * board.square_mm
    return (board.square_mm - board.marker_mm) / 2


def _chessboard_corners(grey: ImageArray, board: BoardPattern) -> tuple[FloatArray, FloatArray]:
    columns, rows = board.squares[0] - 1, board.squares[1] - 1
    flags = cv2.CALIB_CB_EXHAUSTIVE | cv2.CALIB_CB_ACCURACY | cv2.CALIB_CB_NORMALIZE_IMAGE
    found, corners = cv2.findChessboardCornersSB(grey, (columns, rows), flags=flags)
    if not found or corners is None:
        return np.zeros((0, 3)), np.zeros((0, 2))
    row, column = np.mgrid[0:rows, 0:columns]
    # from the board's outer corner, as on a ChArUco board
    points = np.column_stack([column.ravel() + 1, row.ravel() + 1, np.zeros(rows * columns)])
    return points * board.square_mm, np.asarray(corners, dtype=float).reshape(-1, 2)


def squares_of(text: str) -> tuple[int, int]:
    """Columns and rows from ``COLUMNSxROWS``.

    Raises:
        CalibrationError: the text is not two numbers with an x between them.
    """
    match = _SQUARES.match(text)
    if not match:
        raise CalibrationError(
            f"board.squares: got {text!r}; allowed: COLUMNSxROWS such as 7x10. Count the "
            "squares of the printed board."
        )
    return int(match[1]), int(match[2])


def _dictionary(name: str) -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{name}"))


def _dictionaries() -> tuple[str, ...]:
    return tuple(
        sorted(name[5:] for name in dir(cv2.aruco) if name.startswith("DICT_") and "X" in name)
    )
