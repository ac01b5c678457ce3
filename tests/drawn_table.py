"""A pool table drawn with flat shades through an exact camera: quick stills with known truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

from calibration.camera import Camera
from calibration.table import Pocket, Table

Colour = tuple[int, int, int]
_SUB = 2
Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Colours (BGR) and noise of a drawn still."""

    cloth: Colour = (110, 120, 30)
    rail: Colour = (40, 70, 120)
    floor: Colour = (90, 95, 100)
    sight: Colour = (225, 230, 235)
    noise: float = 2.0
    blur_px: float = 0.8
    cushion_gain: float = 1.12
    """Brightness of the cushion tops against the bed."""
    shade: float = 0.75
    """Brightness of the bed right under the noses."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat:
    """A thing on or over the table: a convex outline (mm) at one height."""

    outline_mm: tuple[Point, ...]
    height_mm: float
    colour: Colour


def strip(start: Point, end: Point, wide_mm: float, height_mm: float, colour: Colour) -> Flat:
    """A straight thing such as a cue, from ``start`` to ``end``."""
    a, b = np.asarray(start, float), np.asarray(end, float)
    way = (b - a) / np.hypot(*(b - a))
    out = wide_mm / 2 * np.array([-way[1], way[0]])
    ring = (a - out, b - out, b + out, a + out)
    return Flat(
        outline_mm=tuple((float(x), float(y)) for x, y in ring),
        height_mm=height_mm,
        colour=colour,
    )


def draw_table(
    camera: Camera,
    table: Table,
    look: Look | None = None,
    seed: int = 0,
    things: Sequence[Flat] = (),
) -> NDArray:
    """(H, W, 3) BGR still of the empty table: exact edges, box-filtered, blurred, noisy."""
    look = look or Look()
    canvas = _Canvas(camera, look.floor)
    cap, nose = table.rail_cap_height_mm, table.nose_height_mm
    canvas.fill(_box(table, table.rail_width_mm), cap, look.rail)
    top = np.asarray(look.cloth, float) * look.cushion_gain
    canvas.fill(_box(table, table.cushion_width_mm), cap, top)
    canvas.bed(table, look, nose)
    for pocket in table.pockets:
        canvas.fill(_well(table, pocket), nose, (12, 12, 14))
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    for x, y in table.sights_mm.values():
        ring = [(float(x + 6 * np.cos(a)), float(y + 6 * np.sin(a))) for a in angle]
        canvas.fill(ring, cap, look.sight)
    for thing in things:
        canvas.fill(list(thing.outline_mm), thing.height_mm, thing.colour)
    # a lens blurs light, not its code
    still = _code(cv2.GaussianBlur(canvas.averaged(), (0, 0), look.blur_px))
    still += np.random.default_rng(seed).normal(0, look.noise, still.shape)
    return np.clip(np.round(still), 0, 255).astype(np.uint8)


class _Canvas:
    """A picture at sub-pixel resolution whose every sample knows its view ray."""

    def __init__(self, camera: Camera, floor: Colour) -> None:
        width, height = camera.image_size_px
        self._camera = camera
        u = (np.arange(width * _SUB) + 0.5) / _SUB - 0.5
        v = (np.arange(height * _SUB) + 0.5) / _SUB - 0.5
        # the rays vary slowly: exact on a coarse grid, a cubic spline between
        coarse_u, coarse_v = np.linspace(u[0], u[-1], 80), np.linspace(v[0], v[-1], 50)
        grid = np.stack(np.meshgrid(coarse_u, coarse_v), axis=-1).reshape(-1, 2)
        rays = camera.rays(grid).reshape(len(coarse_v), len(coarse_u), 3)
        slope = rays[..., :2] / rays[..., 2:]
        self._slope = np.dstack(
            [
                RectBivariateSpline(coarse_v, coarse_u, slope[..., i])(v, u).astype(np.float32)
                for i in (0, 1)
            ]
        )
        self._pixels = np.empty((len(v), len(u), 3), np.float32)
        self._pixels[:] = _linear(floor)

    def fill(self, outline: list[Point], z: float, colour: Colour | NDArray) -> None:
        """Fill a convex outline at height ``z``, corners in either sense."""
        rows, columns = self._window(outline, z)
        x, y = self._plane(rows, columns, z)
        inside = np.ones(x.shape, bool)
        ring = np.asarray(outline, np.float32)
        after = np.roll(ring, -1, axis=0)
        area = np.sum(ring[:, 0] * after[:, 1] - ring[:, 1] * after[:, 0])
        for (ax, ay), (bx, by) in zip(ring, after, strict=True):
            side = (bx - ax) * (y - ay) - (by - ay) * (x - ax)
            inside &= side * np.sign(area) >= 0
        self._pixels[rows, columns][inside] = _linear(colour)

    def bed(self, table: Table, look: Look, nose: float) -> None:
        """The bed as far as the noses leave it in view, darker towards them."""
        outline = _box(table, 0.0)
        rows, columns = self._window(outline, nose)
        x, y = self._plane(rows, columns, nose)
        seen = (x >= 0) & (x <= table.length_mm) & (y >= 0) & (y <= table.width_mm)
        x, y = self._plane(rows, columns, 0.0)
        edge = np.minimum(
            np.minimum(x, table.length_mm - x), np.minimum(y, table.width_mm - y)
        ).clip(0.0, 40.0)
        gain = look.shade + (1 - look.shade) * np.sqrt(edge / 40.0)
        shaded = gain[..., None] * np.asarray(look.cloth, np.float32)
        self._pixels[rows, columns][seen] = _linear(shaded[seen])

    def averaged(self) -> NDArray:
        """The picture at its own size."""
        width, height = self._camera.image_size_px
        return cv2.resize(self._pixels, (width, height), interpolation=cv2.INTER_AREA)

    def _window(self, outline: list[Point], z: float) -> tuple[slice, slice]:
        ring = np.asarray(outline, float)
        parts = [
            np.linspace(a, b, 9, endpoint=False)
            for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True)
        ]
        flat = np.concatenate(parts)
        pixels = self._camera.project(np.column_stack([flat, np.full(len(flat), z)]))
        low = np.floor((pixels.min(axis=0) - 2) * _SUB).astype(int).clip(0)
        high = np.ceil((pixels.max(axis=0) + 3) * _SUB).astype(int).clip(1)
        return slice(low[1], high[1]), slice(low[0], high[0])

    def _plane(self, rows: slice, columns: slice, z: float) -> tuple[NDArray, NDArray]:
        origin = self._camera.position_mm
        slope = self._slope[rows, columns]
        x = np.float32(origin[0]) + np.float32(z - origin[2]) * slope[..., 0]
        y = np.float32(origin[1]) + np.float32(z - origin[2]) * slope[..., 1]
        return x, y


def _linear(code: Colour | NDArray) -> NDArray:
    part = np.asarray(code, np.float32) / 255
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def _code(linear: NDArray) -> NDArray:
    part = np.clip(linear, 0, 1)
    return 255 * np.where(part <= 0.0031308, part * 12.92, 1.055 * part ** (1 / 2.4) - 0.055)


def _box(table: Table, out: float) -> list[Point]:
    length, across = table.surface_mm
    return [
        (-out, -out), (length + out, -out), (length + out, across + out), (-out, across + out)
    ]  # fmt: skip


def _well(table: Table, pocket: Pocket) -> list[Point]:
    """A pocket seen from above: mouth and facings at their cut angle."""
    (ax, ay), (bx, by) = pocket.nose_points_mm
    along = np.array([bx - ax, by - ay]) / pocket.mouth_mm
    inward = np.asarray(pocket.inward)
    # a corner's mouth line stands at 45 degrees to its nose lines
    turn = np.radians(pocket.cut_deg - (90.0 if "side" in pocket.name else 135.0))
    lean = np.tan(turn)
    deep = 70.0
    far_a = np.array([ax, ay]) + deep * (inward + lean * along)
    far_b = np.array([bx, by]) + deep * (inward - lean * along)
    return [
        (ax, ay),
        (bx, by),
        (float(far_b[0]), float(far_b[1])),
        (float(far_a[0]), float(far_a[1])),
    ]
