"""How a plan is played: its ways with their settings, each a tap."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.practice.ways.choose import MODES
from service.practice.ways.pressure import Pressure
from service.practice.ways.progressive import Progressive
from service.words.lengths import Lengths

_IN_ORDER = "in order"
_WORDS: Mapping[str, tuple[str, str]] = {
    _IN_ORDER: ("In order", "Each shot once, from the first to the last."),
    "same again": ("Again and again", "The same shot from the same layout, as often as is set."),
    "rotation": ("Rotation", "The lowest ball is next; its best chance names the pocket."),
    "progressive": ("Progressive", "Farther after a success, nearer after a failure."),
    "pressure": ("In a row", "So many without a failure make a set; a failure begins it again."),
}
_FULL = {
    "progressive": "One shot is enough here: its distance moves.",
    "rotation": "One shot is enough here: the table names the others.",
}
_COUNTS = (("both", "Pot and stop"), ("pot", "The pot"), ("position", "The stop"))
_WHAT = (("ball", "The ball to pot"), ("leave", "The leave"))
_EACH = (None, 2, 3, 5, 8, 10, 15, 20, 30, 50)
_ROWS = (2, 3, 4, 5, 6, 8, 10, 15, 20)
_STARTS_MM = tuple(range(150, 2401, 150))
_STEPS_MM = (50, 100, 150, 200, 300, 400)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One thing to tap: what it says, and the settings that the plan has then, as JSON."""

    key: str
    words: str
    settings: str = ""
    is_chosen: bool = False
    why_not: str = ""
    """Why it cannot be chosen now; empty where it can."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stepper:
    """A setting that is stepped up and down; an end has no settings beyond it."""

    key: str
    words: str
    value: str
    less: str
    more: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WayView:
    """The ways, and the settings of the chosen one."""

    says: str
    ways: tuple[Choice, ...]
    steppers: tuple[Stepper, ...]
    choices: tuple[tuple[str, tuple[Choice, ...]], ...]
    """Words and what there is to choose between."""
    is_full: str = ""
    """Why no more shots go in; empty where they do."""
    needs_shot: bool = False
    """The last shot cannot be taken out."""


def way_view(document: Mapping[str, Any], lengths: Lengths) -> WayView:
    """What a kept plan's way is and could be."""
    mode = str(document.get("mode", _IN_ORDER))
    shots = document.get("shots") or ()
    has = {name: document[name] for name in MODES.get(mode, ()) if document.get(name) is not None}
    own = _of_mode(mode) | has
    return WayView(
        says=_says(mode, own, shots),
        ways=tuple(
            Choice(
                key=each,
                words=words,
                settings=_settings(each, _of_mode(each)),
                is_chosen=each == mode,
                why_not="" if each == mode else _why_not(each, shots),
            )
            for each, (words, _) in _WORDS.items()
        ),
        steppers=tuple(_steppers(mode, own, lengths)),
        choices=tuple(_choices(mode, own, shots)),
        is_full=_FULL.get(mode, "") if shots else "",
        needs_shot=mode in ("progressive", "pressure") and len(shots) == 1,
    )


def _says(mode: str, own: Mapping[str, Any], shots: Sequence[Any]) -> str:
    if mode == "same again" and own.get("each") is None and len(shots) > 1:
        return "The first shot alone, from the same layout, without end."
    return _WORDS[mode][1]


def _of_mode(mode: str) -> dict[str, Any]:
    """The settings that a way begins with."""
    return {
        "pressure": {"in_a_row": Pressure.__dataclass_fields__["in_a_row"].default},
        "progressive": {
            name: Progressive.__dataclass_fields__[name].default for name in ("start_mm", "step_mm")
        },
    }.get(mode, {})


def _settings(mode: str, own: Mapping[str, Any]) -> str:
    kept = {name: value for name, value in own.items() if value is not None}
    return json.dumps(kept if mode == _IN_ORDER else {"mode": mode, **kept})


def _why_not(mode: str, shots: Sequence[Any]) -> str:
    count = len(shots)
    if mode == "progressive" and (count != 1 or shots[0] is None):
        return "needs one shot, whose distance moves"
    if mode == "pressure" and not count:
        return "needs a shot"
    if mode == "rotation" and count > 1:
        return "the table names the shots: one at most, for its limits"
    return ""


def _steppers(mode: str, own: Mapping[str, Any], lengths: Lengths) -> Iterator[Stepper]:
    def stepper(key: str, words: str, ladder: Sequence[Any], text: str) -> Stepper:
        now = own.get(key)
        place = ladder.index(now) if now in ladder else None
        below = [value for value in ladder if value is not None and now is not None and value < now]
        above = [value for value in ladder if value is not None and (now is None or value > now)]
        less: Any = below[-1] if below else None
        has_less = bool(below) or (place is not None and place > 0)
        return Stepper(
            key=key,
            words=words,
            value=text,
            less=_settings(mode, {**own, key: less}) if has_less else "",
            more=_settings(mode, {**own, key: above[0]}) if above else "",
        )

    if mode == "same again":
        each = own.get("each")
        text = "without end" if each is None else f"{each} times"
        yield stepper("each", "Each shot", _EACH, text)
    if mode == "pressure":
        yield stepper("in_a_row", "In a row", _ROWS, str(own["in_a_row"]))
    if mode == "progressive":
        start, step = own["start_mm"], own["step_mm"]
        least = own.get("least_mm", Progressive.__dataclass_fields__["least_mm"].default)
        most = own.get("most_mm", Progressive.__dataclass_fields__["most_mm"].default)
        starts = [mm for mm in _STARTS_MM if least <= mm <= most]
        yield stepper("start_mm", "First distance", starts, lengths.text(start))
        yield stepper("step_mm", "Each step", _STEPS_MM, lengths.text(step))


def _choices(
    mode: str, own: Mapping[str, Any], shots: Sequence[Any]
) -> Iterator[tuple[str, tuple[Choice, ...]]]:
    def choices(key: str, all_of: Sequence[tuple[str, str]]) -> tuple[Choice, ...]:
        return tuple(
            Choice(
                key=value,
                words=words,
                settings=_settings(mode, {**own, key: value}),
                is_chosen=own.get(key, all_of[0][0]) == value,
            )
            for value, words in all_of
        )

    if mode == "progressive" and shots and (shots[0] or {}).get("next"):
        yield "What moves", choices("what", _WHAT)
    if mode in ("progressive", "pressure"):
        yield "What counts", choices("counts", _COUNTS)
