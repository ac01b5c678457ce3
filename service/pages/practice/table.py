"""The table as the page draws it, and what its script must know of it to be tapped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from calibration.table import Table
from service.desk.scene import Scene
from service.position import LandingZone
from service.words.balls import pocket_name
from service.words.lengths import Lengths

from ..frame import Shown
from ..picture import scene_svg
from .pending import Pending

OUTLINE_MM = 0.3
"""How far an outline as drawn may lie beside the true one: less than its own line is wide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableView:
    """The drawing, and the scene behind it as the script reads it."""

    svg: Markup
    scene: dict[str, Any]


def table_view(scene: Scene, pending: Pending | None, shown: Shown, lengths: Lengths) -> TableView:
    """The scene from the side that the reader stands on."""
    turn = shown.quarter_turns
    drawn = scene_svg(
        scene,
        units=lengths.units,
        width_px=shown.lettered_px,
        turn=turn,
        legend=False,
    )
    return TableView(svg=Markup(drawn), scene=_told(scene, pending, turn, lengths))


def _told(scene: Scene, pending: Pending | None, turn: int, lengths: Lengths) -> dict[str, Any]:
    layout, attempt = scene.reading.layout, scene.attempt
    return {
        "reading": scene.reading.id,
        "is_clear": layout.settled and not layout.obstructed,
        "is_live": scene.reading.live,
        "surface_mm": list(scene.table.surface_mm),
        "turn": turn,
        "balls": [{"id": ball.id, "x": ball.x_mm, "y": ball.y_mm} for ball in layout.balls],
        "pockets": pockets_told(scene.table),
        "pending": None
        if pending is None
        else {
            "id": pending.id,
            "intent": pending.document,
            "zone": None if pending.zone is None else outline_told(pending.zone),
            "words": pending.words,
            "waits": pending.waits,
            "place": pending.place,
        },
        "attempt": None if attempt is None else attempt.id,
        "last": None if attempt is None else dict(attempt.intent.document),
        "unit_mm": lengths.unit_mm,
        "sign": lengths.sign,
    }


def pockets_told(table: Table) -> list[dict[str, Any]]:
    """The pockets: name, words, aim point, and which way is in."""
    return [
        {
            "name": pocket.name,
            "words": pocket_name(pocket.name),
            "x": pocket.aim_mm[0],
            "y": pocket.aim_mm[1],
        }
        for pocket in table.pockets
    ]


def outline_told(zone: LandingZone) -> dict[str, Any]:
    """The zone's outline as it is drawn, and its wanted spot."""
    pieces = getattr(zone.shape.simplify(OUTLINE_MM), "geoms", ())
    return {
        "empty": zone.is_empty,
        "polygons_mm": [
            {
                "exterior": _rounded(piece.exterior.coords),
                "holes": [_rounded(hole.coords) for hole in piece.interiors],
            }
            for piece in pieces
        ],
        "wanted_mm": zone.wanted_mm,
        "emptied_why": zone.emptied_why,
    }


def _rounded(ring: Any) -> list[list[float]]:
    return [[round(float(x), 1), round(float(y), 1)] for x, y in ring]
