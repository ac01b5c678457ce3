"""A video of shots made from sample stills: balls cut out of them roll over their empty table.

Light flickers, sensors are noisy, a player bends over the table before every shot, somebody walks
by; where everything lies is known exactly. Nothing is stored: the frames are made one by one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from rolling import Places, Roll, roll

from calibration.camera import Camera
from calibration.from_still import watched
from calibration.kept.calibration import Calibration
from calibration.table import BALL_RADIUS_MM, Table
from vision.place.crops import CropFrames, cut_crops
from vision.sources.frame import Frame
from vision.truth.file import read_truth

SAMPLES = Path(__file__).parents[1] / "sample_frames" / "practice"
CUT_SIDE, CUT_STEP_MM = 72, 1.0
FINER = 4
"""Samples per pixel each way when a ball is laid into a picture."""
FLICKER, NOISE_LEVELS = 0.03, 2.0
GRAINS = 12
SKIN, SLEEVE, WOOD = (120.0, 150.0, 205.0), (70.0, 50.0, 40.0), (90.0, 150.0, 200.0)
Image = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The truth of one shot."""

    before: Places
    after: Places
    struck_s: float
    rest_s: float
    heading_deg: float
    straight_mm: float
    roll: Roll = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """The table of the sample practice, seen in another picture size."""

    camera: Camera
    table: Table
    empty: Image = field(repr=False)
    cuts: dict[str, NDArray[np.uint8]] = field(repr=False)
    """Crops of each ball, of ``CUT_SIDE`` pixels, from sample stills."""
    calibration: Calibration = field(repr=False)

    @classmethod
    def of(cls, size_px: tuple[int, int] = (960, 540)) -> Room:
        """At that size, of the samples' proportions."""
        truth = read_truth(SAMPLES)["empty.jpg"]
        empty = cv2.resize(_picture("empty.jpg"), size_px, interpolation=cv2.INTER_AREA)
        share = size_px[0] / truth.camera.image_size_px[0]
        camera = replace(
            truth.camera, image_size_px=size_px,
            fx_px=truth.camera.fx_px * share, fy_px=truth.camera.fy_px * share,
            cx_px=(truth.camera.cx_px + 0.5) * share - 0.5,
            cy_px=(truth.camera.cy_px + 0.5) * share - 0.5,
        )  # fmt: skip
        made = watched(Calibration.exact(camera, truth.table, head=truth.head), np.asarray(empty))
        return cls(
            camera=camera, table=truth.table, empty=np.asarray(empty, np.float32), cuts=_cuts(),
            calibration=made,
        )  # fmt: skip

    def lay(self, picture: Image, balls: Places) -> None:
        """Draw balls into a picture (H, W, 3), with the shadow at their foot."""
        for place in balls.values():
            self._shade(picture, place)
        for name, place in balls.items():
            self._lay_one(picture, self.cuts[name], place)

    def _shade(self, picture: Image, place: tuple[float, float]) -> None:
        u, v = self.camera.project([(*place, 0.0)])[0]
        scale = self.empty.shape[1] / 2820.0
        rows, columns, window = _window(picture, u, v, 70 * scale)
        far2 = ((columns - u) ** 2 + (rows - v) ** 2) / (24.0 * scale) ** 2
        window *= (1 - 0.45 * np.exp(-((far2 / 2) ** 2)))[..., None].astype(np.float32)

    def _lay_one(self, picture: Image, crop: NDArray[np.uint8], place: tuple[float, float]) -> None:
        frames = CropFrames.at(self.camera, np.array([place]))
        corners = np.array([(0, 0), (CUT_SIDE - 1, 0), (0, CUT_SIDE - 1)], np.float32)
        at = frames.places_px(self.camera, CUT_SIDE, CUT_STEP_MM)[0]
        seen = at[corners[:, 1].astype(int), corners[:, 0].astype(int)]
        u, v = at[CUT_SIDE // 2, CUT_SIDE // 2]
        rows, columns, window = _window(
            picture, u, v, 1.2 * BALL_RADIUS_MM * picture.shape[1] / 2540
        )
        corner = (float(columns.min()), float(rows.min()))
        fine = (seen - corner + 0.5) * FINER - 0.5
        carry = cv2.getAffineTransform(corners, fine.astype(np.float32))
        size = (window.shape[1] * FINER, window.shape[0] * FINER)
        both = np.dstack([crop.astype(np.float32), 255 * _disc()])
        laid = cv2.warpAffine(both, carry, size, flags=cv2.INTER_LINEAR)
        laid = cv2.resize(laid, window.shape[1::-1], interpolation=cv2.INTER_AREA)
        cover = laid[..., 3:] / 255
        window += cover * (laid[..., :3] - window)

    def reach_over(self, picture: Image, cue_mm: tuple[float, float], towards: float) -> None:
        """A forearm, a bridge hand and a cue behind the cue ball; ``towards`` is the aim, rad."""
        aim = np.array([np.cos(towards), np.sin(towards)])
        side = np.array([-aim[1], aim[0]])
        tip = np.array(cue_mm) - 45 * aim
        hand = np.array(cue_mm) - 200 * aim + 25 * side
        elbow = hand - 900 * aim + 350 * side
        self._fill(picture, _strip(tip, tip - 1400 * aim, 6, 14), 60.0, WOOD)
        self._fill(picture, _strip(hand - 120 * aim, elbow, 38, 60), 110.0, SLEEVE)
        self._fill(picture, _strip(hand, hand - 200 * aim + 60 * side, 45, 36), 90.0, SKIN)
        ring = np.linspace(0, 2 * np.pi, 24)[:, None]
        self._fill(picture, hand + 62 * np.hstack([np.cos(ring), np.sin(ring)]), 50.0, SKIN)

    def _fill(
        self, picture: Image, outline_mm: NDArray[np.float64], height_mm: float,
        colour: Sequence[float],
    ) -> None:  # fmt: skip
        points = np.column_stack([outline_mm, np.full(len(outline_mm), height_mm)])
        pixels = np.round(self.camera.project(points) * 16).astype(np.int32)
        cv2.fillPoly(picture, [pixels], tuple(colour), cv2.LINE_AA, 4)


@dataclass(slots=True, kw_only=True)
class Play:
    """A source: shots one after the other, with ``told`` growing as they are shown."""

    room: Room
    shots: int
    seed: int
    fps: float = 10.0
    told: list[Told] = field(default_factory=list)
    walkers: int = 0
    """Shown so far."""
    hands: list[tuple[float, float]] = field(default_factory=list)
    """Times in which something was over the bed."""

    def frames(self) -> Iterator[Frame]:
        rng = np.random.default_rng(self.seed)
        balls = _spread_out(rng, self.room.table)
        clock = _Clock(fps=self.fps)
        yield from self._wait(balls, 1.0, clock, rng)
        for k in range(self.shots):
            if k % 4 == 1:
                yield from self._walks_by(balls, clock, rng)
            if k % 5 == 2:  # bends over the table, thinks again and leaves
                yield from self._bends(balls, balls["cue"], 0.3, 0.9, clock, rng)
                yield from self._wait(balls, 0.9, clock, rng)
            towards, shot = _next_shot(balls, self.room.table, rng)
            # half of all players freeze over the ball before they strike
            still_s = 0.9 if k % 2 else 0.2
            yield from self._bends(balls, balls["cue"], towards, still_s, clock, rng)
            struck = clock.now_s
            after = yield from self._rolls(balls, shot, towards, clock, rng)
            self.told.append(
                Told(
                    before=balls, after=after, struck_s=struck, rest_s=struck + shot.lasts_s,
                    heading_deg=shot.heading_deg, straight_mm=shot.straight_mm,
                    roll=shot,
                )
            )  # fmt: skip
            balls = after
            yield from self._wait(balls, 1.0 + rng.uniform(0, 0.4), clock, rng)

    @property
    def away(self) -> bool:
        """Never."""
        return False

    def close(self) -> None:
        """Nothing to give back."""

    def _lain(self, balls: Places) -> Image:
        picture = self.room.empty.copy()
        self.room.lay(picture, balls)
        return picture

    def _wait(
        self, balls: Places, for_s: float, clock: _Clock, rng: np.random.Generator
    ) -> Iterator[Frame]:
        base = self._lain(balls)
        for _ in range(round(for_s * self.fps)):
            yield clock.frame(base, rng)

    def _walks_by(self, balls: Places, clock: _Clock, rng: np.random.Generator) -> Iterator[Frame]:
        """A shadow as of somebody under the room's other lamp."""
        base = self._lain(balls)
        width = base.shape[1]
        self.walkers += 1
        columns = np.arange(width)[None, :, None]
        for x in np.linspace(-0.3, 1.3, round(2.0 * self.fps)):
            dark = 1 - 0.15 * np.exp(-(((columns / width - x) / 0.16) ** 2))
            yield clock.frame(base * dark.astype(np.float32), rng)
        yield from self._wait(balls, 0.7, clock, rng)

    def _bends(
        self, balls: Places, cue_mm: tuple[float, float], towards: float, still_s: float,
        clock: _Clock, rng: np.random.Generator,
    ) -> Iterator[Frame]:  # fmt: skip
        base, begun = self._lain(balls), clock.now_s
        aim = np.array([np.cos(towards), np.sin(towards)])
        back = [900, 500, 200, *[0] * max(1, round(still_s * self.fps)), 60, 120, 40, 0]
        for off in back:
            picture = base.copy()
            self.room.reach_over(picture, tuple(np.array(cue_mm) - off * aim), towards)
            yield clock.frame(picture, rng)
        self.hands.append((begun, clock.now_s))

    def _rolls(
        self, balls: Places, shot: Roll, towards: float, clock: _Clock, rng: np.random.Generator
    ) -> Iterator[Frame]:
        base = self._lain({name: at for name, at in balls.items() if name not in shot.ways_mm})
        struck, stand = clock.now_s, balls["cue"]
        aim = np.array([np.cos(towards), np.sin(towards)])
        leaves_s = 0.5
        while clock.now_s < struck + shot.lasts_s:
            since = clock.now_s - struck
            now = shot.places(balls, since)
            picture = base.copy()
            self.room.lay(picture, {name: now[name] for name in shot.ways_mm if name in now})
            if since < leaves_s:
                off = 1400 * since**2 / leaves_s**2
                self.room.reach_over(picture, tuple(np.array(stand) - off * aim), towards)
                self.hands[-1] = (self.hands[-1][0], clock.now_s + 1 / self.fps)
            yield clock.frame(picture, rng)
        return shot.after


@dataclass(slots=True, kw_only=True)
class _Clock:
    """The camera: a frame a step, with flicker and noise."""

    fps: float
    now_s: float = 0.0

    def frame(self, picture: Image, rng: np.random.Generator) -> Frame:
        light = float(1 + rng.uniform(-FLICKER, FLICKER))
        noise = _grain(picture.shape, int(rng.integers(GRAINS)))
        # dark pixels stay above zero: no sensor's noise is cut off there
        shown = cv2.convertScaleAbs(cv2.addWeighted(picture, light, noise, 1.0, 0.0))
        at, self.now_s = self.now_s, self.now_s + 1 / self.fps
        return Frame(picture=np.asarray(shown, np.uint8), at_s=at, name=f"{at:.2f}s")


@lru_cache(maxsize=GRAINS)
def _grain(shape: tuple[int, ...], k: int) -> Image:
    """One of some pictures of noise."""
    rng = np.random.default_rng(k)
    return rng.normal(0.0, NOISE_LEVELS, shape).astype(np.float32)


def _next_shot(balls: Places, table: Table, rng: np.random.Generator) -> tuple[float, Roll]:
    """A shot at any ball, thick or thin, that keeps the cue ball on the table."""
    while True:
        name = str(rng.choice([name for name in balls if name != "cue"]))
        way = np.subtract(balls[name], balls["cue"])
        far = float(np.hypot(*way))
        towards = float(
            np.arctan2(way[1], way[0]) + np.arcsin(min(1.0, 45 / far)) * rng.uniform(-1, 1)
        )
        pace = np.sqrt(200.0 * far) + rng.uniform(100, 500)
        shot = roll(balls, (pace * np.cos(towards), pace * np.sin(towards)), table)
        if "cue" in shot.after and len(shot.after) >= 4 and shot.lasts_s < 7:
            return towards, shot


def _spread_out(rng: np.random.Generator, table: Table) -> Places:
    out: Places = {}
    while len(out) < 8:
        at = (rng.uniform(150, table.length_mm - 150), rng.uniform(150, table.width_mm - 150))
        if all(np.hypot(at[0] - x, at[1] - y) > 180 for x, y in out.values()):
            out[["cue", "1", "2", "3", "4", "5", "6", "9"][len(out)]] = at
    return out


def _strip(
    start: NDArray[np.float64], end: NDArray[np.float64], near_mm: float, far_mm: float
) -> NDArray[np.float64]:
    """A straight strip, half so wide at either end."""
    along = (end - start) / np.hypot(*(end - start))
    side = np.array([-along[1], along[0]])
    return np.array(
        [start + near_mm * side, end + far_mm * side, end - far_mm * side, start - near_mm * side]
    )


def _window(
    picture: Image, u: float, v: float, reach: float
) -> tuple[NDArray[np.intp], NDArray[np.intp], Image]:
    """Rows, columns and the part of a picture about a place."""
    top, bottom = max(int(v - reach), 0), min(int(v + reach) + 2, picture.shape[0])
    left, right = max(int(u - reach), 0), min(int(u + reach) + 2, picture.shape[1])
    rows, columns = np.mgrid[top:bottom, left:right]
    return rows, columns, picture[top:bottom, left:right]


def _disc() -> Image:
    """How much of each crop pixel a ball covers."""
    at = (np.arange(CUT_SIDE) - (CUT_SIDE - 1) / 2) * CUT_STEP_MM
    far = np.hypot(at[:, None], at[None])
    return np.clip(BALL_RADIUS_MM + 0.5 - far, 0, 1).astype(np.float32)


def _picture(name: str) -> NDArray[np.uint8]:
    return np.asarray(cv2.imread(str(SAMPLES / name)), np.uint8)


def _cuts() -> dict[str, NDArray[np.uint8]]:
    """Every ball once, from the still in which it lies farthest from all others and the rails."""
    best: dict[str, tuple[float, str, tuple[float, float]]] = {}
    truths = read_truth(SAMPLES / "shots")
    for still in truths.values():
        for ball in still.balls:
            others = [
                np.hypot(ball.x_mm - b.x_mm, ball.y_mm - b.y_mm)
                for b in still.balls
                if b is not ball
            ]
            length, width = still.table.surface_mm
            room = min(*others, ball.x_mm, ball.y_mm, length - ball.x_mm, width - ball.y_mm)
            if room > best.get(ball.id, (0.0,))[0]:
                best[ball.id] = (room, still.name, (ball.x_mm, ball.y_mm))
    out = {}
    for name, (_, still, place) in best.items():
        camera = truths[still].camera
        frames = CropFrames.at(camera, np.array([place]))
        crop = cut_crops(
            _picture(f"shots/{still}"), camera, frames, side=CUT_SIDE, step_mm=CUT_STEP_MM
        )
        out[name] = crop[0]
    return out
