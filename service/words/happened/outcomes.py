"""What happened between two stills, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..plain import capital

OUTCOMES: Mapping[str, str] = {
    "shot": "a shot",
    "placed": "the cue ball put down by hand",
    "set_up": "balls set up again",
    "corrected": "balls moved by hand",
    "spotted": "balls put back on the table",
    "nothing": "nothing",
    "impossible": "something else",
}
"""What may have happened, by its name."""


def outcome_words(outcome: Mapping[str, Any]) -> str:
    """One sentence: what it was, and what belongs to it."""
    event = str(outcome["event"])
    what, detail = OUTCOMES.get(event, event), str(outcome.get("detail", ""))
    if outcome.get("said"):
        what += ", as you said"
    told = f"{what}: {detail}" if event == "shot" and detail else what
    if event == "set_up" and detail:
        told = detail
    doubt = " (in doubt)" if outcome.get("doubtful") else ""
    return f"{capital(told)}{doubt}"


def understood_words(outcome: Mapping[str, Any]) -> str:
    """What was understood before somebody said otherwise; empty where nobody did."""
    understood = outcome.get("understood")
    if understood is None:
        return ""
    event = str(understood["event"])
    return f"It was taken for {OUTCOMES.get(event, event)}."
