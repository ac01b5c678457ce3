"""Why something of the set-up was refused, and what to do."""

from __future__ import annotations

from collections.abc import Mapping

_REFUSED: Mapping[str, tuple[str, str]] = {
    "bad-still": (
        "This picture cannot be read",
        "Take it again, or choose another: JPEG, PNG, WebP, or HEIC where that is installed.",
    ),
    "bad-table": (
        "No table has this size",
        "Measure the playing surface from cushion edge to cushion edge: it is twice as long as "
        "wide.",
    ),
    "bad-length": ("This is no length", "Type a number, in mm or in inches as it says beside it."),
    "bad-source": (
        "No picture comes from there",
        "Check cable, power and address, and that no other program uses the camera.",
    ),
    "setup-gone": (
        "This still is not kept any more",
        "The service was started anew, or many stills came since. Take the still again.",
    ),
    "setup-busy": ("Much is being worked out already", "Wait a moment and try again."),
    "reach-places": (
        "These places do not tell a reach",
        "In each still the cue ball lies where you can just still play it, with at most one other "
        "ball, the one you would play at. Take the one that is named again, or leave it out.",
    ),
    "no-calibration": ("The table is not calibrated yet", "Calibrate first, further up."),
    "moved": (
        "Camera or table has moved",
        "Take a still of the empty table and calibrate again.",
    ),
}
_ABOUT = {
    "landmarks": (
        "The table was not found well enough",
        "Take the still again: the whole table in it, sharp, evenly lit, nothing over the rails. "
        "Or say yourself where places are: drag what is marked wrong, or tap the places one by "
        "one.",
    ),
    "points": (
        "The places that were pointed out do not do",
        "Look at the one that is named: drag it to where it is, or take it back. Four or more are "
        "needed, at both ends and on both long sides; six let a wrong one show.",
    ),
    "surface": (
        "The table looks like another size",
        "Measure the playing surface from cushion edge to cushion edge, and type its length and "
        "width in.",
    ),
    "balls": (
        "There are balls where none should be",
        "Clear the bed and take the still again: later stills are compared with the empty bed. For "
        "the check with balls, they lie at the marked places and nowhere else.",
    ),
}
_NOT_FOUND = (
    "The table was not found",
    "Take the still again: the whole table in it, sharp, evenly lit, nothing over its ends and "
    "rails. Or tap the places one by one: the page asks for each.",
)


def refused(code: str, about: object = None) -> tuple[str, str]:
    """Why something of the set-up was refused, and what to do."""
    if code == "calibration-refused":
        return _ABOUT.get(str(about), _NOT_FOUND)
    return _REFUSED.get(code, ("That did not work", "The words below say what was wrong."))
