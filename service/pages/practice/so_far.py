"""What this practice, or session, adds up to so far; fetched after the verdict."""

from __future__ import annotations

from dataclasses import dataclass

from service.desk.sums import lately_of
from service.store import Reader
from service.words.facts import Fact
from service.words.lengths import Lengths
from service.words.plain import counted
from service.words.summary import summary_facts

from ..frame import Shown

FACTS_SHOWN = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class SoFar:
    """The first figures, and how many attempts they are of."""

    facts: tuple[Fact, ...]
    aside: str


def so_far_view(reader: Reader, shown: Shown) -> SoFar:
    """The practice or session at that table."""
    lately = lately_of(reader, table_id=shown.table)
    attempts = lately.now.attempts
    facts = summary_facts(lately.now, Lengths(units=shown.units))[1:FACTS_SHOWN] if attempts else ()
    what = "practice" if lately.practice else "session"
    return SoFar(facts=facts, aside=f"{counted(attempts, 'attempt')} of this {what}")
