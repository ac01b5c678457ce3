"""Whole readings of drawn stills: bytes in, layout out."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_stills import (
    BLUE_CLOTH,
    GREEN_CLOTH,
    RGB,
    DrawnBall,
    as_jpeg,
    draw_still,
    overhead,
)
from odd_set import scattered

from calibration.camera import Camera
from calibration.kept.calibration import Calibration
from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Table
from vision.find.detect import NetworkFinder
from vision.find.finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView
from vision.layout import Layout
from vision.networks import shipped
from vision.read import Reader, read_image, read_still
from vision.still import StillError
from vision.truth.file import TruthBall
from vision.truth.measure import match_layout, summary

TABLE = Table()
CAMERA = overhead(TABLE)
CALIBRATION = Calibration.exact(CAMERA, TABLE)
CENTRE_TOLERANCE_MM = 1.5
"""Drawn balls have a hard-edged shadow on one side; photographs are measured elsewhere."""
SAME_MM = 0.1
"""Two searches aim their crops a little differently; the network answers nearly the same."""
JAW_TOLERANCE_MM = 2.5
"""Drawn jaws have neither shelf nor facing, unlike any that the network has seen."""
MEDIAN_TOLERANCE_MM = 0.6
RED_CLOTH: RGB = (0.34, 0.02, 0.03)
GREY_CLOTH: RGB = (0.10, 0.10, 0.11)


def truth_of(balls: list[DrawnBall]) -> list[TruthBall]:
    return [TruthBall(id=ball.id, x_mm=ball.x_mm, y_mm=ball.y_mm) for ball in balls]


def read_drawn(
    balls: list[DrawnBall], *, cloth: RGB = GREEN_CLOTH, camera: Camera = CAMERA, **more: object
) -> Layout:
    picture = draw_still(camera, TABLE, balls, cloth=cloth)
    return read_still(as_jpeg(picture), Calibration.exact(camera, TABLE), name="a.jpg", **more)


@pytest.mark.parametrize("cloth", [GREEN_CLOTH, BLUE_CLOTH, RED_CLOTH, GREY_CLOTH])
def test_all_balls_are_found_and_named_on_any_cloth(cloth: RGB) -> None:
    balls = scattered(4, odd=False)
    figures = summary([match_layout(read_drawn(balls, cloth=cloth), truth_of(balls))])
    assert figures.missed == 0
    assert figures.invented == 0
    assert figures.cue_wrong == 0
    assert figures.wrong_names_undoubted == 0
    assert figures.wrong_names <= 2
    assert figures.median_mm < MEDIAN_TOLERANCE_MM
    assert figures.worst_mm < 2 * CENTRE_TOLERANCE_MM


@pytest.mark.parametrize("tilt_mm", [0.0, 900.0])
def test_view_from_the_side_is_read_too(tilt_mm: float) -> None:
    balls = scattered(6, odd=False)
    layout = read_drawn(balls, camera=overhead(TABLE, tilt_mm=tilt_mm))
    figures = summary([match_layout(layout, truth_of(balls))])
    assert (figures.missed, figures.invented, figures.cue_wrong) == (0, 0, 0)
    assert figures.median_mm < MEDIAN_TOLERANCE_MM


def test_touching_frozen_and_jawed_balls_are_found() -> None:
    balls = [
        DrawnBall(id="cue", x_mm=800, y_mm=500),
        DrawnBall(id="1", x_mm=800 + BALL_DIAMETER_MM, y_mm=500),
        DrawnBall(id="10", x_mm=FROZEN_INSET_MM, y_mm=700),
        DrawnBall(id="3", x_mm=1700, y_mm=1270 - FROZEN_INSET_MM),
        DrawnBall(id="13", x_mm=2540 - 30, y_mm=30),
        DrawnBall(id="6", x_mm=1270, y_mm=22),
    ]
    layout = read_drawn(balls)
    matched = match_layout(layout, truth_of(balls))
    assert matched.missed == ()
    assert matched.invented == ()
    for pair in matched.pairs:
        jawed = pair.truth.id in ("13", "6")
        assert pair.distance_mm < (JAW_TOLERANCE_MM if jawed else CENTRE_TOLERANCE_MM), pair
    cue, one = layout.ball("cue"), layout.ball("1")
    assert cue is not None
    assert one is not None
    apart = float(np.hypot(one.x_mm - cue.x_mm, one.y_mm - cue.y_mm))
    assert apart == pytest.approx(BALL_DIAMETER_MM, abs=1.0)


def test_a_rack_of_fifteen_is_taken_apart() -> None:
    step = BALL_DIAMETER_MM * np.sqrt(3) / 2 + 0.02
    rng = np.random.default_rng(11)
    names = [str(n) for n in rng.permutation(np.arange(1, 16))]
    places = [
        (1905 + i * step, 635 + (j - i / 2) * (BALL_DIAMETER_MM + 0.02))
        for i in range(5)
        for j in range(i + 1)
    ]
    balls = [
        DrawnBall(id=name, x_mm=x, y_mm=y, turn=tuple(rng.uniform(-3, 3, 3)))
        for name, (x, y) in zip(names, places, strict=True)
    ]
    matched = match_layout(read_drawn(balls), truth_of(balls))
    assert matched.missed == ()
    assert matched.invented == ()


def test_empty_table_is_an_empty_layout() -> None:
    layout = read_drawn([])
    assert layout.balls == ()
    assert layout.settled
    assert not layout.obstructed
    assert layout.warnings == ()
    assert layout.surface_mm == TABLE.surface_mm


def test_chalk_and_marks_are_no_balls() -> None:
    picture = draw_still(CAMERA, TABLE, [DrawnBall(id="cue", x_mm=700, y_mm=600)])
    for x, y, size, colour in (
        (1500, 400, 11, (160, 70, 30)),
        (1905, 635, 9, (250, 250, 250)),
        (400, 300, 4, (255, 255, 255)),
    ):
        square = [(x - size, y - size, 0), (x + size, y - size, 0), (x + size, y + size, 0)]
        square.append((x - size, y + size, 0))
        cv2.fillPoly(picture, [np.round(CAMERA.project(square)).astype(np.int32)], colour)
    layout = read_image(picture, CALIBRATION)
    assert [ball.id for ball in layout.balls] == ["cue"]
    assert not layout.obstructed


def with_box(picture: np.ndarray, corners_mm: list[tuple[float, float, float]]) -> np.ndarray:
    out = picture.copy()
    cv2.fillPoly(out, [np.round(CAMERA.project(corners_mm)).astype(np.int32)], (120, 150, 205))
    return out


def test_arm_over_the_bed_obstructs_and_one_on_the_rail_does_not() -> None:
    picture = draw_still(CAMERA, TABLE, scattered(2, odd=False))
    arm = with_box(picture, [(900, -140, 90), (985, -140, 90), (975, 430, 60), (910, 430, 60)])
    layout = read_image(arm, CALIBRATION, name="arm.jpg")
    assert layout.obstructed
    assert any("lies over the bed near" in warning for warning in layout.warnings)
    rail = with_box(picture, [(900, -150, 60), (1500, -150, 60), (1500, -70, 60), (900, -70, 60)])
    assert not read_image(rail, CALIBRATION).obstructed


def test_players_shadow_neither_obstructs_nor_hides() -> None:
    balls = scattered(3, odd=False)
    picture = draw_still(CAMERA, TABLE, balls).astype(float)
    shade = np.ones(picture.shape[:2])
    cv2.ellipse(shade, (900, 300), (420, 260), 20, 0, 360, 0.55, -1)
    picture *= cv2.GaussianBlur(shade, (0, 0), 25)[..., None]
    layout = read_image(picture.astype(np.uint8), CALIBRATION)
    assert not layout.obstructed
    matched = match_layout(layout, truth_of(balls))
    assert (len(matched.missed), len(matched.invented)) == (0, 0)


def test_stated_covariance_is_positive_and_grows_with_the_calibrations_error() -> None:
    balls = scattered(5, odd=False)
    picture = draw_still(CAMERA, TABLE, balls)
    exact = read_image(picture, CALIBRATION)
    unsure = Calibration(
        camera=CAMERA,
        table=TABLE,
        head="left",
        scale_source="default",
        parameter_names=("fx_px",),
        parameter_cov=((25.0,),),
    )
    wide = read_image(picture, unsure)
    for ball, same in zip(exact.balls, wide.balls, strict=True):
        assert np.linalg.eigvalsh(ball.cov_mm2).min() > 0
        assert np.trace(same.cov_mm2) > np.trace(ball.cov_mm2)
    # the calibration's error is no fault of the still
    assert not any("seen poorly" in warning for warning in wide.warnings)


def assert_alike(one: Layout, other: Layout) -> None:
    assert [ball.id for ball in one.balls] == [ball.id for ball in other.balls]
    assert one.obstructed == other.obstructed
    for ball, same in zip(one.balls, other.balls, strict=True):
        assert ball.centre_mm == pytest.approx(same.centre_mm, abs=SAME_MM)
        assert ball.doubtful == same.doubtful


def test_reading_is_the_same_twice_and_through_a_kept_reader() -> None:
    data = as_jpeg(draw_still(CAMERA, TABLE, scattered(1, odd=False)))
    reader = Reader(CALIBRATION)
    first = reader.read_still(data, name="x")
    assert_alike(reader.read_still(data, name="x"), first)
    assert_alike(read_still(data, CALIBRATION, name="x"), first)
    steps = ["decode", "view", "drift", "find", "place", "identify", "compare"]
    assert list(reader.last_timings_ms) == steps
    assert all(ms >= 0 for ms in reader.last_timings_ms.values())


class Counting:
    """The shipped finder, with the sizes of the pictures it was given."""

    def __init__(self) -> None:
        self.sizes: list[int] = []

    def boxes(self, view: np.ndarray) -> np.ndarray:
        self.sizes.append(view.shape[0] * view.shape[1])
        return NetworkFinder(networks=shipped()).boxes(view)


WHOLE = VIEW_ROWS * VIEW_COLUMNS


def test_a_still_that_differs_little_is_searched_only_where_it_differs() -> None:
    balls = scattered(4, odd=False)
    finder = Counting()
    reader = Reader(CALIBRATION, finder)
    reader.read_image(draw_still(CAMERA, TABLE, balls))
    assert finder.sizes == [WHOLE]
    moved = [replace(balls[0], x_mm=balls[0].x_mm + 21.0, y_mm=balls[0].y_mm + 9.0), *balls[1:]]
    picture = draw_still(CAMERA, TABLE, moved)
    layout = reader.read_image(picture)
    assert WHOLE not in finder.sizes[1:]
    assert len(finder.sizes) > 1
    matched = match_layout(layout, truth_of(moved))
    assert matched.missed == ()
    assert matched.invented == ()
    fresh = Reader(CALIBRATION).read_image(picture)
    assert_alike(layout, fresh)


def test_brighter_light_alone_is_no_change() -> None:
    finder = Counting()
    reader = Reader(CALIBRATION, finder)
    picture = draw_still(CAMERA, TABLE, scattered(6, odd=False))
    first = reader.read_image(picture)
    brighter = reader.read_image(cv2.convertScaleAbs(picture, alpha=1.0, beta=6))
    assert finder.sizes == [WHOLE]
    assert len(brighter.balls) == len(first.balls)


@pytest.mark.parametrize("hint", [0, 4])
def test_a_lost_ball_is_looked_for_everywhere_if_anything_hints_at_it(hint: int) -> None:
    balls = scattered(6, odd=False)
    finder = Counting()
    reader = Reader(CALIBRATION, finder)
    reader.read_image(draw_still(CAMERA, TABLE, balls))
    picture = draw_still(CAMERA, TABLE, balls[:-1])
    centre = CAMERA.project([(1180.0, 40.0, 0.0)])[0]
    u, v = (int(x) for x in centre)
    picture[v - 25 : v + 25, u - 25 : u + 25] += np.uint8(hint)
    fewer = reader.read_image(picture)
    assert len(fewer.balls) == len(balls) - 1
    assert (WHOLE in finder.sizes[1:]) is bool(hint)


def test_another_picture_of_the_same_table_is_read_afresh() -> None:
    finder = Counting()
    reader = Reader(CALIBRATION, finder)
    reader.read_image(draw_still(CAMERA, TABLE, scattered(2, odd=False)))
    other = scattered(9, odd=False)
    layout = reader.read_image(draw_still(CAMERA, TABLE, other))
    assert len(layout.balls) == len(other)
    arm = with_box(
        draw_still(CAMERA, TABLE, other),
        [(900, -140, 90), (985, -140, 90), (975, 430, 60), (910, 430, 60)],
    )
    assert reader.read_image(arm).obstructed


def test_layout_survives_json() -> None:
    layout = read_drawn(scattered(1, odd=False))
    assert Layout.from_dict(layout.to_dict()) == layout


def test_previous_layout_keeps_names_of_unmoved_balls() -> None:
    balls = scattered(4, odd=False)
    before = read_drawn(balls)
    after = read_drawn(balls, previous=before)
    assert_alike(after, before)
    for ball, earlier in zip(after.balls, before.balls, strict=True):
        # names rarer than 1 in 10,000 are kept together, which moves a chance by less than that
        assert ball.confidence >= earlier.confidence - 1e-6


def test_still_of_another_size_is_refused() -> None:
    picture = np.zeros((720, 1280, 3), np.uint8)
    with pytest.raises(StillError, match=r"b\.jpg: got 1280x720 px; allowed: 1920x1080 px"):
        read_still(as_jpeg(picture), CALIBRATION, name="b.jpg")


def test_another_finder_can_stand_in() -> None:
    ball = DrawnBall(id="5", x_mm=1200.0, y_mm=500.0)
    picture = draw_still(CAMERA, TABLE, [ball])

    class Oracle:
        def boxes(self, view: np.ndarray) -> np.ndarray:
            assert view.shape == (VIEW_ROWS, VIEW_COLUMNS, 3)
            at = FinderView.of(CAMERA, TABLE).to_view([(1202.0, 498.0)])[0]
            return np.array([(*(at + 0.5), 18.0, 18.0, 1.0, 0.0)], np.float32)

    layout = Reader(CALIBRATION, Oracle()).read_image(picture)
    assert len(layout.balls) == 1
    assert layout.balls[0].x_mm == pytest.approx(1200.0, abs=CENTRE_TOLERANCE_MM)


def test_two_cue_balls_are_called_out() -> None:
    places = ((500.0, 500.0), (1500.0, 700.0))
    pair = [DrawnBall(id="cue", x_mm=x, y_mm=y) for x, y in places]
    layout = read_drawn([*pair, DrawnBall(id="3", x_mm=2000.0, y_mm=300.0)])
    assert len(layout.balls) == 3
    assert sum(ball.id == "cue" for ball in layout.balls) == 1
    assert any(w.startswith("2 balls look like the cue ball: x ") for w in layout.warnings)


@pytest.mark.parametrize("name", ["cue", "1", "2", "3", "4", "5", "6", "7", "8", "11"])
def test_a_lone_ball_is_named_right_or_doubtful(name: str) -> None:
    layout = read_drawn([DrawnBall(id=name, x_mm=1200.0, y_mm=500.0)])
    assert len(layout.balls) == 1
    ball = layout.balls[0]
    assert ball.id == name or ball.doubtful
    if ball.doubtful:
        assert any("in doubt" in warning for warning in layout.warnings)
