"""The table's parts from the table model: bed, cushions, rails, sights, pockets, apron."""

from __future__ import annotations

import math

import numpy as np
from shapely.geometry import box as rectangle
from shapely.ops import unary_union

from calibration.table import Table
from vision.training.scenes.looks import RailLook
from vision.training.scenes.values import ByteArray, FloatArray, Material, Mesh, Part

from .meshes import disc, flat, loft, merge, scaled_uv, wall
from .pockets import PocketOutline, facing_slant_deg, outline
from .rails import apron_part, rail_parts

BACK_DRAFT_DEG = 13.0
SLATE_MM = 26.0
WEAVE_TILE_MM = (256.0, 256.0)


def table_parts(
    table: Table, rails: RailLook, bed: Material, cushion: Material, wood: ByteArray
) -> list[Part]:
    """All parts of an empty table; ``wood`` is the rails' texture."""
    outlines = [outline(pocket, table) for pocket in table.pockets]
    parts = [
        Part(name="bed", shape=_bed(table, outlines), material=bed),
        Part(name="cushions", shape=_cushions(table, rails.nose_round_mm), material=cushion),
        *_drops(table, outlines, rails, cushion),
        *rail_parts(table, outlines, rails, wood),
        apron_part(table, rails, wood),
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


def cushion_profile(table: Table, round_mm: float) -> FloatArray:
    """Cross-section (K, 2): depth behind the nose line and height, from under side to cap."""
    r, nose = round_mm, table.nose_height_mm
    arc = np.deg2rad([-60, -45, -30, -15, 0, 17, 34, 51, 68, 84])
    tip = np.column_stack([r - r * np.cos(arc), nose + r * np.sin(arc)])
    back = table.cushion_width_mm
    top = np.array([[0.35 * back, nose + r + 0.9], [back, table.rail_cap_height_mm]])
    return np.concatenate([[[25.0, -1.0], [24.0, 8.0]], tip, top])


def _cushions(table: Table, round_mm: float) -> Mesh:
    meshes = []
    profile = cushion_profile(table, round_mm)
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
        meshes += _cushion(
            table, profile, (start, end), middle, (slants[kinds[0]], slants[kinds[1]])
        )
    return scaled_uv(merge(meshes), WEAVE_TILE_MM)


def _cushion(
    table: Table,
    profile: FloatArray,
    ends_mm: tuple[FloatArray, FloatArray],
    middle: FloatArray,
    slants_deg: tuple[float, float],
) -> list[Mesh]:
    start, end = ends_mm
    along = (end - start) / np.linalg.norm(end - start)
    back = np.array([-along[1], along[0]])
    if np.dot(back, middle - start) > 0:
        back = -back
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
