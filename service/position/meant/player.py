"""The player's own settings: hand, reach, cueing over a ball, spreads of aim, speed and line.

Starting values, their ranges and their reasons stand in ``settings``, and nowhere else.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from calibration import strict
from calibration.strict import Positive
from service.position.errors import PlayerError

from .settings import CHANCE_SETTINGS, REACH_SETTINGS, STARTING, start


@dataclass(frozen=True, slots=True, kw_only=True)
class Player:
    """Settings of one player; lengths in mm, angles in degrees.

    Reach is measured on the table from the cue ball's centre to a nose line: so far straight
    back along the cue, so far square to the cue on the body's side (left of the line for a
    right-hander, mirrored for a left-hander), so far on the other side, elliptical in between.
    """

    handedness: str = "right"
    hand_back_mm: Positive = start("hand_back_mm")
    hand_body_side_mm: Positive = start("hand_body_side_mm")
    hand_off_side_mm: Positive = start("hand_off_side_mm")
    bridge_back_mm: Positive = start("bridge_back_mm")
    bridge_body_side_mm: Positive = start("bridge_body_side_mm")
    bridge_off_side_mm: Positive = start("bridge_off_side_mm")
    shaft_radius_mm: Positive = start("shaft_radius_mm")
    elevation_limit_deg: Positive = start("elevation_limit_deg")
    """The steepest cue the player is content with when a ball lies behind the cue ball."""
    aim_spread_deg: Positive = start("aim_spread_deg")
    """Standard deviation of the cue ball's direction about the intended one; what it makes at
    the ghost ball grows with the distance."""
    contact_error_mm: Positive = start("contact_error_mm")
    """Standard deviation of where the cue ball touches, across its way at the ghost ball, at any
    distance: it turns the object ball by e/(D·cos θ), so thin cuts get hard."""
    throw_spread_deg: Positive = start("throw_spread_deg")
    """Standard deviation of the object ball's direction by throw that the player did not allow
    for, at half a ball and thinner; in proportion to sin θ below that."""
    firm_speed_mm_s: Positive = start("firm_speed_mm_s")
    """The fastest cue ball that still keeps its line: thin cuts give the object ball cos θ of it,
    and so limit how far it can travel."""
    bridge_spread_factor: Positive = start("bridge_spread_factor")
    """How much wider the aim spread is with a mechanical bridge."""
    speed_spread: Positive = start("speed_spread")
    """Standard deviation of how far the cue ball runs, as a share of its way."""
    line_spread_deg: Positive = start("line_spread_deg")
    """Standard deviation of the cue ball's direction after contact about the planned route."""
    measured: tuple[str, ...] = ()
    """Settings that a record or a mapping bears out, even where they equal the starting value."""

    def __post_init__(self) -> None:
        strict.check(self, label="player", error=PlayerError, remedy="Correct it.")
        if self.handedness not in ("right", "left"):
            raise PlayerError(
                f"player.handedness: got {self.handedness!r}; allowed: right, left. Correct it."
            )
        wrong = sorted(set(self.measured) - set(STARTING))
        if wrong:
            raise PlayerError(
                f"player.measured: got {', '.join(wrong)}; allowed: {', '.join(STARTING)}. "
                "Correct it."
            )
        for name in ("elevation_limit", "aim_spread", "throw_spread", "line_spread"):
            angle_deg = getattr(self, f"{name}_deg")
            if angle_deg >= 90:
                raise PlayerError(
                    f"player.{name}_deg: got {angle_deg:g}; allowed: below 90. Correct it."
                )
        for name in ("back_mm", "body_side_mm", "off_side_mm"):
            hand, bridge = getattr(self, f"hand_{name}"), getattr(self, f"bridge_{name}")
            if bridge < hand:
                raise PlayerError(
                    f"player.bridge_{name}: got {bridge:g}; allowed: at least hand_{name} "
                    f"({hand:g}), for a bridge never shortens the reach. Correct one of them."
                )

    def assumed(self, names: Collection[str] = (*CHANCE_SETTINGS, *REACH_SETTINGS)) -> list[str]:
        """Which of these settings are starting values that nobody gave or measured."""
        return [
            name
            for name in names
            if name not in self.measured and getattr(self, name) == STARTING[name].value
        ]

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object, one key a field."""
        return {**asdict(self), "measured": list(self.measured)}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "player") -> Player:
        """Inverse of ``to_dict``; every key is optional."""
        own = dict(data) if isinstance(data, Mapping) else data
        for name in ("back_mm", "body_side_mm", "off_side_mm"):
            bridge = own.get(f"bridge_{name}") if isinstance(own, dict) else None
            # a file that gives the bridge's reach alone keeps loading below a starting value
            if isinstance(bridge, int | float) and bridge < start(f"hand_{name}"):
                own.setdefault(f"hand_{name}", bridge)
        return strict.build(
            cls,
            own,
            path=path,
            label="player",
            error=PlayerError,
            remedy="Correct it.",
            closed=True,
        )
