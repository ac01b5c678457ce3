"""A ball set in paints of its own, drawn: every paint that sets usually have, on another number."""

import numpy as np
from drawn_stills import RGB, DrawnBall, as_jpeg, draw_still, overhead

from calibration.kept.calibration import Calibration
from calibration.table import Table
from vision.layout import Ball, Layout
from vision.truth.file import TruthBall

TABLE = Table()
CAMERA = overhead(TABLE)
CALIBRATION = Calibration.exact(CAMERA, TABLE)
PAINTS: dict[int, RGB] = {
    1: (0.02, 0.08, 0.36), 2: (0.58, 0.03, 0.02), 3: (0.01, 0.20, 0.07), 4: (0.86, 0.60, 0.03),
    5: (0.13, 0.03, 0.22), 6: (0.80, 0.20, 0.02), 7: (0.60, 0.25, 0.35), 8: (0.012, 0.012, 0.014),
}  # fmt: skip
MOST_DOUBTED = 2
"""Balls of sixteen that may stay in doubt after one still: some turn only white to the camera."""


def scattered(seed: int, *, odd: bool = True) -> list[DrawnBall]:
    """All sixteen balls apart from each other, in any orientation."""
    rng = np.random.default_rng(seed)
    names = ["cue", *(str(n) for n in range(1, 16))]
    rng.shuffle(names)
    return [
        DrawnBall(
            id=name,
            x_mm=150 + (i % 8) * 310 + rng.uniform(0, 60),
            y_mm=200 + 600 * (i // 8) + rng.uniform(0, 200),
            turn=tuple(rng.uniform(-2, 2, 3)),
            paint=PAINTS[(int(name) - 1) % 8 + 1] if odd and name != "cue" else None,
        )
        for i, name in enumerate(names)
    ]


def still_of(balls: list[DrawnBall]) -> bytes:
    """JPEG bytes of those balls."""
    return as_jpeg(draw_still(CAMERA, TABLE, balls))


def layout_of(balls: list[DrawnBall]) -> Layout:
    """Their true layout."""
    return Layout(
        still="truth",
        surface_mm=TABLE.surface_mm,
        balls=tuple(Ball(id=ball.id, x_mm=ball.x_mm, y_mm=ball.y_mm) for ball in balls),
    )


def truth_of(balls: list[DrawnBall]) -> list[TruthBall]:
    """The same for measuring."""
    return [TruthBall(id=ball.id, x_mm=ball.x_mm, y_mm=ball.y_mm) for ball in balls]
