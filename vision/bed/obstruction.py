"""What lies over the bed, and what that means for a reading.

A hand, an arm or a body means that the player is not done: the still is refused. It comes in over
a rail. What lies there by itself (a cue, a rack, a glass, a sheet) hides a part of the bed: the
rest is read. Light, shadow, chalk, and what lies on the rails, are neither.

Two witnesses are heard: the empty table, which knows what this bed looks like, and the finder,
which knows what things look like. Where the empty table can tell, it decides; the finder weighs
where it cannot, or where there is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.notices import Notice
from vision.find.detect import Thing

from .patches import Patch

THING_SCORE = 0.08
"""The finder's score from which a thing obstructs, where no empty table is known."""
GREY_SCORE, GREY_CM2 = 0.04, 5.0
"""A lower score does where the bed differs there by this much."""
ALONE_CM2 = 10.0
"""The bed's difference that does by itself, from the edge inward."""
CLEARED_SCORE, CLEARED_CM2 = 0.8, 2.0
"""A thing scored below this is none where the bed differs by less than this."""
AROUND_MM = 60.0
"""So far about a thing's frame differences belong to it."""
REACH_MM = 150.0
"""A hand whose arm is hardly seen is no farther from a rail."""
BY_RAIL_CM2, BY_RAIL_MM = 40.0, 70.0
"""By so much, what lies so near a rail without being seen to cross it comes in over it too."""
HIDES_CM2 = 20.0
"""A thing that differs by less is smaller than a ball, or is seen through: chalk, wear."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Over:
    """What lies over the bed of one still."""

    living: tuple[Notice, ...] = ()
    """Notices of code ``obstructed``: why the still is refused."""
    dead: tuple[Patch, ...] = ()
    """What only hides a part."""


def over_bed(
    things: Sequence[Thing],
    patches: Sequence[Patch] | None,
    surface_mm: tuple[float, float],
) -> Over:
    """What the finder's ``things`` and the ``patches`` that differ from the empty table are.

    ``patches`` is None where nothing is known of the empty table.
    """
    if patches is None:
        alone = [thing for thing in things if thing.score >= THING_SCORE]
        return Over(living=tuple(_of_thing(thing) for thing in alone))
    moving = [patch for patch in patches if _living(patch, things, surface_mm)]
    sure = [
        thing
        for thing in things
        if thing.score >= CLEARED_SCORE
        and not any(patch.slender and _meet(thing, patch) for patch in patches)
    ]
    if moving:
        return Over(living=(_of_patch(moving[0], things),))
    if sure:
        return Over(living=tuple(_of_thing(thing) for thing in sure))
    return Over(dead=tuple(p for p in patches if p.thing and p.weight_cm2 >= HIDES_CM2))


def hiding(over: Over) -> tuple[Patch, ...]:
    """What can hide a ball: a stick is narrower than one."""
    return tuple(patch for patch in over.dead if not patch.slender)


def _living(patch: Patch, things: Sequence[Thing], surface_mm: tuple[float, float]) -> bool:
    if patch.slender or patch.light:
        return False
    score = max((thing.score for thing in things if _meet(thing, patch)), default=0.0)
    if patch.thing and patch.from_edge and patch.weight_cm2 >= ALONE_CM2:
        return True
    reach_mm = _reach_mm(patch, surface_mm)
    if patch.thing and reach_mm <= BY_RAIL_MM and patch.weight_cm2 >= BY_RAIL_CM2:
        return True
    near = patch.from_edge or (patch.thing and reach_mm <= REACH_MM)
    if not near or score < GREY_SCORE:
        return False
    return patch.weight_cm2 >= (CLEARED_CM2 if score >= THING_SCORE else GREY_CM2)


def _reach_mm(patch: Patch, surface_mm: tuple[float, float]) -> float:
    """From the nearest nose line to the patch."""
    return min(
        *patch.low_mm, *(side - high for side, high in zip(surface_mm, patch.high_mm, strict=True))
    )


def _meet(thing: Thing, patch: Patch) -> bool:
    return all(
        thing.low_mm[k] - AROUND_MM <= patch.high_mm[k]
        and patch.low_mm[k] <= thing.high_mm[k] + AROUND_MM
        for k in range(2)
    )


def _of_thing(thing: Thing) -> Notice:
    return _notice(thing.low_mm, thing.high_mm, ": clear the table and take the still again.")


def _of_patch(patch: Patch, things: Sequence[Thing]) -> Notice:
    remedy = " that the empty table did not show: clear the table and take the still again" + (
        "."
        if any(_meet(thing, patch) for thing in things)
        else ", or calibrate again if the cloth itself has changed."
    )
    return _notice(patch.low_mm, patch.high_mm, remedy)


def _notice(low_mm: tuple[float, float], high_mm: tuple[float, float], remedy: str) -> Notice:
    x_mm, y_mm = ((low + high) / 2 for low, high in zip(low_mm, high_mm, strict=True))
    text = f"Something lies over the bed near x {x_mm:.0f}, y {y_mm:.0f} mm{remedy}"
    return Notice(code="obstructed", text=text, fields={"places_mm": [[x_mm, y_mm]]})
