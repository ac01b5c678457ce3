"""A sequence of readings, step by step: attempts, and what else happened between them.

The intent of a shot is the plan's next, or, from a layout that was set up again, the one that was
played from it before; other ways to practise name it from what was tried.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise

from calibration.errors import RestmarkError
from calibration.table import Table
from service.position import Intent
from service.position.meant.player import Player
from vision.layout import Layout

from .attempt import Attempt, Transition
from .between.outcome import Outcome, Repeat
from .between.repeats import repeat_of
from .between.seen import Seen
from .between.sequence import Telling
from .pairing import LeftOut, Reading
from .plan import Plan
from .scoring import score_attempt
from .ways.tried import Tried


@dataclass(slots=True, kw_only=True)
class _Turns:
    """Whose turn it is in the plan."""

    plan: Plan
    table: Table
    tried: list[Tried] = field(default_factory=list)
    in_turn: int = 0
    """Attempts that took the plan's next intent, not that of a layout set up again."""
    played: list[tuple[Layout, Intent | None]] = field(default_factory=list)
    """Layouts that were played from, with the intent; not those that only repeat one."""
    set_up: Repeat | None = None
    """The layout that lies there again, and how far off its balls lie."""

    def due(self, layout: Layout) -> Intent | None:
        """The intent of a shot from this layout."""
        if self.plan.mode != "in order":
            turn = self.plan.way.next(self.tried, layout, self.table)
            return None if turn is None else turn.intent
        before = self._played_before()
        return self.plan.intent(self.in_turn + 1) if before is None else before[1]

    def shot(self, layout: Layout, intent: Intent | None, attempt: Attempt) -> None:
        """A shot was played from the layout with that intent."""
        if self._played_before() is None:
            self.in_turn += 1
            of = layout if self.set_up is None else self.set_up.layout
            self.played.append((of, intent))
        self.set_up = None
        if attempt.verdict is not None:
            self.tried.append(Tried.of(attempt.verdict))

    def other(self, found: Outcome) -> None:
        """Something else happened; a layout set up again stays so while it is only touched up."""
        if found.repeats is not None:
            self.set_up = found.repeats
        elif self.set_up is not None:
            self.set_up = repeat_of(found.change.after, self.set_up.layout)

    def _played_before(self) -> tuple[Layout, Intent | None] | None:
        """The shot that was played from the layout that lies there again."""
        if self.set_up is None:
            return None
        return next((each for each in self.played if each[0] is self.set_up.layout), None)


@dataclass(slots=True, kw_only=True)
class SequenceScorer:
    """Takes a session's readings in order and says, for each, what led to it."""

    plan: Plan
    table: Table
    player: Player | None = None
    left_out: list[LeftOut] = field(default_factory=list)
    """Readings that were passed over, found on the way."""
    _turns: _Turns = field(init=False)
    _telling: Telling | None = None
    _newest: str = ""
    _lost: list[tuple[str, RestmarkError]] = field(default_factory=list)
    _number: int = 0

    def __post_init__(self) -> None:
        self._turns = _Turns(plan=self.plan, table=self.table)

    def take(
        self, name: str, reading: Reading, *, seen: Seen | None = None
    ) -> Iterator[Attempt | Transition]:
        """What happened up to this still; nothing yet where it could not be read."""
        if isinstance(reading, RestmarkError):
            self._lost.append((name, reading))
            return
        layout = reading if reading.still == name else replace(reading, still=name)
        if self._telling is None:
            yield from self._begin(name, layout)
        else:
            yield from self._go_on(name, layout, seen)

    def finish(self) -> Iterator[Attempt | Transition]:
        """Attempts that end in stills which could not be read."""
        yield from self._refused_by_lost(None)

    def _begin(self, name: str, layout: Layout) -> Iterator[Attempt]:
        yield from self._refused_by_lost(name)
        self._telling, self._newest = Telling(table=self.table, newest=layout), name

    def _go_on(
        self, name: str, layout: Layout, seen: Seen | None
    ) -> Iterator[Attempt | Transition]:
        assert self._telling is not None
        before = self._telling.newest
        intent = self._turns.due(before)
        found = self._telling.go_on(layout, intent=intent, seen=seen)
        stills = (self._newest, name)
        self._newest = name
        if found.event != "shot":
            self._pass_over()
            self._turns.other(found)
            yield Transition(before=stills[0], after=stills[1], outcome=found)
            return
        if self._lost:
            # more than one shot may lie between: neither may be scored as one
            self._newest = stills[0]
            yield from self._refused_by_lost(name)
            self._newest = name
            self._turns.set_up = None
            return
        yield self._attempt(stills, found, intent, seen)

    def _attempt(
        self, stills: tuple[str, str], found: Outcome, intent: Intent | None, seen: Seen | None
    ) -> Attempt:
        self._number += 1
        scored = score_attempt(
            self._number,
            stills,
            (found.change.before, found.change.after),
            intent,
            self.table,
            player=self.player,
            note=self.plan.note(self._number),
            outcome=found,
            seen_from_mm=None if seen is None else seen.came_from_mm,
        )
        attempt = replace(scored, set_up=self._turns.set_up)
        self._turns.shot(found.change.before, intent, attempt)
        return attempt

    def _refused_by_lost(self, after: str | None) -> Iterator[Attempt]:
        """One attempt to each still that could not be read, and one from the last of them on."""
        lost, self._lost = self._lost, []
        names = [self._newest] * bool(self._newest) + [name for name, _ in lost]
        names += [after] if after is not None and lost else []
        errors = dict(lost)
        for before, name in pairwise(names):
            wrong = errors.get(name) or errors[before]
            self._number += 1
            self._turns.in_turn += 1
            yield Attempt(
                attempt=self._number,
                before=before,
                after=name,
                refused_code=wrong.code,
                refused_why=wrong.detail,
            )

    def _pass_over(self) -> None:
        for name, wrong in self._lost:
            why = f"{name}: {wrong.detail}; it is not scored"
            self.left_out.append(LeftOut(name=name, code=wrong.code, reason=why))
        self._lost = []
