"""What stored attempts add up to: their summary, and sessions over weeks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from service.position import Intent, Verdict
from service.practice import Played, Progress, ShotKind, Summary, progress, summarise
from service.store import AttemptRecord, Score


def summary_of(scores: Sequence[Score]) -> Summary:
    """Summary of attempts in the order they were played, sets of a row apart."""
    plain = [score for score in scores if score.in_a_row is None]
    return summarise(
        [stored_verdict(score) for score in plain],
        kinds=[ShotKind(**score.kind) for score in plain],
    )


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


def stored_verdict(score: Score | AttemptRecord) -> Verdict:
    """The verdict as it was given, without the zone and the line that were drawn from it."""
    printed = dict(score.verdict)
    intent = Intent.from_dict(_intent(score))
    if printed.get("arrival_from") is None and printed.get("arrival") is not None:
        # verdicts of old: without a route a straight line to the wanted spot, which is no arrival
        seen = printed["arrival"] == "seen"
        printed["arrival_from"] = "video" if seen else "route" if intent.route_mm else None
    known = printed.get("arrival_from") is not None
    if not known:
        printed |= {"along_mm": None, "across_mm": None}
    return replace(
        Verdict.from_dict(printed),
        intent=intent,
        offset_along_mm=score.offset_along_mm if known else None,
        offset_across_mm=score.offset_across_mm if known else None,
    )


def _intent(score: Score | AttemptRecord) -> Mapping[str, Any]:
    return score.intent.document if isinstance(score, AttemptRecord) else score.intent
