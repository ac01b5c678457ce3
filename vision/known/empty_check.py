"""Whether the bed of a calibration's still is empty: it is kept to compare later stills with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from calibration.errors import CalibrationError
from calibration.kept.calibration import Calibration
from calibration.notices import Notice
from vision.layout import Ball
from vision.read import Reader
from vision.still import Picture


def balls_on_bed(made: Calibration, picture: Picture, *, name: str = "") -> tuple[Ball, ...]:
    """The balls that ``picture`` ((H, W, 3) BGR), the still of ``made``, shows.

    Raises:
        StillError: the picture is not of the calibration's size.
    """
    # nothing is compared with itself: neither the rails nor the bed
    bare = replace(made, rail_marks=(), bed_picture=None)
    return Reader(bare).read_image(picture, name=name).balls


def refuse_balls(balls: Sequence[Ball], *, name: str = "") -> None:
    """Refuse a still that shows balls, by number and place.

    Raises:
        CalibrationError: it shows some; ``fields`` holds ``about`` (``balls``) and ``balls``.
    """
    if not balls:
        return
    count = f"{len(balls)} ball{'s' if len(balls) > 1 else ''}"
    raise CalibrationError(
        f"{name or 'still'}: got a bed with {count} on it: {_listed(balls)}; allowed: the empty "
        "bed, which is kept to compare later stills with. Clear the table and take the still "
        "again, or accept the balls with `--balls-on-bed accept`: nothing is compared then.",
        fields={"about": "balls", "balls": [_place(ball) for ball in balls]},
    )


def with_balls_accepted(made: Calibration, balls: Sequence[Ball]) -> Calibration:
    """``made`` without the picture of its bed, which is not empty, and saying so."""
    if not balls:
        return made
    notice = Notice(
        code="balls-on-bed",
        text=f"balls lay on the bed ({_listed(balls)}), so later stills are not compared with it: "
        "something over the bed is noticed less surely.",
        fields={"balls": [_place(ball) for ball in balls]},
    )
    return replace(made, bed_picture=None, notices=(*made.notices, notice))


def _listed(balls: Sequence[Ball]) -> str:
    return "; ".join(
        f"{'cue ball' if ball.id == 'cue' else f'ball {ball.id}'} at x {ball.x_mm:.0f}, "
        f"y {ball.y_mm:.0f} mm"
        for ball in balls
    )


def _place(ball: Ball) -> dict[str, object]:
    return {"id": ball.id, "x_mm": ball.x_mm, "y_mm": ball.y_mm}
