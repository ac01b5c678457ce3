"""The ball-check still: balls frozen at named places, read and handed to the calibration.

Reading happens under a provisional calibration. Places are taken as the picture shows them: what
solid balls and cushions allow is exactly what is being checked.
"""

from __future__ import annotations

import numpy as np

from calibration.errors import CalibrationError
from calibration.kept.calibration import Calibration
from calibration.seen.frozen_balls import SeenBall
from calibration.table import BALL_CENTRE_HEIGHT_MM
from calibration.watch.drift import DriftWatch
from vision.place.centres import place_balls
from vision.read import Reader
from vision.still import Picture


def seen_balls(
    picture: Picture, provisional: Calibration, *, name: str = ""
) -> tuple[SeenBall, ...]:
    """Centres of all balls in px, with their pixel covariance, free of any cushion's hold.

    ``picture`` is (H, W, 3) BGR, of the same camera and place as the empty still.

    Raises:
        CalibrationError: camera or table moved since the empty still, or something lies over
            the bed.
        StillError: the still is not of the calibration's size.
    """
    _refuse_moved(picture, provisional, name)
    reader = Reader(provisional)
    layout = reader.read_image(picture, name=name)
    if layout.obstructed:
        raise CalibrationError(
            f"{name or 'ball check'}: got a still with something over the bed; allowed: balls and "
            "nothing else. Clear the table and take the still again."
        )
    if not layout.balls:
        return ()
    camera = provisional.camera
    centres = np.array([ball.centre_mm for ball in layout.balls])
    free = place_balls(picture, camera, centres, reader.networks)
    heights = np.full(len(centres), BALL_CENTRE_HEIGHT_MM)
    pixels = camera.project(np.column_stack([free.centre_mm, heights]))
    slope = camera.jacobian(free.centre_mm)
    cov_px2 = slope @ free.cov_mm2 @ np.swapaxes(slope, 1, 2)
    return tuple(
        SeenBall(
            centre_px=(float(u), float(v)),
            cov_px2=((float(c[0, 0]), float(c[0, 1])), (float(c[1, 0]), float(c[1, 1]))),
        )
        for (u, v), c in zip(pixels, cov_px2, strict=True)
    )


def _refuse_moved(picture: Picture, provisional: Calibration, name: str) -> None:
    """Both stills must come from one camera place; a small move would pass for a wrong scale."""
    label = name or "ball check"
    if not provisional.rail_marks:
        return
    drift = DriftWatch(provisional).check(picture, name=label)
    if drift.state == "moved":
        raise CalibrationError(
            f"{label}: got a still in which camera or table has moved by {drift.worst_mm:.1f} mm "
            "since the empty one; allowed: the same place. Take both stills again, one after the "
            "other."
        )
