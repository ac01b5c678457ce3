"""A player's reach, part by part."""

from __future__ import annotations

from collections.abc import Mapping

from service.words.lengths import Lengths

REACH_WORDS = {
    "hand_back_mm": "by hand, straight back along the cue",
    "hand_body_side_mm": "by hand, to the side of your body",
    "hand_off_side_mm": "by hand, to the other side",
    "bridge_back_mm": "with the bridge, straight back along the cue",
    "bridge_body_side_mm": "with the bridge, to the side of your body",
    "bridge_off_side_mm": "with the bridge, to the other side",
}
"""Each part of a reach, by the names of ``Player``."""


def reach_lines(
    mapped: Mapping[str, float], assumed: Mapping[str, float], lengths: Lengths
) -> list[str]:
    """What a reach is now, and what of it is assumed."""
    told = [f"{lengths.text(value)} {REACH_WORDS[name]}" for name, value in mapped.items()]
    rest = [
        f"{lengths.text(value)} {REACH_WORDS[name]}: assumed, no place showed it"
        for name, value in assumed.items()
    ]
    return [*told, *rest]
