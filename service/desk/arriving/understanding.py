"""What a still means: what happened before it, and the verdict on the shot that it ended."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.errors import RestmarkError
from service.desk.judging import judged
from service.position import Intent, Verdict
from service.practice import Outcome, Seen
from vision.layout import Layout

from .chains import why_foreign
from .met import Met

SHOT, NOTHING, SET_UP, IMPOSSIBLE = "shot", "nothing", "set_up", "impossible"


@dataclass(frozen=True, slots=True, kw_only=True)
class Understood:
    """A layout with what led to it."""

    layout: Layout
    """Names carried over from the layout before."""
    in_chain: bool = True
    """A clear table at rest; else it is read, and that is all."""
    outcome: Outcome | None = None
    """None for a table's first."""
    verdict: Verdict | None = None
    said: Mapping[str, Any] | None = None
    """Why a pending intent was not compared with it; None where nothing was to be compared."""

    @property
    def event(self) -> str | None:
        """The outcome's name."""
        return None if self.outcome is None else self.outcome.event


def understand(met: Met, layout: Layout, seen: Seen | None = None) -> Understood:
    """What led from the layout that lay there to this one."""
    refused = _not_comparable(met, layout)
    if refused is not None:
        return refused
    chain = met.at.chain
    assert chain is not None
    meant = None if met.before is None else _intent_of(met)
    found = chain.look(layout, intent=meant, seen=seen)
    if found is None:
        return Understood(layout=layout)
    return judged_as(met, found, seen)


def judged_as(met: Met, found: Outcome, seen: Seen | None) -> Understood:
    """What follows from an outcome: where it is a shot that was due, the verdict on it."""
    chain = met.at.chain
    assert chain is not None
    meant = None if met.before is None else _intent_of(met)
    layout = found.change.after
    if found.event != SHOT or meant is None or met.before is None:
        return Understood(layout=layout, outcome=found)
    facts = seen or chain.seen_between()
    try:
        verdict = judged(
            met.before.layout,
            layout,
            meant,
            met.table,
            player=met.player,
            seen_from_mm=None if facts is None else facts.came_from_mm,
        )
    except RestmarkError as refusal:
        said = not_made(refusal.code, refusal.detail)
        return Understood(layout=layout, outcome=found, said=said)
    return Understood(layout=layout, outcome=found, verdict=verdict, said={"made": True})


def not_made(code: str, detail: str) -> dict[str, Any]:
    """What a reading says where it was not compared with a pending intent."""
    return {"made": False, "code": code, "detail": detail}


def _intent_of(met: Met) -> Intent | None:
    return None if met.intent is None else Intent.from_dict(met.intent.document)


def _not_comparable(met: Met, layout: Layout) -> Understood | None:
    """A still that is compared with nothing."""
    said = None
    if layout.obstructed or not layout.settled:
        code = "obstructed" if layout.obstructed else "unsettled"
        reason = "something is over the table" if layout.obstructed else "balls were still moving"
        said = not_made(
            code,
            f"still {layout.still}: {reason}; allowed: a clear table at rest. No attempt "
            "was made and the intent still holds: post the next still.",
        )
    else:
        foreign = why_foreign(layout, met.table)
        if foreign is None:
            return None
        said = not_made(foreign.code, foreign.detail)
    return Understood(layout=layout, in_chain=False, said=None if met.intent is None else said)
