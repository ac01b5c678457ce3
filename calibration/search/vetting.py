"""Stretches found around hand-given points: kept where they line up, left out where they scatter.

Where nobody's cloth outline vouches for the place, the search may look at a covered cushion:
what it finds there lies anywhere in its window, while a real edge is a line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from calibration.camera import Camera
from calibration.seen.marks import Landmark, Landmarks

STRETCHED = ("nose", "cushion back")
"""Kinds that are seen in stretches of one line."""
MOST_SCATTER_MM = 0.45
"""Usual distance of a cushion's stretches from their own line: in rendered tables 0.02 to 0.4,
by chance, within a window of ±3 mm, 0.54 to 1.6."""


def lined_up(marks: Landmarks, camera: Camera, change_mm: Mapping[str, float]) -> Landmarks:
    """``marks`` without the cushions' edges whose stretches scatter about their own line."""
    edges: dict[tuple[str, str], list[Landmark]] = {}
    for item in marks.items:
        if item.kind in STRETCHED:
            edges.setdefault((item.kind, item.part), []).append(item)
    scattered = {
        edge
        for edge, items in edges.items()
        if _scatter_mm(items, camera, change_mm) > MOST_SCATTER_MM
    }
    kept = [item for item in marks.items if (item.kind, item.part) not in scattered]
    return replace(marks, items=tuple(kept))


def _scatter_mm(items: list[Landmark], camera: Camera, change_mm: Mapping[str, float]) -> float:
    """Median distance of one edge's stretches from its own middle, mm."""
    placed = np.array(
        [
            np.array(item.point_mm)
            + sum(
                (np.array(way) * change_mm.get(name, 0.0) for name, way in item.moves),
                np.zeros(3),
            )
            for item in items
        ]
    )
    seen = np.array([item.seen_px for item in items])
    normal = np.array([item.normal_px for item in items])
    off_px = np.sum((seen - camera.project(placed)) * normal, axis=1)
    px_per_mm = np.sqrt(np.abs(np.linalg.det(camera.jacobian(placed[:, :2], float(placed[0, 2])))))
    off_mm = off_px / px_per_mm
    return float(np.median(np.abs(off_mm - np.median(off_mm))))
