"""What a number of attempts says: rates with intervals, bias, spread, and what is still missing.

No figure is given without its interval; where too few attempts allow none, it is None and the
number of attempts missing is said. Attempts of one session are taken as independent here;
``progress`` says what may be said over sessions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from service.position.verdict.score import Verdict
from service.practice.kinds import ShotKind

from .around import AroundWanted, Arrivals, around_wanted, arrivals
from .by_kind import Split, by_kind
from .landing import Landing, landing
from .means import Mean, Share, mean_distance, mean_share
from .outcomes import is_success, misses_mm, offsets_mm, pot_rate, zone_called, zone_rate
from .plain import plain
from .rates import Rate, Sets, longest_run, sets


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """A session in figures."""

    attempts: int
    refused: int
    pots: Rate
    zone: Rate
    """Stops in the zone among the attempts that could be called and had a zone."""
    too_close_to_call: int
    no_zone: int
    scratches: int
    average_miss: Mean
    """Distance to the zone, 0 inside it."""
    around_wanted: AroundWanted
    """All stops about their wanted spots, whatever the zone's size."""
    arrivals: Arrivals
    """How many stops have a known direction: ``landing`` rests on those."""
    landing: Landing
    longest_run: int
    """Most attempts in a row with the pot made, no scratch, and the stop in the zone."""
    longest_pot_run: int
    pot_chance_given_up: float | None
    """Mean over the attempts where it is known."""
    chance_given_up: Share
    """The same with its interval."""
    chance_left: Share
    """Mean chance of the next pot from where the cue ball stopped."""
    chance_best: Share
    """Mean chance of the next pot from the best place in the zone."""
    sets: Sets | None = None
    """Where the attempts were sets of successes in a row."""
    by_kind: tuple[Split, ...] = ()
    """Told apart by kind of shot, where the kinds are known."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object as in ``session --json``'s summary."""
        out: dict[str, Any] = plain(asdict(self))
        return out


def summarise(
    verdicts: Sequence[Verdict],
    *,
    refused: int = 0,
    kinds: Sequence[ShotKind | None] | None = None,
    in_a_row: int | None = None,
) -> Summary:
    """The summary of scored attempts, in the order they were played.

    ``kinds`` has the kind of each attempt; ``in_a_row`` says that they were sets of so many.
    """
    zone = zone_rate(verdicts)
    called = zone_called(verdicts)
    chances = [
        (v.pot_chance, v.pot_chance_given_up)
        for v in verdicts
        if v.pot_chance is not None and v.pot_chance_given_up is not None
    ]
    given_up = [v.pot_chance_given_up for v in verdicts if v.pot_chance_given_up is not None]
    successes = [is_success(v) for v in verdicts]
    return Summary(
        attempts=len(verdicts) + refused,
        refused=refused,
        pots=pot_rate(verdicts),
        zone=zone,
        too_close_to_call=len(called) - zone.n,
        no_zone=sum(bool(v.zone_empty) for v in verdicts),
        scratches=sum(v.scratch for v in verdicts),
        average_miss=mean_distance(misses_mm(verdicts)),
        around_wanted=around_wanted(verdicts),
        arrivals=arrivals(verdicts),
        landing=landing(offsets_mm(verdicts)),
        longest_run=longest_run(successes),
        longest_pot_run=longest_run(bool(v.pot_made) and not v.scratch for v in verdicts),
        pot_chance_given_up=float(np.mean(given_up)) if given_up else None,
        chance_given_up=mean_share(given_up),
        chance_left=mean_share([v.pot_chance for v in verdicts if v.pot_chance is not None]),
        chance_best=mean_share([min(left + given, 1.0) for left, given in chances]),
        sets=None if in_a_row is None else sets(successes, in_a_row),
        by_kind=() if kinds is None else by_kind(verdicts, kinds),
    )
