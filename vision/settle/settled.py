"""What is handed on when the table has come to rest in another way than before."""

from __future__ import annotations

from dataclasses import dataclass, field

from vision.layout import Layout
from vision.still import Picture

from .arrival import Arrival, Track


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What frames showed between one rest and the next."""

    began_s: float
    """When something first differed from the rest before: the player, mostly. Source's clock."""
    rest_s: float
    """When everything lay still: a ball rolls its last millimetre unseen, up to 0.2 s."""
    person: bool
    """Somebody was seen over the bed meanwhile; a cue alone does not count."""
    rolled: bool | None
    """The cue ball was seen to roll by itself; None where it could not be seen."""
    track: Track | None = None
    arrival: Arrival | None = None

    @property
    def struck_s(self) -> float | None:
        """When the cue ball left its place; None where its way was not followed so far back."""
        if self.track is None or not self.track.from_start:
            return None
        return self.track.times_s[0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settled:
    """A clear table at rest that lies differently from the one before."""

    layout: Layout
    picture: Picture = field(repr=False)
    """What was read, (H, W, 3) BGR."""
    at_s: float
    """Time of the newest frame when it was handed on."""
    watched: Watched | None = None
    """None for the first, and for stills that were taken by others."""
