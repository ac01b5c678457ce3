"""A wrong size betrays itself: sights, cushions and mouths have sizes of their own.

A still alone has no scale: a table told 4 % too long is explained by a camera 4 % higher up. But
sights are set 93.7 mm behind the noses and cushions are 49 mm wide on tables of every size.
"""

from __future__ import annotations

from collections.abc import Mapping

from calibration.errors import CalibrationError
from calibration.notices import Notice
from calibration.seen.marks import DIMENSION_SIGMA_MM
from calibration.table import NAMED_SURFACES_MM, Table

from .known import NAMED_ERROR_MM, Known

WRONG_SIZE = 0.055
SUSPECT_SIZE = 0.03
"""How far the table's own proportions may be from the model's before refusal, or warning."""
_PROPORTION_SIGMA = {
    "sight_offset_mm": 0.02,
    "cushion_width_mm": 0.03,
    "corner_mouth_mm": 0.06,
    "side_mouth_mm": 0.06,
}
"""Relative spread of fittings between tables: how far each can vouch for the surface's size."""
FITTINGS_MM = {
    "sight_offset_mm": (93.7, 1.6),
    "cushion_width_mm": (49.2, 1.0),
    "corner_mouth_mm": (117.5, 6.4),
    "side_mouth_mm": (133.4, 4.8),
}
"""Fittings as tables of all sizes have them, middle and 1 sigma (trade specifications: 93.7 ± 3.2;
47.6 to 50.8; 104.8 to 130.2; 123.8 to 142.9)."""
ALMOST_AS_WELL = 4.6
"""A neighbour is named where its chi-squared is not higher than the told size's by this: twice the
logarithm of odds of 10 to 1."""
_NEIGHBOUR = 0.15
_SEEN = 0.5
"""A fitting counts as seen where the still brings its sigma below this part of its prior's."""


def check_size(
    table: Table,
    change_mm: Mapping[str, float],
    sigma_mm: Mapping[str, float],
    known: Known,
) -> tuple[Notice, ...]:
    """Refuse a told size that the fittings contradict; warn where another does almost as well.

    ``change_mm`` and ``sigma_mm`` are the solved dimensions against the model, and their errors.
    Where lens file and measured height are ``known``, the size needs no other witness.

    Raises:
        CalibrationError: the fittings contradict the told size.
    """
    doubts = _proportions(table, change_mm)
    if known.lens is not None and known.tape_mm is not None:
        return ()
    seen_mm = {
        name: getattr(table, name) + change_mm[name]
        for name in FITTINGS_MM
        if name in change_mm and sigma_mm[name] < _SEEN * DIMENSION_SIGMA_MM[name]
    }
    if 0 < known.surface_error_mm < NAMED_ERROR_MM:
        return doubts
    if not seen_mm:
        text = (
            f"the surface's size is taken as told, {_size(table.surface_mm)}: no landmark checks "
            "it. Measure the surface from nose to nose."
        )
        return (Notice(code="size-unchecked", text=text),)
    return _rivals(table, seen_mm) or doubts


def _proportions(table: Table, change_mm: Mapping[str, float]) -> tuple[Notice, ...]:
    ratios = {
        name: 1 + change_mm[name] / getattr(table, name)
        for name in _PROPORTION_SIGMA
        if name in change_mm
    }
    if len(ratios) < 2:
        return ()
    weights = {name: _PROPORTION_SIGMA[name] ** -2 for name in ratios}
    ratio = sum(weights[n] * r for n, r in ratios.items()) / sum(weights.values())
    told = f"{table.length_mm:g}x{table.width_mm:g}"
    seen = ", ".join(
        f"{n.removesuffix('_mm').replace('_', ' ')} x {r:.2f}" for n, r in ratios.items()
    )
    guess = f"{table.length_mm / ratio:.0f}x{table.width_mm / ratio:.0f}"
    if abs(ratio - 1) > WRONG_SIZE:
        raise CalibrationError(
            f"surface: got {told} mm, but against that the fittings come out wrong by one factor "
            f"({seen}), as on a surface of about {guess} mm; allowed: factors of 1 within "
            f"{WRONG_SIZE:.1%}. Measure the surface from nose to nose and give that.",
            fields={"about": "surface", "ratio": ratio},
        )
    if abs(ratio - 1) > SUSPECT_SIZE:
        text = f"surface {told} mm looks nearer to {guess} mm by its fittings ({seen}): measure."
        return (Notice(code="size-in-doubt", text=text, fields={"ratio": ratio}),)
    return ()


def _rivals(table: Table, seen_mm: Mapping[str, float]) -> tuple[Notice, ...]:
    """Named neighbours of the told size that explain the fittings almost as well, or better.

    Refuses where one explains them better by odds of more than 10 to 1.
    """
    told = misfit(seen_mm, 1.0)
    out = []
    for name, size_mm in NAMED_SURFACES_MM.items():
        ratio = size_mm[0] / table.length_mm
        if not 0.005 < abs(ratio - 1) < _NEIGHBOUR:
            continue
        more = misfit(seen_mm, ratio) - told
        if more < -ALMOST_AS_WELL:
            raise CalibrationError(
                f"surface: got {_size(table.surface_mm)}, but the fittings are explained by {name} "
                f"({_size(size_mm)}) far better; allowed: a size that the fittings bear out, or "
                "one that was measured. Measure the surface from nose to nose and give that.",
                fields={"about": "surface", "rival": name},
            )
        if more < ALMOST_AS_WELL:
            words = "better than" if more < 0 else "almost as well as"
            text = (
                f"the fittings are explained by {name} ({_size(size_mm)}) {words} by "
                f"{_size(table.surface_mm)}: measure the surface from nose to nose, or give lens "
                "file and camera height together."
            )
            out.append(Notice(code="size-in-doubt", text=text, fields={"rival": name}))
    return tuple(out)


def misfit(seen_mm: Mapping[str, float], ratio: float) -> float:
    """Chi-squared of fittings, seen under the told size, on a table ``ratio`` times as large."""
    return sum(
        ((value * ratio - FITTINGS_MM[name][0]) / FITTINGS_MM[name][1]) ** 2
        for name, value in seen_mm.items()
    )


def _size(surface_mm: tuple[float, float]) -> str:
    return f"{surface_mm[0]:g}x{surface_mm[1]:g} mm"
