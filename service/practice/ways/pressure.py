"""Sets under pressure: so many successes in a row, and a failure starts the set again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from calibration.table import Table
from service.position import Intent, IntentError
from service.practice.notes import Note
from service.practice.statistics.rates import sets
from vision.layout import Layout

from .tried import COUNTS, Tried
from .turn import Turn


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressure:
    """The plan's intents in turn, ``in_a_row`` of them without a failure; then the next set.

    What cannot be told, too close to call among it, is no success: it starts the set again.
    """

    shots: tuple[Intent | None, ...]
    in_a_row: int = 3
    counts: str = "both"

    def __post_init__(self) -> None:
        # the rule for a row's length is the note's
        Note(in_a_row=self.in_a_row)
        if self.counts not in COUNTS:
            raise IntentError(
                f"counts: got {self.counts!r}; allowed: {', '.join(COUNTS)}. Correct it."
            )
        if not self.shots:
            raise IntentError("shots: got none; allowed: at least one intent. Give one.")

    def run(self, tried: Sequence[Tried]) -> int:
        """Successes in the set that is being played."""
        run = 0
        for each in tried:
            run = run + 1 if each.success(self.counts) else 0
            run = 0 if run == self.in_a_row else run
        return run

    def next(
        self, tried: Sequence[Tried], layout: Layout | None = None, table: Table | None = None
    ) -> Turn:
        """The intent at this place of the set; the first after a failure or a whole set."""
        run = self.run(tried)
        return Turn(
            intent=self.shots[run % len(self.shots)],
            first_layout=bool(tried) and run == 0,
            same_layout=bool(tried) and run > 0 and len(self.shots) == 1,
        )

    def report(self, tried: Sequence[Tried]) -> dict[str, Any]:
        """Completions and the longest run."""
        return asdict(sets([bool(t.success(self.counts)) for t in tried], self.in_a_row))
