"""Lamps of several kinds and the room's shell; lamps keep clear of the camera's view."""

from __future__ import annotations

import colorsys
import math

import numpy as np

from calibration.camera import Camera
from calibration.table import Table
from vision.training.scenes.looks import FloorLook, LampLook, WallLook
from vision.training.scenes.optics.lens_warp import border_px, normalised
from vision.training.scenes.shapes.meshes import disc, lathe, shifted
from vision.training.scenes.values import FloatArray, Material, Mesh, Panel, Part, Rgb, SceneError

from .surfaces import floor_texture

FLOOR_MM = -770.0
HOUSING = Material(colour=(0.12, 0.12, 0.13))
VIEW_MARGIN = 1.06
"""Lamps stay outside the view widened by this factor."""


def light_colour(kelvin: float, strength: float, *, tint: float = 0.35) -> Rgb:
    """Linear lamp colour after a camera's incomplete white balance."""
    warm = np.clip((4800.0 - kelvin) / 4800.0, -0.5, 0.5)
    colour = np.array([1.0 + tint * warm * 0.9, 1.0, 1.0 - tint * warm * 1.6])
    r, g, b = strength * colour
    return (float(r), float(g), float(b))


def in_view(camera: Camera, points_mm: FloatArray) -> bool:
    """Whether any point lies inside the (widened) view of the camera."""
    seen = points_mm @ camera.rotation.T + np.asarray(camera.tvec_mm)
    reach = np.abs(normalised(camera, border_px(camera, 16))).max(axis=0) * VIEW_MARGIN
    ahead = seen[:, 2] > 1.0
    flat = np.abs(seen[ahead, :2] / seen[ahead, 2:])
    return bool(np.any(np.all(flat < reach, axis=1)))


def bar_points(centre: FloatArray, half_u: FloatArray, half_v: FloatArray) -> FloatArray:
    """Sample points over a panel."""
    s = np.linspace(-1, 1, 15)
    a, b = np.meshgrid(s, np.array([-1.0, 1.0]))
    return np.asarray(centre + a.reshape(-1, 1) * half_u + b.reshape(-1, 1) * half_v)


def lit_panel(
    name: str, centre: FloatArray, half_u: FloatArray, half_v: FloatArray, radiance: Rgb
) -> list[Part]:
    """A lamp panel that shines along half_u × half_v, with a dark housing behind it."""
    normal = np.cross(half_u, half_v)
    normal /= np.linalg.norm(normal)
    lamp = Panel(centre_mm=triple(centre), half_u_mm=triple(half_u), half_v_mm=triple(half_v))
    back = Panel(
        centre_mm=triple(centre - 12 * normal),
        half_u_mm=triple(half_u * 1.02),
        half_v_mm=triple(half_v * 1.1),
    )
    return [
        Part(name=name, shape=lamp, radiance=radiance),
        Part(name=f"{name}-back", shape=back, material=HOUSING),
    ]


def triple(vector: FloatArray) -> tuple[float, float, float]:
    x, y, z = vector
    return (float(x), float(y), float(z))


def lamp_parts(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """The lamps of one kind as parts.

    Raises:
        SceneError: their kind is unknown.
    """
    makers = {
        "frame": _frame,
        "side-panels": _side_panels,
        "tubes": _tubes,
        "ceiling-panels": _ceiling_panels,
        "pendants": _pendants,
        "window": _window,
        "hall-panels": _hall_panels,
    }
    if lamp.kind not in makers:
        raise SceneError(
            f"lamp.kind: got {lamp.kind!r}; allowed: {', '.join(makers)}. Choose one of them."
        )
    return makers[lamp.kind](lamp, table, camera, walls)


def _middle(table: Table) -> FloatArray:
    return np.array([table.length_mm / 2, table.width_mm / 2, 0.0])


def _frame(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """A rectangular ring of light hung between camera and table, as wide as the view needs."""
    half_l, half_w, strip = table.length_mm * 0.32, table.width_mm * 0.36, 55.0
    for _ in range(80):
        bars = _frame_bars(table, camera, lamp.height_mm, (half_l, half_w), strip)
        if not any(in_view(camera, bar_points(*bar)) for bar in bars):
            break
        half_l, half_w = half_l * 1.03, half_w * 1.03
    radiance = light_colour(lamp.kelvin, 16.0 * lamp.strength)
    parts: list[Part] = []
    for k, bar in enumerate(bars):
        parts += lit_panel(f"frame-{k}", *bar, radiance)
    return parts


def _frame_bars(
    table: Table, camera: Camera, z: float, half: tuple[float, float], strip: float
) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    """Four bars facing down, centred where the view's axis crosses their height."""
    axis = camera.rotation[2]
    centre = camera.position_mm + axis * (z - camera.position_mm[2]) / axis[2]
    centre = np.array([(centre[0] + table.length_mm / 2) / 2, centre[1], z])
    a, b = half
    u, v = np.array([1.0, 0, 0]), np.array([0, -1.0, 0])
    return [
        (shifted(centre, 0, b + strip, 0), u * (a + 2 * strip), v * strip),
        (shifted(centre, 0, -b - strip, 0), u * (a + 2 * strip), v * strip),
        (shifted(centre, a + strip, 0, 0), u * strip, v * b),
        (shifted(centre, -a - strip, 0, 0), u * strip, v * b),
    ]


def _side_panels(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """Two long panels beyond the long rails, leaning inward."""
    parts: list[Part] = []
    radiance = light_colour(lamp.kelvin, 9.0 * lamp.strength)
    lean = math.radians(22 + 18 * lamp.turn)
    for sign in (-1.0, 1.0):
        away = table.width_mm * 0.34
        half_u = np.array([table.length_mm * 0.42, 0.0, 0.0])
        half_v = -np.array([0.0, math.cos(lean), sign * math.sin(lean)]) * 110.0
        for _ in range(80):
            centre = shifted(_middle(table), 0, sign * away, lamp.height_mm)
            if not in_view(camera, bar_points(centre, half_u, half_v)):
                break
            away *= 1.04
        parts += lit_panel(f"side-panel{sign:+.0f}", centre, half_u, half_v, radiance)
    return parts


def _tubes(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """Rows of narrow luminous battens at the ceiling."""
    parts: list[Part] = []
    rows = 2 + round(lamp.turn)
    radiance = light_colour(lamp.kelvin, 26.0 * lamp.strength)
    for k, y in enumerate(np.linspace(-0.55, 0.55, rows) * table.width_mm * 1.5):
        for j, x in enumerate((-800.0, 800.0)):
            centre = shifted(_middle(table), x, y, walls.ceiling_mm - 70)
            for twin in (-45.0, 45.0):
                place = shifted(centre, 0, twin, 0)
                parts += lit_panel(
                    f"tube-{k}{j}{twin:+.0f}",
                    place, np.array([600.0, 0, 0]), np.array([0, -15.0, 0]), radiance,
                )  # fmt: skip
    return parts


def _ceiling_panels(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """A grid of flush panels in the ceiling."""
    parts: list[Part] = []
    radiance = light_colour(lamp.kelvin, 13.0 * lamp.strength)
    size = (300.0, 300.0) if lamp.turn < 0.5 else (600.0, 150.0)
    for x in (-1500.0, 0.0, 1500.0):
        for y in (-800.0, 800.0):
            centre = shifted(_middle(table), x + 120, y + 60, walls.ceiling_mm - 15)
            parts += lit_panel(
                f"ceiling{x:+.0f}{y:+.0f}",
                centre, np.array([size[0], 0, 0]), np.array([0, -size[1], 0]), radiance,
            )  # fmt: skip
    return parts


def _pendants(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """Three round shades in a row, hung high beside the camera or clear of its view."""
    parts: list[Part] = []
    radiance = light_colour(lamp.kelvin, 30.0 * lamp.strength)
    shade_colour = colorsys.hsv_to_rgb(0.1 + 0.5 * lamp.turn, 0.5, 0.25)
    z = max(lamp.height_mm, float(camera.position_mm[2]) + 60)
    for k, x in enumerate((-0.31, 0.0, 0.31)):
        centre = shifted(_middle(table), x * table.length_mm, 130.0 - 260.0 * round(lamp.turn), z)
        shade = lathe(
            shifted(centre, 0, 0, 150), shifted(centre, 0, 0, -60),
            ((0.0, 40.0), (0.15, 75.0), (0.6, 165.0), (1.0, 215.0)), 40,
        )  # fmt: skip
        parts.append(
            Part(
                name=f"shade-{k}", shape=shade,
                material=Material(kind="gloss", colour=shade_colour, roughness=0.2),
            )
        )  # fmt: skip
        glow = disc(shifted(centre, 0, 0, -20), 150.0, [0, 0, -1.0], 48)
        parts.append(Part(name=f"glow-{k}", shape=glow, radiance=radiance))
    return parts


def _window(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """Daylight from a wide window in one wall."""
    side = -1.0 if lamp.turn < 0.5 else 1.0
    radiance = light_colour(lamp.kelvin, 4.0 * lamp.strength, tint=0.6)
    parts: list[Part] = []
    for k, x in enumerate((-1100.0, 500.0)):
        centre = shifted(_middle(table), x, side * (walls.half_width_mm - 25), 950.0)
        half_u = np.array([650.0, 0, 0])
        half_v = np.array([0, 0, side * 700.0])
        if not in_view(camera, bar_points(centre, half_u, half_v)):
            parts += lit_panel(f"window-{k}", centre, half_u, half_v, radiance)
    return parts


def _hall_panels(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """Ceiling panels over the neighbouring tables on one side: light that comes in aslant."""
    side = -1.0 if lamp.turn < 0.5 else 1.0
    radiance = light_colour(lamp.kelvin, 30.0 * lamp.strength)
    parts: list[Part] = []
    for k, x in enumerate((-1300.0, 0.0, 1300.0)):
        centre = shifted(_middle(table), x, side * (walls.half_width_mm - 350), 0)
        centre[2] = walls.ceiling_mm - 20
        parts += lit_panel(
            f"hall-{k}", centre, np.array([350.0, 0, 0]), np.array([0, -250.0, 0]), radiance
        )
    return parts


# -- shell ----------------------------------------------------------------------------------


def shell_parts(
    table: Table, walls: WallLook, floor: FloorLook, *, open_side: float | None = None
) -> list[Part]:
    """Floor, walls and ceiling; the wall at ``open_side`` (−1 or 1 in y) is left out."""
    mid = _middle(table)
    a, b, top = walls.half_length_mm, walls.half_width_mm, walls.ceiling_mm
    texture, tile_mm = floor_texture(floor)
    x0, y0 = mid[0] - a, mid[1] - b
    corners = np.array(
        [[x0, y0, FLOOR_MM], [x0 + 2 * a, y0, FLOOR_MM],
         [x0 + 2 * a, y0 + 2 * b, FLOOR_MM], [x0, y0 + 2 * b, FLOOR_MM]]
    )  # fmt: skip
    ground = Mesh(
        vertices_mm=corners,
        faces=np.array([[0, 1, 2], [0, 2, 3]]),
        uv=(corners[:, :2] - [x0, y0]) / tile_mm,
    )
    polish = 0.25 if floor.kind == "boards" else 0.6
    material = Material(kind="gloss", texture=texture, roughness=polish)
    parts = [
        Part(name="floor", shape=ground, material=material),
        Part(
            name="ceiling",
            shape=Panel(
                centre_mm=triple(shifted(mid, 0, 0, top)), half_u_mm=(a, 0, 0), half_v_mm=(0, -b, 0)
            ),
            material=Material(colour=walls.ceiling_colour),
        ),
    ]
    z, tall = (FLOOR_MM + top) / 2, (top - FLOOR_MM) / 2
    for k, (dx, dy) in enumerate(((1, 0), (-1, 0), (0, 1), (0, -1))):
        if dx == 0 and dy == open_side:
            continue
        wide = b if dx else a
        parts.append(
            Part(
                name=f"wall-{k}",
                shape=Panel(
                    centre_mm=triple(shifted(mid, dx * a, dy * b, z)),
                    half_u_mm=(float(dy) * wide, float(-dx) * wide, 0.0),
                    half_v_mm=(0.0, 0.0, tall),
                ),
                material=Material(colour=walls.wall_colour),
            )
        )
    return parts
