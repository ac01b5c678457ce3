"""The landing zone of an intent: an exact polygon set, and what empties it when there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from calibration.arrays import BoolArray
from calibration.table import FROZEN_INSET_MM, PointMm, Table
from service.position.geometry import length
from service.position.meant.drawn import DrawnZone
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.shot.path import EDGE_MM
from service.position.shot.window import entry_turns_rad
from vision.layout import Layout

from . import shapes
from .limits import Limit, fixed_obstacle, limit_text, limits_of
from .membership import Leave, belongs, leave_of, pockets_of

Ring = tuple[PointMm, ...]
WANTED_STEP_MM = 0.5
"""How near the wanted spot is to the best."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LandingZone:
    """Where the cue ball may stop (table frame, mm)."""

    shape: MultiPolygon
    emptied_by: str | None = None
    """The limit that leaves no place, by its name in the intent; None where there are places."""
    emptied_why: str | None = None
    """The same as a sentence."""
    wanted_mm: PointMm | None = None
    """The place with the greatest margin on all sides."""
    wanted_margin_mm: float | None = None
    leave: Leave | None = None
    """The rule behind a computed zone; its pocket is None where the zone is made of ``parts``."""
    drawn: DrawnZone | None = None
    parts: tuple[LandingZone, ...] = ()
    """For a next pocket left open: the zone of every pocket that has one."""

    @property
    def pocket(self) -> str | None:
        """The next ball's pocket that a computed zone serves, its label among ``parts``."""
        return None if self.leave is None else self.leave.pocket

    @property
    def polygons_mm(self) -> tuple[tuple[Ring, tuple[Ring, ...]], ...]:
        """Exterior ring and holes of each piece, closed, as (x, y) points."""
        return tuple(
            (_ring(piece.exterior), tuple(_ring(hole) for hole in piece.interiors))
            for piece in self.shape.geoms
        )

    @property
    def is_empty(self) -> bool:
        """No place satisfies every limit."""
        return self.shape.is_empty

    @property
    def area_mm2(self) -> float:
        """Surface of all pieces."""
        return float(self.shape.area)

    def contains(self, places_mm: ArrayLike) -> BoolArray:
        """Whether places (..., 2) lie in the zone, its edge included: by rule, not by outline."""
        places = np.asarray(places_mm, dtype=np.float64)
        if self.is_empty:
            return np.zeros(places.shape[:-1], dtype=np.bool_)
        if self.drawn is not None:
            return drawn_contains(self.drawn, places)
        if self.parts:
            return np.asarray(np.any([part.contains(places) for part in self.parts], axis=0))
        assert self.leave is not None
        return belongs(places, self.leave)

    def nearest_mm(self, place_mm: PointMm) -> PointMm | None:
        """The place in the zone nearest to ``place_mm``; None for an empty zone."""
        if self.is_empty:
            return None
        if bool(self.contains(np.asarray(place_mm))):
            return (float(place_mm[0]), float(place_mm[1]))
        if self.drawn is not None and self.drawn.circle_mm is not None:
            return _nearest_on_circle(self.drawn.circle_mm, place_mm)
        near = shapely.shortest_line(self.shape, Point(place_mm)).coords[0]
        return (float(near[0]), float(near[1]))

    def margin_mm(self, place_mm: PointMm) -> float | None:
        """Distance to the zone's edge, positive inside, negative outside; None when empty."""
        if self.is_empty:
            return None
        edge = float(shapely.distance(self.shape.boundary, Point(place_mm)))
        return edge if bool(self.contains(np.asarray(place_mm))) else -edge

    def to_dict(self) -> dict[str, Any]:
        """JSON object: pieces with holes, wanted spot, and what empties the zone.

        With the next pocket left open ``pockets`` holds each one's zone, labelled.
        """
        parts = [{"pocket": part.pocket, **part._own()} for part in self.parts]
        return {**self._own(), "pockets": parts}

    def _own(self) -> dict[str, Any]:
        return {
            "polygons_mm": [
                {
                    "exterior": [list(p) for p in outer],
                    "holes": [[list(p) for p in h] for h in holes],
                }
                for outer, holes in self.polygons_mm
            ],
            "empty": self.is_empty,
            "emptied_by": self.emptied_by,
            "emptied_why": self.emptied_why,
            "wanted_mm": None if self.wanted_mm is None else list(self.wanted_mm),
            "wanted_margin_mm": self.wanted_margin_mm,
        }


def landing_zone(
    layout: Layout,
    intent: Intent,
    table: Table,
    *,
    player: Player | None = None,
    pot_gone: bool = True,
) -> LandingZone:
    """The landing zone of ``intent`` on ``layout``.

    With the next pocket left open the zone is the union over all pockets that the next ball can
    enter, each labelled in ``parts``. The cue ball never counts as an obstacle. With ``pot_gone``
    (a zone planned before the shot) the ball to pot does not either; after a shot pass False, so
    that it counts where it lies.
    """
    if intent.zone is not None:
        return _drawn_zone(intent.zone)
    intent = intent.named_on(layout)
    gone = {"cue", intent.pot} if pot_gone else {"cue"}
    places = {ball.id: ball.centre_mm for ball in layout.balls if ball.id not in gone}
    leave = leave_of(intent, table, player or Player(), places)
    if leave is None:
        return _empty("next", f"next ball {intent.next} is not on the table")
    return zone_of(leave) if leave.pocket is not None else _union(leave)


@lru_cache(maxsize=64)
def zone_of(leave: Leave) -> LandingZone:
    """The landing zone of a leave for its pocket; kept, for a layout is often asked about again."""
    fixed = fixed_obstacle(leave)
    if fixed is not None:
        return _empty("path", fixed, leave=leave)
    limits = limits_of(leave)
    whole: BaseGeometry = shapes.bed(leave.table, FROZEN_INSET_MM)
    ended_by = None
    for limit in limits:
        whole = limit.apply(whole)
        if whole.is_empty:
            ended_by = limit.name
            break
    if ended_by is not None:
        return _explain_empty(leave, limits, ended_by)
    pieces = _pieces(whole)
    wanted, margin = _wanted(pieces)
    return LandingZone(shape=pieces, wanted_mm=wanted, wanted_margin_mm=margin, leave=leave)


def drawn_contains(drawn: DrawnZone, places_mm: ArrayLike) -> BoolArray:
    """Whether places (..., 2) lie in a drawn zone, its edge included."""
    places = np.asarray(places_mm, dtype=np.float64)
    if drawn.circle_mm is not None:
        x, y, radius = drawn.circle_mm
        return np.asarray(length(places - np.array([x, y])) <= radius + EDGE_MM)
    shape = Polygon(drawn.polygon_mm)
    if places.ndim == 1:
        return np.asarray(shapely.distance(shape, Point(places)) <= EDGE_MM)
    return np.asarray(shapely.intersects_xy(shape, places[..., 0], places[..., 1]))


# -- building ------------------------------------------------------------------------------


def _drawn_zone(drawn: DrawnZone) -> LandingZone:
    if drawn.circle_mm is not None:
        x, y, radius = drawn.circle_mm
        shape = MultiPolygon([shapes.disc((x, y), radius)])
        return LandingZone(shape=shape, wanted_mm=(x, y), wanted_margin_mm=radius, drawn=drawn)
    shape = MultiPolygon([Polygon(drawn.polygon_mm)])
    wanted, margin = _wanted(shape)
    return LandingZone(shape=shape, wanted_mm=wanted, wanted_margin_mm=margin, drawn=drawn)


def _union(leave: Leave) -> LandingZone:
    """The zones of all pockets together."""
    parts: list[LandingZone] = []
    empty: list[LandingZone] = []
    for pocket in pockets_of(leave.table):
        own = leave.into(pocket.name)
        if entry_turns_rad(leave.object_mm, pocket) is None:
            why = f"path: ball {leave.ball} approaches {pocket.name} too flatly to enter it"
            zone = _empty("path", why, leave=own)
        else:
            zone = zone_of(own)
        (empty if zone.is_empty else parts).append(zone)
    if not parts:
        limits = [zone.emptied_by for zone in empty]
        # a limit of the intent says more than a way that is shut from everywhere
        name = next((limit for limit in limits if limit not in (None, "path")), "path")
        why = "; ".join(f"{zone.pocket}: {zone.emptied_why}" for zone in empty)
        return _empty(name, f"no pocket is left: {why}", leave=leave)
    shape = _pieces(shapely.union_all([zone.shape for zone in parts]))
    wanted, margin = _wanted(shape)
    return LandingZone(
        shape=shape, wanted_mm=wanted, wanted_margin_mm=margin, leave=leave, parts=tuple(parts)
    )


def _explain_empty(leave: Leave, limits: list[Limit], ended_by: str) -> LandingZone:
    """Name the limit: one whose removal alone would leave a place, else where places ran out."""
    opening = []
    for without in limits:
        whole: BaseGeometry = shapes.bed(leave.table, FROZEN_INSET_MM)
        for limit in limits:
            whole = whole if limit is without else limit.apply(whole)
        if not whole.is_empty:
            opening.append(without.name)
    name = ended_by if ended_by in opening or not opening else opening[0]
    others = [other for other in opening if other != name]
    also = f" (easing {' or '.join(others)} would also open it)" if others else ""
    return _empty(name, f"{name}: {limit_text(leave.intent, name)}{also}", leave=leave)


def _empty(name: str, why: str, *, leave: Leave | None = None) -> LandingZone:
    return LandingZone(shape=MultiPolygon(), emptied_by=name, emptied_why=why, leave=leave)


def _pieces(shape: BaseGeometry) -> MultiPolygon:
    """The surfaces of a shape."""
    parts = shapes.surfaces(shape)
    return MultiPolygon() if parts.is_empty else MultiPolygon(list(shapely.get_parts(parts)))


def _wanted(pieces: MultiPolygon) -> tuple[PointMm, float]:
    """Centre and radius of the largest circle that fits."""
    best: tuple[PointMm, float] | None = None
    for piece in sorted(pieces.geoms, key=lambda piece: -float(piece.area)):
        # no circle is larger than one of the piece's own surface
        if best is not None and math.sqrt(piece.area / math.pi) <= best[1]:
            break
        line = shapely.maximum_inscribed_circle(piece, tolerance=WANTED_STEP_MM)
        if best is None or float(line.length) > best[1]:
            x, y = line.coords[0]
            best = ((float(x), float(y)), float(line.length))
    assert best is not None
    return best


def _nearest_on_circle(circle_mm: tuple[float, float, float], place_mm: PointMm) -> PointMm:
    x, y, radius = circle_mm
    apart = math.hypot(place_mm[0] - x, place_mm[1] - y)
    share = radius / apart
    return (x + share * (place_mm[0] - x), y + share * (place_mm[1] - y))


def _ring(ring: Any) -> Ring:
    return tuple((float(x), float(y)) for x, y in ring.coords)
