"""Twenty textbook positions with their pot chance, as the documents print them.

``python -m service.position.plan.textbook`` prints both tables; a test holds the page to them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, PointMm, Table
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.meant.settings import CHANCE_SETTINGS, REACH_SETTINGS, STARTING
from service.position.verdict.value import open_pockets, pot_chance
from service.position.zone.membership import Leave, leave_of

MARK = "<!-- {part}{end} -->"
"""Between two of these the page holds what ``textbook_table`` prints."""
_NEVER = 1e-9
_ERRORS = (
    ("aim", "aim_spread_deg"), ("contact", "contact_error_mm"), ("throw", "throw_spread_deg"),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A shot on a 9 ft table, told as a player would."""

    pocket: str
    approach_deg: float
    """Of the ball's way off the mouth's perpendicular."""
    ball_mm: float
    """From the ball to the middle of the pocket's mouth."""
    cut_deg: float
    way_mm: float
    """From the cue ball to the ghost ball."""

    def places_mm(self, table: Table) -> tuple[PointMm, PointMm]:
        """Ball and cue ball, the cue ball on the side of the line that lies on the bed.

        Raises:
            AssertionError: no side has room for the cue ball.
        """
        pocket = table.pocket(self.pocket)
        line = complex(*pocket.inward) * _turn(-self.approach_deg)
        ball = complex(*pocket.aim_mm) - self.ball_mm * line
        ghost = ball - BALL_DIAMETER_MM * line
        for side in (1.0, -1.0):
            cue = ghost - self.way_mm * line * _turn(side * self.cut_deg)
            if all(
                FROZEN_INSET_MM <= at <= size - FROZEN_INSET_MM
                for at, size in zip((cue.real, cue.imag), table.surface_mm, strict=True)
            ):
                return (ball.real, ball.imag), (cue.real, cue.imag)
        raise AssertionError(f"{self}: neither place is on the bed")


def _position(pocket: str, approach: float, ball: float, cut: float, way: float) -> Position:
    return Position(pocket=pocket, approach_deg=approach, ball_mm=ball, cut_deg=cut, way_mm=way)


POSITIONS: Sequence[Position] = (
    _position("foot-left", 0, 300, 0, 300),
    _position("foot-left", 0, 600, 0, 600),
    _position("foot-left", 20, 1000, 0, 1000),
    _position("foot-left", 0, 300, 0, 1000),
    _position("foot-left", 0, 600, 14.5, 600),
    _position("foot-left", 20, 1000, 14.5, 1000),
    _position("foot-left", 0, 300, 30, 300),
    _position("foot-left", 0, 600, 30, 600),
    _position("foot-left", 20, 1000, 30, 1000),
    _position("foot-left", 40, 1200, 30, 600),
    _position("foot-left", 0, 300, 48.6, 600),
    _position("foot-left", 0, 600, 48.6, 600),
    _position("foot-left", 20, 1000, 48.6, 1000),
    _position("side-left", 0, 500, 30, 500),
    _position("side-left", 45, 500, 30, 500),
    _position("foot-left", 25, 300, 60, 600),
    _position("foot-left", 25, 300, 75, 600),
    _position("side-left", 0, 120, 80, 500),
    _position("side-left", 0, 120, 84, 500),
    _position("side-left", 0, 120, 87.6, 500),
)


def textbook_table(part: str = "table") -> str:
    """The positions (``table``) or the settings (``settings``) as a table in Markdown."""
    return _positions() if part == "table" else _settings()


def _positions() -> str:
    table, player = Table(), Player()
    lines = [
        "| pocket, approach | ball to pocket | cut | way to the ghost ball | ball may turn by | "
        "chance | aim alone | contact alone | throw alone |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for each in POSITIONS:
        leave, cue = _leave(each, table, player)
        turns = next(
            pocket.turns_rad
            for pocket in open_pockets(leave.object_mm, (), table)
            if pocket.name == each.pocket
        )
        chances = [
            float(pot_chance(cue, replace(leave, player=who)))
            for who in (player, *(_only(name) for _, name in _ERRORS))
        ]
        shares = " | ".join(f"{100 * chance:.0f} %" for chance in chances)
        lines.append(
            f"| {each.pocket}, {each.approach_deg:g}° | {each.ball_mm:g} mm | {each.cut_deg:g}° | "
            f"{each.way_mm:g} mm | ±{math.degrees(turns[1] - turns[0]) / 2:.1f}° | {shares} |"
        )
    return "\n".join(lines)


def _settings() -> str:
    lines = ["| setting | start | believed range | why |", "|---|---|---|---|"]
    for name in (*CHANCE_SETTINGS, *REACH_SETTINGS):
        own = STARTING[name]
        unit = own.unit if own.unit in ("", "°") else f" {own.unit}"
        lines.append(
            f"| `{name}` | {own.value:g}{unit} | {own.low:g} to {own.high:g}{unit} | {own.reason} |"
        )
    return "\n".join(lines)


def _leave(each: Position, table: Table, player: Player) -> tuple[Leave, PointMm]:
    ball, cue = each.places_mm(table)
    found = leave_of(Intent(next="1", next_pocket=each.pocket), table, player, {"1": ball})
    assert found is not None
    return found, cue


def _only(name: str) -> Player:
    """The starting player without the other errors, who can send a ball as far as it must go."""
    others = {other: _NEVER for _, other in _ERRORS if other != name}
    return Player.from_dict({**others, "firm_speed_mm_s": 1e7})


def _turn(turn_deg: float) -> complex:
    return complex(math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg)))


if __name__ == "__main__":
    for _part in ("table", "settings"):
        print(textbook_table(_part), end="\n\n")
