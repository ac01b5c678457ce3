"""What a decision looks at: the change, the history and what else is known, in short words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from calibration.table import BALL_DIAMETER_MM, PointMm, Table
from service.position import Intent
from service.position.verdict.unseen import hides_place
from vision.layout import Ball

from .compare import Change
from .outcome import Outcome, Repeat
from .repeats import SET_UP_MM, Earlier, nearest_repeat, repeat_of, repeated
from .seen import Seen
from .travel import unreached

TOUCHING_MM = 3.0
"""A cue ball this near a ball can send it off and stay where it lies."""
SOFT_SLACK_MM = 30.0
"""A cue ball that came to rest this much nearer than the ball it hit has rolled back a little."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One transition to be named."""

    change: Change
    table: Table
    earlier: Sequence[Earlier] = ()
    fresh: bool = False
    """The layout before was laid by hand and not played from yet: a shot is due."""
    intent: Intent | None = None
    seen: Seen = field(default_factory=Seen)
    set_up_mm: float = SET_UP_MM

    # -- the cue ball ----------------------------------------------------------------------

    @cached_property
    def cue(self) -> str:
        """``still``, ``moved``, ``gone``, ``come`` or ``absent``."""
        if "cue" in self.change.gone:
            return "still" if "cue" in self.covered else "gone"
        if "cue" in self.change.come:
            return "come"
        if self.change.before.ball("cue") is None:
            return "absent"
        return "moved" if "cue" in self.change.moved else "still"

    @property
    def cue_balls(self) -> tuple[str, ...]:
        """The cue ball where anything became of it."""
        return ("cue",) if self.cue in ("moved", "gone", "come") else ()

    # -- the object balls ------------------------------------------------------------------

    @cached_property
    def moved(self) -> tuple[str, ...]:
        """Object balls that lie elsewhere."""
        return tuple(name for name in self.change.moved if name != "cue")

    @cached_property
    def gone(self) -> tuple[str, ...]:
        """Object balls that are no longer there."""
        return tuple(n for n in self.change.gone if n != "cue" and n not in self.covered)

    @cached_property
    def come(self) -> tuple[str, ...]:
        """Object balls that were not there."""
        return tuple(n for n in self.change.come if n != "cue" and n not in self.uncovered)

    # -- what lies over the bed ------------------------------------------------------------

    @cached_property
    def covered(self) -> frozenset[str]:
        """Balls that lay where the bed is hidden now: they may lie there still."""
        before, after = self.change.before, self.change.after
        lost = [ball for ball in before.balls if ball.id in self.change.gone]
        return frozenset(ball.id for ball in lost if hides_place(after, ball.centre_mm))

    @cached_property
    def uncovered(self) -> frozenset[str]:
        """Balls that lie where the bed was hidden before: they may have lain there."""
        before, after = self.change.before, self.change.after
        new = [ball for ball in after.balls if ball.id in self.change.come]
        return frozenset(ball.id for ball in new if hides_place(before, ball.centre_mm))

    @property
    def may_hide(self) -> bool:
        """A ball that is not seen after may lie on the table."""
        return bool(self.change.after.hidden_mm)

    @property
    def nudged(self) -> tuple[str, ...]:
        """Object balls on the table both times that lie elsewhere, a touch included."""
        return tuple(k.name for k in self.change.kept if k.differs and k.name != "cue")

    @property
    def object_balls(self) -> int:
        """How many object balls lay there before."""
        return sum(ball.id != "cue" for ball in self.change.before.balls)

    @property
    def needs_no_ball(self) -> bool:
        """A shot that touches no object ball may be meant: none lies there, or none is to drop."""
        return self.object_balls == 0 or (self.intent is not None and self.intent.pot is None)

    def was(self, name: str) -> Ball:
        """A ball as it lay before."""
        ball = self.change.before.ball(name)
        assert ball is not None
        return ball

    @cached_property
    def changed_mm(self) -> dict[str, PointMm]:
        """Where the object balls lay that were moved or are gone."""
        return {name: self.was(name).centre_mm for name in (*self.moved, *self.gone)}

    @cached_property
    def unreached(self) -> tuple[str, ...]:
        """Changed balls that no chain from the cue ball reaches."""
        still = [
            ball.centre_mm
            for ball in self.change.before.balls
            if ball.id not in self.changed_mm and ball.id != "cue"
        ]
        return unreached(self.was("cue").centre_mm, self.changed_mm, still, self.table)

    def gap_mm(self, names: Sequence[str]) -> float:
        """From the cue ball to the nearest of these balls, surface to surface."""
        cue = self.was("cue").centre_mm
        near = min((math.dist(cue, self.was(name).centre_mm) for name in names), default=math.inf)
        return near - BALL_DIAMETER_MM

    # -- the history -----------------------------------------------------------------------

    @cached_property
    def repeat(self) -> Repeat | None:
        """The earlier layout that the table after repeats best.

        From a layout that was laid to be played a shot may end like an earlier one did: then
        only layouts that were laid themselves count.
        """
        may_be_played = self.fresh and self.cue == "moved" and not self.come
        may_be_played &= bool(self.moved) or self.needs_no_ball
        return nearest_repeat(
            self.change.after,
            [e.layout for e in self.earlier if e.laid or not may_be_played],
            within_mm=self.set_up_mm,
        )

    def was_that(self, repeat: Repeat) -> Repeat | None:
        """How the layout before repeated the same one."""
        return repeat_of(self.change.before, repeat.layout, within_mm=self.set_up_mm)

    @cached_property
    def back_again(self) -> Repeat | None:
        """The layout before itself, laid again after a shot that no still shows.

        Cue ball and object balls lie a little off, and no soft shot makes that: the nearest ball
        that moved lay farther away than the cue ball went.
        """
        again = repeated(self.change, self.change.before, within_mm=self.set_up_mm)
        off = [ball.name for ball in self.change.kept if ball.suspect]
        others = [name for name in off if name != "cue"]
        if again is None or "cue" not in off or not others:
            return None
        near = self.gap_mm(others)
        return again if near > again.off_mm["cue"] + SOFT_SLACK_MM else None

    def named(self, event: str, detail: str, *balls: str, **more: object) -> Outcome:
        """An outcome of this case with its notices."""
        return Outcome(
            event=event,
            detail=detail,
            balls=balls,
            change=self.change,
            notices=tuple(self.change.notices()),
            **more,  # type: ignore[arg-type]
        )
