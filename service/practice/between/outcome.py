"""What happened between two layouts, as a value and as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from calibration.table import POCKET_NAMES
from service.position.errors import AttemptError
from vision.layout import Layout

from .compare import Change

EVENTS = ("shot", "placed", "set_up", "corrected", "spotted", "nothing", "impossible")


@dataclass(frozen=True, slots=True, kw_only=True)
class Potted:
    """An object ball that a shot put down, and where it probably went."""

    ball: str
    pocket: str | None = None
    """The likeliest pocket; None where no way to one is seen."""
    share: float = 0.0
    """How likely it is among the six, 0 … 1."""

    def __post_init__(self) -> None:
        if self.pocket is not None and self.pocket not in POCKET_NAMES:
            raise AttemptError(
                f"potted.pocket: got {self.pocket!r}; allowed: {', '.join(POCKET_NAMES)}, or none. "
                "Correct it."
            )

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {"ball": self.ball, "pocket": self.pocket, "share": round(self.share, 3)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """An earlier layout that was set up again, and how near it came."""

    layout: Layout
    """The earlier layout."""
    off_mm: dict[str, float]
    """Distance of every ball from its place in the earlier layout: the set-up's own error."""

    @property
    def still(self) -> str:
        """The still of the earlier layout."""
        return self.layout.still

    def to_dict(self) -> dict[str, Any]:
        """What a set-up, and the attempt played from it, carry."""
        off = {ball: round(mm, 1) for ball, mm in self.off_mm.items()}
        return {"repeats": self.still, "set_up_off_mm": off}

    def words(self, still: str) -> str:
        """One sentence for people; ``still`` is what the still of the earlier layout is called."""
        return f"set up again as {still}, the farthest ball {self.worst_mm:.0f} mm off"

    @property
    def worst_mm(self) -> float:
        """The ball that is farthest off."""
        return max(self.off_mm.values(), default=0.0)

    @property
    def rms_mm(self) -> float:
        """Root mean square over the balls."""
        off = list(self.off_mm.values())
        return (sum(mm * mm for mm in off) / len(off)) ** 0.5 if off else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One named outcome with what belongs to it; balls under the names history gives them."""

    event: str
    """One of ``EVENTS``."""
    detail: str
    """One sentence for people."""
    change: Change
    balls: tuple[str, ...] = ()
    """The balls it is about: those that moved, came or went."""
    doubtful: bool = False
    """Something else explains the layouts nearly as well; the detail says what."""
    potted: tuple[Potted, ...] = ()
    scratch: bool = False
    nudged: tuple[str, ...] = ()
    """Object balls that stayed on the table and lie elsewhere than before, by a shot."""
    repeats: Repeat | None = None
    notices: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.event not in EVENTS:
            raise AttemptError(
                f"event: got {self.event!r}; allowed: {', '.join(EVENTS)}. Correct it."
            )

    def to_dict(self) -> dict[str, Any]:
        """JSON object of an event that is no attempt, without the names of its stills."""
        out: dict[str, Any] = {
            "event": self.event,
            "balls": list(self.balls),
            "detail": self.detail,
            "doubtful": self.doubtful,
            "warnings": list(self.notices),
        }
        return out if self.repeats is None else out | self.repeats.to_dict()

    def shot_dict(self) -> dict[str, Any]:
        """What an attempt of a sequence carries beside its verdict."""
        return {
            "event": self.event,
            "nudged": list(self.nudged),
            "pockets": [ball.to_dict() for ball in self.potted],
            "doubtful": self.doubtful,
        }
