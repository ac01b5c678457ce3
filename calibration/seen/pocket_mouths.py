"""The pockets' mouths: the facings where each nose turns into a pocket, as seen from above."""

from __future__ import annotations

import math

from calibration.table import Pocket, Table

from .edges import TableEdge
from .marks import OUTWARD, Vector

_FIRST_MM, _LAST_MM = 6.0, 34.0
"""Stretch of a facing's top edge that is looked for, from the nose point."""
_BLOCK_MM = 7.0
_BACK_DRAFT_DEG = 13.5
"""Facings lean out over the pocket by 12 to 15 degrees (trade specification)."""
_NOSE_ROUND_MM = 2.5
_BUILT_SIGMA_MM = 0.8
"""A single facing against the mouth that its table has elsewhere, 1 sigma."""


def facing_edges(table: Table) -> tuple[TableEdge, ...]:
    """The twelve facings' top edges, two a pocket; light may rise or fall into the pocket."""
    return tuple(
        edge for pocket in table.pockets for edge in (_facing(table, pocket, i) for i in (0, 1))
    )


def nose_point_moves(table: Table, pocket: Pocket, index: int) -> tuple[tuple[str, Vector], ...]:
    """How a nose point moves along its nose line for each mm of its pocket's mouth."""
    to_x, to_y = _towards(table, pocket, index)
    name, share = ("side", 0.5) if "side" in pocket.name else ("corner", 1 / math.sqrt(2))
    return ((f"{name}_mouth_mm", (-share * to_x, -share * to_y, 0.0)),)


def _towards(table: Table, pocket: Pocket, index: int) -> tuple[float, float]:
    """Unit vector along the nose line of a nose point, towards the pocket."""
    point = pocket.nose_points_mm[index]
    other = pocket.nose_points_mm[1 - index]
    out_x, _ = OUTWARD[_side_of(table, pocket, point)]
    to_x, to_y = (0.0, 1.0) if out_x else (1.0, 0.0)
    if (other[0] - point[0]) * to_x + (other[1] - point[1]) * to_y < 0:
        return -to_x, -to_y
    return to_x, to_y


def _facing(table: Table, pocket: Pocket, index: int) -> TableEdge:
    point = pocket.nose_points_mm[index]
    side = _side_of(table, pocket, point)
    out_x, out_y = OUTWARD[side]
    to_x, to_y = _towards(table, pocket, index)
    turn = math.radians(180.0 - pocket.cut_deg)
    back = (
        math.cos(turn) * to_x + math.sin(turn) * out_x,
        math.cos(turn) * to_y + math.sin(turn) * out_y,
    )
    across = (
        math.sin(turn) * to_x - math.cos(turn) * out_x,
        math.sin(turn) * to_y - math.cos(turn) * out_y,
    )

    def place(distance: float) -> tuple[float, float, float]:
        above = _top_above_nose_mm(table, distance * math.sin(turn))
        over = above * math.tan(math.radians(_BACK_DRAFT_DEG))
        return (
            point[0] + distance * back[0] + over * to_x,
            point[1] + distance * back[1] + over * to_y,
            table.nose_height_mm + above,
        )

    return TableEdge(
        name=f"{pocket.name} at {_cushion_of(table, side, point)}",
        kind="pocket",
        part=pocket.name,
        start_mm=place(_FIRST_MM),
        end_mm=place(_LAST_MM),
        across_mm=(*across, 0.0),
        moves=(*nose_point_moves(table, pocket, index), ("nose_height_mm", (0.0, 0.0, 1.0))),
        block_mm=_BLOCK_MM,
        whole=True,
        built_sigma_mm=_BUILT_SIGMA_MM,
    )


def _top_above_nose_mm(table: Table, behind_mm: float) -> float:
    """Height of a cushion's top over its nose line: round at the nose, then even to the cap."""
    total = table.rail_cap_height_mm - table.nose_height_mm
    round_mm = min(_NOSE_ROUND_MM, total)
    return round_mm + (total - round_mm) * min(behind_mm / table.cushion_width_mm, 1.0)


def _cushion_of(table: Table, side: str, point: tuple[float, float]) -> str:
    """The cushion that ends at a nose point."""
    if side in ("head", "foot"):
        return side
    return f"{side}-{'head' if point[0] < table.length_mm / 2 else 'foot'}"


def _side_of(table: Table, pocket: Pocket, point: tuple[float, float]) -> str:
    """The side on whose nose line a nose point lies."""
    end, hand = pocket.name.split("-")
    if end == "side":
        return hand
    at_end = 0.0 if end == "head" else table.length_mm
    return end if math.isclose(point[0], at_end, abs_tol=1e-6) else hand
