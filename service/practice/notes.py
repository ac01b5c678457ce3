"""What the player notes about a shot that no still shows: spin, rails, a row to complete."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Annotated, Any

from pydantic import Field

from calibration import strict
from calibration.errors import RestmarkError

SPINS = ("follow", "stun", "draw")
SIDE_SPINS = ("none", "left", "right")
MOST_RAILS = 9
MOST_IN_A_ROW = 100
Rails = Annotated[
    int,
    Field(strict=True, ge=0, le=MOST_RAILS, description=f"a whole number from 0 to {MOST_RAILS}"),
]
InARow = Annotated[
    int,
    Field(
        strict=True, ge=2, le=MOST_IN_A_ROW, description=f"a whole number from 2 to {MOST_IN_A_ROW}"
    ),
]


class NoteError(RestmarkError):
    """A note that cannot be taken; the text says field, what was given and what is allowed."""

    code = "bad-note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A player's note on one attempt; None where nothing was noted."""

    spin: str | None = None
    """``follow``, ``stun`` or ``draw``: how the cue ball was struck, above to below the middle."""
    side_spin: str | None = None
    """``none``, ``left`` or ``right``."""
    rails: Rails | None = None
    """Rails that the cue ball touched after the ball to pot."""
    in_a_row: InARow | None = None
    """The attempt belonged to a set: that many successes in a row, a failure starts again."""

    def __post_init__(self) -> None:
        strict.check(self, label="", error=NoteError, remedy="Correct it.")
        for name, allowed in (("spin", SPINS), ("side_spin", SIDE_SPINS)):
            value = getattr(self, name)
            if value is not None and value not in allowed:
                raise NoteError(
                    f"{name}: got {value!r}; allowed: {', '.join(allowed)}. Correct it."
                )

    def to_dict(self) -> dict[str, Any]:
        """JSON object; what was not noted is null."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Any, *, path: str = "note") -> Note:
        """Inverse of ``to_dict``, every key optional; errors name the field by its path."""
        return strict.build(
            cls, data, path=path, closed=True, error=NoteError, remedy="Correct it."
        )
