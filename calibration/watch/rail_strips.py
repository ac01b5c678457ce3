"""Brightness profiles across the rails: sampled from a still, and the marks of an empty one."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.kept.rail_marks import CHANNELS, HALF_SAMPLES, KINDS, STEP_MM, RailMark
from calibration.seen.marks import OUTWARD, side_point_mm
from calibration.table import Table

ImageArray = NDArray[np.uint8]

LINES = 13
"""Parallel lines that are averaged."""
FEWEST_MARKS = 30
_SEAM_SPACING_MM, _END_MARGIN_MM = 60.0, 60.0
_GREY_NOISE = 1.0
"""Expected error of an averaged sample, grey levels: sensor, JPEG and light together."""
_MOST_SIGMA_MM = 0.4
"""Error of the place found by a profile, 1 sigma, above which the mark is not worth keeping."""
_LEAST_CONTRAST = 2.0
"""Least spread (standard deviation, grey levels) of a profile worth keeping."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strips:
    """Where a picture is sampled for a set of profiles, with the maps for one camera."""

    count: int
    samples: int
    map_uv: NDArray[np.int16]
    map_fraction: NDArray[np.uint16]

    @classmethod
    def of(
        cls,
        camera: Camera,
        at_mm: FloatArray,
        across: FloatArray,
        breadth_mm: FloatArray,
        half_samples: int,
    ) -> Strips:
        """Profiles through ``at_mm`` (N, 3) along ``across`` (N, 2) of any half length."""
        reach_mm = half_samples * STEP_MM
        along = np.column_stack([-across[:, 1], across[:, 0]])
        # a strip is so small that a quadratic through nine of its places follows the lens
        node = np.array([-1.0, 0.0, 1.0])
        flat = (
            at_mm[:, None, None, :2]
            + (node[:, None] * breadth_mm).T[:, :, None, None] * along[:, None, None, :]
            + (node * reach_mm)[None, None, :, None] * across[:, None, None, :]
        )
        height = np.broadcast_to(at_mm[:, None, None, 2:], (*flat.shape[:3], 1))
        nodes = camera.project(np.concatenate([flat, height], axis=3).reshape(-1, 3))
        run = _quadratic(np.linspace(-1.0, 1.0, 2 * half_samples + 1))
        side = _quadratic(np.linspace(-1.0, 1.0, LINES))
        pixels = side @ nodes.reshape(-1, 3, 3, 2).transpose(0, 3, 1, 2) @ run.T
        # a lens bent far out of its picture may send places anywhere: keep the maps in range
        pixels = np.clip(pixels, -1000.0, 30000.0).astype(np.float32)
        shape = (len(at_mm) * LINES, len(run))
        map_uv, map_fraction = cv2.convertMaps(
            pixels[:, 0].reshape(shape), pixels[:, 1].reshape(shape), cv2.CV_16SC2
        )
        return cls(
            count=len(at_mm),
            samples=len(run),
            map_uv=np.asarray(map_uv, np.int16),
            map_fraction=np.asarray(map_fraction, np.uint16),
        )

    def levels(self, still_bgr: ImageArray) -> FloatArray:
        """Averaged grey levels (N, samples, 3); outside the picture they are 0."""
        seen = cv2.remap(
            still_bgr, self.map_uv, self.map_fraction, cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
        )  # fmt: skip
        lines = np.asarray(seen).reshape(self.count, LINES, self.samples * 3)
        total = np.add.reduce(lines, axis=1, dtype=np.uint16).astype(np.float64)
        return (total / LINES).reshape(self.count, self.samples, 3)


def _quadratic(place: FloatArray) -> FloatArray:
    """Weights (n, 3) of the values at -1, 0 and 1 for a quadratic at ``place`` (n,)."""
    return np.column_stack([place * (place - 1) / 2, 1 - place**2, place * (place + 1) / 2])


def find_rail_marks(still_bgr: ImageArray, camera: Camera, table: Table) -> tuple[RailMark, ...]:
    """Marks of the empty still: those seams and sights that show an edge sharp enough.

    ``table`` has the dimensions that the calibration settled. Empty where fewer than
    FEWEST_MARKS are worth keeping: then drift cannot be checked.
    """
    places = [*_seam_places(table), *_sight_places(table)]
    at_mm = np.array([place[2] for place in places])
    across = np.array([place[3] for place in places])
    breadth = np.array([KINDS[place[1]] for place in places])
    levels = Strips.of(camera, at_mm, across, breadth, HALF_SAMPLES).levels(still_bgr)
    inside = _inside(camera, at_mm, across)
    marks = []
    for number, (name, kind, at, way) in enumerate(places):
        channel = int(np.argmax(levels[number].std(axis=0)))
        profile = np.round(levels[number, :, channel], 1)
        slope = np.gradient(profile, STEP_MM)
        sharpness = float(np.sqrt(np.sum(slope**2)))
        if (
            not inside[number]
            or profile.std() < _LEAST_CONTRAST
            or _MOST_SIGMA_MM * sharpness < _GREY_NOISE
        ):
            continue
        marks.append(
            RailMark(
                name=name,
                kind=kind,
                at_mm=at,
                across=way,
                channel=CHANNELS[channel],
                profile=tuple(float(value) for value in profile),
            )
        )
    return tuple(marks) if len(marks) >= FEWEST_MARKS else ()


_Place = tuple[str, str, tuple[float, float, float], tuple[float, float]]


def _seam_places(table: Table) -> list[_Place]:
    """Along each cushion's seam, clear of the pockets."""
    out: list[_Place] = []
    for cushion, ends in table.nose_segments_mm.items():
        side = cushion.split("-")[0]
        axis = 1 if OUTWARD[side][0] else 0
        first, last = (point[axis] for point in ends)
        first, last = first + _END_MARGIN_MM, last - _END_MARGIN_MM
        count = max(2, round((last - first) / _SEAM_SPACING_MM) + 1)
        for number, along_mm in enumerate(np.linspace(first, last, count), start=1):
            x, y = side_point_mm(table, side, round(float(along_mm), 1), table.cushion_width_mm)
            at = (round(x, 3), round(y, 3), table.rail_cap_height_mm)
            out.append((f"seam {cushion} {number}", "seam", at, OUTWARD[side]))
    return out


def _sight_places(table: Table) -> list[_Place]:
    """Through each sight along its rail: the seams say nothing of that direction."""
    out: list[_Place] = []
    for name, (x, y) in table.sights_mm.items():
        out_x, out_y = OUTWARD[name.split("-")[0]]
        at = (round(x, 3), round(y, 3), table.rail_cap_height_mm)
        out.append((f"sight {name}", "sight", at, (abs(out_y), abs(out_x))))
    return out


def _inside(camera: Camera, at_mm: FloatArray, across: FloatArray) -> NDArray[np.bool_]:
    reach = HALF_SAMPLES * STEP_MM
    width, height = camera.image_size_px
    inside = np.ones(len(at_mm), dtype=bool)
    for sign in (-reach, reach):
        ends = at_mm + sign * np.column_stack([across, np.zeros(len(across))])
        u, v = camera.project(ends).T
        inside &= (u > 1) & (v > 1) & (u < width - 2) & (v < height - 2)
    return inside
