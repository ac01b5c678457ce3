"""Stills drawn with numpy and OpenCV for the reading tests: exact places, plain shading.

Balls are ray-cast spheres with stripes and number discs in any orientation, lit from one side,
with a soft contact shadow; no renderer is needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.table import BALL_RADIUS_MM, Table

RGB = tuple[float, float, float]
SUPERSAMPLES = 4
COLOURS: dict[int, RGB] = {
    1: (0.86, 0.60, 0.03), 2: (0.02, 0.08, 0.36), 3: (0.58, 0.03, 0.02), 4: (0.13, 0.03, 0.22),
    5: (0.80, 0.20, 0.02), 6: (0.01, 0.20, 0.07), 7: (0.20, 0.02, 0.03), 8: (0.012, 0.012, 0.014),
}  # fmt: skip
WHITE: RGB = (0.80, 0.76, 0.66)
GREEN_CLOTH: RGB = (0.03, 0.22, 0.12)
BLUE_CLOTH: RGB = (0.05, 0.20, 0.38)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnBall:
    """A ball to draw: name, place in mm and orientation as a Rodrigues vector."""

    id: str
    x_mm: float
    y_mm: float
    turn: tuple[float, float, float] = (0.4, 0.7, 0.2)
    paint: RGB | None = None
    """Linear light of its paint; none: that of the usual set."""


def overhead(
    table: Table, *, height_mm: float = 2600.0, tilt_mm: float = 150.0, barrel: float = -0.08
) -> Camera:
    """A full-HD camera over the table, head on the left of the picture."""
    middle = (table.length_mm / 2, table.width_mm / 2)
    focal = 1920 * 0.86 * height_mm / (table.length_mm + 2 * table.rail_width_mm)
    return Camera.looking(
        position_mm=(middle[0] + 60, middle[1] - tilt_mm, height_mm),
        target_mm=(middle[0], middle[1], 0),
        up=(0, 1, 0),
        image_size_px=(1920, 1080),
        focal_px=focal,
        centre_px=(952.0, 548.0),
        distortion=(barrel, 0.01, 0.0004, -0.0003, 0.0),
    )


def draw_still(
    camera: Camera,
    table: Table,
    balls: Sequence[DrawnBall],
    *,
    cloth: RGB = GREEN_CLOTH,
    noise: float = 0.004,
    seed: int = 0,
) -> NDArray[np.uint8]:
    """The still, (H, W, 3) BGR uint8, of those balls on that table."""
    light = _bed(camera, table, balls, cloth)
    for ball in balls:
        _draw_ball(light, camera, table, ball, cloth)
    light = cv2.GaussianBlur(light, (0, 0), 0.6)
    rng = np.random.default_rng(seed)
    light += rng.normal(0, noise, light.shape).astype(np.float32) * np.sqrt(light + 0.02)
    srgb = np.clip(light, 0, 1) ** (1 / 2.2)
    return np.ascontiguousarray((srgb[:, :, ::-1] * 255 + 0.5).astype(np.uint8))


def as_jpeg(picture: NDArray[np.uint8], quality: int = 90) -> bytes:
    """The picture as JPEG bytes."""
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def _bed(
    camera: Camera, table: Table, balls: Sequence[DrawnBall], cloth: RGB
) -> NDArray[np.float32]:
    width, height = camera.image_size_px
    light = np.full((height, width, 3), 0.03, np.float32)
    _fill(
        light, camera, _box(table, table.rail_width_mm, table.rail_cap_height_mm), (0.2, 0.1, 0.05)
    )
    bright = tuple(1.25 * c for c in cloth)
    _fill(light, camera, _box(table, table.cushion_width_mm, table.rail_cap_height_mm), bright)
    _fill(light, camera, _box(table, 0.0, table.nose_height_mm), cloth)
    for pocket in table.pockets:
        middle = np.array(pocket.aim_mm) + np.array(pocket.inward) * (pocket.shelf_mm + 50)
        ring = np.linspace(0, 2 * np.pi, 40)
        hole = middle + 58 * np.column_stack([np.cos(ring), np.sin(ring)])
        (ax, ay), (bx, by) = pocket.nose_points_mm
        into = np.array(pocket.inward) * (pocket.shelf_mm + 20)
        mouth = [(ax, ay), (bx, by), (bx + into[0], by + into[1]), (ax + into[0], ay + into[1])]
        _fill(light, camera, [(x, y, 0.0) for x, y in mouth], cloth)
        _fill(light, camera, [(x, y, 0.0) for x, y in hole], (0.01, 0.01, 0.01))
    _shade(light, camera, table, balls)
    return light


def _shade(
    light: NDArray[np.float32], camera: Camera, table: Table, balls: Sequence[DrawnBall]
) -> None:
    height, width = light.shape[:2]
    cols, rows = np.meshgrid(np.arange(0, width, 8), np.arange(0, height, 8))
    ground = camera.back_project(np.column_stack([cols.ravel(), rows.ravel()]), 0.0)
    centre = np.array([table.length_mm * 0.45, table.width_mm * 0.55])
    spread = ((ground - centre) ** 2 / (np.array([table.length_mm, table.width_mm]) ** 2)).sum(1)
    field = (1.0 - 0.5 * spread).reshape(cols.shape).astype(np.float32)
    light *= cv2.resize(field, (width, height), interpolation=cv2.INTER_LINEAR)[:, :, None]
    for ball in balls:
        u0, v0, u1, v1 = _window(camera, ball, 40)
        c, r = np.meshgrid(np.arange(u0, u1), np.arange(v0, v1))
        at = camera.back_project(np.column_stack([c.ravel(), r.ravel()]), 0.0)
        away = at - (ball.x_mm + 6, ball.y_mm - 10)
        dark = 1 - 0.55 * np.exp(-((((away**2).sum(1)) / (2 * 24.0**2)) ** 2))
        light[v0:v1, u0:u1] *= dark.reshape(c.shape)[:, :, None].astype(np.float32)


def _window(camera: Camera, ball: DrawnBall, pad_px: int) -> tuple[int, int, int, int]:
    outline = camera.ball_outline((ball.x_mm, ball.y_mm))
    width, height = camera.image_size_px
    low = np.maximum(np.floor(outline.min(0)).astype(int) - pad_px, 0)
    high = np.minimum(np.ceil(outline.max(0)).astype(int) + pad_px + 1, [width, height])
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def _draw_ball(
    light: NDArray[np.float32], camera: Camera, table: Table, ball: DrawnBall, cloth: RGB
) -> None:
    u0, v0, u1, v1 = _window(camera, ball, 2)
    n = SUPERSAMPLES
    fine_u = u0 + (np.arange((u1 - u0) * n) + 0.5) / n - 0.5
    fine_v = v0 + (np.arange((v1 - v0) * n) + 0.5) / n - 0.5
    grid = np.stack(np.meshgrid(fine_u, fine_v), -1).reshape(-1, 2)
    rays = camera.rays(grid)
    eye = camera.position_mm
    centre = np.array([ball.x_mm, ball.y_mm, BALL_RADIUS_MM])
    along = ((centre - eye) * rays).sum(1)
    gap2 = ((centre - eye) ** 2).sum() - along**2
    hit = gap2 < BALL_RADIUS_MM**2
    reach = along - np.sqrt(np.where(hit, BALL_RADIUS_MM**2 - gap2, 0))
    points = eye + reach[:, None] * rays
    hit &= ~_under_nose(points, rays, table)
    normal = (points - centre) / BALL_RADIUS_MM
    lamp = np.array([0.25, -0.3, 0.92])
    lamp /= np.linalg.norm(lamp)
    lit = 0.25 + 0.15 * normal[:, 2] + 0.75 * np.clip(normal @ lamp, 0, None)
    colour = _texture(normal, ball) * lit[:, None]
    bounce = np.clip(-normal[:, 2], 0, 1)[:, None] * np.array(cloth) * 0.4
    mirror = rays - 2 * (rays * normal).sum(1)[:, None] * normal
    gleam = (mirror @ lamp > 0.985)[:, None] * 0.9
    facing = np.clip(-(rays * normal).sum(1), 0, 1)[:, None]
    mirrored = 0.04 + 0.96 * (1 - facing) ** 5  # clear coat mirrors the cloth at its limb
    colour = (colour + bounce) * (1 - mirrored) + mirrored * 0.6 * np.array(cloth) + gleam
    shape = (v1 - v0, n, u1 - u0, n)
    cover = hit.reshape(shape).mean(axis=(1, 3))[:, :, None].astype(np.float32)
    paint = np.where(hit[:, None], colour, 0).reshape(*shape, 3).mean(axis=(1, 3))
    patch = light[v0:v1, u0:u1]
    patch *= 1 - cover
    patch += paint.astype(np.float32)


def _under_nose(
    points: NDArray[np.float64], rays: NDArray[np.float64], table: Table
) -> NDArray[np.bool_]:
    """Whether the view to a point passes through a cushion at nose height."""
    rise = (table.nose_height_mm - points[:, 2]) / -rays[:, 2]
    at = points - rise[:, None] * rays
    x, y = at[:, 0], at[:, 1]
    out = (x < 0) | (x > table.length_mm) | (y < 0) | (y > table.width_mm)
    open_end = table.corner_mouth_mm / np.sqrt(2)
    mouth = (np.minimum(x, table.length_mm - x) < open_end) & (
        np.minimum(y, table.width_mm - y) < open_end
    )
    mouth |= np.abs(x - table.length_mm / 2) < table.side_mouth_mm / 2
    return np.asarray(out & ~mouth)


def _texture(normal: NDArray[np.float64], ball: DrawnBall) -> NDArray[np.float64]:
    """Colour (N, 3), linear RGB, of the sphere at outward unit vectors (N, 3)."""
    white = np.array(WHITE)
    if ball.id == "cue":
        return np.broadcast_to(white, normal.shape).copy()
    number = int(ball.id)
    turn = cv2.Rodrigues(np.array(ball.turn, float))[0]
    local = normal @ turn
    paint = np.array(ball.paint or COLOURS[number if number <= 8 else number - 8])
    out = np.broadcast_to(paint, normal.shape).copy()
    if number > 8:
        out[np.abs(local[:, 2]) > 0.5] = white
    disc = np.abs(local[:, 0]) > np.cos(0.33)
    out[disc] = white
    ink = disc & (np.abs(local[:, 1]) < 0.07) & (np.abs(local[:, 2]) < 0.2)
    out[ink] = 0.02
    return out


def _box(table: Table, beyond_mm: float, height_mm: float) -> list[tuple[float, float, float]]:
    low, x1, y1 = -beyond_mm, table.length_mm + beyond_mm, table.width_mm + beyond_mm
    corners = np.array([(low, low), (x1, low), (x1, y1), (low, y1), (low, low)])
    steps = np.linspace(0, 1, 40, endpoint=False)[:, None]
    edge = np.concatenate([a + steps * (b - a) for a, b in pairwise(corners)])
    return [(float(x), float(y), height_mm) for x, y in edge]


def _fill(
    light: NDArray[np.float32],
    camera: Camera,
    outline_mm: Sequence[tuple[float, float, float]],
    colour: Sequence[float],
) -> None:
    pixels = np.round(camera.project(np.array(outline_mm)) * 16).astype(np.int32)
    cv2.fillPoly(light, [pixels], tuple(float(c) for c in colour), cv2.LINE_8, 4)
