"""Rails from the table model: caps, sights, pocket castings and trims, outer edge, apron."""

from __future__ import annotations

import math

import numpy as np
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry import box as rectangle
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from calibration.table import Table
from vision.training.scenes.looks import RailLook
from vision.training.scenes.values import ByteArray, FloatArray, Material, Mesh, Part

from .meshes import flat, loft, merge, polygons, scaled_uv, wall
from .pockets import PocketOutline

OUTER_FILLET_MM = 9.0
WOOD_TILE_MM = (1600.0, 400.0)
JOINT_MM = 0.5


def _outer_ring(table: Table, inset_mm: float, radius_mm: float) -> FloatArray:
    """Rounded outer edge of the rails, inset, (K, 2), the same K for every inset."""
    out = table.rail_width_mm - inset_mm
    radius = max(radius_mm - inset_mm, 2.0)
    x0, y0, x1, y1 = -out, -out, table.length_mm + out, table.width_mm + out
    corners = ((x1, y1, 0), (x0, y1, 90), (x0, y0, 180), (x1, y0, 270))
    points = []
    for cx, cy, turn in corners:
        angle = np.deg2rad(np.linspace(turn, turn + 90, 10))
        mx = cx - math.copysign(radius, cx - table.length_mm / 2)
        my = cy - math.copysign(radius, cy - table.width_mm / 2)
        points.append(np.column_stack([mx + radius * np.cos(angle), my + radius * np.sin(angle)]))
    return np.concatenate(points)


def _sight_shape(rails: RailLook, centre: tuple[float, float], along_x: bool) -> Polygon:
    if rails.sight == "round":
        return Point(*centre).buffer(rails.sight_size_mm / 2, quad_segs=12)
    long, short = rails.sight_size_mm, rails.sight_size_mm * 0.46
    shape = Polygon([(long / 2, 0), (0, short / 2), (-long / 2, 0), (0, -short / 2)])
    if along_x:
        shape = affinity.rotate(shape, 90, origin=(0, 0))
    return affinity.translate(shape, *centre)


def sight_places_mm(table: Table, rails: RailLook) -> dict[str, tuple[float, float]]:
    """Where the sights really lie: at their places, each off by its own small error."""
    rng = np.random.default_rng((rails.seed, 18))
    places = {}
    for name, (x, y) in table.sights_mm.items():
        dx, dy = np.clip(rng.normal(0, 1, 2), -2, 2) * rails.sight_scatter_mm
        places[name] = (x + float(dx), y + float(dy))
    return places


def rail_parts(
    table: Table, outlines: list[PocketOutline], rails: RailLook, wood: ByteArray
) -> list[Part]:
    """Rail caps with grain along each rail, sights, castings and trims."""
    cap, d = table.rail_cap_height_mm, table.cushion_width_mm
    outer = Polygon(_outer_ring(table, OUTER_FILLET_MM, rails.outer_radius_mm))
    inner = rectangle(-d, -d, table.length_mm + d, table.width_mm + d)
    openings = unary_union([o.opening for o in outlines])
    region = outer.difference(unary_union([inner, openings]))
    sights = {
        name: _sight_shape(rails, place, name.split("-")[0] in ("left", "right"))
        for name, place in sight_places_mm(table, rails).items()
    }
    castings = _casting_zones(table, outlines) if rails.joints == "casting" else None
    pieces: dict[str, list[Mesh]] = {"long": [], "short": []}
    for side, zone in _rail_zones(table).items():
        piece = region.intersection(zone).difference(unary_union(list(sights.values())))
        if castings is not None:
            piece = piece.difference(castings)
        turn = 0.0 if side in ("left", "right") else 90.0
        shape = piece.buffer(-JOINT_MM / 2, join_style="mitre")
        pieces["long" if turn == 0 else "short"].append(flat(shape, cap, turn_deg=turn))
    material = _wood_material(rails, wood)
    parts = [
        Part(name=f"rail-{k}", shape=scaled_uv(merge(v), WOOD_TILE_MM), material=material)
        for k, v in pieces.items()
    ]
    parts.append(
        Part(
            name="sights",
            shape=flat(unary_union(list(sights.values())), cap),
            material=Material(kind="gloss", colour=rails.sight_colour, roughness=0.1),
        )
    )
    parts.append(
        Part(
            name="rail-base",
            shape=flat(region, cap - 1.5),
            material=Material(colour=(0.04, 0.03, 0.03)),
        )
    )
    if castings is not None:
        parts.append(_castings(region.intersection(castings), rails, cap))
    if rails.trim_mm > 0:
        parts.append(_trim(table, outlines, rails, inner))
    return parts


def _rail_zones(table: Table) -> dict[str, Polygon]:
    """Which part of the rails belongs to which side, mitred at the corners."""
    length, width, far = table.length_mm, table.width_mm, table.rail_width_mm + 20
    low, right, top = -far, length + far, width + far
    return {
        "right": Polygon([(0, 0), (length, 0), (right, low), (low, low)]),
        "left": Polygon([(0, width), (length, width), (right, top), (low, top)]),
        "head": Polygon([(0, 0), (0, width), (low, top), (low, low)]),
        "foot": Polygon([(length, 0), (length, width), (right, top), (right, low)]),
    }


def _castings(region: BaseGeometry, rails: RailLook, cap_mm: float) -> Part:
    """Pocket castings, a joint's width smaller than their zones."""
    return Part(
        name="castings",
        shape=flat(region.buffer(-JOINT_MM / 2, join_style="mitre"), cap_mm),
        material=Material(
            kind="metal" if rails.casting_metal else "gloss",
            colour=rails.casting_colour,
            roughness=0.34,
        ),
    )


def _wood_material(rails: RailLook, wood: ByteArray) -> Material:
    return Material(kind="gloss", texture=wood, roughness=rails.gloss)


def _casting_zones(table: Table, outlines: list[PocketOutline]) -> BaseGeometry:
    """Where pocket castings take the rail's place: round corners and behind side pockets."""
    zones = []
    out = table.rail_width_mm + 20
    for o in outlines:
        x0, y0, x1, y1 = LineString(o.back_mm).bounds
        if o.name.startswith("side"):
            far = table.width_mm + out if y0 > 0 else -out
            zones.append(rectangle(x0 - 22, min(y0, far), x1 + 22, max(y1, far)))
        else:
            left, low = "head" in o.name, "right" in o.name
            zones.append(
                rectangle(
                    -out if left else x0 - 16,
                    -out if low else y0 - 16,
                    x1 + 16 if left else table.length_mm + out,
                    y1 + 16 if low else table.width_mm + out,
                )
            )
    return unary_union(zones)


def _trim(table: Table, outlines: list[PocketOutline], rails: RailLook, inner: Polygon) -> Part:
    """A raised rim round each pocket's back."""
    meshes = []
    top = table.rail_cap_height_mm + 1.6
    for o in outlines:
        around = o.opening.buffer(rails.trim_mm).difference(o.opening.union(inner))
        rim = max(polygons(around), key=lambda piece: float(piece.area))
        meshes.append(flat(rim, top))
        meshes.append(wall(np.asarray(rim.exterior.coords), top, top - 4))
    kind = "metal" if rails.trim_metal else "gloss"
    return Part(
        name="trim",
        shape=merge([Mesh(vertices_mm=m.vertices_mm, faces=m.faces) for m in meshes]),
        material=Material(kind=kind, colour=rails.trim_colour, roughness=0.3),
    )


def apron_part(table: Table, rails: RailLook, wood: ByteArray) -> Part:
    """Rounded outer edge of the rails and the apron below."""
    cap, r = table.rail_cap_height_mm, OUTER_FILLET_MM
    rings = []
    for angle in np.deg2rad(np.linspace(0, 90, 6)):
        inset = r * (1 - math.sin(angle))
        ring = _outer_ring(table, inset, rails.outer_radius_mm)
        rings.append(np.column_stack([ring, np.full(len(ring), cap - r * (1 - math.cos(angle)))]))
    for inset, z in ((0.0, cap - 55), (14.0, cap - 60), (30.0, -260.0)):
        ring = _outer_ring(table, inset, rails.outer_radius_mm)
        rings.append(np.column_stack([ring, np.full(len(ring), z)]))
    return Part(
        name="apron",
        shape=scaled_uv(loft(rings), WOOD_TILE_MM),
        material=_wood_material(rails, wood),
    )
