"""The table's parts from the table model: bed, cushions, rails, sights, pockets, apron."""

from __future__ import annotations

import math

import numpy as np
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry import box as rectangle
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from calibration.table import Table

from .looks import RailLook
from .meshes import disc, flat, loft, merge, polygons, scaled_uv, wall
from .pockets import PocketOutline, facing_slant_deg, outline
from .values import ByteArray, FloatArray, Material, Mesh, Part

NOSE_ROUND_MM = 2.6
BACK_DRAFT_DEG = 13.0
SLATE_MM = 26.0
OUTER_FILLET_MM = 9.0
WEAVE_TILE_MM = (256.0, 256.0)
WOOD_TILE_MM = (1600.0, 400.0)
JOINT_MM = 0.5


def table_parts(
    table: Table, rails: RailLook, bed: Material, cushion: Material, wood: ByteArray
) -> list[Part]:
    """All parts of an empty table; ``wood`` is the rails' texture."""
    outlines = [outline(pocket, table) for pocket in table.pockets]
    parts = [
        Part(name="bed", shape=_bed(table, outlines), material=bed),
        Part(name="cushions", shape=_cushions(table), material=cushion),
        *_drops(table, outlines, rails, cushion),
        *_rails(table, outlines, rails, wood),
        _apron(table, rails, wood),
    ]
    return parts


# -- bed ------------------------------------------------------------------------------------


def _bed(table: Table, outlines: list[PocketOutline]) -> Mesh:
    under = table.cushion_width_mm - 4
    sheet = rectangle(-under, -under, table.length_mm + under, table.width_mm + under)
    mesh = flat(sheet.difference(unary_union([o.hole for o in outlines])), 0.0)
    return Mesh(
        vertices_mm=mesh.vertices_mm, faces=mesh.faces, uv=bed_uv(table, mesh.vertices_mm[:, :2])
    )


def bed_uv(table: Table, points_mm: FloatArray) -> FloatArray:
    """Texture places of the bed's map, which covers the surface and 50 mm around it."""
    u = (points_mm[:, 0] + 50.0) / (table.length_mm + 100.0)
    v = (table.width_mm + 50.0 - points_mm[:, 1]) / (table.width_mm + 100.0)
    return np.column_stack([u, v])


# -- cushions -------------------------------------------------------------------------------


def cushion_profile(table: Table) -> FloatArray:
    """Cross-section (K, 2): depth behind the nose line and height, from under side to cap."""
    r, nose = NOSE_ROUND_MM, table.nose_height_mm
    arc = np.deg2rad([-60, -45, -30, -15, 0, 17, 34, 51, 68, 84])
    tip = np.column_stack([r - r * np.cos(arc), nose + r * np.sin(arc)])
    back = table.cushion_width_mm
    top = np.array([[0.35 * back, nose + r + 0.9], [back, table.rail_cap_height_mm]])
    return np.concatenate([[[25.0, -1.0], [24.0, 8.0]], tip, top])


def _cushions(table: Table) -> Mesh:
    meshes = []
    slants = {
        "corner": facing_slant_deg(table.corner_cut_deg),
        "side": facing_slant_deg(table.side_cut_deg),
    }
    middle = np.array([table.length_mm / 2, table.width_mm / 2])
    for name, (a, b) in table.nose_segments_mm.items():
        start, end = np.asarray(a), np.asarray(b)
        kinds = ["corner", "corner"]
        if name.endswith("-head"):
            kinds[1] = "side"
        elif name.endswith("-foot"):
            kinds[0] = "side"
        meshes += _cushion(table, start, end, middle, (slants[kinds[0]], slants[kinds[1]]))
    return scaled_uv(merge(meshes), WEAVE_TILE_MM)


def _cushion(
    table: Table,
    start: FloatArray,
    end: FloatArray,
    middle: FloatArray,
    slants_deg: tuple[float, float],
) -> list[Mesh]:
    along = (end - start) / np.linalg.norm(end - start)
    back = np.array([-along[1], along[0]])
    if np.dot(back, middle - start) > 0:
        back = -back
    profile = cushion_profile(table)
    depth, height = profile.T
    draft = (height - table.nose_height_mm) * math.tan(math.radians(BACK_DRAFT_DEG))
    ends = []
    for point, sign, slant in ((start, -1.0, slants_deg[0]), (end, 1.0, slants_deg[1])):
        run = sign * (depth / math.tan(math.radians(slant)) + draft)
        xy = point + run[:, None] * along + depth[:, None] * back
        ends.append(np.column_stack([xy, height]))
    skin = _profile_skin(ends[0], ends[1], along, back, profile)
    return [skin, _facing(ends[0]), _facing(ends[1])]


def _profile_skin(
    first: FloatArray, last: FloatArray, along: FloatArray, back: FloatArray, profile: FloatArray
) -> Mesh:
    """Skin between two equal profiles with the profile's own normals; uv in mm."""
    step = np.gradient(profile, axis=0)
    normal2 = np.column_stack([-step[:, 1], step[:, 0]])
    normal2 /= np.linalg.norm(normal2, axis=1, keepdims=True)
    normal = np.column_stack([normal2[:, :1] * back, normal2[:, 1:]])
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(profile, axis=0), axis=1))])
    count = len(profile)
    k = np.arange(count - 1)
    faces = np.concatenate(
        [np.stack([k, k + 1, k + count], 1), np.stack([k + 1, k + count + 1, k + count], 1)]
    )
    vertices = np.concatenate([first, last])
    travel = vertices[:, :2] @ along
    return Mesh(
        vertices_mm=vertices,
        faces=faces,
        uv=np.column_stack([travel, np.tile(run, 2)]),
        normals=np.concatenate([normal, normal]),
    )


def _facing(profile_mm: FloatArray) -> Mesh:
    """The cut end of a cushion: a fan over its profile and the base line behind it."""
    last = profile_mm[-1].copy()
    last[2] = -1.0
    points = np.concatenate([profile_mm, [last]])
    centre = points.mean(axis=0)
    n = len(points)
    vertices = np.concatenate([[centre], points])
    k = np.arange(n)
    faces = np.stack([np.zeros(n, int), 1 + k, 1 + (k + 1) % n], 1)
    edge = points[-1, :2] - points[0, :2]
    edge = edge / max(float(np.linalg.norm(edge)), 1e-9)
    uv = np.column_stack([vertices[:, :2] @ edge, vertices[:, 2]])
    first, second = points[3] - centre, points[-1] - centre
    normal = np.cross(first, second)
    normal = normal / np.linalg.norm(normal)
    return Mesh(
        vertices_mm=vertices, faces=faces, uv=uv, normals=np.tile(normal, (len(vertices), 1))
    )


# -- pockets --------------------------------------------------------------------------------


def _drops(
    table: Table, outlines: list[PocketOutline], rails: RailLook, cushion: Material
) -> list[Part]:
    """Slate cuts, liners round the backs, and the dark below."""
    cap = table.rail_cap_height_mm
    slate, liners, bags = [], [], []
    for o in outlines:
        ring = np.asarray(o.hole.exterior.coords)
        slate.append(wall(ring, 0.0, -SLATE_MM))
        liners.append(_liner(o, cap))
        angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        circle = np.column_stack([np.cos(angle), np.sin(angle)])
        centre = np.asarray(o.centre_mm)
        levels = ((1.06, -SLATE_MM + 1), (1.04, -60.0), (0.9, -110.0), (0.5, -135.0))
        bags.append(
            loft(
                [
                    np.column_stack([centre + circle * o.hole_radius_mm * k, np.full(40, z)])
                    for k, z in levels
                ]
            )
        )
        bags.append(disc([*o.centre_mm, -134.0], o.hole_radius_mm * 0.6, [0, 0, 1.0]))
    r, g, b = rails.liner_colour
    dark = Material(kind="gloss", colour=rails.liner_colour, roughness=0.35)
    return [
        Part(name="slate", shape=scaled_uv(merge(slate), WEAVE_TILE_MM), material=cushion),
        Part(name="liners", shape=merge(liners), material=dark),
        Part(
            name="bags",
            shape=_bare(merge(bags)),
            material=Material(colour=(r * 0.7 + 0.01, g * 0.7 + 0.01, b * 0.7 + 0.01)),
        ),
    ]


def _bare(mesh: Mesh) -> Mesh:
    return Mesh(vertices_mm=mesh.vertices_mm, faces=mesh.faces)


def _liner(o: PocketOutline, cap_mm: float) -> Mesh:
    """Wall round the pocket's back, leaning a little outward at its rounded top."""
    centre = o.back_mm.mean(axis=0)
    rings = []
    for z, grow in ((cap_mm - 0.2, 1.0), (cap_mm - 2.5, 0.975), (0.0, 0.965), (-70.0, 0.93)):
        rings.append(np.column_stack([centre + (o.back_mm - centre) * grow, np.full(28, z)]))
    return loft(rings, closed=False)


# -- rails ----------------------------------------------------------------------------------


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


def _rails(
    table: Table, outlines: list[PocketOutline], rails: RailLook, wood: ByteArray
) -> list[Part]:
    cap, d = table.rail_cap_height_mm, table.cushion_width_mm
    length, width, out = table.length_mm, table.width_mm, table.rail_width_mm
    outer = Polygon(_outer_ring(table, OUTER_FILLET_MM, rails.outer_radius_mm))
    inner = rectangle(-d, -d, length + d, width + d)
    openings = unary_union([o.opening for o in outlines])
    region = outer.difference(unary_union([inner, openings]))
    sights = {
        name: _sight_shape(rails, place, name.split("-")[0] in ("left", "right"))
        for name, place in table.sights_mm.items()
    }
    far = out + 20
    trapezoids = {
        "right": Polygon([(0, 0), (length, 0), (length + far, -far), (-far, -far)]),
        "left": Polygon(
            [(0, width), (length, width), (length + far, width + far), (-far, width + far)]
        ),
        "head": Polygon([(0, 0), (0, width), (-far, width + far), (-far, -far)]),
        "foot": Polygon(
            [(length, 0), (length, width), (length + far, width + far), (length + far, -far)]
        ),
    }
    castings = _casting_zones(table, outlines) if rails.joints == "casting" else None
    pieces: dict[str, list[Mesh]] = {"long": [], "short": []}
    for side, zone in trapezoids.items():
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
        shape = region.intersection(castings).buffer(-JOINT_MM / 2, join_style="mitre")
        parts.append(
            Part(
                name="castings",
                shape=flat(shape, cap),
                material=Material(
                    kind="metal" if rails.casting_metal else "gloss",
                    colour=rails.casting_colour,
                    roughness=0.34,
                ),
            )
        )
    if rails.trim_mm > 0:
        parts.append(_trim(table, outlines, rails, inner))
    return parts


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
        shape=merge([_bare(m) for m in meshes]),
        material=Material(kind=kind, colour=rails.trim_colour, roughness=0.3),
    )


def _apron(table: Table, rails: RailLook, wood: ByteArray) -> Part:
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
