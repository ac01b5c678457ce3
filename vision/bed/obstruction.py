"""Whether something that is no ball lies over the playing surface.

An arm, a cue or a body over the bed makes a reading untrustworthy. A player's shadow, chalk, and
what lies on the rails do not. Two witnesses are heard: the finder, which knows what things look
like, and the empty table, which knows what this bed looks like. Each alone must be sure; together
less will do.
"""

from __future__ import annotations

from collections.abc import Sequence

from calibration.notices import Notice
from vision.find.detect import Thing

from .reference import Unexplained

THING_SCORE = 0.08
"""The finder's score from which a thing obstructs."""
GREY_SCORE, GREY_CM2 = 0.02, 5.0
"""A lower score does where the bed differs there by this much."""
ALONE_CM2, ALONE_INSIDE_CM2 = 10.0, 40.0
"""The bed's difference that does by itself: from the edge inward, and anywhere."""
CLEARED_SCORE, CLEARED_CM2 = 0.2, 2.0
"""A thing scored below this is none where the bed differs by less than this."""
AROUND_MM = 60.0
"""So far about a thing's frame differences belong to it."""


def obstructions(
    things: Sequence[Thing], unexplained: Sequence[Unexplained] | None = None
) -> list[Notice]:
    """A notice of code ``obstructed`` for each thing that obstructs, with its place.

    ``unexplained`` is what differs from the empty table; None where nothing is known of it.
    """
    out = []
    for thing in things:
        if _obstructs(thing, unexplained):
            remedy = ": clear the table and take the still again."
            out.append(_notice(thing.low_mm, thing.high_mm, remedy))
    if out:
        return out
    for patch in unexplained or ():
        if patch.weight_cm2 >= (ALONE_CM2 if patch.from_edge else ALONE_INSIDE_CM2):
            remedy = (
                " that the empty table did not show: clear the table and take the still again, or "
                "calibrate again if the cloth itself has changed."
            )
            return [_notice(patch.low_mm, patch.high_mm, remedy)]
    return []


def _obstructs(thing: Thing, unexplained: Sequence[Unexplained] | None) -> bool:
    if unexplained is None:
        return thing.score >= THING_SCORE
    differs_cm2 = sum(patch.weight_cm2 for patch in unexplained if _meet(thing, patch))
    if thing.score < THING_SCORE:
        return thing.score >= GREY_SCORE and differs_cm2 >= GREY_CM2
    return thing.score >= CLEARED_SCORE or differs_cm2 >= CLEARED_CM2


def _meet(thing: Thing, patch: Unexplained) -> bool:
    return all(
        thing.low_mm[k] - AROUND_MM <= patch.high_mm[k]
        and patch.low_mm[k] <= thing.high_mm[k] + AROUND_MM
        for k in range(2)
    )


def _notice(low_mm: tuple[float, float], high_mm: tuple[float, float], remedy: str) -> Notice:
    x_mm, y_mm = ((low + high) / 2 for low, high in zip(low_mm, high_mm, strict=True))
    text = f"Something lies over the bed near x {x_mm:.0f}, y {y_mm:.0f} mm{remedy}"
    return Notice(code="obstructed", text=text, fields={"places_mm": [[x_mm, y_mm]]})
