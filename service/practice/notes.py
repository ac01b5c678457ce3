"""What the player notes about a shot that no still shows: spin, rails, a row to complete."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from calibration.errors import RestmarkError

SPINS = ("follow", "stun", "draw")
SIDE_SPINS = ("none", "left", "right")
MOST_RAILS = 9
MOST_IN_A_ROW = 100


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
    rails: int | None = None
    """Rails that the cue ball touched after the ball to pot."""
    in_a_row: int | None = None
    """The attempt belonged to a set: that many successes in a row, a failure starts again."""

    def __post_init__(self) -> None:
        for name, allowed in (("spin", SPINS), ("side_spin", SIDE_SPINS)):
            value = getattr(self, name)
            if value is not None and value not in allowed:
                raise NoteError(
                    f"{name}: got {value!r}; allowed: {', '.join(allowed)}. Correct it."
                )
        for name, least, most in (("rails", 0, MOST_RAILS), ("in_a_row", 2, MOST_IN_A_ROW)):
            value = getattr(self, name)
            whole = isinstance(value, int) and not isinstance(value, bool)
            if value is not None and not (whole and least <= value <= most):
                raise NoteError(
                    f"{name}: got {value!r}; allowed: a whole number from {least} to {most}. "
                    "Correct it."
                )

    def to_dict(self) -> dict[str, Any]:
        """JSON object; what was not noted is null."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Any, *, path: str = "note") -> Note:
        """Inverse of ``to_dict``, every key optional; errors name the field by its path."""
        known = [field.name for field in fields(cls)]
        if not isinstance(data, Mapping) or set(data) - set(known):
            raise NoteError(
                f"{path}: got {data!r}; allowed: an object with {', '.join(known)}. Correct it."
            )
        try:
            return cls(**data)
        except NoteError as wrong:
            raise NoteError(f"{path}.{wrong.detail}") from None
