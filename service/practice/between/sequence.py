"""A chain of layouts, told step by step: what happened from each to the next.

What was laid to be played and what may be laid again is remembered along the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from calibration.table import Table
from service.position import Intent
from vision.layout import Layout

from .case import Case
from .compare import Change, compare
from .decide import named
from .outcome import Outcome
from .repeats import SET_UP_MM, Earlier
from .said import as_said
from .seen import Seen


@dataclass(slots=True, kw_only=True)
class Telling:
    """What is known of a sequence so far; the first layout begins it."""

    table: Table
    newest: Layout
    """The newest layout, its names carried over."""
    earlier: list[Earlier] = field(default_factory=list)
    """Layouts that may be set up again, without the newest; a set-up is no layout of its own."""
    fresh: bool = True
    """The newest layout was laid by hand, or begins the sequence."""
    newest_repeats: bool = False
    set_up_mm: float = SET_UP_MM
    """How far off a ball may lie in a layout that counts as set up again."""

    def go_on(
        self, after: Layout, *, intent: Intent | None = None, seen: Seen | None = None
    ) -> Outcome:
        """What led to the next layout, which is the newest from then on."""
        found = self.look(after, intent=intent, seen=seen)
        self.take(found.event, found.change)
        return found

    def look(
        self,
        after: Layout,
        *,
        intent: Intent | None = None,
        seen: Seen | None = None,
        said: str | None = None,
        again: Layout | None = None,
    ) -> Outcome:
        """What leads to a layout, which is not taken yet.

        ``said`` is the outcome's name where a person told it, ``again`` the layout that they say
        was set up again, None: the nearest; AttemptError where it cannot be.
        """
        case = Case(
            change=compare(self.newest, after),
            table=self.table,
            earlier=self.earlier,
            fresh=self.fresh,
            intent=intent,
            seen=seen or Seen(),
            set_up_mm=self.set_up_mm,
        )
        return named(case) if said is None else as_said(case, said, again=again)

    def take(self, event: str, change: Change) -> None:
        """Go on to the layout after ``change``, to which an event of that name led."""
        if event == "nothing":
            # the older places stay, so that small differences do not add up unseen
            self.newest = change.surer_before()
            return
        if not self.newest_repeats:
            self.earlier.append(Earlier(layout=change.before, laid=self.fresh))
        self.newest = change.after
        self.newest_repeats = event == "set_up"
        self.fresh = event not in ("shot", "impossible")


def walk(
    layouts: Sequence[Layout],
    table: Table,
    *,
    intents: Sequence[Intent | None] = (),
    seen: Sequence[Seen | None] = (),
) -> list[Outcome]:
    """What happened between each of the layouts and the next."""
    if not layouts:
        return []
    telling = Telling(table=table, newest=layouts[0])
    out = []
    for i, layout in enumerate(layouts[1:]):
        intent = intents[i] if i < len(intents) else None
        facts = seen[i] if i < len(seen) else None
        out.append(telling.go_on(layout, intent=intent, seen=facts))
    return out
