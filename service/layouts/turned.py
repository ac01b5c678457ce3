"""Mirrored and turned copies: the same shot from the other side or the other end of the table.

A mirrored shot is played with the other hand's angles: left of a line becomes right of it, and
every pocket its mirror image. A table turned by half a turn keeps left and right of every line.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from calibration.strict import shown
from calibration.table import PointMm
from service.position import DrawnZone, Intent
from service.practice.plan import Plan
from vision.layout import Ball, Cov, Layout

from .errors import LayoutError

MIRRORS = ("across", "along")
"""``across``: left and right change places; ``along``: head and foot do."""
HALF_TURN_DEG = 180
_OTHER = {"left": "right", "right": "left", "head": "foot", "foot": "head"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """One of the four ways in which a 2:1 table lies on itself."""

    ends: bool = False
    """Head and foot change places."""
    sides: bool = False
    """Left and right change places."""

    @classmethod
    def of(cls, *, mirror: str | None = None, turn_deg: int = 0) -> Turned:
        """Mirrored ``across`` or ``along`` the table or not at all, then turned by 0 or 180°.

        Raises:
            LayoutError: another mirror or turn.
        """
        if mirror is not None and mirror not in MIRRORS:
            raise LayoutError(
                f"mirror: got {shown(mirror)}; allowed: {', '.join(MIRRORS)}, or none. Name one."
            )
        if turn_deg not in (0, HALF_TURN_DEG):
            raise LayoutError(
                f"turn: got {shown(turn_deg)}; allowed: 0 or {HALF_TURN_DEG} degrees. Give one."
            )
        is_turned = turn_deg == HALF_TURN_DEG
        return cls(ends=(mirror == "along") != is_turned, sides=(mirror == "across") != is_turned)

    @property
    def is_mirrored(self) -> bool:
        """Left of a line has become right of it."""
        return self.ends != self.sides

    @property
    def is_same(self) -> bool:
        """Nothing changes."""
        return not (self.ends or self.sides)

    def point(self, place_mm: PointMm, surface_mm: tuple[float, float]) -> PointMm:
        """A place on the copy."""
        x, y = place_mm
        return (
            surface_mm[0] - x if self.ends else x,
            surface_mm[1] - y if self.sides else y,
        )

    def pocket(self, name: str) -> str:
        """``foot-left`` on the copy; ``side`` has no other end."""
        end, hand = name.split("-")
        return f"{_OTHER.get(end, end) if self.ends else end}-{self._hand(hand, self.sides)}"

    def layout(self, layout: Layout) -> Layout:
        """The copy of a layout. What was noted of the still stays with the still."""
        if self.is_same:
            return layout
        layout = layout.without_cameras()
        balls = tuple(self._ball(ball, layout.surface_mm) for ball in layout.balls)
        return replace(layout, balls=balls, hidden_mm=(), notices=())

    def intent(self, intent: Intent, surface_mm: tuple[float, float]) -> Intent:
        """The same shot on the copy."""
        route, zone = intent.route_mm, intent.zone
        return replace(
            intent,
            pocket=None if intent.pocket is None else self.pocket(intent.pocket),
            next_pocket=None if intent.next_pocket is None else self.pocket(intent.next_pocket),
            side=self._hand(intent.side, self.is_mirrored),
            zone=None if zone is None else self._zone(zone, surface_mm),
            route_mm=None if route is None else self._points(route, surface_mm),
        )

    def plan(self, plan: Plan, surface_mm: tuple[float, float]) -> Plan:
        """The same shots on the copy, in the same order."""
        shots = tuple(
            None if shot is None else self.intent(shot, surface_mm) for shot in plan.shots
        )
        return replace(plan, shots=shots)

    def _points(
        self, places_mm: Iterable[PointMm], surface_mm: tuple[float, float]
    ) -> tuple[PointMm, ...]:
        return tuple(self.point(place, surface_mm) for place in places_mm)

    def _zone(self, zone: DrawnZone, surface_mm: tuple[float, float]) -> DrawnZone:
        if zone.circle_mm is not None:
            x, y, radius = zone.circle_mm
            return DrawnZone(circle_mm=(*self.point((x, y), surface_mm), radius))
        return DrawnZone(polygon_mm=self._points(zone.polygon_mm or (), surface_mm))

    def _ball(self, ball: Ball, surface_mm: tuple[float, float]) -> Ball:
        x_mm, y_mm = self.point(ball.centre_mm, surface_mm)
        return replace(ball, x_mm=x_mm, y_mm=y_mm, cov_mm2=self._cov(ball.cov_mm2))

    def _cov(self, cov: Cov) -> Cov:
        if not self.is_mirrored:
            return cov
        (a, b), (c, d) = cov
        return ((a, -b), (-c, d))

    @staticmethod
    def _hand(hand: str, changes: bool) -> str:
        return _OTHER.get(hand, hand) if changes else hand
