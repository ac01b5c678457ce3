"""What a person says happened, in the place of what would have been understood."""

from __future__ import annotations

import math

from service.position.errors import AttemptError
from vision.layout import Layout

from .case import Case
from .compare import ordered
from .decide import shot
from .outcome import EVENTS, Outcome
from .repeats import nearest_repeat

_SENTENCES = {
    "placed": "the cue ball put down by hand",
    "corrected": "balls moved by hand",
    "spotted": "balls put back on the table",
    "nothing": "nothing happened",
    "impossible": "neither play nor one hand explains it",
}


def as_said(case: Case, event: str, *, again: Layout | None = None) -> Outcome:
    """The outcome of that name with what the layouts tell of it.

    A layout set up again is ``again``, or the earlier one that comes nearest, however far off.

    Raises:
        AttemptError: there is no such name, or no earlier layout has these balls.
    """
    if event == "shot":
        return shot(case, sure=True)
    if event == "set_up":
        return _set_up(case, again)
    if event not in _SENTENCES:
        raise AttemptError(
            f"event: got {event!r}; allowed: {', '.join(EVENTS)}. Correct it.", code="bad-outcome"
        )
    balls = ordered((*case.cue_balls, *case.changed_mm, *case.come))
    return case.named(event, _SENTENCES[event], *balls)


def _set_up(case: Case, again: Layout | None) -> Outcome:
    # the layout before may be the one that was laid again, a shot between not seen
    earlier = [*(each.layout for each in case.earlier), case.change.before]
    known = earlier if again is None else [again]
    repeat = nearest_repeat(case.change.after, known, within_mm=math.inf)
    if repeat is None:
        which = "no layout before it" if again is None else "not one that is named"
        raise AttemptError(
            f"event: got 'set_up', and {which} has these balls; allowed: the name of "
            "what else happened, 'corrected' for balls laid anew. Correct it.",
            code="bad-outcome",
        )
    return case.named("set_up", repeat.words(repeat.still), *repeat.off_mm, repeats=repeat)
