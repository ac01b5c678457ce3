"""What of the bed is covered as the camera sees it: by bodies still to be drawn, and exactly."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.table import Table
from vision.training.scenes.optics.lens_warp import border_px, normalised
from vision.training.scenes.shapes.nets import Limb
from vision.training.scenes.shapes.solids import as_mesh
from vision.training.scenes.values import FloatArray, Part

CELL_PX = 4
"""Covered regions are found on cells of this many pixels."""
LEAST_CELLS = 6
"""Smaller regions are no obstruction that anybody could point at."""
ALONG = 9
_BORDER_MM = 12.0

Box = tuple[float, float, float, float]


def bed_outline_mm(table: Table, count: int = 24) -> FloatArray:
    """Points along the nose lines at bed height, all round, (4·count, 3)."""
    length, width = table.surface_mm
    t = np.arange(count) / count
    zero, one = np.zeros(count), np.ones(count)
    xy = np.concatenate(
        [
            np.column_stack([t * length, zero]),
            np.column_stack([one * length, t * width]),
            np.column_stack([(1 - t) * length, one * width]),
            np.column_stack([zero, (1 - t) * width]),
        ]
    )
    return np.column_stack([xy, np.zeros(len(xy))])


def _balls_along(limbs: Sequence[Limb]) -> tuple[FloatArray, FloatArray]:
    """Centres (N, 3) and radii (N,) of spheres that stand for the limbs."""
    t = np.linspace(0, 1, ALONG)[:, None]
    centres = [np.asarray(m.from_mm) + t * np.subtract(m.to_mm, m.from_mm) for m in limbs]
    radii = [m.from_radius_mm + t[:, 0] * (m.to_radius_mm - m.from_radius_mm) for m in limbs]
    return np.concatenate(centres), np.concatenate(radii)


def may_cover_bed(limbs: Sequence[Limb], camera: Camera, table: Table) -> bool:
    """Whether any limb above the bed's plane could hide bed from the camera; errs on yes."""
    centres, radii = _balls_along(limbs)
    above = centres[:, 2] + radii > 0
    centres, radii = centres[above], radii[above]
    eye = camera.position_mm
    height = np.maximum(centres[:, 2], 0.0)
    scale = eye[2] / np.maximum(eye[2] - height, 50.0)
    foot = eye[:2] + (centres[:, :2] - eye[:2]) * scale[:, None]
    # a slanting view stretches a sphere's shadow away from the eye
    slant = np.hypot(1.0, np.linalg.norm(centres[:, :2] - eye[:2], axis=1) / eye[2])
    reach = radii * scale * slant + _BORDER_MM
    away = np.maximum.reduce(
        [-foot[:, 0], foot[:, 0] - table.length_mm, -foot[:, 1], foot[:, 1] - table.width_mm]
    )
    return bool(np.any(away < reach))


def in_picture(limbs: Sequence[Limb], camera: Camera) -> bool:
    """Whether the middle of any limb's sphere falls inside the picture (by the pinhole view)."""
    centres, _ = _balls_along(limbs)
    seen = centres @ camera.rotation.T + np.asarray(camera.tvec_mm)
    flat = seen[:, :2] / np.maximum(seen[:, 2:], 1.0)
    edge = normalised(camera, border_px(camera, 8, beyond_px=0.0))
    return bool(np.any(np.all((flat > edge.min(axis=0)) & (flat < edge.max(axis=0)), axis=1)))


def covered_boxes_px(parts: Sequence[Part], camera: Camera, table: Table) -> list[Box]:
    """Boxes (left, top, right, bottom), px, of what the parts cover of the bed in the picture.

    One box a connected region, largest first; clipped to bed and picture.
    """
    width, height = camera.image_size_px
    shape = (-(-height // CELL_PX), -(-width // CELL_PX))
    mask = np.zeros(shape, np.uint8)
    for part in parts:
        mesh = as_mesh(part.shape)
        _fill(mask, mesh.vertices_mm, mesh.faces, camera)
    bed = np.zeros(shape, np.uint8)
    cv2.fillPoly(bed, [_cells(camera.project(bed_outline_mm(table)))], 255, cv2.LINE_8, 4)
    count, _, stats, _ = cv2.connectedComponentsWithStats(cv2.bitwise_and(mask, bed))
    found = sorted(stats[1:count].tolist(), key=lambda row: -row[4])
    return [
        (
            u * CELL_PX - 0.5,
            v * CELL_PX - 0.5,
            min((u + w) * CELL_PX, width) - 0.5,
            min((v + h) * CELL_PX, height) - 0.5,
        )
        for u, v, w, h, cells in found
        if cells >= LEAST_CELLS
    ]


def _cells(pixels_px: FloatArray) -> NDArray[np.int32]:
    """Pixels as cell coordinates in sixteenths, for OpenCV's fine drawing."""
    return np.asarray(np.round(((pixels_px + 0.5) / CELL_PX - 0.5) * 16), np.int32)


def _fill(
    mask: NDArray[np.uint8], vertices_mm: FloatArray, faces: NDArray[np.int64], camera: Camera
) -> None:
    """The triangles' outline in the picture, filled; those outside the view are left out."""
    seen = vertices_mm @ camera.rotation.T + np.asarray(camera.tvec_mm)
    # far outside the view the lens model may fold back into the picture
    reach = np.abs(normalised(camera, border_px(camera, 16))).max(axis=0) * 1.05
    ahead = seen[:, 2] > 10.0
    flat = np.abs(seen[:, :2] / np.where(ahead, seen[:, 2], 1.0)[:, None])
    usable = ahead & np.all(flat < reach, axis=1)
    # what lies below the bed's plane hides no bed from a camera above it
    kept = faces[usable[faces].all(axis=1) & (vertices_mm[faces, 2] > 0).any(axis=1)]
    if not len(kept):
        return
    places = np.zeros((len(vertices_mm), 2), np.int32)
    places[usable] = _cells(np.asarray(camera.project(vertices_mm[usable])))
    for triangle in places[kept]:
        cv2.fillConvexPoly(mask, triangle, 255, cv2.LINE_8, 4)
