"""What stored attempts add up to: their summary, and sessions over weeks."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from service.practice import Played, Progress, ShotKind, Summary, progress, summarise
from service.store import Score

from .verdicts import scored_verdict

_REMEMBERED = 32768
"""Attempts whose values are kept ready, about 3 kB each; beyond that all are read anew."""


def summary_of(scores: Sequence[Score]) -> Summary:
    """Summary of attempts in the order they were played, sets of a row apart."""
    plain = [_played(score) for score in scores if score.in_a_row is None]
    return summarise([played.verdict for played in plain], kinds=[played.kind for played in plain])


def progress_of(scores: Sequence[Score], *, same_shots: bool = False) -> Progress:
    """Sessions over weeks from stored attempts."""
    return progress([_played(score) for score in scores], same_shots=same_shots)


@lru_cache(maxsize=_REMEMBERED)
def _played(score: Score) -> Played:
    return Played(
        at=score.played_at,
        verdict=scored_verdict(score),
        kind=ShotKind(**score.kind),
        in_a_row=score.in_a_row,
    )
