"""What a calibration says of itself: scale, residuals and error budget."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration

SCALE_WORDS = {
    "lens file": "the lens file",
    "tape measure": "the measured camera height",
    "ball check": "balls frozen at known places",
    "EXIF": "the focal length in the still's EXIF data, which is rough",
    "default": "a default focal length: no lens file, height, ball check or EXIF data were given",
    "exact": "a camera known beforehand",
}


def calibration_lines(made: Calibration) -> list[str]:
    """What a calibration says of itself: scale, residuals and error budget."""
    height_mm = float(made.camera.position_mm[2])
    lines = [
        f"surface {made.table.length_mm:g}x{made.table.width_mm:g} mm, head end on the "
        f"{made.head} of the picture",
        f"scale settled by {SCALE_WORDS[made.scale_source]}; lens {height_mm:.0f} mm above the bed",
    ]
    lines += [f"{line}" for line in residual_lines(made)]
    if made.budget is not None:
        x, y = made.budget.worst_at_mm
        lines.append(
            f"error budget at ball height (95 %): median {made.budget.median_mm:.2f} mm, worst "
            f"{made.budget.worst_mm:.2f} mm at {x:.0f}, {y:.0f}"
        )
        lines += surface_lines(made)
    if made.rail_marks:
        lines.append(f"drift is checked by {len(made.rail_marks)} marks on the rails")
    return lines + [f"note: {warning}" for warning in made.warnings]


def surface_lines(made: Calibration) -> list[str]:
    """How much of the budget is the surface's own size, where that has an error."""
    if "length_mm" not in made.parameter_names or made.budget is None:
        return []
    place = made.parameter_names.index("length_mm")
    error_mm = 2 * math.sqrt(made.parameter_cov[place][place])
    if made.budget.noses_worst_mm is None or made.budget.noses_median_mm is None:
        return []
    return [
        f"of that, against the noses and not a tape: median {made.budget.noses_median_mm:.2f} mm, "
        f"worst {made.budget.noses_worst_mm:.2f} mm; the surface is taken as right to "
        f"±{error_mm:g} mm"
    ]


def residual_lines(made: Calibration) -> list[str]:
    """Residuals by kind of landmark: count, median and worst in mm and px."""
    lines = []
    for kind in dict.fromkeys(residual.kind for residual in made.residuals):
        of_kind = [residual for residual in made.residuals if residual.kind == kind]
        kept = [residual for residual in of_kind if residual.weight > 0.1] or of_kind
        off_mm = np.abs([residual.off_mm for residual in kept])
        off_px = np.abs([residual.off_px for residual in kept])
        doubted = len(of_kind) - len(kept)
        tail = f", {doubted} set aside as disagreeing" if doubted else ""
        lines.append(
            f"{kind}: {len(kept)} landmarks, median {np.median(off_mm):.2f} mm "
            f"({np.median(off_px):.2f} px), worst {off_mm.max():.2f} mm{tail}"
        )
    return lines
