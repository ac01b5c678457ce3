"""What frames between two stills showed, where there are frames."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.table import PointMm
from vision.settle.settled import Watched


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """Facts between the still before and the still after; None or empty where nobody looked."""

    rolled: bool | None = None
    """Balls rolled by themselves: nothing of a person was over those that moved."""
    hand_over_bed: bool | None = None
    """A hand, an arm or a body was over the bed; alone it says little, a bridge hand is too."""
    cue_track_mm: tuple[PointMm, ...] = ()
    """Places of the cue ball's centre in order of time, from where it lay before."""
    came_from_mm: PointMm | None = None
    """Where the cue ball was last turned before it came to rest: a ball or a rail."""

    @property
    def by_hand(self) -> bool:
        """A hand moved what was moved: one was there, and nothing rolled."""
        return self.rolled is False and self.hand_over_bed is True

    @property
    def played(self) -> bool:
        """Balls rolled."""
        return self.rolled is True


def seen_of(watched: Watched) -> Seen:
    """What a watcher's frames showed between two rests."""
    return Seen(
        rolled=watched.rolled,
        hand_over_bed=watched.person,
        cue_track_mm=() if watched.track is None else watched.track.places_mm,
        came_from_mm=None if watched.arrival is None else watched.arrival.came_from_mm,
    )
