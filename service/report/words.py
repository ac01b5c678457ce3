"""Results in plain words of the trade: millimetres first, then ball widths and diamonds."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from calibration.chi_square import PLANE_AXIS_95
from calibration.table import BALL_DIAMETER_MM, PointMm, Table
from vision.layout import Ball

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from calibration.lens.file import Lens

MINUS = "\N{MINUS SIGN}"
SCALE_WORDS = {
    "lens file": "the lens file",
    "tape measure": "the measured camera height",
    "ball check": "balls frozen at known places",
    "EXIF": "the focal length in the still's EXIF data, which is rough",
    "default": "a default focal length: no lens file, height, ball check or EXIF data were given",
    "exact": "a camera known beforehand",
}


def ball_name(name: str) -> str:
    """``cue ball`` or ``3``'s full name, ``ball 3``."""
    return "cue ball" if name == "cue" else f"ball {name}"


def pocket_name(name: str | None) -> str:
    """``foot-left`` as read aloud: ``foot left``."""
    return (name or "").replace("-", " ")


def error_mm(ball: Ball) -> float:
    """Larger half-axis of the ball's 95 % error ellipse, mm."""
    largest = float(np.linalg.eigvalsh(np.asarray(ball.cov_mm2, dtype=float))[-1])
    return PLANE_AXIS_95 * math.sqrt(max(largest, 0.0))


def signed(value: float, digits: int = 0) -> str:
    """A number with its sign, a real minus, and no sign on zero."""
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0:
        return text
    return ("+" if value > 0 else MINUS) + text


def ball_widths(length_mm: float) -> str:
    """A length in ball widths: ``1.5 balls``."""
    count = length_mm / BALL_DIAMETER_MM
    return f"{count:.1f} ball widths"


def long_or_short(along_mm: float | None) -> str:
    """Speed error in words: ``84 mm long``."""
    if along_mm is None:
        return ""
    if abs(along_mm) < 0.5:
        return "right length"
    return f"{abs(along_mm):.0f} mm {'long' if along_mm > 0 else 'short'}"


def left_or_right(across_mm: float | None) -> str:
    """Line error in words: ``12 mm left`` of the arrival line."""
    if across_mm is None:
        return ""
    if abs(across_mm) < 0.5:
        return "on the line"
    return f"{abs(across_mm):.0f} mm {'left' if across_mm > 0 else 'right'}"


def diamonds(table: Table, place_mm: PointMm) -> str:
    """A place in diamonds: ``3.10, 1.42``."""
    across, up = table.diamonds(place_mm)
    return f"{across:.2f}, {up:.2f}"


def percent(share: float) -> str:
    """A share as whole percent."""
    return f"{100 * share:.0f} %"


def lens_lines(lens: Lens) -> list[str]:
    """What a fitted lens says of itself."""
    wide, high = lens.image_size_px
    used = [still for still in lens.stills if still.used]
    lines = [
        f"{len(used)} of {len(lens.stills)} stills used, {sum(s.corners for s in used)} corners",
        f"error at held-out corners {lens.held_out_rms_px:.3f} px, of the fit "
        f"{lens.fit_rms_px:.3f} px",
        f"board seen in {percent(lens.coverage)} of the picture ({wide}x{high} px)",
        *_board_words(lens),
        f"focal length {lens.fx_px:.1f} px, first distortion coefficient {lens.distortion[0]:+.4f}",
    ]
    return lines + [f"left out {name}: {reason}" for name, reason in lens.rejected]


def _board_words(lens: Lens) -> list[str]:
    """The board and what its ruler bar did to it."""
    if lens.board is None:
        return []
    text = f"board as printed: {lens.board.options}"
    if lens.ruler_mm is not None:
        text += f" (scaled by its 100 mm bar, which measures {lens.ruler_mm:g} mm)"
    return [text]


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


def joined(words: Iterable[str]) -> str:
    """Words for a sentence: ``a, b and c``."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]
