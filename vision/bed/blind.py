"""What hangs between camera and bed in the empty still already: the calibration's own blind part.

A lamp's shade is seen as a large piece of another colour than the cloth's: by its edges, as patches
of a still are, and a wide one, whose middle looks like light of its own there, by colour alone. A
ball that is found in such a piece shows that it is printed on the cloth and hides nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import ArrayLike
from shapely.geometry import MultiPoint, Polygon

from calibration.kept.calibration import Calibration
from vision.find.finder_view import FinderView
from vision.layout import Polygon as Corners

from .cells import cell_mm
from .differences import TINT, WARM
from .hidden import hidden_mm
from .patches import Patch
from .reference import Reference

LEAST_SIDE_MM = 100.0
"""A smaller piece is a spot, a sticker or a mark."""
OTHER_COLOUR = 0.35
"""Logarithm of colour by which a wide shade differs: worn cloth and lamps of another white do not,
and the rendered shades and cloths differ by more than 0.5 over nearly all of them."""
BRIGHTER = 0.5
"""Logarithm above the cloth's own level at which the sun has bleached the picture."""
LEAST_FILLED = 0.5
"""Share of its frame that a shade fills; lines and sheets drawn on the cloth fill less."""


def blind_mm(reference: Reference) -> tuple[Corners, ...]:
    """Polygons on the plane of the ball centres that the empty picture shows nothing of, mm."""
    shades = [patch for patch in reference.own_patches() if _is_shade(patch)]
    return hidden_mm((*shades, *_wide(reference)), reference.view, reference.table)


def _wide(reference: Reference) -> list[Patch]:
    """Large pieces whose colour no light gives the cloth; cords and lines are left out."""
    blue, green, red = reference.logs
    ways = (way[0] * (red - green) + way[1] * (blue - green) for way in (WARM, TINT))
    off = [plane - np.median(plane[reference.bed]) for plane in ways if reference.bed.any()]
    if not off:
        return []
    level = reference.logs.max(axis=0)
    dazzled = level > np.median(level[reference.bed]) + BRIGHTER
    over = (np.hypot(*off) > OTHER_COLOUR) & reference.bed & ~dazzled
    side = 2 * round(LEAST_SIDE_MM / 3 / cell_mm(reference.view)) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    whole = cv2.morphologyEx(over.astype(np.uint8), cv2.MORPH_OPEN, disc)
    # a shade's glint or its cord is no hole in it
    whole = cv2.morphologyEx(whole, cv2.MORPH_CLOSE, disc)
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(whole)
    out = []
    for number in range(1, count):
        left, top, wide, high, cells = (int(value) for value in boxes[number])
        part = labels[top : top + high, left : left + wide] == number
        area_cm2 = cells * cell_mm(reference.view) ** 2 / 100
        shade = Patch(
            weight_cm2=area_cm2,
            colour_cm2=area_cm2,
            from_edge=False,
            low_mm=(0.0, 0.0),
            high_mm=(wide * cell_mm(reference.view), high * cell_mm(reference.view)),
            first=(reference.first[0] + top, reference.first[1] + left),
            cover=part.astype(np.float32),
        )
        if _is_shade(shade):
            out.append(shade)
    return out


def blind_share(calibration: Calibration) -> float:
    """The share of the bed that is blind, 0 where the calibration holds no empty picture."""
    reference = Reference.of(calibration, FinderView.of(calibration.camera, calibration.table))
    if reference is None:
        return 0.0
    length_mm, width_mm = calibration.table.surface_mm
    area = sum(Polygon(corners).buffer(0).area for corners in blind_mm(reference))
    return float(area / (length_mm * width_mm))


def still_blind(blind: Sequence[Corners], balls_mm: ArrayLike) -> tuple[Corners, ...]:
    """Those polygons in which no ball at (K, 2) mm is seen."""
    balls = np.asarray(balls_mm, dtype=float).reshape(-1, 2)
    if not blind or len(balls) == 0:
        return tuple(blind)
    seen = MultiPoint(balls)
    return tuple(corners for corners in blind if not Polygon(corners).buffer(0).intersects(seen))


def _is_shade(patch: Patch) -> bool:
    sides = [high - low for low, high in zip(patch.low_mm, patch.high_mm, strict=True)]
    filled = float((patch.cover > 0.5).mean()) if patch.cover.size else 0.0
    return patch.coloured and min(sides) >= LEAST_SIDE_MM and filled >= LEAST_FILLED
