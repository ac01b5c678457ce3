"""Simulated practices: stills of a table that is played on and laid by hand, with the truth.

Every still is the true table with reading noise drawn from its stated covariances. What was done
between two stills is known, because it was done here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from play import Aim, D, Place, Played, play, pots

from calibration.table import Table
from service.position import Intent
from service.practice.between.seen import Seen
from vision.layout import Ball, Layout

SET_UP_SPREAD_MM = 9.0
"""Spread of a ball laid by hand about its old place, per axis."""


@dataclass(frozen=True)
class Truth:
    """What was done before a still was taken."""

    kind: str
    event: str
    potted: dict[str, str] = field(default_factory=dict)
    scratch: bool = False
    way_mm: dict[str, float] = field(default_factory=dict)
    """How far each ball that stayed on the table lies from where it lay."""
    repeats: str | None = None
    intent: Intent | None = None
    seen: Seen | None = None
    """What frames showed, where the tale has frames."""
    cue_track_mm: tuple[Place, ...] = ()
    """The cue ball's way, corner by corner, of a shot."""

    @property
    def all_seen(self) -> Seen:
        """What frames would have shown."""
        played = self.event == "shot"
        by_hand = self.event not in ("shot", "nothing")
        return Seen(rolled=played, hand_over_bed=played or by_hand, cue_track_mm=self.cue_track_mm)


class Story:
    """A table, its stills and what was done between them."""

    def __init__(self, seed: int, table: Table | None = None) -> None:
        self.rng = np.random.default_rng(seed)
        self.table = table or Table()
        self.places: dict[str, Place] = {}
        self.stills: list[Layout] = []
        self.truths: list[Truth | None] = []
        """What led to each still; None for the first."""
        self._shown: dict[str, Place] = {}

    # -- stills ----------------------------------------------------------------------------

    def still(self, kind: str = "", event: str = "", **more) -> str:
        """Take a still; ``kind`` and ``event`` say what was done since the one before."""
        name = f"still-{len(self.stills):03}"
        scale = float(self.rng.uniform(0.2, 1.0))
        balls = tuple(self._read(ball, at, scale) for ball, at in self.places.items())
        self.stills.append(Layout(still=name, surface_mm=self.table.surface_mm, balls=balls))
        way = {
            ball: math.dist(at, self._shown[ball])
            for ball, at in self.places.items()
            if ball in self._shown
        }
        first = len(self.stills) == 1
        self.truths.append(None if first else Truth(kind=kind, event=event, way_mm=way, **more))
        self._shown = dict(self.places)
        return name

    def _read(self, name: str, at: Place, scale: float) -> Ball:
        turn = self.rng.uniform(0, math.pi)
        axes = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        sides = scale * self.rng.uniform(0.6, 1.0, 2)
        cov = axes @ np.diag(sides**2) @ axes.T
        x, y = self.rng.multivariate_normal(at, cov)
        return Ball(id=name, x_mm=x, y_mm=y, cov_mm2=tuple(map(tuple, cov)), confidence=0.98)

    def doubt(self, names: dict[str, str]) -> None:
        """The newest still gives balls other names, in doubt, the true one as runner-up."""
        newest = self.stills[-1]
        balls = tuple(
            replace(
                ball, id=names[ball.id], confidence=0.55, doubtful=True,
                runners_up=((ball.id, 0.4),),
            ) if ball.id in names else ball
            for ball in newest.balls
        )  # fmt: skip
        self.stills[-1] = replace(newest, balls=balls)

    # -- laying by hand --------------------------------------------------------------------

    def lay(self, *names: str, apart_mm: float = 130.0) -> None:
        """Put balls at free places anywhere, each a hand's width from the others."""
        length, width = self.table.surface_mm
        for name in names:
            self.places.pop(name, None)
        for name in names:
            while True:
                at = (self.rng.uniform(60, length - 60), self.rng.uniform(60, width - 60))
                if self._free(at, apart_mm):
                    break
            self.places[name] = (float(at[0]), float(at[1]))

    def cluster(self, *names: str, gap_mm: float = 0.2) -> None:
        """Put balls against each other about a place on the foot half."""
        length, width = self.table.surface_mm
        at = (self.rng.uniform(0.5, 0.75) * length, self.rng.uniform(0.35, 0.65) * width)
        turn = self.rng.uniform(0, math.pi)
        for i, name in enumerate(names):
            row = int((math.sqrt(8 * i + 1) - 1) // 2)
            column = i - row * (row + 1) / 2 - row / 2
            ahead, aside = row * (D + gap_mm) * math.sqrt(3) / 2, column * (D + gap_mm)
            x = at[0] + ahead * math.cos(turn) - aside * math.sin(turn)
            y = at[1] + ahead * math.sin(turn) + aside * math.cos(turn)
            self.places[name] = (x, y)

    def push(self, name: str, way_mm: float) -> None:
        """Move a ball by that much in a free direction."""
        x, y = self.places.pop(name)
        for turn in self.rng.uniform(0, 2 * math.pi, 200):
            at = (x + way_mm * math.cos(turn), y + way_mm * math.sin(turn))
            if self._free(at, D + 1) and self._on_bed(at):
                self.places[name] = at
                return
        self.places[name] = (x, y)

    def set_up(self, goal: dict[str, Place], spread_mm: float = SET_UP_SPREAD_MM) -> None:
        """Lay again what moved since, as well as a hand does; what lies there is left alone."""
        for name, at in goal.items():
            there = self.places.get(name)
            if there is not None and math.dist(there, at) < 1e-6:
                continue
            self.places.pop(name, None)
            for _ in range(500):
                near = tuple(float(v) for v in self.rng.normal(at, spread_mm))
                if self._free(near, D + 0.3) and self._on_bed(near) and math.dist(near, at) < 45:
                    break
            self.places[name] = near

    def _free(self, at, apart_mm: float) -> bool:
        return all(math.dist(at, other) >= apart_mm for other in self.places.values())

    def _on_bed(self, at) -> bool:
        length, width = self.table.surface_mm
        return 28 <= at[0] <= length - 28 and 28 <= at[1] <= width - 28

    # -- playing ---------------------------------------------------------------------------

    def easiest(self) -> Aim | None:
        """The pot that a player would choose."""
        found = pots(self.places, self.table)
        return found[0] if found else None

    def strike(
        self, aim_rad: float, speed_mm_s: float, spin: float = 0.0, *, keep: bool = True
    ) -> Played:
        """Play a shot; with ``keep`` the table is as it leaves it."""
        out = play(self.places, self.table, aim_rad, speed_mm_s, spin)
        if keep:
            self.places = dict(out.rest_mm)
        return out

    def shot(self, kind: str, out: Played, **more) -> str:
        """A still after a shot that was kept."""
        down = {ball: pocket for ball, pocket in out.potted.items() if ball != "cue"}
        return self.still(
            kind, "shot", potted=down, scratch="cue" in out.potted,
            cue_track_mm=tuple(out.cue_track_mm), **more,
        )  # fmt: skip


def intent_for(aim: Aim) -> Intent:
    """To pot that ball, with a place for the cue ball that every table has."""
    from service.position import DrawnZone

    return Intent(pot=aim.ball, pocket=aim.pocket, zone=DrawnZone(circle_mm=(1270.0, 635.0, 300.0)))
