"""The steps of watching a table: what counts as moving, which picture is read, how a way ends."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from simulated_video import FLICKER, NOISE_LEVELS, Room

from vision.find.finder_view import FinderView
from vision.layout import Ball, Layout
from vision.read import Reader
from vision.settle.arrival import PLACE_SIGMA_MM, arrival_of, moving_part
from vision.settle.choosing import best_picture, mean_of, noise_levels, sharpness_of
from vision.settle.differing import lies_differently
from vision.settle.following import Seen, follow, white_of
from vision.settle.memory import SEEN_S, WHOLE_KEPT, Memory
from vision.settle.stillness import Stillness
from vision.settle.watcher import SAY_S, STILL_S, Watcher
from vision.sources.frame import Frame
from vision.still import StillError

BALLS = {"cue": (700.0, 400.0), "3": (1300.0, 700.0), "9": (1900.0, 300.0), "5": (2200.0, 1000.0)}
FPS = 10.0
FOLLOWED_MM = 2.0
"""A followed place against the truth: a third of a view's pixel at a time, and shading."""
LEAST_MOVE_MM = 2.0
"""What must be noticed of any ball, a coloured one too."""


@pytest.fixture(scope="module")
def room() -> Room:
    return Room.of()


@pytest.fixture(scope="module")
def view(room: Room) -> FinderView:
    return FinderView.of(room.camera, room.table)


@pytest.fixture(scope="module")
def stillness(room: Room, view: FinderView) -> Stillness:
    return Stillness.of(view, room.table)


def shot(
    room: Room, balls: dict[str, tuple[float, float]], *, seed: int = 0, arm: bool = False,
    dark: np.ndarray | None = None, quality: int | None = None,
) -> np.ndarray:  # fmt: skip
    """A frame (540, 960, 3) of those balls, with the flicker and noise of that seed."""
    rng = np.random.default_rng(seed)
    picture = room.empty.copy()
    room.lay(picture, balls)
    if arm:
        room.reach_over(picture, balls["cue"], 0.4)
    if dark is not None:
        picture *= dark
    picture *= 1 + rng.uniform(-FLICKER, FLICKER)
    picture += rng.normal(0, NOISE_LEVELS, picture.shape)
    out = np.clip(np.round(picture), 0, 255).astype(np.uint8)
    return out if quality is None else packed(out, quality)


def packed(picture: np.ndarray, quality: int) -> np.ndarray:
    """As a camera packs it."""
    data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))


# -- what moves ----------------------------------------------------------------------------


@pytest.mark.parametrize("quality", [None, 90, 65])
def test_flicker_noise_packing_and_shadows_of_people_are_no_motion(
    room: Room, view: FinderView, stillness: Stillness, quality: int | None
) -> None:
    before = stillness.cells(view.warp(shot(room, BALLS, quality=quality)))
    across = np.linspace(0, 1, 960)[None, :, None]
    for seed in range(1, 9):
        dark = 1 - 0.15 * np.exp(-(((across - seed / 8) / 0.16) ** 2))
        for darker in (None, dark.astype(np.float32)):
            later = shot(room, BALLS, seed=seed, dark=darker, quality=quality)
            now = stillness.cells(view.warp(later))
            assert not stillness.any_moved(before, now)


@pytest.mark.parametrize("name", list(BALLS))
def test_two_millimetres_of_any_ball_are_motion_and_no_person(
    room: Room, view: FinderView, stillness: Stillness, name: str
) -> None:
    before = stillness.cells(view.warp(shot(room, BALLS)))
    for turn in np.arange(8) * np.pi / 4:
        x, y = BALLS[name]
        moved = {
            **BALLS, name: (x + LEAST_MOVE_MM * np.cos(turn), y + LEAST_MOVE_MM * np.sin(turn))
        }  # fmt: skip
        now = stillness.cells(view.warp(shot(room, moved, seed=3)))
        assert stillness.any_moved(before, now)
        assert not stillness.person(stillness.moved(before, now))


def test_an_arm_is_a_person_and_balls_that_scatter_are_none(
    room: Room, view: FinderView, stillness: Stillness
) -> None:
    before = stillness.cells(view.warp(shot(room, BALLS)))
    arm = stillness.cells(view.warp(shot(room, BALLS, seed=1, arm=True)))
    assert stillness.person(stillness.moved(before, arm))
    elsewhere = {name: (x + 90.0, y - 60.0) for name, (x, y) in BALLS.items()}
    along_a_rail = {name: (80.0 + 500 * k, 28.0) for k, name in enumerate(BALLS)}
    for places in (elsewhere, along_a_rail):
        scattered = stillness.cells(view.warp(shot(room, places, seed=1)))
        assert not stillness.person(stillness.moved(before, scattered))


# -- which picture -------------------------------------------------------------------------


def test_the_sharpest_picture_is_read(room: Room, view: FinderView) -> None:
    pictures = [shot(room, BALLS, seed=k) for k in range(3)]
    pictures[0] = cv2.GaussianBlur(pictures[0], (0, 0), 1.5)
    pictures[2] = cv2.GaussianBlur(pictures[2], (0, 0), 0.8)
    frames = [(picture, white_of(view.warp(picture))) for picture in pictures]
    assert best_picture(frames) is pictures[1]
    sharp = [sharpness_of(white) for _, white in frames]
    assert sharp[0] < sharp[2] < sharp[1]


def test_in_poor_light_the_mean_of_the_sharp_ones_is_read(room: Room, view: FinderView) -> None:
    rng = np.random.default_rng(5)
    plain = shot(room, BALLS).astype(float)
    pictures = [
        np.clip(plain + rng.normal(0, 12, plain.shape), 0, 255).astype(np.uint8) for _ in range(4)
    ]
    frames = [(picture, white_of(view.warp(picture))) for picture in pictures]
    chosen = best_picture(frames)
    assert (chosen == mean_of(pictures)).all()
    left = np.std(chosen.astype(float) - plain)
    assert left < 0.6 * np.std(pictures[0].astype(float) - plain)  # half, but for rounding


def test_noise_is_told_in_levels() -> None:
    rng = np.random.default_rng(2)
    one, other = (rng.normal(120, 4, (448, 832)).astype(np.uint8) for _ in range(2))
    assert noise_levels(one, other) == pytest.approx(4, rel=0.1)


def test_memory_forgets() -> None:
    memory = Memory()
    white, picture = np.zeros((4, 4), np.uint8), np.zeros((4, 4, 3), np.uint8)
    for k in range(400):
        memory.add(k / FPS, picture, white)
    assert len(memory.whole) == WHOLE_KEPT
    assert len(memory.seen) == SEEN_S * FPS + 1
    assert len(memory.since(39.75)) == 2
    memory.at_rest(0.3)
    assert len(memory.seen) <= 4


# -- the same table ------------------------------------------------------------------------


def layout(places: dict[str, tuple[float, float]], sigma_mm: float = 0.3) -> Layout:
    cov = ((sigma_mm**2, 0.0), (0.0, sigma_mm**2))
    return Layout(
        still="", surface_mm=(2540.0, 1270.0),
        balls=tuple(Ball(id=k, x_mm=x, y_mm=y, cov_mm2=cov) for k, (x, y) in places.items()),
    )  # fmt: skip


def test_only_a_ball_that_lies_elsewhere_makes_another_table() -> None:
    was = layout(BALLS)
    assert not lies_differently(was, was)
    assert not lies_differently(layout({}), layout({}))
    assert not lies_differently(was, layout({k: (x + 0.8, y) for k, (x, y) in BALLS.items()}))
    renamed = dict(zip(["cue", "4", "9", "5"], BALLS.values(), strict=True))
    assert not lies_differently(was, layout(renamed))
    assert lies_differently(was, layout({**BALLS, "9": (1900.0, 303.0)}))
    assert not lies_differently(layout(BALLS, 2.0), layout({**BALLS, "9": (1900.0, 303.0)}, 2.0))
    assert lies_differently(was, layout({k: at for k, at in BALLS.items() if k != "5"}))


# -- the way of the cue ball ---------------------------------------------------------------


def slowing(start: tuple[float, float], end: tuple[float, float], frames: int) -> np.ndarray:
    """Places (frames, 2) of a ball that rolls to its stop at ``end``."""
    left = np.linspace(1, 0, frames)[:, None] ** 2
    return np.array(end) + left * (np.array(start) - np.array(end))


def test_the_cue_ball_is_followed_past_a_cushion(room: Room, view: FinderView) -> None:
    way = np.vstack(
        [slowing((300, 700), (500, 30), 40)[:15], slowing((455, 60), (900, 420), 25)]
    )  # fmt: skip
    others = {name: at for name, at in BALLS.items() if name != "cue"}
    frames = [
        Seen(at_s=k / FPS, white=white_of(view.warp(shot(room, {"cue": tuple(at), **others}))))
        for k, at in enumerate(way)
    ]
    places, times = follow(
        frames, tuple(way[-1]), view, start_mm=tuple(way[0]), resting_mm=list(others.values())
    )  # fmt: skip
    assert len(places) >= len(way) - 1  # under a cushion's edge it may be lost for a frame
    assert times[0] <= 1 / FPS
    true = way[np.round(times * FPS).astype(int)]
    assert np.hypot(*(places - true).T).max() < FOLLOWED_MM
    moving, when = moving_part(places, times, tuple(way[-1]))
    assert (moving[-1] == way[-1]).all()
    assert len(moving) == len(when)


@pytest.mark.parametrize("angle", [0.0, 75.0, 170.0, -100.0])
def test_arrival_is_the_last_straight_stretch(angle: float) -> None:
    along = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    aside = np.array([-along[1], along[0]])
    stop = np.array([1200.0, 600.0])
    turn = stop - 300 * along
    before = np.array([turn - s * (0.3 * along + aside) for s in (240.0, 160.0, 80.0)])
    after = slowing(tuple(turn), tuple(stop), 20)
    places = np.vstack([before, after])
    places += np.random.default_rng(1).normal(0, PLACE_SIGMA_MM / 3, places.shape)
    seen = arrival_of(places)
    assert abs((seen.heading_deg - angle + 180) % 360 - 180) < 3 * seen.sigma_deg
    assert seen.sigma_deg < 1.0
    assert seen.turned
    # the place nearest the turn may be left out, for nobody knows its side
    assert np.hypot(*(np.array(seen.came_from_mm) - turn)) < 40.0


def test_no_direction_is_made_up() -> None:
    stop = np.array([[500.0, 500.0]])
    assert arrival_of(stop) is None
    short = stop + np.array([[-15.0, 0.0], [-6.0, 0.0], [0.0, 0.0]])
    assert arrival_of(short) is None
    straight = arrival_of(slowing((100.0, 100.0), (400.0, 500.0), 12))
    assert not straight.turned
    assert straight.heading_deg == pytest.approx(53.13, abs=0.01)


# -- the watcher ---------------------------------------------------------------------------


def watched(room: Room, *parts: tuple[float, dict[str, object]]) -> tuple[list, list[str]]:
    """What is handed on, and told, of scenes that each last so many seconds."""
    told: list[str] = []
    watcher, at_s, found = Watcher(Reader(room.calibration), tell=told.append), 0.0, []
    for lasts_s, scene in parts:
        gap_s = float(scene.pop("gap_s", 0.0))
        picture, at_s = shot(room, **scene), at_s + gap_s
        for _ in range(round(lasts_s * FPS)):
            rest = watcher.feed(Frame(picture=picture, at_s=at_s, name=f"{at_s:.1f}"))
            found += [rest] if rest else []
            at_s += 1 / FPS
    return found, told


def test_what_lies_on_the_table_is_told_once_and_not_read_as_balls(room: Room) -> None:
    found, told = watched(
        room,
        (1.0, {"balls": BALLS}),
        (SAY_S + 3.0, {"balls": BALLS, "arm": True}),
        (1.0, {"balls": BALLS}),
    )
    assert len(found) == 1
    assert len(told) == 2
    assert "lies over the bed" in told[0]
    assert told[1] == ""  # it holds no more


@pytest.mark.parametrize("gap_s", [4.0, 60.0])
def test_a_table_that_came_to_rest_while_nobody_looked_is_read(room: Room, gap_s: float) -> None:
    later = {**BALLS, "cue": (760.0, 400.0)}
    found, told = watched(room, (1.0, {"balls": BALLS}), (1.0, {"balls": later, "gap_s": gap_s}))
    assert [rest.layout.ball("cue").x_mm for rest in found] == pytest.approx([700, 760], abs=2)
    assert found[1].at_s >= 1.0 + gap_s + STILL_S - 1e-6
    # nothing is known of how it came there
    assert found[1].watched.track is None
    assert found[1].watched.rolled is None
    assert told == []


def test_stills_taken_by_others_are_read_one_by_one(room: Room) -> None:
    watcher = Watcher(Reader(room.calibration))
    for k, balls in enumerate((BALLS, {**BALLS, "cue": (1500.0, 900.0)})):
        frame = Frame(picture=shot(room, balls), at_s=float(k), name=f"{k}.jpg", settled=True)
        rest = watcher.feed(frame)
        assert rest.layout.still == f"{k}.jpg"
        assert rest.watched is None


def test_a_frame_of_another_size_is_refused(room: Room) -> None:
    frame = Frame(picture=np.zeros((1080, 1920, 3), np.uint8), at_s=0.0, name="f")
    with pytest.raises(StillError, match="1920x1080 px; allowed: 960x540"):
        Watcher(Reader(room.calibration)).feed(frame)


def test_a_camera_that_has_moved_is_told(room: Room) -> None:
    moved = replace(room, calibration=replace(room.calibration, camera=replace(
        room.camera, cx_px=room.camera.cx_px + 40.0)))  # fmt: skip
    found, told = watched(moved, (STILL_S + 0.3, {"balls": BALLS}))
    assert found == []
    assert len(told) == 1
    assert "alibrat" in told[0]
