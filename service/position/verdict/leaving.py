"""What a stop leaves for the next ball: cut, side, path, hooked, reach, cueing, pot chance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calibration.table import POCKET_NAMES, PointMm
from service.position.shot.cueing import Cueing, cueing
from service.position.shot.cut import cut_deg, fullness, ghost_ball_mm, side
from service.position.shot.hooked import hooked_word, visible_share
from service.position.shot.path import Clearance, clearances, mouth_state, path_to_pocket
from service.position.shot.reach import reach
from service.position.shot.window import entry_turns_rad
from service.position.zone.landing import LandingZone
from service.position.zone.membership import Leave, aim_of
from vision.layout import Ball, Layout

from .impossible import Impossible, became_impossible
from .judged import angle_off_deg
from .value import best_chance, chance_by_pocket, open_pockets


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """The next shot as the stop leaves it (mm, degrees, chances 0 … 1)."""

    ball: str
    pocket: str
    """The intent's pocket, or the best one where the intent leaves it open."""
    cut_deg: float
    angle_off_deg: float
    """Outside the wanted cut range: − too straight, + too much angle, 0 within it."""
    fullness: float
    side: str
    hooked: str
    visible_share: float
    """Share of the directions at the next ball that meet it first."""
    path_to_pocket: str
    mouth: str
    """Whether the ball can pass cleanly between the points of its pocket: ``open``, ``blocked`` or
    ``too close to call``. A ball in the jaws can even where the way to their middle touches."""
    clearances: tuple[Clearance, ...]
    way_mm: tuple[PointMm, PointMm, PointMm]
    """Cue ball, ghost ball, the middle of the pocket's mouth."""
    reach: str
    cueing: Cueing
    pot_chance: float
    pot_chance_given_up: float | None
    chance_by_pocket: Mapping[str, float]
    """Every pocket that is open to the ball, with its chance from the stop."""
    in_jaws: bool
    """The aim point itself cannot be played at, but another part of the mouth can: the pot chance
    is for that part."""
    impossible: tuple[Impossible, ...]
    """Pots that the wanted spot offered and the stop does not."""

    def warnings(self) -> list[str]:
        """What must be said beside the figures."""
        out = []
        if self.cut_deg >= 90.0:
            out.append(
                f"ball {self.ball} cannot be cut to {self.pocket} from there: "
                f"the cut is {self.cut_deg:.0f}°"
            )
        if self.in_jaws:
            out.append(
                f"ball {self.ball} lies so near {self.pocket} that the middle of its mouth cannot "
                "be aimed at: the pot chance is for the part of the mouth that can"
            )
        elif self.mouth == "blocked":
            out.append(f"ball {self.ball} approaches {self.pocket} too flatly for a clean entry")
        elif self.mouth == "too close to call":
            out.append(f"ball {self.ball} may touch a point of {self.pocket}: too close to call")
        return out


def left_by(cue: Ball, after: Layout, leave: Leave, zone: LandingZone) -> Left:
    """What the cue ball's stop leaves on the layout after the shot."""
    target = after.ball(leave.ball)
    assert target is not None
    others = [ball for ball in after.balls if ball.id not in ("cue", leave.ball)]
    stop, table = cue.centre_mm, leave.table
    chances = chance_by_pocket(np.asarray(stop), leave)
    own = leave.into(leave.pocket or _served(stop, zone, leave, chances))
    aim = own.aim_mm
    ghost = ghost_ball_mm(target.centre_mm, aim)
    cut = float(cut_deg(stop, target.centre_mm, aim))
    found = clearances(cue, target, table.pocket(own.pocket or ""), others, table)
    share = visible_share(stop, target.centre_mm, leave.others_mm)
    chance = float(chances.get(own.pocket or "", 0.0))
    best = best_chance(zone, leave)
    return Left(
        ball=leave.ball,
        pocket=own.pocket or "",
        cut_deg=cut,
        angle_off_deg=angle_off_deg(cut, leave.intent.cut_deg) or 0.0,
        fullness=fullness(cut),
        side=side(stop, target.centre_mm, aim),
        hooked=hooked_word(share),
        visible_share=share,
        path_to_pocket=path_to_pocket(found),
        mouth=_mouth(found, target, own),
        clearances=found,
        way_mm=(stop, (float(ghost[0]), float(ghost[1])), (float(aim[0]), float(aim[1]))),
        reach=reach(stop, ghost, table, leave.player),
        cueing=cueing(
            stop, (float(ghost[0]), float(ghost[1])), [b.centre_mm for b in (target, *others)],
            [b.id for b in (target, *others)], table, leave.player,
        ),
        pot_chance=chance,
        pot_chance_given_up=None if best is None else max(best - chance, 0.0),
        chance_by_pocket={name: float(each) for name, each in chances.items()},
        in_jaws=_in_jaws(own),
        impossible=became_impossible(stop, zone.wanted_mm, leave),
    )  # fmt: skip


def _in_jaws(leave: Leave) -> bool:
    pockets = open_pockets(leave.object_mm, leave.others_mm, leave.table)
    return any(p.name == leave.pocket and not p.by_aim_point for p in pockets)


def _mouth(found: tuple[Clearance, ...], target: Ball, leave: Leave) -> str:
    pocket = leave.table.pocket(leave.pocket or "")
    if entry_turns_rad(target.centre_mm, pocket) is None:
        return "blocked"
    word = mouth_state(found)
    return "open" if word == "blocked" else word


def _served(
    stop_mm: PointMm, zone: LandingZone, leave: Leave, chances: Mapping[str, object]
) -> str:
    """The pocket to judge a stop by where the intent leaves it open.

    Among the pockets whose zone holds the stop, else among all, the one with the best chance;
    where no pot is possible, the one with the least cut.
    """
    inside = [part.pocket for part in zone.parts if bool(part.contains(np.asarray(stop_mm)))]
    names = [name for name in inside if name is not None] or list(POCKET_NAMES)

    def worth(name: str) -> tuple[float, float]:
        cut = float(cut_deg(stop_mm, leave.object_mm, aim_of(leave.table, name)))
        return float(np.asarray(chances.get(name, 0.0))), -cut

    return max(names, key=worth)
