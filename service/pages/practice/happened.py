"""What happened before the still on the page, and how it is put right where that is wrong."""

from __future__ import annotations

from dataclasses import dataclass

from service.store import ReadingRecord
from service.words.happened.outcomes import OUTCOMES, outcome_words, understood_words
from service.words.plain import capital


@dataclass(frozen=True, slots=True, kw_only=True)
class HappenedView:
    """The outcome in words, and what else it may have been."""

    reading: int
    words: str
    was: str
    """What it was taken for, where somebody said otherwise; else empty."""
    others: tuple[tuple[str, str], ...]
    """Names and words of the other outcomes, each a tap away."""
    is_set_up: bool
    """Balls set up again: it may have been another layout."""


def happened_view(reading: ReadingRecord) -> HappenedView | None:
    """What happened before a live still; None where nothing was understood."""
    outcome = reading.outcome
    if outcome is None or not reading.live:
        return None
    return HappenedView(
        reading=reading.id,
        words=outcome_words(outcome),
        was=understood_words(outcome),
        others=tuple(
            (event, capital(words))
            for event, words in OUTCOMES.items()
            if event != outcome["event"]
        ),
        is_set_up=outcome["event"] == "set_up",
    )
