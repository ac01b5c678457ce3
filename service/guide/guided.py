"""One look at the table against the wanted layout: every move, what is done, what is doubtful."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calibration.notices import Notice
from calibration.strict import shown
from service.position.verdict.happened import SURFACE_SLACK_MM
from vision.layout import Ball, Layout

from .errors import GuideError
from .moves import Move
from .pairing import Paired, Swap, pair, swaps
from .steps import Step, steps

LEAST_MM, MOST_MM = 0.5, 100.0
"""Tolerances between which a player may choose: no reading is finer, no set-up is coarser."""
DEFAULT_MM = 6.0
"""What a careful hand reaches with a marked cloth."""
SMALL_SHARE = 0.5
"""A reading whose 95 % error is at most this share of the tolerance is small against it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guided:
    """One look at the table against the wanted layout."""

    now: Layout
    tolerance_mm: float
    moves: tuple[Move, ...]
    """Every wanted ball that is on the table, in the wanted layout's order."""
    extra: tuple[Ball, ...]
    """Balls that have to leave the table."""
    missing: tuple[Ball, ...]
    """Wanted balls that are not seen, at their places."""
    steps: tuple[Step, ...]
    swaps: tuple[Swap, ...]
    """Balls in one another's places: where their numbers do not matter they may stay so."""
    notices: tuple[Notice, ...] = ()

    @property
    def is_clear(self) -> bool:
        """Nothing lies over the bed and the balls are at rest."""
        return self.now.settled and not self.now.obstructed

    @property
    def is_done(self) -> bool:
        """All balls are there, within the tolerance, none too many, and the table is clear."""
        return (
            self.is_clear
            and not self.extra
            and not self.missing
            and all(move.is_right for move in self.moves)
        )

    @property
    def is_sure(self) -> bool:
        """No reading is too coarse to tell, and no name is in doubt."""
        return all(m.is_sure and not m.now.doubtful and not m.is_renamed for m in self.moves)

    @property
    def wrong(self) -> tuple[Move, ...]:
        """Balls still to be moved."""
        return tuple(move for move in self.moves if not move.is_right)

    @property
    def worst_mm(self) -> float:
        """How far the ball lies off that lies farthest off."""
        return max((move.off_mm for move in self.moves), default=0.0)

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "still": self.now.still,
            "surface_mm": list(self.now.surface_mm),
            "tolerance_mm": self.tolerance_mm,
            "done": self.is_done,
            "sure": self.is_sure,
            "settled": self.now.settled,
            "obstructed": self.now.obstructed,
            "balls": [move.to_dict(self.now.surface_mm) for move in self.moves],
            "take_off": [{"id": b.id, "at_mm": list(b.centre_mm)} for b in self.extra],
            "missing": [{"id": b.id, "to_mm": list(b.centre_mm)} for b in self.missing],
            "steps": [step.to_dict() for step in self.steps],
            "swaps": [{"balls": list(s.balls), "saves_mm": s.saves_mm} for s in self.swaps],
            "worst_mm": self.worst_mm,
            "warnings": [notice.text for notice in self.notices],
            "notices": [notice.to_dict() for notice in self.notices],
        }


def guided(wanted: Layout, now: Layout, *, tolerance_mm: float = DEFAULT_MM) -> Guided:
    """What is left to do until ``now`` lies as ``wanted``, each ball within ``tolerance_mm``.

    Raises:
        GuideError: a tolerance out of bounds, or layouts of two surfaces (code "other-surface").
    """
    check_tolerance(tolerance_mm)
    check_surfaces(wanted, now)
    paired = pair(wanted, now)
    moves = tuple(
        Move(ball=target.id, now=ball, to_mm=target.centre_mm, tolerance_mm=tolerance_mm)
        for target, ball in paired.pairs
    )
    return Guided(
        now=now,
        tolerance_mm=tolerance_mm,
        moves=moves,
        extra=paired.extra,
        missing=paired.missing,
        steps=steps(moves, paired.extra, paired.missing),
        swaps=swaps(_surely_named(paired)),
        notices=(*_doubts(moves), *_coarse(moves, tolerance_mm)),
    )


def check_tolerance(tolerance_mm: float) -> None:
    """Refuse a tolerance that no hand or reading suits.

    Raises:
        GuideError: it is out of bounds.
    """
    is_number = isinstance(tolerance_mm, int | float) and not isinstance(tolerance_mm, bool)
    if not (is_number and LEAST_MM <= tolerance_mm <= MOST_MM):
        raise GuideError(
            f"tolerance_mm: got {shown(tolerance_mm)}; allowed: {LEAST_MM:g} to {MOST_MM:g} mm. "
            "Say how near each ball has to lie."
        )


def check_surfaces(wanted: Layout, now: Layout) -> None:
    """Refuse layouts of two surfaces.

    Raises:
        GuideError: code "other-surface".
    """
    pairs = zip(wanted.surface_mm, now.surface_mm, strict=True)
    if any(abs(a - b) > SURFACE_SLACK_MM for a, b in pairs):
        a, b = wanted.surface_mm, now.surface_mm
        raise GuideError(
            f"layout.surface_mm: got {a[0]:g}x{a[1]:g}; allowed: this table's {b[0]:g}x{b[1]:g} "
            "mm. Carry the layout over to this table first.",
            code="other-surface",
        )


def _surely_named(paired: Paired) -> list[tuple[Ball, Ball]]:
    return [(target, ball) for target, ball in paired.pairs if target.id == ball.id]


def _doubts(moves: Sequence[Move]) -> list[Notice]:
    out = []
    for move in moves:
        if not (move.now.doubtful or move.is_renamed):
            continue
        x, y = move.from_mm
        others = [name for name, _ in move.now.runners_up if name != move.ball]
        if move.is_renamed:
            said = f"reads as {move.now.id} in doubt and is taken for {move.ball}"
        else:
            said = f"reads as {move.ball} in doubt" + (
                f"; or {', '.join(others)}" if others else ""
            )
        out.append(
            Notice(
                code="name-in-doubt",
                text=f"The ball at x {x:.0f}, y {y:.0f} mm {said}: look at its number.",
                fields={
                    "id": move.ball,
                    "read_as": move.now.id,
                    "others": others,
                    "places_mm": [[x, y]],
                },
            )
        )
    return out


def _coarse(moves: Sequence[Move], tolerance_mm: float) -> list[Notice]:
    """One notice for all balls whose reading is not small against the tolerance."""
    coarse = [move for move in moves if move.error_mm > SMALL_SHARE * tolerance_mm]
    if not coarse:
        return []
    names = [move.ball for move in coarse]
    worst = max(move.error_mm for move in coarse)
    return [
        Notice(
            code="coarse-reading",
            text=f"The reading is good to {worst:.1f} mm (95 %), which is not small against the "
            f"tolerance of {tolerance_mm:g} mm: ball {', '.join(names)}. A finer calibration or a "
            "wider tolerance settles it.",
            fields={"ids": names, "error_mm": worst, "tolerance_mm": tolerance_mm},
        )
    ]
