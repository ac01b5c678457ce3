"""Frames kept for a moment: whole ones to read from, small ones to follow the cue ball in."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from vision.still import Picture

from .following import Grey, Seen

WHOLE_KEPT = 4
"""Whole pictures, 6 MB each at full HD."""
SEEN_S = 15.0
"""The longest roll of a ball; 0.4 MB a frame, ten or fifteen a second."""


@dataclass(slots=True, kw_only=True)
class Memory:
    """What is kept between frames."""

    whole: deque[tuple[float, Picture, Grey]] = field(
        default_factory=lambda: deque(maxlen=WHOLE_KEPT)
    )
    """Time, picture and white view of the newest frames."""
    seen: deque[Seen] = field(default_factory=deque)

    def add(self, at_s: float, picture: Picture, white: Grey) -> None:
        """One more frame; those too old go."""
        self.whole.append((at_s, picture, white))
        self.seen.append(Seen(at_s=at_s, white=white))
        while self.seen[0].at_s < at_s - SEEN_S:
            self.seen.popleft()

    def since(self, at_s: float) -> list[tuple[Picture, Grey]]:
        """Whole frames not older than that; the newest at least."""
        out = [(picture, white) for when, picture, white in self.whole if when >= at_s]
        return out or [self.whole[-1][1:]]

    def at_rest(self, keep_s: float) -> None:
        """Nothing has moved: only the last moment is still of use."""
        while len(self.seen) > 1 and self.seen[0].at_s < self.seen[-1].at_s - keep_s:
            self.seen.popleft()
