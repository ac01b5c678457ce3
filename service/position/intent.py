"""The intent of an attempt: what to pot and where the cue ball should stop."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from shapely.geometry import Polygon

from calibration.table import POCKET_NAMES, PointMm, Table
from vision.layout import BALL_IDS, Layout

from .errors import IntentError

SIDES = ("left", "right", "either")
REACHES = ("hand", "bridge", "any")
OVER_BALLS = ("avoid", "any")
_LEAVE_KEYS = ("cut_deg", "side", "distance_mm", "cushion_mm", "reach", "over_ball")
_KEYS = ("pot", "pocket", "next", "next_pocket", *_LEAVE_KEYS, "zone")
_OBJECT_BALLS = BALL_IDS[1:]

LARGEST_RADIUS_MM = 5000.0
"""More than any table's diagonal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnZone:
    """A landing zone drawn by the player: one polygon or one circle (table frame, mm)."""

    polygon_mm: tuple[PointMm, ...] | None = None
    circle_mm: tuple[float, float, float] | None = None
    """Centre x, y and radius."""

    def __post_init__(self) -> None:
        if (self.polygon_mm is None) == (self.circle_mm is None):
            raise IntentError(
                "zone: got both or neither of polygon_mm and circle_mm; allowed: exactly one. "
                "Draw one shape."
            )
        if self.circle_mm is not None:
            finite = all(map(math.isfinite, self.circle_mm))
            if not (finite and 0 < self.circle_mm[2] <= LARGEST_RADIUS_MM):
                raise IntentError(
                    f"zone.circle_mm: got {list(self.circle_mm)}; allowed: x, y and a radius "
                    f"above 0 and up to {LARGEST_RADIUS_MM:g}, all finite mm. Draw it again."
                )
            return
        points = self.polygon_mm or ()
        if len(points) < 3 or not all(math.isfinite(v) for point in points for v in point):
            raise IntentError(
                f"zone.polygon_mm: got {[list(p) for p in points]}; allowed: "
                "3 or more finite points. Draw it again."
            )
        shape = Polygon(points)
        if not shape.is_valid or shape.area <= 0:
            raise IntentError(
                f"zone.polygon_mm: got {[list(p) for p in points]}; allowed: an outline that "
                "encloses a surface and does not cross itself. Draw it again."
            )

    def to_dict(self) -> dict[str, Any]:
        """JSON object as in the intent's ``zone``."""
        if self.circle_mm is not None:
            return {"circle_mm": list(self.circle_mm)}
        return {"polygon_mm": [list(point) for point in self.polygon_mm or ()]}

    @classmethod
    def from_dict(cls, data: Any) -> DrawnZone:
        """Inverse of ``to_dict``; error texts start with ``zone``."""
        if not isinstance(data, Mapping) or set(data) - {"polygon_mm", "circle_mm"}:
            raise IntentError(
                f'zone: got {data!r}; allowed: {{"polygon_mm": [[x, y], …]}} or '
                '{"circle_mm": [x, y, radius]}. Correct it.'
            )
        polygon, circle = data.get("polygon_mm"), data.get("circle_mm")
        points = None
        if polygon is not None:
            points = tuple(
                (x, y)
                for x, y in (
                    _numbers(point, 2, f"zone.polygon_mm[{i}]") for i, point in _items(polygon)
                )
            )
        ring = None
        if circle is not None:
            x, y, radius = _numbers(circle, 3, "zone.circle_mm")
            ring = (x, y, radius)
        return cls(polygon_mm=points, circle_mm=ring)


@dataclass(frozen=True, slots=True, kw_only=True)
class Intent:
    """What an attempt is meant to do; limits in mm and degrees.

    ``next`` and ``next_pocket`` describe the leave, or ``zone`` is drawn, or both: a drawn zone
    is taken as drawn, and the next ball then only says what was left.
    """

    pot: str | None = None
    pocket: str | None = None
    next: str | None = None
    next_pocket: str | None = None
    cut_deg: tuple[float, float] = (0.0, 90.0)
    side: str = "either"
    distance_mm: tuple[float, float] = (0.0, math.inf)
    cushion_mm: float = 0.0
    reach: str = "bridge"
    """``hand``: by hand only; ``bridge``: by hand or mechanical bridge; ``any``: not limited."""
    over_ball: str = "avoid"
    """``avoid``: no place where the cue must clear a ball too steeply; ``any``: not limited."""
    zone: DrawnZone | None = None

    def __post_init__(self) -> None:
        for name in ("pot", "next"):
            _one_of(f"{name}", getattr(self, name), _OBJECT_BALLS, optional=True)
        for name in ("pocket", "next_pocket"):
            _one_of(f"{name}", getattr(self, name), POCKET_NAMES, optional=True)
        _one_of("side", self.side, SIDES)
        _one_of("reach", self.reach, REACHES)
        _one_of("over_ball", self.over_ball, OVER_BALLS)
        self._check_names()
        _limits("cut_deg", self.cut_deg, 90.0, "degrees from 0 to 90")
        _limits("distance_mm", self.distance_mm, math.inf, "mm from 0")
        if not (math.isfinite(self.cushion_mm) and self.cushion_mm >= 0):
            raise IntentError(
                f"cushion_mm: got {self.cushion_mm!r}; allowed: a finite number of mm, 0 or more. "
                "Correct it."
            )

    def _check_names(self) -> None:
        if self.pocket is not None and self.pot is None:
            raise IntentError(
                f"pot: missing, though pocket is {self.pocket!r}; allowed: 1 … 15. Name the ball."
            )
        for present, absent in (("next", "next_pocket"), ("next_pocket", "next")):
            if getattr(self, present) is not None and getattr(self, absent) is None:
                raise IntentError(
                    f"{absent}: missing, though {present} is {getattr(self, present)!r}; allowed: "
                    "both or, with a drawn zone, neither. Add it."
                )
        if self.next is None and self.zone is None:
            raise IntentError(
                "next: missing; allowed: next and next_pocket, or a drawn zone. Say where the cue "
                "ball should stop."
            )
        if self.next is not None and self.next == self.pot:
            raise IntentError(
                f"next: got {self.next!r}, which is also the ball to pot; allowed: another ball. "
                "Correct one of them."
            )

    def check_on(self, layout: Layout, table: Table) -> None:
        """Refuse the intent where ``layout``, the one before the shot, contradicts it."""
        for name in ("pot", "next"):
            ball = getattr(self, name)
            if ball is not None and layout.ball(ball) is None:
                there = ", ".join(b.id for b in layout.balls if b.id != "cue") or "none"
                raise IntentError(
                    f"{name}: got {ball!r}, which is not on the table; allowed: the object balls "
                    f"there ({there}). Name one of them or correct the reading."
                )
        if self.zone is not None:
            self._check_drawn_on(table)

    def _check_drawn_on(self, table: Table) -> None:
        assert self.zone is not None
        length_mm, width_mm = table.surface_mm
        if self.zone.circle_mm is not None:
            points: Sequence[PointMm] = (self.zone.circle_mm[:2],)
        else:
            points = self.zone.polygon_mm or ()
        for x, y in points:
            if not (0 <= x <= length_mm and 0 <= y <= width_mm):
                raise IntentError(
                    f"zone: got a point at ({x:g}, {y:g}) mm; allowed: the playing surface, 0 … "
                    f"{length_mm:g} by 0 … {width_mm:g} mm. Draw the zone on the table."
                )

    @property
    def unused(self) -> tuple[str, ...]:
        """Limits that were set although a drawn zone takes their place."""
        if self.zone is None:
            return ()
        fresh = {field.name: field.default for field in fields(self)}
        return tuple(key for key in _LEAVE_KEYS if getattr(self, key) != fresh[key])

    # -- files -----------------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """JSON object as in ``intent.json``; settings left at their default are not written."""
        out: dict[str, Any] = {}
        for name in ("pot", "pocket", "next", "next_pocket"):
            if getattr(self, name) is not None:
                out[name] = getattr(self, name)
        if self.cut_deg != (0.0, 90.0):
            out["cut_deg"] = list(self.cut_deg)
        if self.side != "either":
            out["side"] = self.side
        if self.distance_mm != (0.0, math.inf):
            low, high = self.distance_mm
            out["distance_mm"] = [low, high if math.isfinite(high) else None]
        if self.cushion_mm:
            out["cushion_mm"] = self.cushion_mm
        if self.reach != "bridge":
            out["reach"] = self.reach
        if self.over_ball != "avoid":
            out["over_ball"] = self.over_ball
        if self.zone is not None:
            out["zone"] = self.zone.to_dict()
        return out

    @classmethod
    def from_dict(cls, data: Any, *, path: str = "intent") -> Intent:
        """Inverse of ``to_dict``; errors name the field by its path.

        The upper distance limit may be null for none; ball numbers may be given as integers.
        """
        if not isinstance(data, Mapping):
            raise IntentError(
                f"{path}: got {type(data).__name__}; allowed: an object with pot, pocket, next and "
                "next_pocket, or a drawn zone. Give one."
            )
        unknown = sorted(str(key) for key in set(data) - set(_KEYS))
        if unknown:
            raise IntentError(
                f"{path}: got unknown field(s) {', '.join(unknown)}; allowed: {', '.join(_KEYS)}. "
                "Remove or correct them."
            )
        given = {key: value for key, value in data.items() if value is not None}
        try:
            return cls(**{key: _field(key, value) for key, value in given.items()})
        except IntentError as wrong:
            raise IntentError(f"{path}.{wrong.detail}") from None

    @classmethod
    def read(cls, path: Path) -> Intent:
        """Intent from a JSON file."""
        return cls.from_dict(read_json(path, "an intent"), path=str(path))


def read_json(path: Path, what: str) -> Any:
    """The JSON value in ``path``; an ``IntentError`` naming the file where there is none."""
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as wrong:
        raise IntentError(
            f"{path}: cannot be read as JSON ({wrong}); allowed: a file holding {what}. Give one."
        ) from None


def _field(key: str, value: Any) -> Any:
    if key in ("cut_deg", "distance_mm"):
        if key == "distance_mm" and isinstance(value, list) and len(value) == 2:
            value = [value[0], math.inf if value[1] is None else value[1]]
        return _numbers(value, 2, key)
    if key == "cushion_mm":
        return _numbers([value], 1, key)[0]
    if key == "zone":
        return DrawnZone.from_dict(value)
    if key in ("pot", "next") and isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    return value


def _items(value: Any) -> list[tuple[int, Any]]:
    if not isinstance(value, list | tuple):
        raise IntentError(
            f"zone.polygon_mm: got {value!r}; allowed: a list of [x, y] points in mm. Correct it."
        )
    return list(enumerate(value))


def _numbers(value: Any, count: int, name: str) -> tuple[float, ...]:
    listed = isinstance(value, list | tuple) and len(value) == count
    if not listed or not all(isinstance(v, int | float) and not isinstance(v, bool) for v in value):
        wanted = "a number" if count == 1 else f"a list of {count} numbers"
        raise IntentError(f"{name}: got {value!r}; allowed: {wanted}. Correct it.")
    try:
        return tuple(float(v) for v in value)
    except OverflowError:
        raise IntentError(
            f"{name}: got a number too large to be a length; allowed: finite mm. Correct it."
        ) from None


def _one_of(name: str, value: Any, allowed: Sequence[str], *, optional: bool = False) -> None:
    if value is None and optional:
        return
    if not isinstance(value, str) or value not in allowed:
        raise IntentError(f"{name}: got {value!r}; allowed: {', '.join(allowed)}. Correct it.")


def _limits(name: str, limits: tuple[float, float], top: float, allowed: str) -> None:
    low, high = limits
    if not math.isfinite(low) or math.isnan(high) or not (low >= 0 and high <= top):
        raise IntentError(f"{name}: got [{low:g}, {high:g}]; allowed: {allowed}. Correct it.")
    if low > high:
        raise IntentError(
            f"{name}: got [{low:g}, {high:g}], limits crossed; allowed: the lower limit first. "
            "Swap them."
        )
