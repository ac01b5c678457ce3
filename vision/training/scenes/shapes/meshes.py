"""Mesh making: flat polygons, walls, lofts, lathes, boxes. Millimetres, table frame."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from vision.training.scenes.values import FloatArray, Mesh, SceneError


def merge(meshes: Sequence[Mesh]) -> Mesh:
    """One mesh of several; texture places and normals are kept where all have them."""
    offsets = np.cumsum([0, *[len(m.vertices_mm) for m in meshes]])
    uvs = [m.uv for m in meshes if m.uv is not None]
    normals = [m.normals for m in meshes if m.normals is not None]
    colours = [m.colours for m in meshes if m.colours is not None]
    return Mesh(
        vertices_mm=np.concatenate([m.vertices_mm for m in meshes]),
        faces=np.concatenate([m.faces + o for m, o in zip(meshes, offsets, strict=False)]),
        uv=np.concatenate(uvs) if len(uvs) == len(meshes) else None,
        normals=np.concatenate(normals) if len(normals) == len(meshes) else None,
        colours=np.concatenate(colours) if len(colours) == len(meshes) else None,
    )


def polygons(geometry: BaseGeometry) -> list[Polygon]:
    """The polygons of a geometry, slivers left out."""
    if isinstance(geometry, Polygon):
        parts = [geometry]
    elif isinstance(geometry, MultiPolygon):
        parts = list(geometry.geoms)
    else:
        parts = [g for g in getattr(geometry, "geoms", []) if isinstance(g, Polygon)]
    return [p for p in parts if p.area > 1e-3]


def flat(geometry: BaseGeometry, height_mm: float, *, turn_deg: float = 0.0) -> Mesh:
    """Polygons triangulated at one height, facing up; uv are mm, turned by ``turn_deg``."""
    points: list[FloatArray] = []
    for polygon in polygons(geometry):
        for triangle in shapely.constrained_delaunay_triangles(polygon).geoms:
            ring = shapely.get_coordinates(triangle)[:3]
            (ax, ay), (bx, by), (cx, cy) = ring
            if (bx - ax) * (cy - ay) - (by - ay) * (cx - ax) < 0:
                ring = ring[::-1]
            points.append(ring)
    xy = np.concatenate(points)
    vertices = np.column_stack([xy, np.full(len(xy), height_mm)])
    turn = np.deg2rad(turn_deg)
    uv = xy @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return Mesh(vertices_mm=vertices, faces=np.arange(len(xy)).reshape(-1, 3), uv=uv)


def loft(rings: ArrayLike, *, closed: bool = True, smooth: bool = True) -> Mesh:
    """Skin over rings (R, K, 3); ``closed`` joins each ring's ends; uv are mm run along both."""
    stack = np.asarray(rings, float)
    if closed:
        stack = np.concatenate([stack, stack[:, :1]], axis=1)
    count, size = stack.shape[:2]
    along = np.concatenate(
        [np.zeros((count, 1)), np.cumsum(np.linalg.norm(np.diff(stack, axis=1), axis=2), axis=1)],
        axis=1,
    )
    across = np.concatenate(
        [[0.0], np.cumsum(np.linalg.norm(np.diff(stack, axis=0), axis=2).mean(axis=1))]
    )
    uv = np.stack([along, np.repeat(across[:, None], size, axis=1)], axis=-1).reshape(-1, 2)
    i, j = np.meshgrid(np.arange(count - 1), np.arange(size - 1), indexing="ij")
    a = (i * size + j).ravel()
    faces = np.concatenate(
        [np.stack([a, a + 1, a + size], 1), np.stack([a + 1, a + size + 1, a + size], 1)]
    )
    vertices = stack.reshape(-1, 3)
    normals = _ring_normals(stack, closed=closed).reshape(-1, 3) if smooth else None
    return Mesh(vertices_mm=vertices, faces=faces, uv=uv, normals=normals)


def _ring_normals(stack: FloatArray, *, closed: bool) -> FloatArray:
    """Vertex normals of a lofted skin from central differences."""
    if closed:
        body = stack[:, :-1]
        du = np.roll(body, -1, axis=1) - np.roll(body, 1, axis=1)
        du = np.concatenate([du, du[:, :1]], axis=1)
    else:
        du = np.asarray(np.gradient(stack, axis=1))
    dv = np.asarray(np.gradient(stack, axis=0))
    normal = np.cross(du, dv)
    length = np.linalg.norm(normal, axis=2, keepdims=True)
    return np.asarray(normal / np.maximum(length, 1e-9))


def shifted(place_mm: ArrayLike, dx: float, dy: float, dz: float) -> FloatArray:
    """A place, or places (N, 3), moved."""
    return np.asarray(np.asarray(place_mm, float) + np.array([dx, dy, dz]))


def wall(line: ArrayLike, top_mm: float, bottom_mm: float, *, closed: bool = False) -> Mesh:
    """Upright wall along a line (K, 2) from one height to another."""
    xy = np.asarray(line, float)
    rings = [np.column_stack([xy, np.full(len(xy), z)]) for z in (top_mm, bottom_mm)]
    return loft(rings, closed=closed)


def disc(centre_mm: ArrayLike, radius_mm: float, normal: ArrayLike, sides: int = 32) -> Mesh:
    """A flat round plate."""
    n = np.asarray(normal, float)
    first, second = frame(n)
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)[:, None]
    ring = np.asarray(centre_mm, float) + radius_mm * (
        np.cos(angle) * first + np.sin(angle) * second
    )
    vertices = np.concatenate([[np.asarray(centre_mm, float)], ring])
    k = np.arange(sides)
    faces = np.stack([np.zeros(sides, int), 1 + k, 1 + (k + 1) % sides], 1)
    uv = np.concatenate(
        [[[0.5, 0.5]], np.column_stack([0.5 + np.cos(angle) / 2, 0.5 + np.sin(angle) / 2])]
    )
    return Mesh(vertices_mm=vertices, faces=faces, uv=uv)


def frame(direction: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors square to ``direction`` and to each other."""
    d = direction / np.linalg.norm(direction)
    other = np.array([0.0, 0.0, 1.0]) if abs(d[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    first = np.cross(other, d)
    first /= np.linalg.norm(first)
    return first, np.cross(d, first)


def lathe(
    start_mm: ArrayLike, end_mm: ArrayLike, profile: Sequence[tuple[float, float]], sides: int = 24
) -> Mesh:
    """Body of revolution from start to end; profile = (fraction of the way, radius mm).

    uv: u round (0…1), v along (0…1).
    """
    a, b = np.asarray(start_mm, float), np.asarray(end_mm, float)
    first, second = frame(b - a)
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)[:, None]
    circle = np.cos(angle) * first + np.sin(angle) * second
    rings = np.stack([a + t * (b - a) + r * circle for t, r in profile])
    skin = loft(rings)
    u = np.tile(np.linspace(0, 1, sides + 1), len(profile))
    v = np.repeat([t for t, _ in profile], sides + 1)
    return Mesh(
        vertices_mm=skin.vertices_mm,
        faces=skin.faces,
        uv=np.column_stack([u, v]),
        normals=skin.normals,
    )


def box(centre_mm: ArrayLike, size_mm: ArrayLike, turn_deg: float = 0.0) -> Mesh:
    """An upright box turned about z; every face has its own vertices and uv 0…1."""
    half = np.asarray(size_mm, float) / 2
    turn = np.deg2rad(turn_deg)
    rot = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]])
    vertices: list[FloatArray] = []
    faces: list[NDArray[np.int64]] = []
    uvs: list[FloatArray] = []
    for axis in range(3):
        for sign in (-1.0, 1.0):
            u, v = (axis + 1) % 3, (axis + 2) % 3
            quad = np.zeros((4, 3))
            quad[:, axis] = sign * half[axis]
            quad[:, u] = np.array([-1, 1, 1, -1]) * half[u]
            quad[:, v] = np.array([-1, -1, 1, 1]) * half[v]
            start = 4 * len(vertices)
            order = [0, 1, 2, 0, 2, 3] if sign > 0 else [0, 2, 1, 0, 3, 2]
            faces.append(np.array(order).reshape(2, 3) + start)
            vertices.append(quad)
            uvs.append(np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]))
    return Mesh(
        vertices_mm=np.concatenate(vertices) @ rot.T + np.asarray(centre_mm, float),
        faces=np.concatenate(faces),
        uv=np.concatenate(uvs),
    )


def scaled_uv(mesh: Mesh, size_mm: tuple[float, float]) -> Mesh:
    """The same mesh with uv in mm divided by a texture's size in mm.

    Raises:
        SceneError: it has no texture places.
    """
    if mesh.uv is None:
        raise SceneError(
            "mesh.uv: missing; allowed: a mesh with texture places. Give them before scaling."
        )
    return Mesh(
        vertices_mm=mesh.vertices_mm,
        faces=mesh.faces,
        uv=mesh.uv / np.asarray(size_mm, float),
        normals=mesh.normals,
    )
