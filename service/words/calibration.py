"""What a calibration says of itself: whether to trust it, scale, residuals and stated error."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from calibration.lengths import INCH_MM

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


def calibration_lines(made: Calibration) -> list[str]:
    """Whether to trust it first, then what it rests on, its residuals and its stated error."""
    length, width = made.table.surface_mm
    height_mm = float(made.camera.position_mm[2])
    lines = [
        trust_line(made),
        f"table {length:g} x {width:g} mm ({length / INCH_MM:.1f} x {width / INCH_MM:.1f} in) from "
        f"cushion edge to cushion edge, head end on the {made.head} of the picture",
        f"how far the camera sees (scale) is settled by {SCALE_WORDS[made.scale_source]}; lens "
        f"{height_mm:.0f} mm above the bed",
        *residual_lines(made),
        *budget_lines(made),
    ]
    if made.rail_marks:
        lines.append(
            "movement of camera or table since calibration (drift) is checked by "
            f"{len(made.rail_marks)} marks on the rails"
        )
    return lines + [f"note: {warning}" for warning in made.warnings]


def trust_line(made: Calibration) -> str:
    """``good enough to trust: …`` or ``not yet, because …``."""
    from calibration.kept.trust import Trust

    trust = Trust.of(made)
    if trust.good:
        # rounded up: what is promised must hold
        within_mm = math.ceil(trust.within_mm * 10) / 10
        return f"good enough to trust: within {within_mm:.1f} mm over the bed"
    return "not yet, because " + "; and because ".join(
        notice.text.removesuffix(".") for notice in trust.against
    )


def budget_lines(made: Calibration) -> list[str]:
    """The stated error over the bed, and how much of it is the surface's own size."""
    budget = made.budget
    if budget is None:
        return []
    x, y = budget.worst_at_mm
    lines = [
        f"stated error (budget) of a ball's place, 19 times in 20 (95 %), by tape measure: median "
        f"{budget.median_mm:.2f} mm, worst {budget.worst_mm:.2f} mm at {x:.0f}, {y:.0f}"
    ]
    if "length_mm" in made.parameter_names:
        place = made.parameter_names.index("length_mm")
        error_mm = 2 * math.sqrt(made.parameter_cov[place][place])
        lines.append(
            f"of that, against the cushion edges (noses) instead of a tape: median "
            f"{budget.noses_median_mm:.2f} mm, worst {budget.noses_worst_mm:.2f} mm; the surface "
            f"is taken as right to ±{error_mm:g} mm"
        )
    return lines


def residual_lines(made: Calibration) -> list[str]:
    """How far each kind of landmark lies from where the calibration puts it, mm and px."""
    kinds = dict.fromkeys(residual.kind for residual in made.residuals)
    return [
        _kind_line(kind, [residual for residual in made.residuals if residual.kind == kind])
        for kind in kinds
    ]


def _kind_line(kind: str, residuals: list[Residual]) -> str:
    kept = [residual for residual in residuals if residual.weight > SET_ASIDE] or residuals
    off_mm = np.abs([residual.off_mm for residual in kept])
    off_px = np.abs([residual.off_px for residual in kept])
    aside = len(residuals) - len(kept)
    tail = f"; {aside} more set aside as disagreeing" if aside else ""
    return (
        f"{KIND_WORDS.get(kind, kind)}: {len(kept)} seen, off by {np.median(off_mm):.2f} mm "
        f"({np.median(off_px):.2f} px) at the median, {off_mm.max():.2f} mm at worst{tail}"
    )
