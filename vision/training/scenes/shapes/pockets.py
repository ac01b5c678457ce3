"""Outlines of a pocket seen from above: opening between the facings, slate cut, facing ends."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Point, Polygon

from calibration.table import Pocket, Table
from vision.training.scenes.values import FloatArray

ARC_STEPS = 28
BACK_SAGITTA_MM = {"corner": 66.0, "side": 46.0}
HOLE_RADIUS_MM = {"corner": 60.0, "side": 56.0}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PocketOutline:
    """Top-view outlines of one pocket, mm."""

    name: str
    back_mm: FloatArray
    """(K, 2) from one facing's end round the back to the other's."""
    opening: Polygon
    hole: Polygon
    """The drop: where the slate is cut away."""
    centre_mm: tuple[float, float]
    """Centre of the slate cut."""
    hole_radius_mm: float


def facing_slant_deg(cut_deg: float) -> float:
    """By how much a facing turns away from its nose line."""
    return 180.0 - cut_deg


def outline(pocket: Pocket, table: Table) -> PocketOutline:
    """The pocket's outlines from its nose points, cut angle, shelf and cushion width."""
    kind = "side" if pocket.name.startswith("side") else "corner"
    inward = np.asarray(pocket.inward)
    first, last = (np.asarray(p) for p in pocket.nose_points_mm)
    middle = (first + last) / 2
    # how the mouth closes towards the back: facing against the mouth's axis
    slant = math.radians(facing_slant_deg(pocket.cut_deg))
    axis = math.radians(90.0 if kind == "side" else 45.0)
    closing = axis - slant
    reach = table.cushion_width_mm / math.sin(slant)
    ends = []
    for nose in (first, last):
        towards = middle - nose
        towards = towards / np.linalg.norm(towards)
        ends.append(nose + reach * (math.cos(closing) * inward + math.sin(closing) * towards))
    back = _arc(ends[0], ends[1], inward, BACK_SAGITTA_MM[kind])
    radius = HOLE_RADIUS_MM[kind]
    centre = middle + inward * (pocket.shelf_mm + radius)
    return PocketOutline(
        name=pocket.name,
        back_mm=back,
        opening=Polygon([tuple(first), *map(tuple, back), tuple(last)]),
        hole=Point(*centre).buffer(radius, quad_segs=24),
        centre_mm=(float(centre[0]), float(centre[1])),
        hole_radius_mm=radius,
    )


def _arc(a: FloatArray, b: FloatArray, bulge: FloatArray, sagitta_mm: float) -> FloatArray:
    """Circle arc from a to b that bulges along ``bulge`` by ``sagitta_mm``, (K, 2)."""
    half = float(np.linalg.norm(b - a)) / 2
    radius = (half * half + sagitta_mm * sagitta_mm) / (2 * sagitta_mm)
    centre = (a + b) / 2 + bulge * (sagitta_mm - radius)
    start, end = (math.atan2(*(p - centre)[::-1]) for p in (a, b))
    top = math.atan2(bulge[1], bulge[0])
    sweep_a = (top - start + math.pi) % (2 * math.pi) - math.pi
    sweep_b = (end - top + math.pi) % (2 * math.pi) - math.pi
    angle = start + np.linspace(0, sweep_a + sweep_b, ARC_STEPS)
    return np.asarray(centre + radius * np.column_stack([np.cos(angle), np.sin(angle)]))
