"""The cushions' long edges: nose lines, and the seams between cushions and rail cap."""

from __future__ import annotations

from calibration.table import Table

from .edges import TableEdge
from .marks import OUTWARD, Vector, side_of, side_point_mm

_END_MARGIN_MM = 25.0
"""Left off at each end, where the nose turns into a pocket."""
_BLOCK_MM = 60.0


def nose_edges(table: Table) -> tuple[TableEdge, ...]:
    """The six nose lines. Above the nose lies the lit cushion, before it the shaded bed."""
    return tuple(_edge(table, cushion, "nose") for cushion in table.nose_segments_mm)


def back_edges(table: Table) -> tuple[TableEdge, ...]:
    """The six seams, as long as the nose lines."""
    return tuple(_edge(table, cushion, "cushion back") for cushion in table.nose_segments_mm)


def _edge(table: Table, cushion: str, kind: str) -> TableEdge:
    side = side_of(cushion)
    out_x, out_y = OUTWARD[side]
    outward = (out_x, out_y, 0.0)
    axis = 1 if out_x else 0
    first, last = (point[axis] for point in table.nose_segments_mm[cushion])
    moves: tuple[tuple[str, Vector], ...]
    if kind == "nose":
        out_mm, height_mm, rises = 0.0, table.nose_height_mm, 1
        moves = ((f"nose_{side}_mm", outward), ("nose_height_mm", (0.0, 0.0, 1.0)))
    else:
        out_mm, height_mm, rises = table.cushion_width_mm, table.rail_cap_height_mm, 0
        moves = (
            ("cushion_width_mm", outward),
            (f"back_{side}_mm", outward),
            ("rail_cap_height_mm", (0.0, 0.0, 1.0)),
        )
    start = side_point_mm(table, side, first + _END_MARGIN_MM, out_mm)
    end = side_point_mm(table, side, last - _END_MARGIN_MM, out_mm)
    return TableEdge(
        name=cushion,
        part=cushion,
        kind=kind,
        start_mm=(*start, height_mm),
        end_mm=(*end, height_mm),
        across_mm=outward,
        moves=moves,
        rises=rises,
        block_mm=_BLOCK_MM,
    )
