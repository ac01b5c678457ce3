"""Stills as a moved camera would have taken them, in other light, with people at the rails.

Made from one still whose camera is known, to measure how well a move is noticed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.kept.budget import bed_grid_mm
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from calibration.vary import POSE, varied

Float32 = NDArray[np.float32]
ImageArray = NDArray[np.uint8]

MOVES = ("pan", "tilt", "roll", "slide", "height", "table", "all")
"""The camera turned about its three axes, shifted, raised; the table nudged; all at once."""
LIGHTS = ("same", "dimmer", "brighter", "tinted", "tone curve", "uneven")
_CELL_PX = 8
_ROUNDS = 6


def bed_points_mm(table: Table) -> FloatArray:
    """Places (N, 3) over the bed at ball height."""
    grid = bed_grid_mm(table, 7, 13)
    return np.column_stack([grid, np.full(len(grid), BALL_CENTRE_HEIGHT_MM)])


def misread_xy_mm(told: Camera, real: Camera, table: Table) -> FloatArray:
    """Where ``told`` places the bed's points that ``real`` sees, less where they are, (N, 2)."""
    points = bed_points_mm(table)
    return np.asarray(told.back_project(real.project(points)) - points[:, :2])


def misread_mm(told: Camera, real: Camera, table: Table) -> FloatArray:
    """How far off ``told`` places the bed's points that ``real`` sees, (N,)."""
    return np.hypot(*misread_xy_mm(told, real, table).T)


def shaken_px(told: Camera, real: Camera, table: Table) -> FloatArray:
    """How far the bed's points lie from where ``told`` puts them, px, (N,)."""
    points = bed_points_mm(table)
    return np.hypot(*(told.project(points) - real.project(points)).T)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mover:
    """Moves one camera over its table in every way that a mount or a table can give."""

    camera: Camera
    table: Table

    def by_mm(self, rng: np.random.Generator, worst_mm: float, move: str | None = None) -> Camera:
        """A move that misplaces some place of the bed by ``worst_mm`` and none by more."""
        way, scale = self._way(rng, move), 1.0
        for _ in range(_ROUNDS):
            real = self._at(way * scale)
            scale *= worst_mm / misread_mm(self.camera, real, self.table).max()
        return self._at(way * scale)

    def by_px(self, rng: np.random.Generator, worst_px: float, move: str | None = None) -> Camera:
        """A move that shifts some place of the bed by ``worst_px`` and none by more."""
        way, scale = self._way(rng, move), 1.0
        for _ in range(_ROUNDS):
            scale *= worst_px / shaken_px(self.camera, self._at(way * scale), self.table).max()
        return self._at(way * scale)

    def _way(self, rng: np.random.Generator, move: str | None) -> FloatArray:
        """Direction of a move of about 1 mm: the lens's pose (6), then the table's x, y, turn."""
        turn = 1.0 / float(self.camera.position_mm[2])
        any_way = rng.normal(size=9) * np.array([turn] * 3 + [1.0] * 5 + [turn])
        parts = {
            "pan": (1,), "tilt": (0,), "roll": (2,), "slide": (3, 4), "height": (5,),
            "table": (6, 7, 8), "all": range(9),
        }[move or str(rng.choice(MOVES))]  # fmt: skip
        way = np.zeros(9)
        for part in parts:
            way[part] = any_way[part]
        return way

    def _at(self, change: FloatArray) -> Camera:
        moved = varied(self.camera, dict(zip(POSE, (float(v) for v in change[:6]), strict=True)))
        return _table_nudged(moved, self.table, change[6:])

    def retaken(self, still: ImageArray, real: Camera) -> ImageArray:
        """``still`` as ``real`` would have taken it, within 0.02 px.

        Exact for what lies at the rails' height outside the noses and at ball height inside.
        """
        height, width = still.shape[:2]
        rails = self._look_up(real, self.table.rail_cap_height_mm, (width, height))
        bed = self._look_up(real, BALL_CENTRE_HEIGHT_MM, (width, height))
        inside = np.zeros((height, width), np.uint8)
        cv2.fillPoly(inside, [np.round(self._noses_px(real)).astype(np.int32)], 255)
        across, down = (np.where(inside, b, r) for b, r in zip(bed, rails, strict=True))
        return np.asarray(
            cv2.remap(
                still, across, down, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE
            ),
            np.uint8,
        )  # fmt: skip

    def _look_up(
        self, real: Camera, height_mm: float, size_px: tuple[int, int]
    ) -> tuple[Float32, Float32]:
        """Column and row (H, W) in the old still of what ``real`` sees on one plane."""
        width, height = size_px
        u = np.arange(0, width + _CELL_PX, _CELL_PX, dtype=float)
        v = np.arange(0, height + _CELL_PX, _CELL_PX, dtype=float)
        grid = np.stack(np.meshgrid(u, v), axis=-1)
        flat = real.back_project(grid.reshape(-1, 2), height_mm)
        old = self.camera.project(np.column_stack([flat, np.full(len(flat), height_mm)]))
        off = (old.reshape(grid.shape) - grid).astype(np.float32)
        columns = np.arange(width, dtype=np.float32)[None, :]
        rows = np.arange(height, dtype=np.float32)[:, None]
        across, down = (_between(_between(off[..., k], width).T, height).T for k in range(2))
        return np.ascontiguousarray(across + columns), np.ascontiguousarray(down + rows)

    def _noses_px(self, camera: Camera) -> FloatArray:
        """The rectangle of the nose lines as a closed polyline that follows the lens, (N, 2)."""
        length, width = self.table.surface_mm
        corners = np.array([(0, 0), (length, 0), (length, width), (0, width), (0, 0)], float)
        part = np.linspace(0.0, 1.0, 40)[None, :, None]
        line = corners[:-1, None] + part * np.diff(corners, axis=0)[:, None]
        flat = line.reshape(-1, 2)
        height = np.full(len(flat), self.table.nose_height_mm)
        return camera.project(np.column_stack([flat, height]))


def _table_nudged(camera: Camera, table: Table, nudge: FloatArray) -> Camera:
    """What a table shifted by x, y (mm) and turned (rad) about its middle looks like."""
    turn = np.asarray(cv2.Rodrigues(np.array([0.0, 0.0, nudge[2]]))[0])
    middle = np.array([table.length_mm / 2, table.width_mm / 2, 0.0])
    shift = middle - turn @ middle + np.array([nudge[0], nudge[1], 0.0])
    tvec = camera.rotation @ shift + np.asarray(camera.tvec_mm)
    rvec = np.asarray(cv2.Rodrigues(camera.rotation @ turn)[0]).ravel()
    return replace(
        camera,
        rvec=(float(rvec[0]), float(rvec[1]), float(rvec[2])),
        tvec_mm=(float(tvec[0]), float(tvec[1]), float(tvec[2])),
    )


def _between(values: Float32, count: int) -> Float32:
    """Linear interpolation of values at every cell to ``count`` pixels, along the last axis."""
    place = np.arange(count) / _CELL_PX
    first = np.minimum(place.astype(int), values.shape[1] - 2)
    part = (place - first).astype(np.float32)
    return np.asarray(values[:, first] * (1 - part) + values[:, first + 1] * part)


# -- light and people ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """How another exposure, lamp or sensor changes a still."""

    gains: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Factors of blue, green and red; what exceeds 255 is clipped."""
    gamma: float = 1.0
    noise: float = 1.5
    """Sigma, grey levels."""
    quality: int = 88
    """Of the JPEG."""
    slant: tuple[float, float] = (0.0, 0.0)
    """Change of the brightness from the picture's middle to its right and lower side."""

    @classmethod
    def drawn(cls, rng: np.random.Generator, light: str) -> Light:
        """One of LIGHTS, any noise and quality."""
        plain = cls(noise=float(rng.uniform(0.5, 3.0)), quality=int(rng.integers(75, 96)))
        gain = 1.0
        if light == "dimmer":
            gain = float(rng.uniform(0.4, 0.8))
        elif light == "brighter":
            gain = float(rng.uniform(1.2, 2.0))
        elif light == "tinted":
            blue, green, red = (float(value) for value in rng.uniform(0.75, 1.2, size=3))
            return replace(plain, gains=(blue, green, red))
        elif light == "tone curve":
            return replace(plain, gamma=float(np.exp(rng.uniform(-0.6, 0.6))))
        elif light == "uneven":
            right, down = (float(value) for value in rng.uniform(-0.4, 0.4, size=2))
            return replace(plain, slant=(right, down))
        return replace(plain, gains=(gain, gain, gain))

    def on(self, still: ImageArray, rng: np.random.Generator) -> ImageArray:
        """``still`` (H, W, 3) as taken in this light: fresh noise, JPEG again."""
        level = (np.arange(256) / 255.0) ** self.gamma * 255.0
        curves = np.stack([level * gain for gain in self.gains], axis=-1).astype(np.float32)
        lit = np.asarray(cv2.LUT(still, curves[None]), np.float32)
        if any(self.slant):
            height, width = still.shape[:2]
            right = np.linspace(-1, 1, width, dtype=np.float32) * np.float32(self.slant[0])
            down = np.linspace(-1, 1, height, dtype=np.float32) * np.float32(self.slant[1])
            lit *= (1 + right[None, :] + down[:, None])[..., None]
        grain = rng.standard_normal(lit.shape[:2], dtype=np.float32) * np.float32(self.noise)
        for channel in range(3):
            # the same grain elsewhere is as good as another, and takes a third of the time
            lit[..., channel] += np.roll(grain, 97 * channel, axis=(0, 1))
        picture = np.clip(lit, 0, 255).astype(np.uint8)
        _, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, self.quality])
        return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)


def with_people(
    still: ImageArray, camera: Camera, table: Table, rng: np.random.Generator
) -> ImageArray:
    """One or two plain bodies that lean over the rails 50 to 200 mm above the bed, and a shadow."""
    shade = np.ones((still.shape[0] // 16, still.shape[1] // 16), np.float32)
    rows, columns = shade.shape
    middle = (int(rng.integers(columns)), int(rng.integers(rows)))
    axes = (int(rng.integers(columns // 10, columns // 3)), int(rng.integers(6, rows // 2)))
    dark = float(rng.uniform(0.5, 0.8))
    cv2.ellipse(shade, middle, axes, float(rng.uniform(0, 180)), 0, 360, dark, -1)
    shade = cv2.resize(cv2.GaussianBlur(shade, (0, 0), 2), still.shape[1::-1])
    out = (still * shade[..., None]).astype(np.uint8)
    for _ in range(int(rng.integers(1, 3))):
        outline = camera.project(_leaning_mm(table, rng))
        colour = tuple(int(value) for value in rng.integers(20, 230, 3))
        cv2.fillPoly(
            out, [np.round(outline * 16).astype(np.int32)], colour, lineType=cv2.LINE_AA, shift=4
        )
    return out


def _leaning_mm(table: Table, rng: np.random.Generator) -> FloatArray:
    """Corners (4, 3) of a body from behind a rail to over the bed, table frame."""
    length, width = table.surface_mm
    side = int(rng.integers(4))
    along = float(rng.uniform(0, length if side < 2 else width))
    half = float(rng.uniform(75, 450))
    slim = half * float(rng.uniform(0.5, 1))
    behind, ahead = float(rng.uniform(-300, -140)), float(rng.uniform(-60, 120))
    height = float(rng.uniform(50, 200))
    corners = [
        (along - half, behind), (along + half, behind), (along + slim, ahead), (along - slim, ahead)
    ]  # fmt: skip
    flat = [((a, o), (a, width - o), (o, a), (length - o, a))[side] for a, o in corners]
    return np.array([(x, y, height) for x, y in flat])
