"""A lens board shown to the camera still by still: what was seen, what is missing, the lens."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.lens.board import BoardPattern
from calibration.lens.board_views import FEWEST_STILLS
from calibration.lens.coverage import POOREST_REGION, REGIONS, picture_coverage
from calibration.lens.file import Lens
from calibration.lens.fit import as_printed, fit_lens
from calibration.lens.paper import default_square_mm, lay_out
from calibration.lens.sheet import sheet_pdf
from service.setup.refusals import SetupError
from service.setup.stills import SetupStill

from .board_views import TILTS, SeenBoard, look

SQUARES = (7, 10)
WANTED_STILLS = 10
"""So many give a lens that the fit need not guess about; fewer may do."""
MOST_STILLS = 24


def pattern_on(paper: str) -> BoardPattern:
    """The board that is printed on that paper; CalibrationError for an unknown paper."""
    columns, rows = SQUARES
    square_mm = default_square_mm(paper, SQUARES)
    return BoardPattern.from_text(f"{columns}x{rows}", square_mm=square_mm, marker_mm=None)


def board_pdf(paper: str) -> bytes:
    """The board as a PDF true to scale; CalibrationError for an unknown paper."""
    return sheet_pdf(lay_out(paper, pattern_on(paper)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Taken:
    """A still and what became of it; ``seen`` or ``refusal``, never both."""

    name: str
    number: str
    seen: SeenBoard | None = None
    refusal: CalibrationError | None = None

    def to_dict(self) -> dict[str, Any]:
        out: dict[str, Any] = {"still": self.number, "name": self.name, "used": bool(self.seen)}
        if self.refusal is not None:
            out |= {"code": self.refusal.code, "detail": self.refusal.detail}
        return out | (self.seen.to_dict() if self.seen else {})


class GuidedBoard:
    """One board before one camera. Looking at a still takes a while; anything else does not."""

    def __init__(self, paper: str, *, ruler_mm: float | None = None) -> None:
        """``ruler_mm`` is what the print's 100 mm bar measures; CalibrationError as in the fit."""
        self.paper = paper
        self.pattern = pattern_on(paper)
        as_printed(self.pattern, ruler_mm)  # a bar that cannot be is said at once
        self.ruler_mm = ruler_mm
        self._lock = threading.Lock()
        self._taken: list[_Taken] = []
        self._grey: dict[str, NDArray[np.uint8]] = {}
        self._size_px: tuple[int, int] | None = None

    def take(self, number: str, still: SetupStill) -> GuidedBoard:
        """Look for the board in a still; a still that does not count is told, not raised.

        Raises:
            SetupError: there are enough stills already.
        """
        with self._lock:
            earlier = [taken.seen for taken in self._taken if taken.seen is not None]
            name = f"still {len(self._taken) + 1}"
        if len(earlier) >= MOST_STILLS:
            raise SetupError(
                f"lens board: got {len(earlier)} stills; allowed: {MOST_STILLS}. Work out the lens "
                "of them, or begin again."
            )
        grey = np.asarray(cv2.cvtColor(still.picture(), cv2.COLOR_BGR2GRAY), np.uint8)
        try:
            self._check_size(name, still.size_px)
            taken = _Taken(name=name, number=number, seen=look(name, grey, self.pattern, earlier))
        except CalibrationError as refusal:
            taken = _Taken(name=name, number=number, refusal=refusal)
        with self._lock:
            self._taken.append(taken)
            if taken.seen is not None:
                self._size_px = still.size_px
                self._grey[name] = grey
        return self

    def lens(self) -> Lens:
        """The lens of the stills that count.

        Raises:
            CalibrationError: they do not do; the text says what is missing.
        """
        with self._lock:
            stills = list(self._grey.items())
        return fit_lens(stills, self.pattern, ruler_mm=self.ruler_mm)

    def to_dict(self) -> dict[str, Any]:
        """JSON object: the stills, the picture's ninths, and what is missing."""
        with self._lock:
            taken, size_px = list(self._taken), self._size_px
        seen = [each.seen for each in taken if each.seen is not None]
        parts = (
            picture_coverage([each.view for each in seen], size_px)
            if size_px is not None
            else (0.0,) * len(REGIONS)
        )
        regions = [
            {"name": name, "part": round(part, 3), "enough": part >= POOREST_REGION - 1e-9}
            for name, part in zip(REGIONS, parts, strict=True)
        ]
        tilts = {name: sum(name in each.tilts for each in seen) for name in TILTS}
        return {
            "paper": self.paper,
            "squares": list(self.pattern.squares),
            "square_mm": self.pattern.square_mm,
            "ruler_mm": self.ruler_mm,
            "size_px": None if size_px is None else list(size_px),
            "stills": [each.to_dict() for each in taken],
            "used": len(seen),
            "wanted": WANTED_STILLS,
            "regions": regions,
            "tilts": tilts,
            "missing": _missing(len(seen), parts, tilts),
            "can_fit": len(seen) >= FEWEST_STILLS and all(each["enough"] for each in regions),
        }

    def _check_size(self, name: str, size_px: tuple[int, int]) -> None:
        with self._lock:
            first = self._size_px
        if first is not None and size_px != first:
            raise CalibrationError(
                f"{name}: got {size_px[0]}x{size_px[1]} px; allowed: {first[0]}x{first[1]} px as "
                "the first still. Take all with one camera at one setting, that of the practice.",
                code="other-size",
            )


def _missing(
    used: int, parts: tuple[float, ...], tilts: dict[str, int]
) -> list[dict[str, str | int]]:
    """What to show next, the most needed first: the middle, empty ninths, tilts, then numbers."""
    if used == 0:
        return [{"kind": "first", "what": "middle"}]
    empty = [
        (part, name) for part, name in zip(parts, REGIONS, strict=True) if part < POOREST_REGION
    ]
    out: list[dict[str, str | int]] = [
        {"kind": "part", "what": name} for _, name in sorted(empty, key=lambda each: each[0])
    ]
    out += [{"kind": "tilt", "what": name} for name, count in tilts.items() if not count]
    if used < WANTED_STILLS:
        out.append({"kind": "more", "what": WANTED_STILLS - used})
    return out
