"""The player's own settings: hand, reach, cueing over a ball, spreads of aim, speed and line.

No published reach or aim-spread figure was found, so all of these are starting values which a
player replaces by their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from calibration import strict
from calibration.strict import Positive
from service.position.errors import PlayerError


@dataclass(frozen=True, slots=True, kw_only=True)
class Player:
    """Settings of one player; lengths in mm, angles in degrees.

    Reach is measured on the table from the cue ball's centre to a nose line: so far straight
    back along the cue, so far square to the cue on the body's side (left of the line for a
    right-hander, mirrored for a left-hander), so far on the other side, elliptical in between.
    """

    handedness: str = "right"
    hand_back_mm: Positive = 1100.0
    hand_body_side_mm: Positive = 600.0
    hand_off_side_mm: Positive = 300.0
    bridge_back_mm: Positive = 2000.0
    bridge_body_side_mm: Positive = 700.0
    bridge_off_side_mm: Positive = 500.0
    shaft_radius_mm: Positive = 6.5
    elevation_limit_deg: Positive = 15.0
    """The steepest cue the player is content with when a ball lies behind the cue ball."""
    aim_spread_deg: Positive = 0.10
    """Standard deviation of the cue ball's direction about the intended one."""
    bridge_spread_factor: Positive = 1.5
    """How much wider the aim spread is with a mechanical bridge."""
    speed_spread: Positive = 0.15
    """Standard deviation of how far the cue ball runs, as a share of its way."""
    line_spread_deg: Positive = 3.0
    """Standard deviation of the cue ball's direction after contact about the planned route."""

    def __post_init__(self) -> None:
        strict.check(self, label="player", error=PlayerError, remedy="Correct it.")
        if self.handedness not in ("right", "left"):
            raise PlayerError(
                f"player.handedness: got {self.handedness!r}; allowed: right, left. Correct it."
            )
        if self.elevation_limit_deg >= 90:
            raise PlayerError(
                f"player.elevation_limit_deg: got {self.elevation_limit_deg:g}; allowed: below 90. "
                "Correct it."
            )
        for name in ("back_mm", "body_side_mm", "off_side_mm"):
            hand, bridge = getattr(self, f"hand_{name}"), getattr(self, f"bridge_{name}")
            if bridge < hand:
                raise PlayerError(
                    f"player.bridge_{name}: got {bridge:g}; allowed: at least hand_{name} "
                    f"({hand:g}), for a bridge never shortens the reach. Correct one of them."
                )

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object, one key a field."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "player") -> Player:
        """Inverse of ``to_dict``; every key is optional."""
        return strict.build(
            cls,
            data,
            path=path,
            label="player",
            error=PlayerError,
            remedy="Correct it.",
            closed=True,
        )
