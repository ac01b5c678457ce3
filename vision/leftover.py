"""Balls that the votes overlooked: ball-sized places that are not cloth and no ball explains.

A ball of nearly the cloth's colour in noise, or one hemmed in by others, casts few votes. Two
kinds of place are tried: those that touch two balls found already (clusters and racks), and
lone blobs of a ball's size with cloth around.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM

from .cloth import Float32
from .detect import can_rest
from .evidence import Evidence
from .footprint import Footprint
from .topview import TopView

FloatArray = NDArray[np.float64]
CELL = 2
"""Top-view pixels per cell in which lone blobs are looked for."""
FILLED = 0.9
"""Share of a disc that must be unlike cloth."""
RING_CLEAR = 0.25
"""Share of the ring about a lone blob that may be unlike cloth."""
_RINGS = (0.0, 0.25, 0.5, 0.7, 0.85)
_DISC = np.array(
    [
        (r * np.cos(a), r * np.sin(a))
        for r in _RINGS
        for a in np.linspace(0, 2 * np.pi, max(1, round(r * 24)), endpoint=False)
    ]
)


def coverage(camera: Camera, centres_mm: FloatArray, unlike: Float32, view: TopView) -> FloatArray:
    """Share of each ball's disc that is unlike cloth, (K,)."""
    if len(centres_mm) == 0:
        return np.zeros(0)
    prints = Footprint.at(camera, centres_mm)
    spread = BALL_RADIUS_MM * _DISC
    along = spread @ prints.radial.T  # (M, K)
    extra = along[..., None] * ((prints.stretch - 1)[:, None] * prints.radial)[None]
    places = centres_mm[None] + spread[:, None] + extra
    pixels = view.to_view(places.reshape(-1, 2)).astype(np.float32).reshape(*places.shape)
    value = cv2.remap(unlike, pixels[..., 0], pixels[..., 1], cv2.INTER_LINEAR)
    return np.asarray(value.mean(axis=0), dtype=float)


def touching_places(camera: Camera, chosen_mm: FloatArray, evidence: Evidence) -> FloatArray:
    """Places (N, 2) that touch two of the chosen balls, overlap none and are filled."""
    first, second = np.triu_indices(len(chosen_mm), 1)
    between = chosen_mm[second] - chosen_mm[first]
    apart = np.linalg.norm(between, axis=1)
    near = (apart > 0.9 * BALL_DIAMETER_MM) & (apart < 1.98 * BALL_DIAMETER_MM)
    middle = (chosen_mm[first] + chosen_mm[second])[near] / 2
    unit = between[near] / apart[near][:, None]
    height = np.sqrt(BALL_DIAMETER_MM**2 - (apart[near] / 2) ** 2)[:, None]
    square = np.column_stack([-unit[:, 1], unit[:, 0]]) * height
    places = np.concatenate([middle + square, middle - square])
    if len(places) == 0:
        return places
    gap = np.linalg.norm(places[:, None] - chosen_mm[None], axis=-1).min(axis=1)
    good = (gap > 0.93 * BALL_DIAMETER_MM) & can_rest(evidence.view.table, places)
    places = places[good]
    return places[coverage(camera, places, evidence.foreign, evidence.view) >= FILLED]


def lone_blobs(camera: Camera, chosen_mm: FloatArray, evidence: Evidence) -> FloatArray:
    """Places (N, 2) of ball-sized blobs with cloth around, away from the chosen balls."""
    view = evidence.view
    size = (view.shape[1] // CELL, view.shape[0] // CELL)
    small = cv2.resize(evidence.unlike, size, interpolation=cv2.INTER_AREA)
    cell_mm = CELL * view.scale_mm
    inner, outer = _annulus(0.0, 0.8, cell_mm), _annulus(1.4, 1.75, cell_mm)
    filled = cv2.filter2D(small, cv2.CV_32F, inner)
    around = cv2.filter2D(small, cv2.CV_32F, outer)
    lone = ((filled > FILLED) & (around < RING_CLEAR)).astype(np.uint8)
    middles = cv2.connectedComponentsWithStats(lone, connectivity=8)[3][1:]
    places = view.to_table((middles + 0.5) * CELL - 0.5)
    places = places[can_rest(view.table, places)]
    if len(chosen_mm):
        gap = np.linalg.norm(places[:, None] - chosen_mm[None], axis=-1).min(axis=1)
        places = places[gap > BALL_DIAMETER_MM]
    return places


def _annulus(inner: float, outer: float, cell_mm: float) -> Float32:
    """Averaging kernel over a ring between two multiples of the ball's radius."""
    half = int(np.ceil(outer * BALL_RADIUS_MM / cell_mm))
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    distance = np.hypot(x, y) * cell_mm / BALL_RADIUS_MM
    inside = ((distance >= inner) & (distance <= outer)).astype(np.float32)
    return np.asarray(inside / inside.sum(), dtype=np.float32)
