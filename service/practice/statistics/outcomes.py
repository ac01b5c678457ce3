"""What counts in a verdict: one rule a question, for sessions, kinds of shots and trends alike."""

from __future__ import annotations

from collections.abc import Sequence

from service.position.verdict.score import Verdict

from .rates import Rate, rate


def zone_called(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """Attempts with an intent that had a zone; a scratch counts as out."""
    return [v for v in verdicts if v.verdict is not None and not v.zone_empty]


def zone_rate(verdicts: Sequence[Verdict]) -> Rate:
    """Stops in the zone among the attempts that could be called."""
    decided = [v for v in zone_called(verdicts) if v.verdict != "too close to call"]
    return rate(sum(v.verdict == "in" for v in decided), len(decided))


def pot_rate(verdicts: Sequence[Verdict]) -> Rate:
    """Pots made, without a scratch, among the attempts that named a ball to pot."""
    pots = [bool(v.pot_made) and not v.scratch for v in verdicts if v.pot_made is not None]
    return rate(sum(pots), len(pots))


def is_success(verdict: Verdict) -> bool:
    """Pot made, no scratch, stop in the zone."""
    return verdict.verdict == "in" and not verdict.scratch and verdict.pot_made is not False


def misses_mm(verdicts: Sequence[Verdict]) -> list[float]:
    """Distances to the zone, 0 inside it."""
    return [v.miss_mm for v in verdicts if v.miss_mm is not None]


def off_wanted_mm(verdicts: Sequence[Verdict]) -> list[float]:
    """Distances from the wanted spots, hits and misses alike, however the cue ball came."""
    return [v.off_wanted_mm for v in verdicts if v.off_wanted_mm is not None]


def offsets_mm(verdicts: Sequence[Verdict]) -> list[tuple[float, float]]:
    """Stops against wanted spots, (along, across) the arrival line.

    Only where the direction is known: seen, by a route, or from the cut within 30°.
    """
    return [
        (v.offset_along_mm, v.offset_across_mm)
        for v in verdicts
        if v.offset_along_mm is not None and v.offset_across_mm is not None
    ]
