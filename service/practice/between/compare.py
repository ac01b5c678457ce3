"""Ball by ball: which stayed, which lie elsewhere, which are gone or new, whose name changed.

A ball is known by its place before its name: balls lie at least a diameter apart, so a ball read
under another name where one lay before is that ball, and its name is in doubt, not the table.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.table import BALL_RADIUS_MM
from service.position.verdict.happened import MOVED_LEAST_MM
from vision.layout import BALL_IDS, Ball, Layout

DIFFERS_CHI2 = 23.0
"""A difference this many times its variance is beyond the errors: one in 100,000 is by chance."""
SUSPECT_CHI2 = 13.8
"""One in 1000 is by chance."""
ALLOWANCE_MM = 0.3
"""Error of either still that covariances do not hold (bed, rolling back into a dent), per axis."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A ball that lies on the table before and after."""

    name: str
    was: Ball
    now: Ball
    off_mm: float
    """Distance between its two places."""
    chi2: float
    """The distance squared in units of both readings' errors, 2 degrees of freedom."""

    @property
    def differs(self) -> bool:
        """The distance is beyond the errors of both readings."""
        return self.chi2 > DIFFERS_CHI2

    @property
    def suspect(self) -> bool:
        """The distance is hardly by chance, which counts where other balls moved as well."""
        return self.chi2 > SUSPECT_CHI2

    @property
    def moved(self) -> bool:
        """It lies elsewhere, by more than a touch of hand or cloth explains."""
        return self.differs and self.off_mm > MOVED_LEAST_MM

    @property
    def renamed(self) -> bool:
        """The two stills give it different names."""
        return self.was.id != self.now.id


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """All differences between two layouts; both carry the names that the comparison settled."""

    before: Layout
    after: Layout
    kept: tuple[Kept, ...]
    gone: tuple[str, ...]
    """Object balls and ``cue`` that lie on the table before only."""
    come: tuple[str, ...]
    """Balls that lie on the table after only."""

    @property
    def moved(self) -> tuple[str, ...]:
        """Balls on the table both times that were moved."""
        return tuple(ball.name for ball in self.kept if ball.moved)

    @property
    def is_empty(self) -> bool:
        """No ball was moved, none is gone, none has come."""
        return not (self.moved or self.gone or self.come)

    def surer_before(self) -> Layout:
        """The layout before; where its name for a ball was in doubt and the other is not, that."""
        balls = []
        for ball in self.before.balls:
            now = next((kept.now for kept in self.kept if kept.name == ball.id), ball)
            if ball.doubtful and not now.doubtful and now.id == ball.id:
                ball = replace(
                    ball, confidence=now.confidence, doubtful=False, runners_up=now.runners_up
                )
            balls.append(ball)
        return replace(self.before, balls=tuple(balls))

    def notices(self) -> list[str]:
        """Names that changed in place, and balls moved by no more than a touch."""
        out = []
        for ball in self.kept:
            if ball.renamed:
                out.append(
                    f"the ball at ({ball.now.x_mm:.0f}, {ball.now.y_mm:.0f}) mm reads as "
                    f"{ball.was.id} before and {ball.now.id} after: taken for {ball.name}"
                )
            if ball.differs and not ball.moved:
                out.append(f"ball {ball.name} lies {ball.off_mm:.1f} mm from where it lay")
        return out


def compare(before: Layout, after: Layout) -> Change:
    """The differences, names carried over from what lies in the same place."""
    pairs = _in_place(before.balls, after.balls)
    in_place_was, in_place_now = {a.id for a, _ in pairs}, {b.id for _, b in pairs}
    gone = [ball for ball in before.balls if ball.id not in in_place_was]
    come = [ball for ball in after.balls if ball.id not in in_place_now]
    swapped = {name for a, b in pairs if a.id != b.id for name in (a.id, b.id)}
    pairs += _pair_off(gone, come, lambda a, b: a.id == b.id)
    pairs += _pair_off(gone, come, lambda a, b: _may_be(a, b, swapped))
    names = _names(pairs, gone)
    new_names = _new_names(names, come)
    kept = [
        Kept(name=names[b.id], was=a, now=b, off_mm=off_mm(a, b), chi2=chi2(a, b)) for a, b in pairs
    ]
    return Change(
        before=_renamed(before, {a.id: names[b.id] for a, b in pairs}),
        after=_renamed(after, names | new_names),
        kept=tuple(sorted(kept, key=lambda ball: BALL_IDS.index(ball.name))),
        gone=ordered(ball.id for ball in gone),
        come=ordered(new_names.values()),
    )


def ordered(names: Iterable[str]) -> tuple[str, ...]:
    """Ball names, the cue ball first, then by number."""
    return tuple(sorted(set(names), key=BALL_IDS.index))


def off_mm(was: Ball, now: Ball) -> float:
    """Distance between two places."""
    return math.hypot(now.x_mm - was.x_mm, now.y_mm - was.y_mm)


def chi2(was: Ball, now: Ball) -> float:
    """Squared distance between two places in units of both readings' errors."""
    way = np.array([now.x_mm - was.x_mm, now.y_mm - was.y_mm])
    cov = np.asarray(was.cov_mm2) + np.asarray(now.cov_mm2) + ALLOWANCE_MM**2 * np.eye(2)
    return float(way @ np.linalg.solve(cov, way))


def _in_place(was: Sequence[Ball], now: Sequence[Ball]) -> list[tuple[Ball, Ball]]:
    """Balls that lie where one lay, nearest pairs first."""
    near = sorted(
        (off, i, j)
        for i, a in enumerate(was)
        for j, b in enumerate(now)
        if (off := off_mm(a, b)) < BALL_RADIUS_MM
        and (off <= MOVED_LEAST_MM or chi2(a, b) <= DIFFERS_CHI2)
        and (a.id == b.id or "cue" not in (a.id, b.id) or a.doubtful or b.doubtful)
    )
    pairs: list[tuple[Ball, Ball]] = []
    used_was: set[int] = set()
    used_now: set[int] = set()
    for _, i, j in near:
        if i not in used_was and j not in used_now:
            used_was.add(i)
            used_now.add(j)
            pairs.append((was[i], now[j]))
    return pairs


def _pair_off(
    was: list[Ball], now: list[Ball], fits: Callable[[Ball, Ball], bool]
) -> list[tuple[Ball, Ball]]:
    """Pairs that fit, in order; taken out of both lists."""
    pairs = []
    for a in list(was):
        b = next((b for b in now if fits(a, b)), None)
        if b is not None:
            pairs.append((a, b))
            was.remove(a)
            now.remove(b)
    return pairs


def _may_be(was: Ball, now: Ball, swapped: set[str]) -> bool:
    """Whether doubt of a name makes a ball that is gone and one that has come the same."""
    if {was.id, now.id} <= swapped:
        return True
    return any(
        ball.doubtful and other.id in {name for name, _ in ball.runners_up}
        for ball, other in ((was, now), (now, was))
    )


def _names(pairs: Sequence[tuple[Ball, Ball]], gone: Sequence[Ball]) -> dict[str, str]:
    """Settled name of every ball that was there before, by the name it is read under after.

    The earlier name holds: it is history. Where that was in doubt and the new one is not, or a
    person gave the new one, the new one holds, unless another ball before had it.
    """
    others = {a.id for a, _ in pairs} | {ball.id for ball in gone}

    def newer(a: Ball, b: Ball) -> bool:
        return (b.said and not a.said) or (a.doubtful and not b.doubtful)

    return {b.id: b.id if newer(a, b) and b.id not in others else a.id for a, b in pairs}


def _new_names(names: dict[str, str], come: Sequence[Ball]) -> dict[str, str]:
    """Names of balls that have come: as read, or a freed one where history holds theirs."""
    held = set(names.values())
    freed = [name for name in names if name not in held]
    return {ball.id: ball.id if ball.id not in held or not freed else freed.pop(0) for ball in come}


def _renamed(layout: Layout, names: dict[str, str]) -> Layout:
    balls = tuple(_under(ball, names.get(ball.id, ball.id)) for ball in layout.balls)
    return layout if balls == layout.balls else replace(layout, balls=balls)


def _under(ball: Ball, name: str) -> Ball:
    """The ball under the name that history gives it: what it was read as stays said, as a doubt."""
    if ball.id == name:
        return ball
    odds = dict(ball.runners_up)
    confidence = odds.pop(name, 0.0)
    others = sorted([(ball.id, ball.confidence), *odds.items()], key=lambda item: -item[1])
    return replace(ball, id=name, confidence=confidence, doubtful=True, runners_up=tuple(others))
