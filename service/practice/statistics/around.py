"""All stops around their wanted spots, and how the cue ball is known to have come to them.

The average miss counts a stop in the zone as 0, so a generous zone looks like accuracy. The
distance from the wanted spot does not depend on the zone's size, and needs no direction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.position.verdict.score import Verdict

from .means import Mean, mean_distance
from .outcomes import off_wanted_mm, offsets_mm
from .within import HALF, NINE_IN_TEN, Distance, within_of_wanted


@dataclass(frozen=True, slots=True, kw_only=True)
class AroundWanted:
    """Distances of all stops, in the zone and out of it, from their wanted spots, mm."""

    n: int
    average: Mean
    root_mean_square_mm: float | None
    """√ of the mean squared distance: what a spread about the wanted spot is, bias included."""
    half_within: Distance
    nine_in_ten_within: Distance


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrivals:
    """Of how many stops the direction is known, and from what."""

    video: int
    route: int
    cut: int
    """Between tangent line and natural roll, narrow enough to split a miss by."""
    unknown: int
    """No direction, or too wide a range: left out of speed against line."""


def around_wanted(verdicts: Sequence[Verdict]) -> AroundWanted:
    """The spread of all stops around their wanted spots."""
    distances = off_wanted_mm(verdicts)
    square = float(np.mean(np.square(distances))) if distances else None
    return AroundWanted(
        n=len(distances),
        average=mean_distance(distances),
        root_mean_square_mm=None if square is None else square**0.5,
        half_within=within_of_wanted(distances, HALF),
        nine_in_ten_within=within_of_wanted(distances, NINE_IN_TEN),
    )


def arrivals(verdicts: Sequence[Verdict]) -> Arrivals:
    """How the stops with a wanted spot are known to have been reached."""
    stops = [v for v in verdicts if v.off_wanted_mm is not None]
    split = [v.arrival_from for v in stops if offsets_mm([v])]
    video, route, cut = (split.count(source) for source in ("video", "route", "cut"))
    return Arrivals(video=video, route=route, cut=cut, unknown=len(stops) - video - route - cut)
