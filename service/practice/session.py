"""Score a session: readings in order and a plan give attempts and their summary."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.errors import RestmarkError
from calibration.table import Table
from service.position.meant.player import Player
from service.position.verdict.score import Verdict, score_shot
from service.practice.statistics.summary import Summary, summarise
from vision.layout import Layout

from .kinds import ShotKind, shot_kind
from .notes import Note
from .pairing import LeftOut, Pair, Reading, pair_readings
from .plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One attempt: its number from 1, its stills, and a verdict or the reason for none."""

    attempt: int
    before: str
    after: str
    verdict: Verdict | None = None
    refused_code: str | None = None
    refused_why: str | None = None
    before_layout: Layout | None = None
    after_layout: Layout | None = None
    kind: ShotKind | None = None
    """What kind of shot it was, with what the player noted."""
    note: Note | None = None

    @property
    def refused(self) -> bool:
        """No verdict could be given."""
        return self.verdict is None

    def to_dict(self) -> dict[str, Any]:
        """JSON object as ``session --json`` prints it, one an attempt."""
        head: dict[str, Any] = {
            "attempt": self.attempt,
            "before": self.before,
            "after": self.after,
        }
        if self.verdict is None:
            return head | {"error": {"code": self.refused_code, "detail": self.refused_why}}
        return head | self.verdict.to_dict()


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionResult:
    """All attempts of a session, the stills that belong to none, and the summary."""

    attempts: tuple[Attempt, ...]
    left_out: tuple[LeftOut, ...]
    summary: Summary

    def lines(self) -> Iterator[dict[str, Any]]:
        """The objects that ``session --json`` prints, in order."""
        for attempt in self.attempts:
            yield attempt.to_dict()
        yield {"summary": self.summary_dict()}

    def summary_dict(self) -> dict[str, Any]:
        """The summary with what was refused or left out."""
        refused_attempts = [
            {"attempt": a.attempt, "code": a.refused_code, "detail": a.refused_why}
            for a in self.attempts
            if a.refused
        ]
        left_out = [{"still": s.name, "code": s.code, "detail": s.reason} for s in self.left_out]
        return self.summary.to_dict() | {
            "refused_attempts": refused_attempts,
            "left_out": left_out,
        }


def score_session(
    readings: Sequence[tuple[str, Reading]],
    plan: Plan | Mapping[str, Any] | None,
    table: Table,
    *,
    player: Player | None = None,
) -> SessionResult:
    """Score every attempt in ``readings``: (name, layout or the error its still gave), in order.

    Attempt i uses the plan's i-th intent; an attempt without one says only what happened. An
    attempt that cannot be scored stays in its place with the reason.
    """
    intents = plan if isinstance(plan, Plan) else Plan.from_dict(plan) if plan else Plan()
    pairs, left_out = pair_readings(readings)
    attempts = tuple(
        _score(number, pair, intents, table, player) for number, pair in enumerate(pairs, start=1)
    )
    scored = [attempt for attempt in attempts if attempt.verdict is not None]
    summary = summarise(
        [attempt.verdict for attempt in scored if attempt.verdict is not None],
        refused=len(attempts) - len(scored),
        kinds=[attempt.kind for attempt in scored],
        in_a_row=intents.in_a_row,
    )
    return SessionResult(attempts=attempts, left_out=left_out, summary=summary)


def _score(number: int, pair: Pair, plan: Plan, table: Table, player: Player | None) -> Attempt:
    head: dict[str, Any] = {
        "attempt": number,
        "before": pair.before_name,
        "after": pair.after_name,
        "before_layout": pair.before if isinstance(pair.before, Layout) else None,
        "after_layout": pair.after if isinstance(pair.after, Layout) else None,
    }
    try:
        for reading in (pair.before, pair.after):
            if isinstance(reading, RestmarkError):
                raise reading
        assert isinstance(pair.before, Layout)
        assert isinstance(pair.after, Layout)
        intent = plan.intent(number)
        verdict = score_shot(pair.before, pair.after, intent, table, player=player)
    except RestmarkError as wrong:
        return Attempt(**head, refused_code=wrong.code, refused_why=wrong.detail)
    note = plan.note(number)
    kind = shot_kind(pair.before, verdict, table).noted(note)
    return Attempt(**head, verdict=verdict, kind=kind, note=note)
