"""The set-up guide in words: each ball's way, what to do next, and when all stand right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from calibration.notices import Notice
from service.guide.guided import Guided
from service.guide.moves import Move
from service.guide.set_up import SetUpError
from service.guide.steps import LIFT, MOVE, PUT_ON, TAKE_OFF, Step
from service.words.balls import ball_name
from service.words.intents import intent_words
from service.words.lengths import MILLIMETRES, NO_SIDE_MM, Lengths, Units
from service.words.plain import capital, counted, joined

if TYPE_CHECKING:
    from service.position import Intent, LandingZone

RAILS = {
    "foot": "the foot rail",
    "head": "the head rail",
    "left": "the left long rail",
    "right": "the right long rail",
}
"""Left and right as seen from the head end."""


def way_words(toward: Sequence[tuple[str, float]], lengths: Lengths = MILLIMETRES) -> str:
    """``toward the foot rail 42 mm, toward the left long rail 7.0 mm``."""
    return ", ".join(
        f"toward {RAILS[rail]} {lengths.text(mm)}" for rail, mm in toward if mm >= NO_SIDE_MM
    )


def off_words(off_mm: float, lengths: Lengths = MILLIMETRES) -> str:
    """``43 mm (0.14 diamonds)``."""
    text = lengths.text(off_mm)
    if lengths.units is Units.DIAMONDS:
        return text
    beside = Lengths(units=Units.DIAMONDS, surface_mm=lengths.surface_mm)
    return f"{text} ({beside.text(off_mm)})"


def move_words(move: Move, lengths: Lengths = MILLIMETRES) -> str:
    """What one ball has to do, or that it stands right, with the reading's doubt."""
    if not move.is_right:
        said = way_words(move.toward, lengths)
    elif move.off_mm < NO_SIDE_MM:
        said = "right"
    else:
        said = f"right, {lengths.text(move.off_mm)} off"
    if not move.is_sure:
        said += f"; too close to call, the reading is good to {lengths.text(move.error_mm)}"
    return said


def step_words(step: Step, lengths: Lengths = MILLIMETRES) -> str:
    """One thing to do."""
    name = ball_name(step.ball)
    if step.do == TAKE_OFF:
        return f"take the {name} off" if step.ball == "cue" else f"take {name} off"
    if step.do == LIFT:
        return f"lift {_the(step.ball)} off for now: its place and another's cross"
    assert step.to_mm is not None
    place = place_words(step.to_mm, lengths)
    if step.do == PUT_ON:
        return f"put {_the(step.ball)} on the table, {place}"
    assert step.do == MOVE
    assert step.at_mm is not None
    return f"move {_the(step.ball)} to its place, {place}"


def place_words(place_mm: tuple[float, float], lengths: Lengths = MILLIMETRES) -> str:
    """A place from the two nearer rails: ``635 mm from the foot rail and 300 mm from …``."""
    return " and ".join(
        f"{lengths.text(mm)} from {RAILS[rail]}"
        for rail, mm in nearest_rails(place_mm, lengths.surface_mm)
    )


def nearest_rails(
    place_mm: tuple[float, float], surface_mm: tuple[float, float]
) -> tuple[tuple[str, float], tuple[str, float]]:
    """The nearer short rail and the nearer long one, with the distance from their nose lines.

    To the ball's centre; in the middle the head rail and the right one (x and y as they are).
    """
    (x, y), (length, width) = place_mm, surface_mm
    short = ("head", x) if x <= length / 2 else ("foot", length - x)
    long = ("right", y) if y <= width / 2 else ("left", width - y)
    return short, long


def state_words(found: Guided, lengths: Lengths = MILLIMETRES) -> str:
    """Where the set-up stands, in one or two sentences that can be read aloud."""
    if not found.now.settled:
        return "Balls are still moving."
    if found.now.obstructed:
        return "Something is over the table: step back to have the set-up checked."
    all_of = counted(len(found.moves) + len(found.missing), "ball")
    if found.is_done:
        done = f"Done: {all_of} within {lengths.text(found.tolerance_mm)}."
        return done if found.is_sure else f"{done} {_unsure(found)}"
    right = len(found.moves) - len(found.wrong)
    return f"{right} of {all_of} stand right. {capital(_next(found, lengths))}."


def _next(found: Guided, lengths: Lengths) -> str:
    step = found.steps[0]
    if step.do == MOVE:
        move = next(move for move in found.moves if move.ball == step.ball)
        return f"next: {_the(step.ball)} {way_words(move.toward, lengths)}"
    return f"next: {step_words(step, lengths)}"


def _unsure(found: Guided) -> str:
    names = [m.ball for m in found.moves if m.now.doubtful or m.is_renamed]
    close = [m.ball for m in found.moves if not m.is_sure]
    parts = []
    if names:
        parts.append(f"Look at the number of {joined(map(_the, names))}.")
    if close:
        parts.append(f"The reading cannot tell {joined(map(_the, close))} for sure.")
    return " ".join(parts)


def _the(ball: str) -> str:
    return "the cue ball" if ball == "cue" else ball_name(ball)


def swap_words(balls: Sequence[str], saves_mm: float, lengths: Lengths = MILLIMETRES) -> str:
    """Balls that lie in one another's places."""
    return (
        f"{joined(balls)} lie in one another's places. Where their numbers do not matter, leave "
        f"them so: that saves {lengths.text(saves_mm)} of moving"
    )


def doubt_words(notice: Notice, lengths: Lengths = MILLIMETRES) -> str:
    """What the guide leaves in doubt; a notice of another kind in its own words."""
    told = notice.fields
    if notice.code == "name-in-doubt":
        (place,) = notice.places_mm
        if told["read_as"] != told["id"]:
            said = f"reads as {told['read_as']} in doubt and is taken for {told['id']}"
        else:
            others = f"; or {', '.join(told['others'])}" if told["others"] else ""
            said = f"reads as {told['id']} in doubt{others}"
        return f"The ball at {lengths.place(place)} {said}: look at its number."
    if notice.code == "coarse-reading":
        return (
            f"The reading is good to {lengths.text(told['error_mm'])} (95 %), which is not small "
            f"against {lengths.text(told['tolerance_mm'])}: {joined(map(_the, told['ids']))}. A "
            "finer calibration, or less near, settles it."
        )
    return notice.text


_NOT_YOURS = (
    "the shot was judged on the table as it lay, so this is not counted as your error; it matters "
    "where attempts at this layout are compared"
)


def set_up_words(error: SetUpError, lengths: Lengths = MILLIMETRES) -> str:
    """The set-up's own error beside a verdict."""
    worst = error.worst
    if worst is None:
        return ""
    return (
        f"set up {lengths.text(worst.off_mm)} off ({ball_name(worst.id)}, read to "
        f"{lengths.text(worst.error_mm)}): {_NOT_YOURS}"
    )


def repeat_words(off_mm: Mapping[str, float], lengths: Lengths = MILLIMETRES) -> str:
    """The same where an earlier layout was laid again by hand; each ball's distance from it.

    Nothing where all lie as they lay.
    """
    ball, worst_mm = max(off_mm.items(), key=lambda item: item[1], default=("", 0.0))
    if worst_mm < NO_SIDE_MM:
        return ""
    return (
        f"set up {lengths.text(worst_mm)} off the layout before ({ball_name(ball)}): {_NOT_YOURS}"
    )


def shot_words(intent: Intent, zone: LandingZone | None, lengths: Lengths = MILLIMETRES) -> str:
    """The shot that goes with a layout, and why it has no landing zone where it has none."""
    said = intent_words(intent, lengths)
    if zone is None or not zone.is_empty:
        return said
    return f"{said}. No landing zone here: {zone.emptied_why or 'no place is left'}"
