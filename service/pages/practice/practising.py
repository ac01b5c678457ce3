"""The practice that is open at the table, and what another may be begun with."""

from __future__ import annotations

from dataclasses import dataclass

from service.desk.changing.correcting import NAMES, NAMES_BACK
from service.desk.changing.outcomes import OUTCOME, OUTCOME_BACK
from service.desk.changing.reopening import REOPEN
from service.desk.changing.striking import NOTE, RESTORE, STRIKE
from service.desk.practising.practices import SKIP
from service.desk.practising.renewing import played_of
from service.desk.practising.turns import place_next, turns_taken
from service.desk.practising.ways import PLAN, PracticeWay
from service.store import ChangeRecord, PlanRecord, Reader
from service.words.intents import intent_words
from service.words.laying.ways import way_score, way_words
from service.words.lengths import Lengths

PLANS_OFFERED = 12
_CHANGES = {
    STRIKE: "struck",
    RESTORE: "counted again",
    NOTE: "noted",
    REOPEN: "opened again",
    NAMES: "names put right",
    NAMES_BACK: "names taken back",
    OUTCOME: "what happened put right",
    OUTCOME_BACK: "what happened taken back",
    SKIP: "a shot skipped",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Practising:
    """What is practised, or what could be."""

    number: int | None = None
    """The open practice's; None: none is open."""
    words: str = ""
    began: str = ""
    plans: tuple[tuple[int, str], ...] = ()
    """Kept plans, newest first: number and title."""
    place: int | None = None
    """Which of the plan's shots is next, from 1; None: it has no plan, or is at its end."""
    of: int = 0
    """So many shots the plan has."""
    next_words: str = ""
    """That shot in words; empty for one of the player's own choosing."""
    score: str = ""
    """How far the way has come by its own score: ``2 of 3 in a row``."""
    undoes: str = ""
    """What the next undoing takes back; empty where nothing was changed by hand."""


def practising_of(reader: Reader, table: int, lengths: Lengths) -> Practising:
    """The practice at that table."""
    practice = reader.open_practice(table)
    undoes = next(map(_said, reader.changes(limit=1, table_id=table)), "")
    if practice is None:
        kept = reader.plans(limit=PLANS_OFFERED)
        plans = tuple(
            (plan.id, plan.title or f"Plan {plan.id}") for plan in kept if _has_shots(plan)
        )
        return Practising(plans=plans, undoes=undoes)
    way = PracticeWay.from_dict(practice.way)
    played = [played_of(end) for end in reader.ends(practice.id)]
    place = place_next(way, played, practice.skipped or ())
    shots = way.plan.shots if way.kind == PLAN and way.plan is not None else ()
    intent = shots[place - 1] if place else None
    words = way_words(str(practice.way.get("kind", "free")))
    return Practising(
        number=practice.id,
        words=f"{practice.title}: {words}" if practice.title else words,
        began=practice.began_at.astimezone().strftime("%H:%M"),
        place=place,
        of=len(shots),
        next_words="" if intent is None else intent_words(intent, lengths),
        score=way_score(way.way(None), [each.tried for each in turns_taken(way, played)], lengths),
        undoes=undoes,
    )


def _has_shots(plan: PlanRecord) -> bool:
    """A plan that is still being made has none; rotation needs none."""
    return bool(plan.document.get("shots")) or plan.document.get("mode") == "rotation"


def _said(change: ChangeRecord) -> str:
    """A change by hand in words."""
    words = _CHANGES.get(change.kind, change.kind)
    return words if change.attempt_id is None else f"attempt {change.attempt_id} {words}"
