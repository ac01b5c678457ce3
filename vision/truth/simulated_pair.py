"""Two cameras over one table without pictures: true places, and what each would read.

Every camera's calibration is off by a draw from the errors that it states, and every ball's pixel
by a draw of its own; names come from looks that are right as often as they say. For statistics of
joining that would take thousands of rendered stills; what rendered ones give stands beside them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from shapely import Point, Polygon

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.kept.calibration import Calibration
from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_DIAMETER_MM, Table
from calibration.vary import POSE, varied
from vision.join.view import View
from vision.layout import BALL_IDS, Ball, Layout, as_cov

PIXEL_SIGMA = 0.12
"""Error of a ball's centre in the picture, 1 sigma each way."""
POSE_SIGMA = (2e-4, 2e-4, 2e-4, 0.5, 0.5, 0.8)
"""Stated error of a calibration's pose: radians, then mm."""
SIZE_PX = (1920, 1080)
SHADE_MM, SHADE_HEIGHT_MM = 230.0, 950.0
"""Radius and height of a shade over the table's middle."""
INSET_MM = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """A camera as it is, and as its calibration says."""

    camera: Camera
    calibration: Calibration
    shadow: Polygon
    """What the shade hides from it; empty without one."""


def camera_at(table: Table, share: float, height_mm: float = 2600.0) -> Camera:
    """A camera over the middle of the width that sees the whole table."""
    middle = (table.length_mm / 2, table.width_mm / 2)
    focal = SIZE_PX[0] * 0.78 * height_mm / (table.length_mm + 2 * table.rail_width_mm)
    return Camera.looking(
        position_mm=(share * table.length_mm, middle[1], height_mm),
        target_mm=(*middle, 0.0),
        up=(0.0, 1.0, 0.0),
        image_size_px=SIZE_PX,
        focal_px=focal,
        distortion=(-0.08, 0.01, 0.0, 0.0, 0.0),
    )


def set_up(
    rng: np.random.Generator,
    table: Table,
    shares: Mapping[str, float],
    *,
    shade: bool = False,
    pose_sigma: Sequence[float] = POSE_SIGMA,
) -> dict[str, Simulated]:
    """Cameras at those shares of the length, each with a calibration of its own errors."""
    cov = tuple(tuple(row) for row in np.diag(np.square(pose_sigma)).tolist())
    out = {}
    for name, share in shares.items():
        camera = camera_at(table, share)
        error = rng.normal(0.0, pose_sigma)
        made = Calibration(
            camera=varied(camera, dict(zip(POSE, error.tolist(), strict=True))),
            table=table,
            head="left",
            scale_source="lens file",
            parameter_names=POSE,
            parameter_cov=cov,
        )
        shadow = _shadow(camera, table) if shade else Polygon()
        out[name] = Simulated(camera=camera, calibration=made, shadow=shadow)
    return out


def _shadow(camera: Camera, table: Table) -> Polygon:
    eye = camera.position_mm
    ring = np.linspace(0, 2 * math.pi, 60, endpoint=False)
    middle = np.asarray(table.surface_mm) / 2
    rim = middle + SHADE_MM * np.column_stack([np.cos(ring), np.sin(ring)])
    along = (eye[2] - BALL_CENTRE_HEIGHT_MM) / (eye[2] - SHADE_HEIGHT_MM)
    return Polygon(eye[:2] + (rim - eye[:2]) * along)


def knocked(camera: Camera, shift_mm: float, turn_rad: float, bearing_rad: float) -> Camera:
    """The camera after it was pushed level and turned about its own axis of view."""
    turn = cv2.Rodrigues(np.array([0.0, 0.0, turn_rad]))[0]
    rotation = turn @ camera.rotation
    step = shift_mm * np.array([math.cos(bearing_rad), math.sin(bearing_rad), 0.0])
    rvec, tvec = cv2.Rodrigues(rotation)[0].ravel(), -rotation @ (camera.position_mm + step)
    return replace(
        camera,
        rvec=(float(rvec[0]), float(rvec[1]), float(rvec[2])),
        tvec_mm=(float(tvec[0]), float(tvec[1]), float(tvec[2])),
    )


def balls_of(rng: np.random.Generator, table: Table, count: int) -> dict[str, tuple[float, float]]:
    """True places of so many balls, the cue ball among them."""
    names = ["cue", *(str(n) for n in rng.permutation(np.arange(1, 16))[: count - 1])]
    places: list[FloatArray] = []
    while len(places) < count:
        at = rng.uniform(INSET_MM, np.asarray(table.surface_mm) - INSET_MM)
        if all(np.hypot(*(at - other)) > BALL_DIAMETER_MM for other in places):
            places.append(at)
    return {name: (float(at[0]), float(at[1])) for name, at in zip(names, places, strict=True)}


def seen_by(
    rng: np.random.Generator,
    name: str,
    of: Simulated,
    balls: Mapping[str, tuple[float, float]],
    *,
    sure: float = 0.97,
    camera: Camera | None = None,
) -> View:
    """What that camera reads of the balls; ``camera`` where it is not where it was."""
    table, made = of.calibration.table, of.calibration
    shown = [each for each, at in balls.items() if not of.shadow.intersects(Point(at))]
    true = np.array([(*balls[each], BALL_CENTRE_HEIGHT_MM) for each in shown]).reshape(-1, 3)
    pixels = (camera or of.camera).project(true) + rng.normal(0, PIXEL_SIGMA, (len(shown), 2))
    places = made.table_mm(pixels)
    cov = made.covariance_mm2(places, PIXEL_SIGMA**2 * np.eye(2))
    read = []
    for each, place, whole in zip(shown, places, cov, strict=True):
        look = _look(rng, each, sure)
        read.append((look, place, whole))
    ring = () if of.shadow.is_empty else of.shadow.exterior.coords[:-1]
    shade = tuple((float(x), float(y)) for x, y in ring)
    return View(
        camera=name,
        layout=Layout(
            still=f"{name}.jpg",
            surface_mm=table.surface_mm,
            balls=_named(read),
            hidden_mm=(shade,) if shade else (),
        ),
        calibration=made,
    )


def _look(rng: np.random.Generator, true: str, sure: float) -> tuple[tuple[str, float], ...]:
    """Likely names: the right one first with the chance that it is right."""
    others = [each for each in BALL_IDS if each != true]
    other = str(rng.choice(others))
    first, second = (true, other) if rng.random() < sure else (other, true)
    return ((first, sure), (second, 1.0 - sure))


def _named(
    read: Sequence[tuple[tuple[tuple[str, float], ...], FloatArray, FloatArray]],
) -> tuple[Ball, ...]:
    """Balls by their likeliest looks; a name taken already goes to the next that is free."""
    taken: set[str] = set()
    out = []
    for look, place, cov in read:
        free = [each for each, _ in look if each not in taken]
        name = free[0] if free else next(each for each in BALL_IDS if each not in taken)
        taken.add(name)
        out.append(
            Ball(
                id=name, x_mm=float(place[0]), y_mm=float(place[1]),
                cov_mm2=as_cov(cov),
                confidence=dict(look).get(name, 0.01), look=look,
            )
        )  # fmt: skip
    return tuple(out)
