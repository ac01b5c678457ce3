"""Teach a ball set from a still whose balls are known: a layout says which lies where."""

from __future__ import annotations

import numpy as np

from calibration.kept.calibration import Calibration
from vision.layout import Layout
from vision.name.taught import Taught, TaughtError
from vision.place.centres import Placed, place_balls
from vision.read import BALL_ODDS, reader_of
from vision.still import decode_still

SAME_BALL_MM = 20.0
"""A ball seen farther from where the layout has it, about a third of a ball, is not that one."""


def teach_still(
    data: bytes,
    calibration: Calibration,
    layout: Layout,
    *,
    name: str = "",
    taught: Taught | None = None,
) -> Taught:
    """``taught`` (or nothing) and the looks of a layout's undoubted balls in its still's bytes.

    Every name that is not marked doubtful is taken as true.

    Raises:
        TaughtError: the layout has no such name, the still shows no ball at one of its places,
            or ``taught`` was made with other networks.
        StillError: bytes that are no whole JPEG or PNG of the calibration's size.
        CalibrationError: code "moved": camera or table moved farther than can be corrected.
    """
    names = [None if ball.doubtful else ball.id for ball in layout.balls]
    label = name or "still"
    if not any(names):
        raise TaughtError(
            f"{label}: got {len(names)} balls, none with a sure name; allowed: one or more. "
            "Say which is which."
        )
    placed = _looked_at(data, calibration, layout, label)
    if taught is None:
        return Taught.from_reading(placed, names)
    return taught.with_still(placed, names)


def _looked_at(data: bytes, calibration: Calibration, layout: Layout, label: str) -> Placed:
    """The layout's balls as the crop network sees them, in the layout's order."""
    reader = reader_of(calibration)
    picture = decode_still(data, name=label, size_px=calibration.camera.image_size_px)
    camera = reader.watch.check(picture, name=label).calibration.camera
    places = np.array([ball.centre_mm for ball in layout.balls])
    placed = place_balls(picture, camera, places, reader.networks)
    away = np.hypot(*(placed.centre_mm - places).T)
    for k in np.flatnonzero((placed.ball <= BALL_ODDS) | (away > SAME_BALL_MM)):
        ball = layout.balls[k]
        raise TaughtError(
            f"{label}: ball {ball.id} is not seen at x {ball.x_mm:.0f}, y {ball.y_mm:.0f} mm; "
            "allowed: the layout of this very still. Correct the place or leave the ball out."
        )
    return placed
