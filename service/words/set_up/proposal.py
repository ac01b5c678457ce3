"""A calibration that waits to be taken over: how good it is, and what to do about it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from calibration.kept.calibration import Calibration
from calibration.notices import Notice
from service.words.calibration import SCALE_WORDS, SET_ASIDE
from service.words.lengths import Lengths

_SETTLE = (
    "Measure the lens's height above the bed and type it in, or show the lens board once (best), "
    "or take a still with balls at the cushions."
)
_AGAINST = {
    "too-wide": _SETTLE,
    "size-in-doubt": "Measure the playing surface from cushion edge to cushion edge and type its "
    "length and width in.",
    "size-unchecked": "Measure the playing surface from cushion edge to cushion edge and type its "
    "length and width in.",
    "few-points": "Tap six or more places, at both ends and on both long sides.",
}
_WIDE_BY_TAPE = (
    "Measure the lens's height again, straight up from the bed to the lens, as exactly as you can, "
    "or show the lens board once."
)


def good_enough(good: bool, within_mm: float, lengths: Lengths) -> str:
    """The first line of a calibration."""
    # rounded up: what is promised must hold
    within = lengths.text(math.ceil(within_mm * 10) / 10, fine=True)
    if good:
        return f"Good enough: within {within}"
    return f"Not good enough yet: a ball may lie up to {within} from where it is said to"


def what_stands_against(against: Sequence[Notice]) -> list[str]:
    """What to do about each thing that stands against a calibration, once each."""
    said = []
    for notice in against:
        by_tape = notice.fields.get("scale_source") == "tape measure"
        words = _WIDE_BY_TAPE if by_tape else _AGAINST.get(notice.code, "")
        said.append(words or f"{notice.text[:1].upper()}{notice.text[1:]}")
    return list(dict.fromkeys(said))


def blind_words(
    share: float,
    where: Sequence[str],
    *,
    hidden_share: float = 0.0,
    hidden_where: Sequence[str] = (),
) -> str:
    """Which part of the bed the camera does not see: out of the picture, behind something."""
    said = []
    if share > 0:
        said.append(
            f"{_part(share)} of the bed lies outside of the picture ({'; '.join(where)}): a ball "
            "there is not seen. Move the camera or zoom out, then take the still again."
        )
    if hidden_share > 0:
        said.append(
            f"{_part(hidden_share)} of the bed is hidden by something that hangs before it "
            f"({'; '.join(hidden_where)}): a ball there is not seen. Move that or the camera, then "
            "take the still again."
        )
    return " ".join(said) or "The camera sees the whole bed."


def _part(share: float) -> str:
    text = "less than 1 %" if share < 0.01 else f"{100 * share:.0f} %"
    return text[:1].upper() + text[1:]


def calibration_facts(made: Calibration, lengths: Lengths) -> list[tuple[str, str]]:
    """What a calibration rests on: label and value."""
    long, wide = (lengths.number(side) for side in made.table.surface_mm)
    kept = [each for each in made.residuals if each.weight > SET_ASIDE]
    budget = made.budget
    facts = [
        ("Playing surface", f"{long} × {wide} {lengths.sign}"),
        ("Scale settled by", SCALE_WORDS[made.scale_source]),
        ("Lens above the bed", lengths.text(float(made.camera.position_mm[2]))),
        ("Landmarks that agree", f"{len(kept)} of {len(made.residuals)}"),
    ]
    if budget is not None:
        facts += [
            ("Usual error of a ball's place", lengths.text(budget.noses_median_mm, fine=True)),
            ("The same by tape measure, at worst", lengths.text(budget.worst_mm, fine=True)),
        ]
    return facts
