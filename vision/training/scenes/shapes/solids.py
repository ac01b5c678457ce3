"""Every shape as triangles with normals: what the renderer is given.

One kind of shape and few materials keep the card's program the same from still to still.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.training.scenes.values import FloatArray, Mesh, Panel, Shape, Sphere, Tube

from .meshes import frame

SPHERE_STEPS = 48
"""Steps along each face of the cube a sphere is made from: true within 0.004 mm."""
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


def cube_directions(steps: int) -> FloatArray:
    """Unit directions (6, steps, steps, 3) over a cube's faces, edges included, evenly spread.

    Faces in the order +x, −x, +y, −y, +z, −z; rows and columns run along the next two axes.
    """
    t = np.tan(np.linspace(-1, 1, steps) * np.pi / 4)
    row, column = np.meshgrid(t, t, indexing="ij")
    faces = []
    for axis in range(3):
        for sign in (1.0, -1.0):
            face = np.empty((steps, steps, 3))
            face[..., axis] = sign
            face[..., (axis + 1) % 3] = column * sign
            face[..., (axis + 2) % 3] = row
            faces.append(face / np.linalg.norm(face, axis=2, keepdims=True))
    return np.stack(faces)


def _unit_sphere() -> tuple[FloatArray, FloatArray, NDArray[np.int64]]:
    """Directions, uv (faces side by side, 3 × 2) and triangles of a unit sphere."""
    n = SPHERE_STEPS + 1
    directions = cube_directions(n).reshape(-1, 3)
    t = np.linspace(0, 1, n)
    v, u = np.meshgrid(t, t, indexing="ij")
    uv, faces = [], []
    i, j = np.meshgrid(np.arange(n - 1), np.arange(n - 1), indexing="ij")
    a = (i * n + j).ravel()
    quads = np.concatenate([np.stack([a, a + 1, a + n + 1], 1), np.stack([a, a + n + 1, a + n], 1)])
    for face in range(6):
        uv.append(np.column_stack([u.ravel(), v.ravel()]) + np.array([face % 3, face // 3]))
        faces.append(quads + face * n * n)
    return directions, np.concatenate(uv), np.concatenate(faces)


_SPHERE = _unit_sphere()


def sphere_mesh(sphere: Sphere) -> Mesh:
    """A finely divided sphere; facets lie in and out of the true surface by equal amounts.

    Its uv: the whole part counts a cube face's column (0…2) and row (0, 1) as they lie side by
    side, the rest is the place on the face. (Latitude and longitude would end in slivers.)
    """
    directions, uv, faces = _SPHERE
    turned = directions @ sphere.rotation.T
    swell = 1 + (1 - np.cos(np.pi / 4 / SPHERE_STEPS)) / 2
    return Mesh(
        vertices_mm=np.asarray(sphere.centre_mm) + sphere.radius_mm * swell * turned,
        faces=faces,
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
