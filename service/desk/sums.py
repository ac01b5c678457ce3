"""What stored attempts add up to: their summary, and sessions over weeks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from service.position import Intent, Verdict
from service.practice import Played, Progress, ShotKind, progress, summarise
from service.store import Score

_PRINTED = frozenset(field.name for field in fields(Verdict))


def summary_of(scores: Sequence[Score]) -> dict[str, Any]:
    """Summary of attempts in the order they were played, sets of a row apart."""
    plain = [score for score in scores if score.in_a_row is None]
    return summarise(
        [stored_verdict(score) for score in plain],
        kinds=[ShotKind(**score.kind) for score in plain],
    ).to_dict()


def progress_of(scores: Sequence[Score], *, same_shots: bool = False) -> Progress:
    """Sessions over weeks from stored attempts."""
    return progress(
        [
            Played(
                at=score.played_at,
                verdict=stored_verdict(score),
                kind=ShotKind(**score.kind),
                in_a_row=score.in_a_row,
            )
            for score in scores
        ],
        same_shots=same_shots,
    )


def stored_verdict(score: Score) -> Verdict:
    """The verdict as it was given, without the zone and the line that were drawn from it."""
    printed: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in score.verdict.items()
        if name in _PRINTED
    }
    return Verdict(
        **printed,
        intent=Intent.from_dict(score.intent),
        offset_along_mm=score.offset_along_mm,
        offset_across_mm=score.offset_across_mm,
    )
