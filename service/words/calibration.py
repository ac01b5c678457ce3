"""What a calibration says of itself: whether to trust it, scale, residuals and stated error."""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

import numpy as np

from calibration.lengths import INCH_MM

from .lengths import MILLIMETRES, Lengths, Units

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration, Residual

SCALE_WORDS = {
    "lens file": "the lens file",
    "tape measure": "the measured camera height",
    "ball check": "balls frozen at known places",
    "EXIF": "the focal length in the still's EXIF data, which is rough",
    "default": "a default focal length: no lens file, height, ball check or EXIF data were given",
    "exact": "a camera known beforehand",
}
KIND_WORDS = {
    "nose": "cushion edges (noses)",
    "cushion back": "seams behind the cushions (cushion backs)",
    "sight": "diamonds on the rails (sights)",
    "pocket": "pocket edges (facings)",
    "point": "points given by hand",
    "ball": "balls at the cushions (frozen balls)",
}
SET_ASIDE = 0.1
"""A landmark that weighs less was set aside by the solve."""


def blind_line(share: float) -> list[str]:
    """What is said where something in the empty still hides a share of the bed."""
    if share <= 0:
        return []
    return [
        f"{share:.1%} of the bed is hidden by something between camera and cloth in the empty "
        "still: a ball there is not seen. Move it out of the picture and calibrate again, or know "
        "that no ball missing there counts as potted."
    ]


def calibration_lines(made: Calibration, units: Units = Units.MM) -> list[str]:
    """Whether to trust it first, then what it rests on, its residuals and its stated error."""
    lengths = Lengths.on(made.table, units)
    height_mm = float(made.camera.position_mm[2])
    lines = [
        trust_line(made, lengths),
        f"table {_size(made, units)} from cushion edge to cushion edge, head end on the "
        f"{made.head} of the picture",
        f"how far the camera sees (scale) is settled by {SCALE_WORDS[made.scale_source]}; lens "
        f"{lengths.text(height_mm)} above the bed",
        *residual_lines(made, lengths),
        *budget_lines(made, lengths),
    ]
    if made.rail_marks:
        lines.append(
            "movement of camera or table since calibration (drift) is checked by "
            f"{len(made.rail_marks)} marks on the rails"
        )
    return lines + [f"note: {warning}" for warning in made.warnings]


def _size(made: Calibration, units: Units) -> str:
    length, width = made.table.surface_mm
    metric, inches = (
        f"{length:g} x {width:g} mm",
        f"{length / INCH_MM:.1f} x {width / INCH_MM:.1f} in",
    )
    first, second = (inches, metric) if units is Units.INCHES else (metric, inches)
    return f"{first} ({second})"


def trust_line(made: Calibration, lengths: Lengths = MILLIMETRES) -> str:
    """``good enough to trust: …`` or ``not yet, because …``."""
    from calibration.kept.trust import Trust

    trust = Trust.of(made)
    if trust.good:
        return f"good enough to trust: within {lengths.within(trust.within_mm)} over the bed"
    return "not yet, because " + "; and because ".join(
        notice.text.removesuffix(".") for notice in trust.against
    )


def budget_lines(made: Calibration, lengths: Lengths = MILLIMETRES) -> list[str]:
    """The stated error over the bed, and how much of it is the surface's own size."""
    budget = made.budget
    if budget is None:
        return []
    lines = [
        f"stated error (budget) of a ball's place, 19 times in 20 (95 %), by tape measure: median "
        f"{lengths.small(budget.median_mm)}, worst {lengths.small(budget.worst_mm)} at "
        f"{lengths.place(budget.worst_at_mm)}"
    ]
    if "length_mm" in made.parameter_names:
        place = made.parameter_names.index("length_mm")
        error_mm = 2 * sqrt(made.parameter_cov[place][place])
        lines.append(
            f"of that, against the cushion edges (noses) instead of a tape: median "
            f"{lengths.small(budget.noses_median_mm)}, worst "
            f"{lengths.small(budget.noses_worst_mm)}; the surface is taken as right to "
            f"±{f'{error_mm:g} mm' if lengths.units is Units.MM else lengths.small(error_mm)}"
        )
    return lines


def residual_lines(made: Calibration, lengths: Lengths = MILLIMETRES) -> list[str]:
    """How far each kind of landmark lies from where the calibration puts it, and in px."""
    kinds = dict.fromkeys(residual.kind for residual in made.residuals)
    return [
        _kind_line(kind, [each for each in made.residuals if each.kind == kind], lengths)
        for kind in kinds
    ]


def _kind_line(kind: str, residuals: list[Residual], lengths: Lengths) -> str:
    kept = [residual for residual in residuals if residual.weight > SET_ASIDE] or residuals
    off_mm = np.abs([residual.off_mm for residual in kept])
    off_px = np.abs([residual.off_px for residual in kept])
    aside = len(residuals) - len(kept)
    tail = f"; {aside} more set aside as disagreeing" if aside else ""
    return (
        f"{KIND_WORDS.get(kind, kind)}: {len(kept)} seen, off by "
        f"{lengths.small(float(np.median(off_mm)))} ({np.median(off_px):.2f} px) at the median, "
        f"{lengths.small(off_mm.max())} at worst{tail}"
    )
