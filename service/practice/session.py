"""Score a session: readings in order and a plan give attempts and their summary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from calibration.table import Table
from service.position import Intent
from service.position.meant.player import Player
from service.practice.statistics.summary import Summary, summarise
from vision.layout import Layout

from .apart import scored_apart
from .attempt import Attempt, Transition
from .between.seen import Seen
from .pairing import LeftOut, Pair, Reading, chain_readings, named_in_pairs, pair_readings
from .plan import Plan
from .scoring import score_attempt
from .sequence import SequenceScorer
from .ways.tried import Tried


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionResult:
    """All attempts of a session, what else happened, the stills left out, and the summary."""

    attempts: tuple[Attempt, ...]
    left_out: tuple[LeftOut, ...]
    summary: Summary
    steps: tuple[Attempt | Transition, ...] = ()
    """Attempts and other transitions of a sequence in order; empty where stills are pairs."""
    plan: Plan = field(default_factory=Plan)

    @property
    def transitions(self) -> tuple[Transition, ...]:
        """What happened between stills that is no attempt."""
        return tuple(step for step in self.steps if isinstance(step, Transition))

    @property
    def way_report(self) -> dict[str, Any] | None:
        """The own score of a way to practise; None for a plan in order."""
        if self.plan.mode == "in order":
            return None
        tried = [Tried.of(a.verdict) for a in self.attempts if a.verdict is not None]
        return {"mode": self.plan.mode} | self.plan.way.report(tried)

    def lines(self) -> Iterator[dict[str, Any]]:
        """The objects that ``session --json`` prints, in order."""
        for step in self.steps or self.attempts:
            yield step.to_dict()
        yield {"summary": self.summary_dict()}

    def summary_dict(self) -> dict[str, Any]:
        """The summary with pots and position apart, and what was refused or left out."""
        refused_attempts = [
            {"attempt": a.attempt, "code": a.refused_code, "detail": a.refused_why}
            for a in self.attempts
            if a.refused
        ]
        left_out = [{"still": s.name, "code": s.code, "detail": s.reason} for s in self.left_out]
        verdicts = [a.verdict for a in self.attempts if a.verdict is not None]
        out = self.summary.to_dict() | {
            "apart": scored_apart(verdicts).to_dict(),
            "refused_attempts": refused_attempts,
            "left_out": left_out,
        }
        if self.steps:
            found = Counter(step.outcome.event for step in self.transitions)
            out["events"] = {"shot": len(self.attempts)} | dict(sorted(found.items()))
        return out if self.way_report is None else out | {"way": self.way_report}


def score_session(
    readings: Sequence[tuple[str, Reading]],
    plan: Plan | Mapping[str, Any] | None,
    table: Table,
    *,
    player: Player | None = None,
    seen: Mapping[str, Seen] | None = None,
) -> SessionResult:
    """Score every attempt in ``readings``: (name, layout or the error its still gave), in order.

    Stills named in pairs are an attempt each, and attempt i takes the plan's i-th intent. Other
    stills are a sequence: every shot in it is an attempt, from a layout set up again with the
    intent that was played from it before, else with the plan's next. An attempt without an intent
    says only what happened; one that cannot be scored stays in its place with the reason.
    ``seen`` is what frames showed before the still of that name.
    """
    intents = plan if isinstance(plan, Plan) else Plan.from_dict(plan) if plan else Plan()
    if named_in_pairs(readings):
        steps: tuple[Attempt | Transition, ...] = ()
        attempts, left_out = _pairs(readings, intents, table, player)
    else:
        steps, left_out = _sequence(readings, intents, table, player, seen or {})
        attempts = tuple(step for step in steps if isinstance(step, Attempt))
    scored = [attempt for attempt in attempts if attempt.verdict is not None]
    summary = summarise(
        [attempt.verdict for attempt in scored if attempt.verdict is not None],
        refused=len(attempts) - len(scored),
        kinds=[attempt.kind for attempt in scored],
        in_a_row=intents.in_a_row,
    )
    return SessionResult(
        attempts=attempts, left_out=left_out, summary=summary, steps=steps, plan=intents
    )


def _pairs(
    readings: Sequence[tuple[str, Reading]], plan: Plan, table: Table, player: Player | None
) -> tuple[tuple[Attempt, ...], tuple[LeftOut, ...]]:
    pairs, left_out = pair_readings(readings)
    attempts: list[Attempt] = []
    for number, pair in enumerate(pairs, start=1):
        attempt = score_attempt(
            number,
            (pair.before_name, pair.after_name),
            (pair.before, pair.after),
            _intent(number, pair, attempts, plan, table),
            table,
            player=player,
            note=plan.note(number),
        )
        attempts.append(attempt)
    return tuple(attempts), left_out


def _intent(
    number: int, pair: Pair, attempts: Sequence[Attempt], plan: Plan, table: Table
) -> Intent | None:
    """The plan's intent of that number; another way names it from the attempts so far."""
    if plan.mode == "in order":
        return plan.intent(number)
    tried = [Tried.of(attempt.verdict) for attempt in attempts if attempt.verdict is not None]
    layout = pair.before if isinstance(pair.before, Layout) else None
    turn = plan.way.next(tried, layout, table)
    return None if turn is None else turn.intent


def _sequence(
    readings: Sequence[tuple[str, Reading]],
    plan: Plan,
    table: Table,
    player: Player | None,
    seen: Mapping[str, Seen],
) -> tuple[tuple[Attempt | Transition, ...], tuple[LeftOut, ...]]:
    chain, left_out = chain_readings(readings)
    scorer = SequenceScorer(plan=plan, table=table, player=player)
    steps = [
        step
        for link in chain
        for step in scorer.take(link.name, link.reading, seen=seen.get(link.name, link.seen))
    ]
    steps += scorer.finish()
    return tuple(steps), (*left_out, *scorer.left_out)
