"""The landing zone of an intent that nobody has set yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from service.desk.refusals import no_calibration, no_layout
from service.desk.stored import calibration_behind, player_now
from service.position import Intent, LandingZone, landing_zone
from service.position.shot.cut import cut_deg, distance_mm
from service.position.zone.membership import aim_of
from service.store import Reader, ReadingRecord
from vision.layout import Layout


@dataclass(frozen=True, slots=True, kw_only=True)
class ZonePreview:
    """A zone with what its places leave, on the layout that it was worked out on."""

    reading_id: int
    intent: Intent
    """With the balls named that it leaves to the layout."""
    zone: LandingZone
    cut_deg: tuple[float, float] | None = None
    """Least and most cut that the zone's places leave; None without a next pocket or a place."""
    distance_mm: tuple[float, float] | None = None
    """Least and most distance to the ghost ball, likewise."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "reading_id": self.reading_id,
            "intent": self.intent.to_dict(),
            "zone": self.zone.to_dict(),
            "cut_deg": _listed(self.cut_deg),
            "distance_mm": _listed(self.distance_mm),
        }


def zone_preview(
    reader: Reader, document: Mapping[str, Any], *, reading_id: int | None = None, table_id: int
) -> ZonePreview:
    """The landing zone of ``document``'s intent on the layout before the shot.

    ``reading_id`` names the layout; None: the one that a shot would be played from now.

    Raises:
        IntentError: the intent cannot be played on that layout.
        DeskError: there is no calibration or no layout yet.
        NotFoundError: there is no such reading.
    """
    before = layout_before(reader, reading_id, table_id)
    table = calibration_behind(reader, before).table
    intent = Intent.from_dict(document).named_on(before.layout)
    intent.check_on(before.layout, table)
    player = player_now(reader, before.still.table_id)
    zone = landing_zone(before.layout, intent, table, player=player)
    made = ZonePreview(reading_id=before.id, intent=intent, zone=zone)
    if intent.next is None or intent.next_pocket is None or zone.is_empty:
        return made
    ball_mm = _centre_mm(before.layout, intent.next)
    aim_mm = aim_of(table, intent.next_pocket)
    edge = _edge_mm(zone)
    return ZonePreview(
        reading_id=before.id,
        intent=intent,
        zone=zone,
        cut_deg=_range(cut_deg(edge, ball_mm, aim_mm)),
        distance_mm=_range(distance_mm(edge, ball_mm, aim_mm)),
    )


def layout_before(reader: Reader, reading_id: int | None, table_id: int) -> ReadingRecord:
    """The reading of that number, or the one that a shot at that table would be played from.

    Raises:
        NotFoundError: there is no such reading.
        DeskError: no calibration is set, or nothing lies there yet.
    """
    if reading_id is not None:
        return reader.reading(reading_id)
    calibration = reader.calibration(table_id=table_id)
    if calibration is None:
        raise no_calibration(table_id)
    before = reader.latest_comparable(calibration.id)
    if before is None:
        raise no_layout()
    return before


def _centre_mm(layout: Layout, name: str) -> tuple[float, float]:
    ball = layout.ball(name)
    assert ball is not None  # the intent was checked on this layout
    return ball.centre_mm


def _edge_mm(zone: LandingZone) -> FloatArray:
    """Corners of the zone's outline, its holes' too, (N, 2): extremes lie on the edge."""
    rings = [ring for outer, holes in zone.polygons_mm for ring in (outer, *holes)]
    return np.concatenate([np.asarray(ring, dtype=np.float64) for ring in rings])


def _range(values: FloatArray) -> tuple[float, float]:
    return float(values.min()), float(values.max())


def _listed(pair: tuple[float, float] | None) -> list[float] | None:
    return None if pair is None else list(pair)
