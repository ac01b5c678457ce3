"""The lens board: what to show next, why a still does not count, how good the lens is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

_TILTS = {
    "left": "left edge",
    "right": "right edge",
    "top": "upper edge",
    "bottom": "lower edge",
}


def board_next(missing: Sequence[Mapping[str, Any]], *, can_fit: bool) -> str:
    """What to show with the lens board next."""
    if not missing:
        return "That is enough. Work out the lens."
    kind, what = missing[0]["kind"], missing[0]["what"]
    if kind == "first":
        return "Hold the board in the middle of the picture, as large as it goes, nearly flat on."
    if kind == "part":
        where = "middle" if what == "middle" else f"{what} of the picture"
        return f"Move the board to the {where}, up to the picture's edge."
    if kind == "tilt":
        return f"Tip the board's {_TILTS[str(what)]} away from the camera by about a third."
    more = f"{what} more still{'' if what == 1 else 's'}, each at another place and tilt."
    return f"{more} What there is may do already: try." if can_fit else more


def board_refused(code: str) -> str:
    """Why a still of the board does not count, and what to do."""
    return {
        "no-board": "No board is seen. Bring it nearer, evenly lit, all of it in the picture.",
        "few-corners": "Too little of the board is seen. Bring it nearer, nothing over it.",
        "blurred": "The board is blurred. Hold it still, and lock the camera's focus.",
        "same-place": "The board lies where it lay before. Move or tip it.",
        "other-size": "This picture has another size than the first. Use one camera at one "
        "setting.",
    }.get(code, "This still does not count.")


def lens_words(held_out_px: float, coverage: float) -> str:
    """How good a lens is."""
    return (
        f"The lens is right to {held_out_px:.2f} px at corners that it was not made from; the "
        f"board covered {100 * coverage:.0f} % of the picture."
    )
