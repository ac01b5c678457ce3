"""One finding."""

from __future__ import annotations

from dataclasses import dataclass

OK, CARE, WRONG = "ok", "care", "wrong"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """How one thing stands."""

    what: str
    found: str
    state: str = OK
    """``ok``; ``care``: it goes on, but look at it; ``wrong``: it does not work so."""
    to_do: str = ""
    """Empty where nothing is to be done."""

    def to_dict(self) -> dict[str, str]:
        """JSON object of ``doctor --json``."""
        return {
            "what": self.what, "state": self.state, "found": self.found, "to_do": self.to_do,
        }  # fmt: skip
