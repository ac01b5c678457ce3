"""Landmarks around a camera that is nearly right: matched in windows about their predictions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from calibration.camera import Camera
from calibration.seen.edges import LEAST_SIGNIFICANCE, Light, TableEdge, find_edge
from calibration.seen.marks import (
    DIMENSION_EXPECTED_MM,
    SIDE_DIMENSIONS,
    Landmark,
    Landmarks,
)
from calibration.seen.noses import back_edges, nose_edges
from calibration.seen.pocket_mouths import facing_edges
from calibration.seen.points import stands_alone
from calibration.seen.sights import find_sights
from calibration.table import Table

from .enough import check_found


@dataclass(frozen=True, slots=True)
class Pass:
    """Search windows of one pass, mm; 0 leaves a kind out."""

    back: float
    nose: float
    sight: float
    pocket: float
    least_significance: float = LEAST_SIGNIFICANCE


# a line that is still askew in its window does not stand out, and the sights judge the hold
SEAMS = Pass(back=16.0, nose=0.0, sight=0.0, pocket=0.0, least_significance=0.0)


def matched(
    light: Light,
    camera: Camera,
    table: Table,
    change_mm: Mapping[str, float],
    search: Pass,
    blank: Landmarks,
) -> Landmarks:
    """What is found around the camera, and the hand-given points of ``blank`` in their place."""
    named = {item.name for item in blank.items}
    found = [
        mark for mark in _search(light, camera, table, change_mm, search) if mark.name not in named
    ]
    marks = replace(blank, items=(*found, *blank.items))
    check_found(marks, stands_alone(blank.items, table))
    return marks


def _search(
    light: Light, camera: Camera, table: Table, change_mm: Mapping[str, float], search: Pass
) -> list[Landmark]:
    # single sides do not wander: a wrong edge taken once must not draw the next search after it
    change_mm = {
        name: DIMENSION_EXPECTED_MM.get(name, 0.0) if name in SIDE_DIMENSIONS else change
        for name, change in change_mm.items()
    }
    kinds: tuple[tuple[float, tuple[TableEdge, ...]], ...] = (
        (search.back, back_edges(table)),
        (search.nose, nose_edges(table)),
        (search.pocket, facing_edges(table)),
    )
    found = [
        mark
        for window_mm, edges in kinds
        if window_mm
        for edge in edges
        for mark in find_edge(light, camera, edge, change_mm, window_mm, search.least_significance)
    ]
    if search.sight:
        found += find_sights(light, camera, table, change_mm, search.sight)
    return found
