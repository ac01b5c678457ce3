"""What a reading says: balls with places, errors and doubts, as values and as JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from calibration import strict
from calibration.arrays import FloatArray
from calibration.errors import FileFormatError
from calibration.jsonfile import read_value
from calibration.notices import Notice, notices_from, sentences
from calibration.strict import NotNegative, Share, Whole
from calibration.table import LONGEST_MM, SHORTEST_MM

BALL_IDS = ("cue", *(str(number) for number in range(1, 16)))
Cov = tuple[tuple[float, float], tuple[float, float]]
Polygon = tuple[tuple[float, float], ...]
"""Corners (x, y), mm."""
EXACT: Cov = ((0.0, 0.0), (0.0, 0.0))
OFF_BED_MM = 300.0
"""So far outside the noses a ball's place is still believed: it lies in a pocket or on the rail."""
_ROUNDING = 1e-6
"""Of a covariance: what figures written with a few digits lose."""
MOST_HIDDEN_CORNERS = 20_000
AGREES, ALONE, APART, MOVED, AWAY = "agrees", "alone", "apart", "moved", "away"
CAMERA_STATES = (AGREES, ALONE, APART, MOVED, AWAY)
"""Of several cameras: it agrees with the others; none sees what it sees; it disagrees and none can
tell which is wrong; it was moved; it gave no still."""
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
    seen_by: tuple[str, ...] = ()
    """The cameras that see it, where a layout was joined from several; else empty."""

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
        if self.seen_by:
            out["seen_by"] = list(self.seen_by)
        return out

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "ball") -> Ball:
        """Inverse of ``to_dict``; only ``id``, ``x_mm`` and ``y_mm`` are required."""
        convert = {"runners_up": strict.listed(_runner_up), "look": strict.listed(_runner_up)}
        return strict.build(cls, data, path=path, label="ball", remedy=_REMEDY, convert=convert)


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraPart:
    """What one of several cameras over a table gave to a joined layout."""

    camera: str
    still: str = ""
    sha256: str = ""
    """Hash of the still's bytes, where it is kept."""
    calibration_id: Whole | None = None
    """Number of the calibration that its own layout was read with, where that is kept."""
    state: str = AGREES
    """One of ``CAMERA_STATES``."""
    offset_mm: tuple[float, float] = (0.0, 0.0)
    """How far its places lie from the joined ones at the table's middle, by itself."""
    turn_deg: float = 0.0
    """By how much they are turned about that middle, counter-clockwise."""
    sigma_mm: NotNegative = 0.0
    """Error of the offset against the other cameras, 1 sigma."""
    layout: Layout | None = None
    """Its own layout; None where it is away."""

    def __post_init__(self) -> None:
        strict.check(self, label="camera", error=FileFormatError, remedy=_REMEDY)
        if self.state not in CAMERA_STATES:
            raise FileFormatError(
                f"camera.state: got {strict.shown(self.state)}; allowed: "
                f"{', '.join(CAMERA_STATES)}. {_REMEDY}"
            )

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "camera": self.camera,
            "still": self.still,
            "sha256": self.sha256,
            "calibration_id": self.calibration_id,
            "state": self.state,
            "offset_mm": list(self.offset_mm),
            "turn_deg": self.turn_deg,
            "sigma_mm": self.sigma_mm,
            "layout": None if self.layout is None else self.layout.to_dict(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "camera") -> CameraPart:
        """Inverse of ``to_dict``; only ``camera`` is required."""
        own = strict.or_none(lambda part, at: Layout.from_dict(part, path=at))
        return strict.build(
            cls, data, path=path, label="camera", remedy=_REMEDY, convert={"layout": own}
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """All balls of one settled still, with the surface they lie on."""

    still: str
    surface_mm: tuple[float, float]
    balls: tuple[Ball, ...] = ()
    settled: bool = True
    obstructed: bool = False
    """Whether a living thing, or something that cannot be told, is over the bed."""
    hidden_mm: tuple[Polygon, ...] = ()
    """Polygons on the plane of the ball centres in which a ball could lie unseen."""
    unlike: tuple[str, ...] = ()
    """Names of balls that look like none of the standard colours, where the set seems to be a set
    of its own; empty otherwise."""
    notices: tuple[Notice, ...] = ()
    """What whoever uses it should know: doubts, drift, what lies over the bed."""
    cameras: tuple[CameraPart, ...] = ()
    """What it was joined from, where several cameras look at the table; else empty."""

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
        corners = sum(len(polygon) for polygon in self.hidden_mm)
        if corners > MOST_HIDDEN_CORNERS:
            raise FileFormatError(
                f"layout.hidden_mm: got polygons of {corners} corners; allowed: up to "
                f"{MOST_HIDDEN_CORNERS} in all. {_REMEDY}"
            )
        for polygon in self.hidden_mm:
            _check_polygon(polygon)
        names = [ball.id for ball in self.balls]
        if not set(self.unlike) <= set(names):
            raise FileFormatError(
                f"layout.unlike: got {strict.shown(list(self.unlike))}; allowed: names of the "
                f"layout's balls. {_REMEDY}"
            )
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

    @property
    def calibration_ids(self) -> tuple[tuple[str, int], ...]:
        """Camera and number of its calibration, of the cameras whose stills are kept; by name."""
        return tuple(
            sorted(
                (part.camera, part.calibration_id)
                for part in self.cameras
                if part.sha256 and part.calibration_id is not None
            )
        )

    def without_cameras(self) -> Layout:
        """The same balls as an arrangement to keep: what each camera gave stays with its stills."""
        if not self.cameras:
            return self
        balls = tuple(replace(ball, seen_by=()) for ball in self.balls)
        return replace(self, balls=balls, cameras=())

    def ball(self, name: str) -> Ball | None:
        """The ball of that name, or None where it is not on the table."""
        return next((ball for ball in self.balls if ball.id == name), None)

    def to_dict(self) -> dict[str, Any]:
        """JSON object as ``read --json`` prints it."""
        out = {
            "still": self.still,
            "surface_mm": list(self.surface_mm),
            "settled": self.settled,
            "obstructed": self.obstructed,
            "balls": [ball.to_dict() for ball in self.balls],
            "hidden_mm": [[list(corner) for corner in polygon] for polygon in self.hidden_mm],
            "unlike": list(self.unlike),
            "warnings": list(self.warnings),
            "notices": [notice.to_dict() for notice in self.notices],
        }
        if self.cameras:
            out["cameras"] = [part.to_dict() for part in self.cameras]
        return out

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
            convert={
                "balls": strict.listed(lambda item, at: Ball.from_dict(item, path=at)),
                "cameras": strict.listed(lambda item, at: CameraPart.from_dict(item, path=at)),
            },
        )

    @classmethod
    def read(cls, path: Path) -> Layout:
        """Layout from a JSON file holding one object as ``read --json`` prints it."""
        data = read_value(path, what=_PRINTED, remedy="Give such a file.")
        return cls.from_dict(data, path=str(path))


def as_cov(matrix: FloatArray) -> Cov:
    """A covariance (2, 2), mm², as a ball keeps it."""
    (a, b), (c, d) = matrix
    return ((float(a), float(b)), (float(c), float(d)))


def _check_polygon(polygon: Polygon) -> None:
    far_mm = LONGEST_MM + OFF_BED_MM
    if len(polygon) < 3 or any(abs(value) > far_mm for corner in polygon for value in corner):
        raise FileFormatError(
            f"layout.hidden_mm: got {strict.shown(polygon)}; allowed: polygons of three corners "
            f"[x, y] or more, mm, at most {far_mm:g} mm off. {_REMEDY}"
        )


def _is_covariance(cov: Cov) -> bool:
    (a, b), (c, d) = cov
    if not 0 <= min(a, d) <= max(a, d) <= LONGEST_MM**2:
        return False
    most = math.sqrt(a) * math.sqrt(d) * (1 + _ROUNDING)
    return max(abs(b), abs(c)) <= most and abs(b - c) <= _ROUNDING * most


def _runner_up(data: object, path: str) -> tuple[Any, Any]:
    row = strict.record(data, path, known=("id", "confidence"), remedy=_REMEDY)
    return (row.get("id"), row.get("confidence"))
