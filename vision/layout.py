"""What a reading says: balls with places, errors and doubts, as values and as JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration import strict
from calibration.errors import FileFormatError
from calibration.jsonfile import read_value
from calibration.notices import Notice, notices_from, sentences
from calibration.strict import Share
from calibration.table import LONGEST_MM, SHORTEST_MM

BALL_IDS = ("cue", *(str(number) for number in range(1, 16)))
Cov = tuple[tuple[float, float], tuple[float, float]]
EXACT: Cov = ((0.0, 0.0), (0.0, 0.0))
OFF_BED_MM = 300.0
"""So far outside the noses a ball's place is still believed: it lies in a pocket or on the rail."""
_ROUNDING = 1e-6
"""Of a covariance: what figures written with a few digits lose."""
_REMEDY = "Correct it, or read the still again."
_NEEDED = ("surface_mm", "balls")
_PRINTED = "one object as `restmark read --json` prints it"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ball:
    """One ball: centre in the table frame (mm) with its 2×2 covariance (mm²) and its name."""

    id: str
    x_mm: float
    y_mm: float
    cov_mm2: Cov = EXACT
    confidence: Share = 1.0
    """Probability that the name is right."""
    doubtful: bool = False
    runners_up: tuple[tuple[str, Share], ...] = ()
    """Other names with their probabilities, best first; given when doubtful."""
    look: tuple[tuple[str, Share], ...] = ()
    """Likely names by the ball's looks alone, without the other balls, best first."""
    said: bool = False
    """A person gave the name."""

    def __post_init__(self) -> None:
        strict.check(self, label="ball", error=FileFormatError, remedy=_REMEDY)
        if self.id not in BALL_IDS:
            raise FileFormatError(
                f"ball.id: got {strict.shown(self.id)}; allowed: cue, 1 … 15. Correct the name."
            )
        if not _is_covariance(self.cov_mm2):
            raise FileFormatError(
                f"ball.cov_mm2: got {[list(row) for row in self.cov_mm2]}; allowed: a "
                f"symmetric 2×2 covariance in mm² with variances from 0 to the longest table's "
                f"length squared. {_REMEDY}"
            )
        others = [name for name, _ in self.runners_up]
        if len({self.id, *others}) <= len(others) or not set(others) <= set(BALL_IDS):
            raise FileFormatError(
                f"ball.runners_up: got {strict.shown(others)}; allowed: names cue, 1 … 15 "
                f"besides the ball's own, each once. {_REMEDY}"
            )

    @property
    def centre_mm(self) -> tuple[float, float]:
        """x, y in the table frame."""
        return (self.x_mm, self.y_mm)

    def to_dict(self) -> dict[str, Any]:
        """JSON object as in ``read --json``."""
        out: dict[str, Any] = {
            "id": self.id,
            "x_mm": self.x_mm,
            "y_mm": self.y_mm,
            "cov_mm2": [list(row) for row in self.cov_mm2],
            "confidence": self.confidence,
            "doubtful": self.doubtful,
        }
        if self.runners_up:
            out["runners_up"] = [{"id": name, "confidence": p} for name, p in self.runners_up]
        if self.look:
            out["look"] = [{"id": name, "confidence": p} for name, p in self.look]
        if self.said:
            out["said"] = True
        return out

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "ball") -> Ball:
        """Inverse of ``to_dict``; only ``id``, ``x_mm`` and ``y_mm`` are required."""
        convert = {"runners_up": strict.listed(_runner_up), "look": strict.listed(_runner_up)}
        return strict.build(cls, data, path=path, label="ball", remedy=_REMEDY, convert=convert)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """All balls of one settled still, with the surface they lie on."""

    still: str
    surface_mm: tuple[float, float]
    balls: tuple[Ball, ...] = ()
    settled: bool = True
    obstructed: bool = False
    notices: tuple[Notice, ...] = ()
    """What whoever uses it should know: doubts, drift, what lies over the bed."""

    def __post_init__(self) -> None:
        strict.check(self, label="layout", error=FileFormatError, remedy=_REMEDY)
        length_mm, width_mm = self.surface_mm
        if not SHORTEST_MM <= width_mm <= length_mm <= LONGEST_MM:
            raise FileFormatError(
                f"layout.surface_mm: got {list(self.surface_mm)}; allowed: length and width, "
                f"{SHORTEST_MM:g} mm ≤ width ≤ length ≤ {LONGEST_MM:g} mm. {_REMEDY}"
            )
        for ball in self.balls:
            off_mm = max(-ball.x_mm, -ball.y_mm, ball.x_mm - length_mm, ball.y_mm - width_mm)
            if off_mm > OFF_BED_MM:
                raise FileFormatError(
                    f"layout.balls: got ball {ball.id} at x {ball.x_mm:g}, y {ball.y_mm:g} mm; "
                    f"allowed: at most {OFF_BED_MM:g} mm off a surface of {length_mm:g}x"
                    f"{width_mm:g} mm. {_REMEDY}"
                )
        names = [ball.id for ball in self.balls]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise FileFormatError(
                f"layout {self.still}: got ball(s) {', '.join(twice)} more than once; allowed: "
                "each name once. Remove or rename the extra."
            )

    @property
    def warnings(self) -> tuple[str, ...]:
        """The notices' sentences."""
        return sentences(self.notices)

    def ball(self, name: str) -> Ball | None:
        """The ball of that name, or None where it is not on the table."""
        return next((ball for ball in self.balls if ball.id == name), None)

    def to_dict(self) -> dict[str, Any]:
        """JSON object as ``read --json`` prints it."""
        return {
            "still": self.still,
            "surface_mm": list(self.surface_mm),
            "settled": self.settled,
            "obstructed": self.obstructed,
            "balls": [ball.to_dict() for ball in self.balls],
            "warnings": list(self.warnings),
            "notices": [notice.to_dict() for notice in self.notices],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "layout") -> Layout:
        """Inverse of ``to_dict``; ``surface_mm`` and ``balls`` are required."""
        row = strict.record(data, path, known=_NEEDED, remedy=_REMEDY)
        return strict.build(
            cls,
            {"still": "", **row, "notices": notices_from(row, path=path)},
            path=path,
            label="layout",
            remedy=_REMEDY,
            needed=_NEEDED,
            convert={"balls": strict.listed(lambda item, at: Ball.from_dict(item, path=at))},
        )

    @classmethod
    def read(cls, path: Path) -> Layout:
        """Layout from a JSON file holding one object as ``read --json`` prints it."""
        data = read_value(path, what=_PRINTED, remedy="Give such a file.")
        return cls.from_dict(data, path=str(path))


def _is_covariance(cov: Cov) -> bool:
    (a, b), (c, d) = cov
    if not 0 <= min(a, d) <= max(a, d) <= LONGEST_MM**2:
        return False
    most = math.sqrt(a) * math.sqrt(d) * (1 + _ROUNDING)
    return max(abs(b), abs(c)) <= most and abs(b - c) <= _ROUNDING * most


def _runner_up(data: object, path: str) -> tuple[Any, Any]:
    row = strict.record(data, path, known=("id", "confidence"), remedy=_REMEDY)
    return (row.get("id"), row.get("confidence"))
