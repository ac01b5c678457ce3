"""The starting value of every setting of a player: its unit, the range believed, and the reason.

A setting that the player has neither given nor measured is *assumed*, and whatever is computed
from it says so (``Player.assumed``). The trade facts publish no figure of a player's aim or reach,
so each of these is a start to be replaced by the player's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A starting value with the range in which it is believed to lie."""

    value: float
    low: float
    high: float
    unit: str
    reason: str


def _setting(value: float, low: float, high: float, unit: str, reason: str) -> Setting:
    return Setting(value=value, low=low, high=high, unit=unit, reason=reason)


STARTING: Mapping[str, Setting] = MappingProxyType(
    {
        "hand_back_mm": _setting(
            1125.0, 1000.0, 1250.0, "mm",
            "the middle of 1000 to 1250 mm from the near nose, straight back along the cue",
        ),
        "hand_body_side_mm": _setting(
            750.0, 610.0, 900.0, "mm",
            "shoulder to grip spans 610 to 715 mm, and the player leans; a cue ball on the middle "
            "line of the widest table, 635 mm from either long nose, needs no bridge, which takes "
            "741 mm at a tilt of 31°",
        ),
        "hand_off_side_mm": _setting(
            300.0, 150.0, 600.0, "mm",
            "on the other side the body is in the way and the player stretches: about the length "
            "of a hand's bridge, 318 mm",
        ),
        "bridge_back_mm": _setting(
            2000.0, 1600.0, 2600.0, "mm",
            "a mechanical bridge adds most of a cue's length to the reach by hand",
        ),
        "bridge_body_side_mm": _setting(900.0, 700.0, 1300.0, "mm", "the same, square to the cue"),
        "bridge_off_side_mm": _setting(600.0, 400.0, 1300.0, "mm", "the same, the other side"),
        "shaft_radius_mm": _setting(6.5, 5.5, 7.0, "mm", "half a usual shaft's 13 mm"),
        "elevation_limit_deg": _setting(
            15.0, 8.0, 30.0, "°", "steeper cues are a shot of their own: a ball 135 mm behind"
        ),
        "aim_spread_deg": _setting(
            0.10, 0.04, 0.30, "°",
            "direction of the cue ball; 1.7 mm aside after a metre. No figure is published",
        ),
        "contact_error_mm": _setting(
            0.8, 0.3, 2.0, "mm",
            "where on the ball the player believes the contact to be: two edges told apart to one "
            "minute of arc from two metres, 0.58·√2 mm, however near the cue ball lies",
        ),
        "throw_spread_deg": _setting(
            0.5, 0.2, 1.4, "°",
            "the object ball's direction by friction at the contact: at most 1 in 12, 4.8°. Who "
            "allows for none of it scatters by the whole range's 4.8°/√12 = 1.4°; a tenth of the "
            "greatest throw is taken to remain",
        ),
        "firm_speed_mm_s": _setting(
            4000.0, 2500.0, 6000.0, "mm/s",
            "the firmest stroke that still keeps its line; it rolls a fully hit ball more than "
            "fifteen table lengths",
        ),
        "bridge_spread_factor": _setting(
            1.5, 1.0, 3.0, "", "how much wider the aim spread is with a mechanical bridge"
        ),
        "speed_spread": _setting(
            0.15, 0.05, 0.40, "share of the way", "how far the cue ball runs. No figure published"
        ),
        "line_spread_deg": _setting(
            3.0, 1.0, 10.0, "°", "direction after the contact about the planned one; none published"
        ),
    }
)  # fmt: skip
"""By the names of ``Player``'s fields. Sources: the trade facts on throw, reach and value."""

CHANCE_SETTINGS = (
    "aim_spread_deg", "contact_error_mm", "throw_spread_deg", "firm_speed_mm_s",
    "bridge_spread_factor",
)  # fmt: skip
"""What a pot chance rests on."""
REACH_SETTINGS = (
    "hand_back_mm", "hand_body_side_mm", "hand_off_side_mm",
    "bridge_back_mm", "bridge_body_side_mm", "bridge_off_side_mm",
)  # fmt: skip
ROUTE_SETTINGS = ("speed_spread", "line_spread_deg")
"""What the chance of a planned route rests on."""


def start(name: str) -> float:
    """The starting value of a setting."""
    return STARTING[name].value
