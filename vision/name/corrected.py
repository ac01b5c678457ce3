"""Names put right by a person: which ball at which place is which, and the layout after that."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from calibration import strict
from calibration.errors import RestmarkError
from calibration.notices import Notice
from vision.layout import BALL_IDS, Ball, Layout

from .unusual import CODE as UNUSUAL

NEAR_MM = 30.0
"""A place this near to a ball's centre, about a ball's radius, means that ball."""
SWAPPED_CONFIDENCE = 0.5
"""Of a ball that lost its name to another and was given that one's; no more of one left open."""
NAME_DOUBTS = ("name-in-doubt", "names-alike")
"""Notices of a reading that doubt names of the balls at ``places_mm``."""
SAME_PLACE_MM = 1.0
"""Balls lie 57 mm apart, and a notice's places are the balls' own."""
_NUMBER = r"[-+]?\d+(?:\.\d*)?"
_TOLD = re.compile(rf"^\s*({_NUMBER})\s*,\s*({_NUMBER})\s*=\s*(\w+)\s*$")
_HOW = "Look the places up in the reading."


class CorrectionError(RestmarkError):
    """A correction names no ball of the layout, or no name."""

    code = "bad-correction"


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """The ball at a place of the table frame, mm, is that one."""

    id: str | None
    """None: whoever looks cannot tell, and the ball is in doubt."""
    x_mm: float
    y_mm: float

    def __post_init__(self) -> None:
        strict.check(self, label="", error=CorrectionError, remedy="Correct it.")
        if self.id is not None and self.id not in BALL_IDS:
            raise CorrectionError(
                f"id: got {self.id!r}; allowed: cue, 1 … 15, or null where nobody can tell. "
                "Correct the name."
            )

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {"id": self.id, "x_mm": self.x_mm, "y_mm": self.y_mm}

    @classmethod
    def from_dict(cls, data: object, *, path: str = "names") -> Correction:
        """Inverse of ``to_dict``."""
        return strict.build(cls, data, path=path, error=CorrectionError, remedy="Correct it.")


def told(words: str) -> tuple[Correction, ...]:
    """Corrections written as ``x,y=name;x,y=name``, places in mm.

    Raises:
        CorrectionError: the words are not written so, or name no ball.
    """
    out = []
    for i, part in enumerate(part for part in words.split(";") if part.strip()):
        match = _TOLD.match(part)
        if match is None:
            raise CorrectionError(
                f"names[{i}]: got {part.strip()!r}; allowed: x,y=name with x and y in mm and a "
                "name cue, 1 … 15, several parted by semicolons. Correct it."
            )
        x, y, name = match.groups()
        item = {"id": name, "x_mm": float(x), "y_mm": float(y)}
        out.append(Correction.from_dict(item, path=f"names[{i}]"))
    if not out:
        raise CorrectionError(
            "names: got none; allowed: x,y=name, several parted by semicolons. Give one or more."
        )
    return tuple(out)


def corrected(layout: Layout, corrections: Sequence[Correction]) -> Layout:
    """The layout with those names, each free of doubt.

    A ball that held a name which now belongs to another gets that other's old name, and is in
    doubt unless it is corrected too; so is one whose name is left open. What was warned about the
    corrected names goes.

    Raises:
        CorrectionError: a place holds no ball or two, or a ball or name comes twice.
    """
    places = [_meant(layout, item, f"names[{i}]") for i, item in enumerate(corrections)]
    told_of = list(zip(places, (item.id for item in corrections), strict=True))
    meant = {k: name for k, name in told_of if name is not None}
    wanted = [name for _, name in told_of if name is not None]
    for what, got in (("ball", places), ("name", wanted)):
        if len(set(got)) < len(got):
            raise CorrectionError(
                f"names: got one {what} more than once; allowed: every ball and every name once. "
                "Correct the list."
            )
    names = [ball.id for ball in layout.balls]
    for k, name in meant.items():
        if name in names:
            names[names.index(name)] = names[k]
        names[k] = name
    balls = tuple(
        _renamed(ball, name, sure=k in meant, open_=k in places)
        for k, (ball, name) in enumerate(zip(layout.balls, names, strict=True))
    )
    settled = [layout.balls[k] for k in meant]
    return replace(
        layout,
        balls=tuple(sorted(balls, key=lambda ball: BALL_IDS.index(ball.id))),
        # the set learns from what is said; whether it is known now, the next still shows
        unlike=(),
        notices=tuple(
            n for n in layout.notices if n.code != UNUSUAL and not _about_name_of(settled, n)
        ),
    )


def _meant(layout: Layout, item: Correction, path: str) -> int:
    """Index of the ball at the correction's place."""
    given = f"{path}: got x {item.x_mm:g}, y {item.y_mm:g} mm"
    if not layout.balls:
        raise CorrectionError(f"{given}, and there is no ball at all; allowed: a ball. {_HOW}")
    away = [float(np.hypot(ball.x_mm - item.x_mm, ball.y_mm - item.y_mm)) for ball in layout.balls]
    nearest = int(np.argmin(away))
    if not away[nearest] <= NEAR_MM:
        raise CorrectionError(
            f"{given}, {away[nearest]:.0f} mm from the nearest ball; allowed: the place of a "
            f"ball, to {NEAR_MM:.0f} mm. {_HOW}"
        )
    return nearest


def _renamed(ball: Ball, name: str, *, sure: bool, open_: bool) -> Ball:
    if sure:
        return replace(ball, id=name, confidence=1.0, doubtful=False, runners_up=(), said=True)
    if name == ball.id:
        if not open_:
            return ball
        confidence = min(ball.confidence, SWAPPED_CONFIDENCE)
        return replace(ball, confidence=confidence, doubtful=True, said=False)
    return replace(
        ball, id=name, confidence=SWAPPED_CONFIDENCE, doubtful=True, runners_up=(), said=False
    )


def _about_name_of(balls: Sequence[Ball], notice: Notice) -> bool:
    """Whether a notice doubts the name of one of the balls."""
    if notice.code not in NAME_DOUBTS:
        return False
    return any(
        math.dist(place, ball.centre_mm) < SAME_PLACE_MM
        for place in notice.places_mm
        for ball in balls
    )
