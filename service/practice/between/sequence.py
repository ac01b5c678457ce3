"""A chain of layouts, told step by step: what happened from each to the next.

What was laid to be played and what may be laid again is remembered along the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from calibration.table import Table
from service.position import Intent
from vision.layout import Layout

from .decide import what_happened
from .outcome import Outcome
from .repeats import SET_UP_MM, Earlier
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
        found = what_happened(
            self.newest,
            after,
            self.table,
            earlier=self.earlier,
            fresh=self.fresh,
            intent=intent,
            seen=seen,
            set_up_mm=self.set_up_mm,
        )
        self._take(found)
        return found

    def _take(self, found: Outcome) -> None:
        if found.event == "nothing":
            # the older places stay, so that small differences do not add up unseen
            self.newest = found.change.surer_before()
            return
        if not self.newest_repeats:
            self.earlier.append(Earlier(layout=found.change.before, laid=self.fresh))
        self.newest = found.change.after
        self.newest_repeats = found.event == "set_up"
        self.fresh = found.event not in ("shot", "impossible")


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
