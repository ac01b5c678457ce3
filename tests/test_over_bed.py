"""Light that moved is no thing; hands are refused; what lies by itself is told as hidden."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon

from calibration.kept.bed_picture import BedPicture
from vision.bed.reference import tells_things
from vision.layout import Layout
from vision.read import Reader
from vision.truth.file import TruthStill, read_truth

ImageArray = NDArray[np.uint8]
PRACTICE = Path(__file__).parents[1] / "sample_frames" / "practice"
SHOT = "shot-05-before.jpg"
SUN, LAMP, SHADE = (1.7, 2.2, 2.6), (1.5, 1.6, 1.65), (0.55, 0.5, 0.47)
"""Gains of blue, green and red in linear light: the sun's, another lamp's, a shadow's."""
SKINS = {"light": (0.36, 0.45, 0.62), "brown": (0.17, 0.25, 0.42), "dark": (0.05, 0.08, 0.14)}
"""Shares of light sent back, blue, green and red."""
CLOTHS = {
    "as it is": None, "grey": (0.45, 0.45, 0.45), "tan": (0.28, 0.42, 0.55),
    "olive": (0.03, 0.3, 0.3),
}  # fmt: skip
"""What the cloth is dyed to: a cloth of skin's own colours is the hardest."""
DIM, DIM_NOISE = 0.12, 4.0
"""Of a dim room: light against the sample's, and the sensor's noise in grey levels."""
DYED_NOISE = 1.5
"""Of each channel of a dyed cloth, grey levels."""
PLAIN_MM = 30.0
"""A hidden polygon reaches so far beyond the thing at most: what its shadow covers."""


def linear(picture: ImageArray) -> NDArray[np.float32]:
    return np.asarray((picture / np.float32(255)) ** 2.2, np.float32)


def coded(light: NDArray[np.float32]) -> ImageArray:
    return np.asarray(np.round(np.clip(light, 0, 1) ** (1 / 2.2) * 255), np.uint8)


class Room:
    """A room of the sample practice, under any light, with anything over its bed."""

    def __init__(self, cloth: str, *, dim: bool = False) -> None:
        self.truth: TruthStill = read_truth(PRACTICE / "shots")[SHOT]
        self.empty = self._seen(PRACTICE / "empty.jpg", cloth, dim=dim, seed=1)
        self.still = self._seen(PRACTICE / "shots" / SHOT, cloth, dim=dim, seed=2)
        self.length, self.width = self.truth.table.surface_mm
        high = self.truth.table.surface_mm
        ends = self.truth.camera.project([(0, 0, 0), (high[0], 0, 0)])
        self.px = float(np.hypot(*(ends[1] - ends[0]))) / self.length

    def _seen(self, path: Path, cloth: str, *, dim: bool, seed: int) -> ImageArray:
        picture = np.asarray(cv2.imread(str(path)), np.uint8)
        dye = CLOTHS[cloth]
        if dye is not None:
            picture = self._dyed(picture, dye, seed)
        if not dim:
            return picture
        noise = np.random.default_rng(seed).normal(0, DIM_NOISE, picture.shape)
        return np.asarray(np.clip(coded(linear(picture) * DIM) + noise, 0, 255), np.uint8)

    def _dyed(self, picture: ImageArray, dye: Sequence[float], seed: int) -> ImageArray:
        """Cloth of bed and cushions in another colour, balls and noise as they are."""
        high = self.truth.table.surface_mm
        cloth = self.mask([box(-40, -40, high[0] + 40, high[1] + 40)], 1.0, 36.3)
        light = linear(picture)
        common = np.median(light[cloth > 0.9], axis=0)
        off = np.log(cv2.GaussianBlur(light, (0, 0), 2.5) + 0.01) - np.log(common + 0.01)
        like = np.clip(2.5 - 2.5 * np.abs(off - off.mean(axis=2, keepdims=True)).max(axis=2), 0, 1)
        share = (cloth * like)[..., None]
        bright = light.mean(axis=2, keepdims=True)
        other = bright / common.mean() * np.array(dye) * 0.35
        grain = np.random.default_rng(seed).normal(0, DYED_NOISE, picture.shape)
        seen = coded(np.asarray(light * (1 - share) + other * share, np.float32))
        return np.asarray(np.clip(seen + grain * share, 0, 255), np.uint8)

    def mask(self, shapes: Sequence[NDArray[np.float64]], blur: float, height: float = 0.0):
        out = np.zeros((1080, 1920), np.float32)
        for shape in shapes:
            seen = self.truth.camera.project(np.column_stack([shape, np.full(len(shape), height)]))
            cv2.fillPoly(out, [np.round(seen * 16).astype(np.int32)], (1.0,), cv2.LINE_AA, 4)
        return cv2.GaussianBlur(out, (0, 0), blur)

    def lit(
        self, picture: ImageArray, shapes: Sequence[NDArray[np.float64]], gain: Sequence[float],
        soft_mm: float,
    ) -> ImageArray:  # fmt: skip
        part = self.mask(shapes, soft_mm * self.px)[..., None]
        return coded(linear(picture) * (1 + part * (np.array(gain, np.float32) - 1)))

    def laid(
        self, shapes: Sequence[NDArray[np.float64]], colour: Sequence[float], height: float
    ) -> ImageArray:
        """Something over the bed in the room's light, with its form and its noise."""
        part = self.mask(shapes, 0.8, height)
        light = linear(self.still)
        bed = self.mask([box(60, 60, self.length - 60, self.width - 60)], 0.8) > 0.5
        level = float(np.median(light[bed].mean(axis=1))) / 0.18
        deep = cv2.distanceTransform((part > 0.5).astype(np.uint8), cv2.DIST_L2, 3) / self.px
        form = 0.7 + 0.3 * np.clip(deep / 12, 0, 1)
        thing = np.array(colour, np.float32) * level * form[..., None]
        out = coded(np.asarray(light * (1 - part[..., None]) + thing * part[..., None], np.float32))
        fine = self.still.astype(np.float32).mean(axis=2)
        noise = float(np.median(np.abs(fine[::2, ::2] - fine[1::2, 1::2])))
        grain = np.random.default_rng(3).normal(0, noise, out.shape) * part[..., None]
        return np.asarray(np.clip(np.round(out + grain), 0, 255), np.uint8)

    def read(self, still: ImageArray, empty: ImageArray | None = None) -> Layout:
        """Read with the room's empty picture, or another's."""
        truth = self.truth
        shown = self.empty if empty is None else empty
        bed = BedPicture.of(shown, truth.camera, truth.table)
        return Reader(replace(truth.calibration, bed_picture=bed)).read_image(still)


def box(x0: float, y0: float, x1: float, y1: float) -> NDArray[np.float64]:
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)


def oval(x: float, y: float, wide: float, high: float) -> NDArray[np.float64]:
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    return np.column_stack([x + wide * np.cos(turn), y + high * np.sin(turn)])


def turned(shape: NDArray[np.float64], degrees: float, about: Sequence[float]):
    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return (shape - about) @ turn.T + about


def window(x: float, y: float = 600.0) -> list[NDArray[np.float64]]:
    panes = [box(x + a, y + b, x + a + 220, y + b + 320)
             for a in (-245, 25) for b in (-345, 25)]  # fmt: skip
    return [turned(pane, 20, (x, y)) for pane in panes]


def blinds(x: float, turn: float) -> list[NDArray[np.float64]]:
    strips = [box(x - 300, y, x + 300, y + 35) for y in range(300, 900, 70)]
    return [turned(strip, turn, (x, 600)) for strip in strips]


def hand(at: Sequence[float], turn: float) -> list[NDArray[np.float64]]:
    """Palm, fingers and forearm; the fingers point up before it is turned."""
    x, y = at
    fingers = [box(x - 40 + 20 * k, y - 10, x - 24 + 20 * k, y + length)
               for k, length in enumerate((60, 78, 82, 70))]  # fmt: skip
    arm = box(x - 30, y - 600, x + 30, y - 80)
    return [turned(part, turn, at) for part in (oval(x, y - 45, 42, 52), *fingers, arm)]


@pytest.fixture(scope="module", params=["as it is", "tan"])
def room(request: pytest.FixtureRequest) -> Room:
    return Room(request.param)


@pytest.fixture(scope="module")
def usual() -> Room:
    return Room("as it is")


LIGHTS: dict[str, Callable[[Room], tuple[ImageArray, ImageArray]]] = {
    "a window's patch": lambda r: (r.empty, r.lit(r.still, window(1400), SUN, 2)),
    "a patch that has gone": lambda r: (r.lit(r.empty, window(1400), SUN, 12), r.still),
    "a patch that moved": lambda r: (
        r.lit(r.empty, window(1300), SUN, 2), r.lit(r.still, window(1420), SUN, 2)
    ),
    "sun through blinds": lambda r: (
        r.lit(r.empty, blinds(1000, -15), SUN, 2), r.lit(r.still, blinds(1150, -20), SUN, 2)
    ),
    "small spots of light": lambda r: (
        r.empty, r.lit(r.still, [oval(700, 400, 40, 28), oval(1600, 700, 60, 40)], LAMP, 2)
    ),
    "a player's hard shadow": lambda r: (
        r.empty, r.lit(r.still, [oval(1300, -50, 180, 260)], SHADE, 12)
    ),
    "a coloured lamp at one end": lambda r: (
        r.empty, coded(linear(r.still) * _slope((1.8, 0.9, 1.3)))
    ),
    "half the light": lambda r: (r.empty, coded(linear(r.still) * np.float32(0.4))),
}  # fmt: skip


def _slope(gain: Sequence[float]) -> NDArray[np.float32]:
    across = np.linspace(0, 1, 1920, dtype=np.float32)[None, :, None] ** 2
    return np.asarray(1 + across * (np.array(gain, np.float32) - 1), np.float32)


@pytest.mark.parametrize("name", LIGHTS)
def test_light_alone_neither_refuses_nor_hides(room: Room, name: str) -> None:
    empty, still = LIGHTS[name](room)
    layout = room.read(still, empty)
    assert not layout.obstructed, layout.warnings
    assert layout.hidden_mm == ()


@pytest.mark.parametrize("seed", range(3))
def test_coarse_coding_of_a_cloth_dark_in_one_colour_is_no_thing(seed: int) -> None:
    olive = Room("olive")
    sent = [coarsely(olive.still, seed), coarsely(olive.empty, 50 + seed)]
    layout = olive.read(*sent)
    assert not layout.obstructed, layout.warnings
    hands = olive.laid(hand((760, 25), -10.0), SKINS["brown"], 50.0)
    assert olive.read(coarsely(hands, seed), sent[1]).obstructed


def coarsely(picture: ImageArray, seed: int) -> ImageArray:
    """As a camera sends it that keeps little: noisy, JPEG 50, colour at a quarter."""
    noise = np.random.default_rng(seed).normal(0, 3, picture.shape)
    noisy = np.asarray(np.clip(picture + noise, 0, 255), np.uint8)
    _, sent = cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 50])
    return np.asarray(cv2.imdecode(sent, cv2.IMREAD_COLOR), np.uint8)


@pytest.mark.parametrize("skin", SKINS)
@pytest.mark.parametrize(
    ("at", "turn"), [((1150, 380), 5.0), ((760, 25), -10.0), ((1570, 1240), 175.0)]
)
def test_hands_are_refused(room: Room, at: tuple[int, int], turn: float, skin: str) -> None:
    assert room.read(room.laid(hand(at, turn), SKINS[skin], 50.0)).obstructed


@pytest.mark.parametrize("skin", SKINS)
def test_hands_are_refused_in_dim_noisy_light(skin: str) -> None:
    dim = Room("as it is", dim=True)
    assert not dim.read(dim.still).obstructed
    assert dim.read(dim.laid(hand((760, 60), -10.0), SKINS[skin], 50.0)).obstructed


@pytest.mark.parametrize(
    ("shape", "colour", "height"),
    [
        (turned(box(900, 500, 1110, 648), 25, (900, 500)), (0.8, 0.8, 0.8), 1.0),  # paper
        (box(900, 500, 1200, 720), (0.1, 0.06, 0.3), 8.0),  # a towel
        (oval(1000, 600, 38, 38), (0.25, 0.35, 0.5), 100.0),  # a glass
    ],
)
def test_what_lies_by_itself_is_read_on_and_told(
    usual: Room, shape: NDArray[np.float64], colour: tuple[float, ...], height: float
) -> None:
    plain = usual.read(usual.still)
    layout = usual.read(usual.laid([shape], colour, height))
    assert not layout.obstructed
    assert layout.hidden_mm
    assert [notice.code for notice in layout.notices if notice.code == "hidden"] == ["hidden"]
    # seen from the side, a tall thing covers what lies beyond it
    seen = usual.truth.camera.project(np.column_stack([shape, np.full(len(shape), height)]))
    cover = Polygon(usual.truth.camera.back_project(seen, 28.575))
    for polygon in layout.hidden_mm:
        assert cover.buffer(PLAIN_MM).contains(Polygon(polygon))
    assert any(Polygon(each).contains(cover.centroid) for each in layout.hidden_mm)
    far = [ball for ball in plain.balls if cover.distance(Point(ball.centre_mm)) > 60]
    assert {ball.id for ball in far} <= {ball.id for ball in layout.balls}


def test_a_cue_that_lies_on_the_bed_hides_nothing(usual: Room) -> None:
    cue = turned(box(600, 560, 1300, 574), 12, (900, 560))
    layout = usual.read(usual.laid([cue], (0.12, 0.25, 0.45), 10.0))
    assert not layout.obstructed
    assert layout.hidden_mm == ()


def test_a_cloth_tells_things_only_where_none_has_its_colour() -> None:
    green, grey, tan, red = (np.log(np.array(levels) + 6.0) for levels in (
        (60, 130, 40), (110, 112, 115), (110, 150, 175), (40, 45, 170),
    ))  # fmt: skip
    assert tells_things(green)
    assert tells_things(red)
    assert not tells_things(grey)
    assert not tells_things(tan)
