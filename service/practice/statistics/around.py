"""All stops around their wanted spots, and how the cue ball is known to have come to them.

The average miss counts a stop in the zone as 0, so a generous zone looks like accuracy. The
distance from the wanted spot does not depend on the zone's size, and needs no direction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.practice.columns import ARRIVALS, Columns

from .means import Mean, mean_distance
from .outcomes import is_split, off_wanted_mm
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


def around_wanted(shots: Columns) -> AroundWanted:
    """The spread of all stops around their wanted spots."""
    distances = off_wanted_mm(shots)
    square = float(np.mean(np.square(distances))) if len(distances) else None
    return AroundWanted(
        n=len(distances),
        average=mean_distance(distances),
        root_mean_square_mm=None if square is None else square**0.5,
        half_within=within_of_wanted(distances, HALF),
        nine_in_ten_within=within_of_wanted(distances, NINE_IN_TEN),
    )


def arrivals(shots: Columns) -> Arrivals:
    """How the stops with a wanted spot are known to have been reached."""
    stops = ~np.isnan(shots.off_wanted_mm)
    split = shots.arrival[stops & is_split(shots)]
    video, route, cut = (int(np.count_nonzero(split == code)) for code in range(len(ARRIVALS)))
    unknown = int(np.count_nonzero(stops)) - video - route - cut
    return Arrivals(video=video, route=route, cut=cut, unknown=unknown)
