"""Every shape as triangles with normals: what the renderer is given.

One kind of shape and few materials keep the card's program the same from still to still.
"""

from __future__ import annotations

import numpy as np

from .meshes import frame
from .values import FloatArray, Mesh, Panel, Shape, Sphere, Tube

SPHERE_STEPS = (96, 192)
"""Latitude and longitude steps: a ball's outline stays true within 0.004 mm."""
TUBE_SIDES = 24


def as_mesh(shape: Shape) -> Mesh:
    """Any shape as a mesh with normals."""
    if isinstance(shape, Mesh):
        return shape if shape.normals is not None else flat_shaded(shape)
    if isinstance(shape, Panel):
        return panel_mesh(shape)
    if isinstance(shape, Sphere):
        return sphere_mesh(shape)
    return tube_mesh(shape)


def flat_shaded(mesh: Mesh) -> Mesh:
    """The mesh with every face its own vertices and its own normal."""
    corners = mesh.faces.ravel()
    points = mesh.vertices_mm[corners].reshape(-1, 3, 3)
    normal = np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    return Mesh(
        vertices_mm=points.reshape(-1, 3),
        faces=np.arange(len(corners)).reshape(-1, 3),
        uv=None if mesh.uv is None else mesh.uv[corners],
        normals=np.repeat(normal, 3, axis=0),
        colours=None if mesh.colours is None else mesh.colours[corners],
    )


def panel_mesh(panel: Panel) -> Mesh:
    """Two triangles whose winding gives the panel's normal."""
    centre = np.asarray(panel.centre_mm, float)
    u, v = np.asarray(panel.half_u_mm, float), np.asarray(panel.half_v_mm, float)
    normal = np.cross(u, v)
    normal /= np.linalg.norm(normal)
    return Mesh(
        vertices_mm=np.stack([centre - u - v, centre + u - v, centre + u + v, centre - u + v]),
        faces=np.array([[0, 1, 2], [0, 2, 3]]),
        uv=np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]),
        normals=np.tile(normal, (4, 1)),
    )


def _unit_sphere() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Directions, uv and faces of a unit sphere."""
    rows, columns = SPHERE_STEPS
    theta = np.linspace(0, np.pi, rows + 1)
    phi = np.linspace(0, 2 * np.pi, columns + 1)
    s = np.sin(theta)[:, None]
    directions = np.stack(
        [s * np.cos(phi), s * np.sin(phi), np.repeat(np.cos(theta)[:, None], columns + 1, 1)], -1
    ).reshape(-1, 3)
    u, v = np.meshgrid(np.linspace(0, 1, columns + 1), np.linspace(0, 1, rows + 1))
    i, j = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    a = (i * (columns + 1) + j).ravel()
    below = a + columns + 1
    faces = np.concatenate([np.stack([a, below, below + 1], 1), np.stack([a, below + 1, a + 1], 1)])
    return directions, np.column_stack([u.ravel(), v.ravel()]), faces


_SPHERE = _unit_sphere()


def sphere_mesh(sphere: Sphere) -> Mesh:
    """A finely divided sphere; facets lie in and out of the true surface by equal amounts."""
    directions, uv, faces = _SPHERE
    turned = directions @ sphere.rotation.T
    swell = 1 + (1 - np.cos(np.pi / SPHERE_STEPS[1])) / 2
    return Mesh(
        vertices_mm=np.asarray(sphere.centre_mm) + sphere.radius_mm * swell * turned,
        faces=np.asarray(faces),
        uv=uv,
        normals=turned,
    )


def tube_mesh(tube: Tube) -> Mesh:
    """A cylinder's mantle, facing outward."""
    a, b = np.asarray(tube.from_mm), np.asarray(tube.to_mm)
    first, second = frame(b - a)
    angle = np.linspace(0, 2 * np.pi, TUBE_SIDES, endpoint=False)[:, None]
    circle = np.cos(angle) * first + np.sin(angle) * second
    k = np.arange(TUBE_SIDES)
    n = (k + 1) % TUBE_SIDES
    return Mesh(
        vertices_mm=np.concatenate([a + tube.radius_mm * circle, b + tube.radius_mm * circle]),
        faces=np.concatenate(
            [np.stack([k, n, k + TUBE_SIDES], 1), np.stack([n, n + TUBE_SIDES, k + TUBE_SIDES], 1)]
        ),
        normals=np.concatenate([circle, circle]),
    )
