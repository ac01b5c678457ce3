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

from service.position.verdict.verdict import Verdict
from service.practice.columns import Columns, known
from service.practice.kinds import ShotKind

from .around import AroundWanted, Arrivals, around_wanted, arrivals
from .by_kind import Split, by_kind
from .landing import Landing, landing
from .means import Mean, Share, mean_distance, mean_share
from .outcomes import (
    misses_mm,
    offsets_mm,
    pot_rate,
    pots_made,
    successes,
    zone_called,
    zone_rate,
)
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
    shots = Columns.of_verdicts(verdicts, kinds=kinds)
    return sum_up(shots, refused=refused, told_apart=kinds is not None, in_a_row=in_a_row)


def sum_up(
    shots: Columns, *, refused: int = 0, told_apart: bool = True, in_a_row: int | None = None
) -> Summary:
    """The same of attempts as columns; ``told_apart`` by kind of shot too."""
    zone = zone_rate(shots)
    hits = successes(shots).tolist()
    left, given_up = shots.pot_chance, shots.pot_chance_given_up
    given = known(given_up)
    return Summary(
        attempts=len(shots) + refused,
        refused=refused,
        pots=pot_rate(shots),
        zone=zone,
        too_close_to_call=int(np.count_nonzero(zone_called(shots))) - zone.n,
        no_zone=int(np.count_nonzero(shots.zone_empty)),
        scratches=int(np.count_nonzero(shots.scratch)),
        average_miss=mean_distance(misses_mm(shots)),
        around_wanted=around_wanted(shots),
        arrivals=arrivals(shots),
        landing=landing(offsets_mm(shots)),
        longest_run=longest_run(hits),
        longest_pot_run=longest_run(pots_made(shots)),
        pot_chance_given_up=float(np.mean(given)) if len(given) else None,
        chance_given_up=mean_share(given),
        chance_left=mean_share(known(left)),
        chance_best=mean_share(known(np.minimum(left + given_up, 1.0))),
        sets=None if in_a_row is None else sets(hits, in_a_row),
        by_kind=by_kind(shots) if told_apart else (),
    )
