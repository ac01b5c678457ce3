"""The intent of an attempt: what to pot and where the cue ball should stop."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from calibration import strict
from calibration.jsonfile import read_value
from calibration.strict import NotNegative
from calibration.table import POCKET_NAMES, PointMm, Table
from service.position.errors import IntentError
from vision.layout import BALL_IDS, Layout

from .drawn import DrawnZone
from .fields import CutDeg, NoLimit, check_not_crossed, check_one_of

SIDES = ("left", "right", "either")
REACHES = ("hand", "bridge", "any")
OVER_BALLS = ("avoid", "any")
_LEAVE_KEYS = ("cut_deg", "side", "distance_mm", "cushion_mm", "reach", "over_ball")
_KEYS = ("pot", "pocket", "next", "next_pocket", *_LEAVE_KEYS, "zone", "route_mm")
LOWEST = "lowest"
"""In rotation games the rules name the ball: the lowest number on the table."""
MOST_ROUTE_POINTS = 100
"""Many more than a cue ball meets rails."""
_OBJECT_BALLS = BALL_IDS[1:]
_BALLS = (*_OBJECT_BALLS, LOWEST)


@dataclass(frozen=True, slots=True, kw_only=True)
class Intent:
    """What an attempt is meant to do; limits in mm and degrees.

    ``next`` and ``next_pocket`` describe the leave, or ``zone`` is drawn, or both: a drawn zone
    is taken as drawn, and the next ball then only says what was left. Without ``next_pocket``
    every pocket will do. ``pot`` and ``next`` may be ``lowest`` (rotation games): the lowest
    number on the table, and the lowest besides the ball to pot.
    """

    pot: str | None = None
    pocket: str | None = None
    next: str | None = None
    next_pocket: str | None = None
    cut_deg: tuple[CutDeg, CutDeg] = (0.0, 90.0)
    side: str = "either"
    distance_mm: tuple[NotNegative, NoLimit] = (0.0, math.inf)
    cushion_mm: NotNegative = 0.0
    reach: str = "bridge"
    """``hand``: by hand only; ``bridge``: by hand or mechanical bridge; ``any``: not limited."""
    over_ball: str = "avoid"
    """``avoid``: no place where the cue must clear a ball too steeply; ``any``: not limited."""
    zone: DrawnZone | None = None
    route_mm: tuple[PointMm, ...] | None = None
    """The cue ball's intended way after it touched the ball to pot, rail contacts as corners."""

    def __post_init__(self) -> None:
        strict.check(self, label="", error=IntentError, remedy="Correct it.")
        for name in ("pot", "next"):
            check_one_of(name, getattr(self, name), _BALLS, optional=True)
        for name in ("pocket", "next_pocket"):
            check_one_of(name, getattr(self, name), POCKET_NAMES, optional=True)
        check_one_of("side", self.side, SIDES)
        check_one_of("reach", self.reach, REACHES)
        check_one_of("over_ball", self.over_ball, OVER_BALLS)
        self._check_names()
        check_not_crossed("cut_deg", self.cut_deg)
        check_not_crossed("distance_mm", self.distance_mm)
        self._check_route()

    def _check_route(self) -> None:
        if self.route_mm is None:
            return
        if len(self.route_mm) > MOST_ROUTE_POINTS:
            raise IntentError(
                f"route_mm: got {len(self.route_mm)} points; allowed: 2 to {MOST_ROUTE_POINTS}. "
                "Draw the route with fewer."
            )
        apart = [math.dist(a, b) for a, b in itertools.pairwise(self.route_mm)]
        if len(self.route_mm) < 2 or min(apart) < 1.0:
            raise IntentError(
                f"route_mm: got {[list(p) for p in self.route_mm]}; allowed: 2 or more "
                "points, each 1 mm or more from the one before. Draw the route again."
            )

    def _check_names(self) -> None:
        if self.pocket is not None and self.pot is None:
            raise IntentError(
                f"pot: missing, though pocket is {self.pocket!r}; allowed: 1 … 15. Name the ball."
            )
        if self.next_pocket is not None and self.next is None:
            raise IntentError(
                f"next: missing, though next_pocket is {self.next_pocket!r}; allowed: the next "
                "ball, with or without its pocket. Add it."
            )
        if self.next is None and self.zone is None:
            raise IntentError(
                "next: missing; allowed: next and next_pocket, or a drawn zone. Say where the cue "
                "ball should stop."
            )
        if self.next is not None and self.next == self.pot and self.next != LOWEST:
            raise IntentError(
                f"next: got {self.next!r}, which is also the ball to pot; allowed: another ball. "
                "Correct one of them."
            )

    def named_on(self, layout: Layout) -> Intent:
        """The intent with its balls named where it leaves them to the layout before the shot."""
        if LOWEST not in (self.pot, self.next):
            return self
        there = [name for name in _OBJECT_BALLS if layout.ball(name) is not None]
        pot = _lowest(there, "pot") if self.pot == LOWEST else self.pot
        others = [name for name in there if name != pot]
        following = _lowest(others, "next") if self.next == LOWEST else self.next
        return replace(self, pot=pot, next=following)

    def check_on(self, layout: Layout, table: Table) -> None:
        """Refuse the intent where ``layout``, the one before the shot, contradicts it.

        Raises:
            IntentError: a ball it names is not on the table, or a place it names is off the bed.
        """
        for name in ("pot", "next"):
            ball = getattr(self, name)
            if ball is not None and layout.ball(ball) is None:
                there = ", ".join(b.id for b in layout.balls if b.id != "cue") or "none"
                raise IntentError(
                    f"{name}: got {ball!r}, which is not on the table; allowed: the object balls "
                    f"there ({there}). Name one of them or correct the reading."
                )
        if self.zone is not None:
            circle = self.zone.circle_mm
            corners = self.zone.polygon_mm or () if circle is None else (circle[:2],)
            _check_on_table("zone", "Draw the zone on the table.", corners, table)
        if self.route_mm is not None:
            _check_on_table("route_mm", "Draw the route on the table.", self.route_mm, table)

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
        if self.route_mm is not None:
            out["route_mm"] = [list(point) for point in self.route_mm]
        return out

    @classmethod
    def from_dict(cls, data: Any, *, path: str = "intent") -> Intent:
        """Inverse of ``to_dict``; errors name the field by its path.

        The upper distance limit may be null for none; ball numbers may be given as integers.
        """
        row = strict.record(
            data, path, known=_KEYS, closed=True, error=IntentError, remedy="Correct it."
        )
        return strict.build(
            cls,
            {key: value for key, value in row.items() if value is not None},
            path=path,
            error=IntentError,
            remedy="Correct it.",
            convert={
                "pot": _ball,
                "next": _ball,
                "distance_mm": _distance,
                "zone": lambda part, at: DrawnZone.from_dict(part, path=at),
            },
        )

    @classmethod
    def read(cls, path: Path) -> Intent:
        """Intent from a JSON file."""
        return cls.from_dict(
            read_value(
                path, what="a file holding an intent", remedy="Give one.", error=IntentError
            ),
            path=str(path),
        )


def _ball(value: Any, _: str) -> Any:
    """Numbers of balls may be written as such."""
    return str(value) if type(value) is int and 0 < value <= len(_OBJECT_BALLS) else value


def _distance(value: Any, _: str) -> Any:
    """The upper limit may be null for none."""
    if isinstance(value, list | tuple) and len(value) == 2 and value[1] is None:
        return (value[0], math.inf)
    return value


def _lowest(there: Sequence[str], name: str) -> str:
    if not there:
        raise IntentError(
            f"{name}: got 'lowest', but no object ball is left for it; allowed: a layout with "
            "one. Name a ball, or draw the zone."
        )
    return there[0]


def _check_on_table(name: str, remedy: str, places_mm: Sequence[PointMm], table: Table) -> None:
    length_mm, width_mm = table.surface_mm
    for x, y in places_mm:
        if not (0 <= x <= length_mm and 0 <= y <= width_mm):
            raise IntentError(
                f"{name}: got a point at ({x:g}, {y:g}) mm; allowed: the playing surface, 0 … "
                f"{length_mm:g} by 0 … {width_mm:g} mm. {remedy}"
            )
