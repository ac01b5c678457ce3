"""How far off the balls lay when a shot was played from them: the set-up's own error.

A landing zone is computed on the layout that really lay there, so a shot from a set-up that is off
is judged fairly as it is, and the set-up's error is none of the player's stroke. What it changes is
the comparison with the same shot of other attempts: they were played from places that differ by the
set-ups' errors. So it is kept with the attempt and said, and adds nothing to the miss.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration import strict
from calibration.table import Table
from service.position import Intent
from service.position.shot.cut import cut_deg
from service.practice.between.repeats import SET_UP_MM
from vision.layout import BALL_IDS, EXACT, Cov, Layout

from .errors import GuideError
from .guided import check_surfaces
from .moves import error_95_mm
from .pairing import pair

_REMEDY = "Set the balls up again."


@dataclass(frozen=True, slots=True, kw_only=True)
class BallOff:
    """One ball against its wanted place: where it lay minus where it belongs, mm."""

    id: str
    dx_mm: float
    dy_mm: float
    cov_mm2: Cov = EXACT
    """Covariance of the reading of where it lay. The wanted place is exact by definition."""

    def __post_init__(self) -> None:
        strict.check(self, label="ball", error=GuideError, remedy=_REMEDY)
        if self.id not in BALL_IDS:
            raise GuideError(
                f"ball.id: got {strict.shown(self.id)}; allowed: cue, 1 … 15. {_REMEDY}"
            )

    @property
    def off_mm(self) -> float:
        """Distance from its place."""
        return math.hypot(self.dx_mm, self.dy_mm)

    @property
    def error_mm(self) -> float:
        """Larger half axis of the reading's 95 % ellipse."""
        return error_95_mm(self.cov_mm2)

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "id": self.id,
            "dx_mm": self.dx_mm,
            "dy_mm": self.dy_mm,
            "off_mm": self.off_mm,
            "cov_mm2": [list(row) for row in self.cov_mm2],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpError:
    """Every ball of a set-up against its wanted place, as kept with the attempt."""

    balls: tuple[BallOff, ...]
    layout_id: int | None = None
    """The kept layout that was set up."""
    tolerance_mm: float | None = None
    """What the player asked of the set-up."""

    def __post_init__(self) -> None:
        strict.check(self, label="set_up", error=GuideError, remedy=_REMEDY)

    @property
    def worst(self) -> BallOff | None:
        """The ball that lay farthest off."""
        return max(self.balls, key=lambda ball: ball.off_mm, default=None)

    @property
    def worst_mm(self) -> float:
        """How far that was."""
        return 0.0 if self.worst is None else self.worst.off_mm

    def apart_mm(self, other: SetUpError) -> dict[str, tuple[float, float]]:
        """Two set-ups of one layout: how far each ball lay from where it lay in the other.

        Each with its 95 % error. The wanted place drops out, both readings' errors stay.
        """
        theirs = {ball.id: ball for ball in other.balls}
        out = {}
        for ball in self.balls:
            if (them := theirs.get(ball.id)) is not None:
                cov = np.asarray(ball.cov_mm2) + np.asarray(them.cov_mm2)
                apart = math.hypot(ball.dx_mm - them.dx_mm, ball.dy_mm - them.dy_mm)
                out[ball.id] = (apart, error_95_mm(cov.tolist()))
        return out

    def to_dict(self) -> dict[str, Any]:
        """JSON object as kept with an attempt, its ``set_up``."""
        return {
            "layout_id": self.layout_id,
            "tolerance_mm": self.tolerance_mm,
            "worst_mm": self.worst_mm,
            "balls": [ball.to_dict() for ball in self.balls],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "set_up") -> SetUpError:
        """Inverse of ``to_dict``."""

        def ball(item: Any, at: str) -> BallOff:
            return strict.build(
                BallOff, item, path=at, label="ball", error=GuideError, remedy=_REMEDY
            )

        return strict.build(
            cls,
            data,
            path=path,
            label="set_up",
            error=GuideError,
            remedy=_REMEDY,
            convert={"balls": strict.listed(ball, error=GuideError)},
        )


def set_up_error(
    wanted: Layout,
    before: Layout,
    *,
    layout_id: int | None = None,
    tolerance_mm: float | None = None,
) -> SetUpError | None:
    """How far the layout before a shot was off the wanted one; None where it is not that set-up.

    It is that set-up where the same balls lie there, each within a ball's width of its place.

    Raises:
        GuideError: layouts of two surfaces (code "other-surface").
    """
    check_surfaces(wanted, before)
    paired = pair(wanted, before)
    if paired.extra or paired.missing or not paired.pairs:
        return None
    found = tuple(
        BallOff(
            id=target.id,
            dx_mm=ball.x_mm - target.x_mm,
            dy_mm=ball.y_mm - target.y_mm,
            cov_mm2=ball.cov_mm2,
        )
        for target, ball in paired.pairs
    )
    if any(ball.off_mm > SET_UP_MM for ball in found):
        return None
    return SetUpError(balls=found, layout_id=layout_id, tolerance_mm=tolerance_mm)


def cuts_deg(
    wanted: Layout, before: Layout, intent: Intent, table: Table
) -> tuple[float, float] | None:
    """Cut of the shot on the wanted layout and on the one that lay there: what it did to the shot.

    None where the intent names no ball with its pocket, or one is not on both.
    """
    if intent.pot is None or intent.pocket is None:
        return None
    aim_mm = table.pocket(intent.pocket).aim_mm
    found = []
    for layout in (wanted, before):
        cue, ball = layout.ball("cue"), layout.ball(intent.pot)
        if cue is None or ball is None:
            return None
        found.append(float(cut_deg(cue.centre_mm, ball.centre_mm, aim_mm)))
    return (found[0], found[1])
