"""How near a ball has to lie, by round steps of the unit that a player reads."""

from __future__ import annotations

from service.guide.guided import LEAST_MM, MOST_MM
from service.words.lengths import Lengths, Units

_STEPS = {
    Units.MM: (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 75, 100),
    Units.INCHES: (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0),
    Units.DIAMONDS: (0.005, 0.01, 0.015, 0.02, 0.03, 0.04, 0.05, 0.075, 0.1, 0.15, 0.2, 0.3),
}
_SAME_MM = 0.05
"""Less than this apart, two tolerances read alike."""


def nearness_steps(held_mm: float, lengths: Lengths) -> tuple[tuple[float, str], ...]:
    """Tolerances in mm with their words, rising; the one that holds now is among them."""
    round_mm = (step * lengths.unit_mm for step in _STEPS[lengths.units])
    steps_mm = {mm for mm in round_mm if LEAST_MM <= mm <= MOST_MM and not _is_same(mm, held_mm)}
    return tuple((mm, lengths.text(mm)) for mm in sorted({held_mm, *steps_mm}))


def _is_same(a_mm: float, b_mm: float) -> bool:
    return abs(a_mm - b_mm) < _SAME_MM
