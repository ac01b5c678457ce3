"""Each step of a reading: views and crops, candidates, places, names, obstruction."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_stills import DrawnBall, draw_still, overhead

from calibration.camera import Camera
from calibration.table import (
    BALL_DIAMETER_MM,
    BALL_RADIUS_MM,
    FROZEN_INSET_MM,
    NAMED_SURFACES_MM,
    Table,
)
from vision.bed.obstruction import THING_SCORE, over_bed
from vision.find.detect import Thing, can_rest, candidates, one_a_place
from vision.find.finder_view import MARGIN_MM, VIEW_COLUMNS, VIEW_ROWS, FinderView
from vision.layout import BALL_IDS, Ball, Layout
from vision.name.identify import name_balls
from vision.networks import shipped
from vision.place.apart import FARTHEST_MM, SLACK_MM, keep_apart
from vision.place.centres import place_balls
from vision.place.crops import CROP_SIDE, CROP_STEP_MM, CropFrames, cut_crops

TABLE = Table()
CAMERA = overhead(TABLE)
VIEW = FinderView.of(CAMERA, TABLE)
MAP_TOLERANCE_PX = 0.02
"""Splined look-ups against the camera itself; a fiftieth of a pixel is 0.03 mm."""
EXACT_MM = 1e-6
"""Carrying places to and fro is plain geometry."""
PLACE_TOLERANCE_MM = 1.0
"""Drawn balls are no rendered ones; the network's 95th percentile there is 0.7."""


# -- views and crops -----------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMED_SURFACES_MM)
def test_view_shows_every_table_whole(name: str) -> None:
    table = Table.from_surface(name)
    view = FinderView.of(overhead(table), table)
    low, high = view.to_view([(0.0, 0.0), table.surface_mm])
    strip = MARGIN_MM / view.scale_mm - 1
    assert low.min() >= strip
    assert np.all(high <= np.array([VIEW_COLUMNS, VIEW_ROWS]) - strip)
    places = np.array([(3.0, 4.0), (800.0, 700.0)])
    np.testing.assert_allclose(view.to_table(view.to_view(places)), places, rtol=0, atol=EXACT_MM)


@pytest.mark.parametrize("place", [(200.0, 300.0), (1270.0, 635.0), (2400.0, 1100.0)])
def test_view_is_warped_to_where_the_camera_says(place: tuple[float, float]) -> None:
    u, v = CAMERA.project([(*place, BALL_RADIUS_MM)])[0]
    rows, columns = np.indices((1080, 1920))
    glow = np.exp(-((rows - v) ** 2 + (columns - u) ** 2) / (2 * 8.0**2))
    shown = VIEW.warp(np.dstack([(255 * glow).astype(np.uint8)] * 3))[..., 0].astype(float)
    middle = [(shown * axis).sum() / shown.sum() for axis in np.indices(shown.shape)[::-1]]
    # the glow is cut off at grey level 1 and seen aslant
    np.testing.assert_allclose(middle, VIEW.to_view([place])[0], rtol=0, atol=0.1)


def test_a_balls_outline_is_one_circle_in_every_crop() -> None:
    rng = np.random.default_rng(3)
    centres = rng.uniform((30, 30), (2510, 1240), (9, 2))
    frames = CropFrames.at(CAMERA, centres)
    for k, centre in enumerate(centres):
        rays = CAMERA.rays(CAMERA.ball_outline((float(centre[0]), float(centre[1]))))
        axis = frames.origin_mm[k] - frames.eye_mm
        far = np.linalg.norm(axis)
        on_plane = rays * (far / (rays @ axis * (1 / far)))[:, None] - axis
        radius = np.hypot(on_plane @ frames.away[k], on_plane @ frames.across[k])
        assert np.ptp(radius) < EXACT_MM
        assert radius.mean() == pytest.approx(BALL_RADIUS_MM, abs=0.01)


def test_crop_offsets_and_table_places_are_inverse() -> None:
    rng = np.random.default_rng(4)
    centres = rng.uniform((30, 30), (2510, 1240), (9, 2))
    frames = CropFrames.at(CAMERA, centres)
    offsets = rng.uniform(-8, 8, (9, 2))
    places = frames.to_table(offsets)
    np.testing.assert_allclose(frames.to_crop(places), offsets, rtol=0, atol=EXACT_MM)
    small = frames.to_table(offsets * 1e-3) - centres
    linear = np.einsum("kij,kj->ki", frames.jacobian(), offsets * 1e-3)
    np.testing.assert_allclose(small, linear, rtol=0, atol=1e-6)


def test_crop_pixels_lie_where_the_camera_says() -> None:
    frames = CropFrames.at(CAMERA, np.array([(40.0, 50.0), (1900.0, 900.0)]))
    places = frames.places_px(CAMERA, CROP_SIDE, CROP_STEP_MM)
    reach = (np.arange(CROP_SIDE) - (CROP_SIDE - 1) / 2) * CROP_STEP_MM
    for row, column in ((0, 0), (10, 50), (CROP_SIDE - 1, 3)):
        points = frames.origin_mm + reach[column] * frames.away + reach[row] * frames.across
        np.testing.assert_allclose(
            places[:, row, column], CAMERA.project(points), rtol=0, atol=MAP_TOLERANCE_PX
        )


def test_no_places_no_crops() -> None:
    picture = np.zeros((1080, 1920, 3), np.uint8)
    frames = CropFrames.at(CAMERA, np.zeros((0, 2)))
    assert cut_crops(picture, CAMERA, frames).shape == (0, CROP_SIDE, CROP_SIDE, 3)
    assert len(place_balls(picture, CAMERA, np.zeros((0, 2)), shipped()).centre_mm) == 0


@pytest.mark.parametrize("head_away", [0.0, 700.0])
def test_places_are_found_from_where_the_finder_aims(head_away: float) -> None:
    camera: Camera = overhead(TABLE, tilt_mm=head_away)
    balls = [DrawnBall(id="5", x_mm=700.0, y_mm=400.0), DrawnBall(id="9", x_mm=1900.0, y_mm=800.0)]
    picture = draw_still(camera, TABLE, balls)
    aim = np.array([(703.0, 398.0), (1896.0, 803.0), (1300.0, 500.0)])
    placed = place_balls(picture, camera, aim, shipped())
    assert (placed.ball > 0).tolist() == [True, True, False]
    true = np.array([(700.0, 400.0), (1900.0, 800.0)])
    off = np.linalg.norm(placed.centre_mm[:2] - true, axis=1)
    assert off.max() < PLACE_TOLERANCE_MM
    assert np.linalg.eigvalsh(placed.cov_mm2).min() > 0


# -- candidates ----------------------------------------------------------------------------


def boxes_at(places_mm: list[tuple[float, float]], scores: list[float]) -> np.ndarray:
    at = VIEW.to_view(places_mm) + 0.5
    rows = [(*xy, 18.0, 18.0, score, 0.0) for xy, score in zip(at, scores, strict=True)]
    return np.array(rows, np.float32)


def test_candidates_are_one_a_place_and_on_the_bed_best_first() -> None:
    found = candidates(
        boxes_at([(500, 500), (504, 500), (557, 500), (-60, 500), (900, 900)],
                 [0.5, 0.9, 0.7, 0.9, 0.01]), VIEW, TABLE,
    )  # fmt: skip
    np.testing.assert_allclose(found.centre_mm, [(504, 500), (557, 500)], rtol=0, atol=1e-3)
    assert found.score.tolist() == pytest.approx([0.9, 0.7])
    assert found.things == ()


def test_nothing_seen_is_no_candidates() -> None:
    found = candidates(np.zeros((0, 6), np.float32), VIEW, TABLE)
    assert found.centre_mm.shape == (0, 2)
    assert one_a_place(found.centre_mm, 30.0) == []


# -- where balls can be --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "can"),
    [
        ((1270.0, 635.0), True),
        ((FROZEN_INSET_MM, 600.0), True),
        ((15.0, 600.0), False),
        ((-40.0, 600.0), False),
        ((22.0, 22.0), True),  # on the shelf of a corner pocket
        ((-30.0, -30.0), False),  # fallen
        ((1270.0, 4.0), True),  # between a side pocket's nose points
        ((1270.0, -30.0), False),
        ((700.0, 10.0), False),
    ],
)
def test_where_a_ball_can_rest(place: tuple[float, float], can: bool) -> None:
    assert bool(can_rest(TABLE, np.array([place]))[0]) is can


def test_overlapping_fits_are_parted_by_their_errors() -> None:
    centres = np.array([(500.0, 500.0), (555.8, 500.0), (900.0, 500.0)])
    cov = np.array([np.eye(2) * 0.01, np.eye(2) * 1.0, np.eye(2)])
    out = keep_apart(centres, cov, TABLE)
    assert np.linalg.norm(out[0] - out[1]) >= BALL_DIAMETER_MM - SLACK_MM - 2e-3
    assert abs(out[0, 0] - 500) < 0.1  # the surer one stays
    np.testing.assert_array_equal(out[2], centres[2])


def test_a_wrong_fit_does_not_push_its_neighbour_far() -> None:
    centres = np.array([(500.0, 500.0), (530.0, 500.0)])
    out = keep_apart(centres, np.array([np.eye(2)] * 2), TABLE)
    assert np.linalg.norm(out - centres, axis=1).max() <= FARTHEST_MM + 1.0 + 1e-9


def test_a_fit_inside_a_cushion_is_moved_out_of_it_but_not_out_of_jaws() -> None:
    centres = np.array([(26.0, 600.0), (20.0, 20.0)])
    out = keep_apart(centres, np.array([np.eye(2)] * 2), TABLE)
    assert out[0, 0] == pytest.approx(FROZEN_INSET_MM - SLACK_MM, abs=1e-3)
    np.testing.assert_array_equal(out[1], centres[1])


# -- names ---------------------------------------------------------------------------------


def chances(*likely: dict[str, float]) -> np.ndarray:
    out = np.full((len(likely), len(BALL_IDS)), 1e-6)
    for row, said in zip(out, likely, strict=True):
        for name, share in said.items():
            row[BALL_IDS.index(name)] = share
    return np.log(out / out.sum(axis=1, keepdims=True))


FAR_APART = np.array([(100.0, 100.0), (400.0, 100.0), (700.0, 100.0)])


def test_sure_names_are_taken_without_doubt() -> None:
    names = name_balls(chances({"3": 1.0}, {"11": 1.0}, {"cue": 1.0}), FAR_APART)
    assert [name.id for name in names] == ["3", "11", "cue"]
    assert not any(name.doubtful for name in names)


def test_each_name_is_given_once_even_to_like_balls() -> None:
    names = name_balls(chances({"3": 0.9, "7": 0.1}, {"3": 0.8, "7": 0.2}), FAR_APART[:2])
    assert [name.id for name in names] == ["3", "7"]
    assert all(name.doubtful for name in names)
    assert names[1].runners_up[0][0] == "3"


def test_two_cue_looks_never_give_two_cue_balls() -> None:
    names = name_balls(chances({"cue": 1.0}, {"cue": 1.0}), FAR_APART[:2])
    assert sorted(name.id == "cue" for name in names) == [False, True]
    assert all(name.doubtful for name in names)


def test_previous_name_of_an_unmoved_ball_settles_a_doubt() -> None:
    said, place = chances({"3": 0.55, "7": 0.45}), FAR_APART[:1]
    alone = name_balls(said, place)[0]
    assert alone.doubtful
    for earlier in ("3", "7"):
        previous = Layout(
            still="", surface_mm=(2540.0, 1270.0), balls=(Ball(id=earlier, x_mm=100.5, y_mm=100),)
        )
        named = name_balls(said, place, previous=previous)[0]
        assert named.id == earlier
        assert named.confidence > 1 - alone.confidence


def test_no_balls_no_names() -> None:
    assert name_balls(np.zeros((0, 16)), np.zeros((0, 2))) == ()


def test_all_sixteen_are_named() -> None:
    rng = np.random.default_rng(0)
    said = np.log(rng.dirichlet(np.ones(16), 16))
    names = name_balls(said, rng.uniform(100, 1000, (16, 2)))
    assert sorted(name.id for name in names) == sorted(BALL_IDS)


# -- obstruction ---------------------------------------------------------------------------


def test_a_sure_thing_obstructs_and_says_where_and_a_faint_one_does_not() -> None:
    def thing(score: float) -> Thing:
        return Thing(score=score, low_mm=(100.0, 0.0), high_mm=(300.0, 200.0))

    surface = TABLE.surface_mm
    assert over_bed([thing(THING_SCORE - 0.01)], None, surface).living == ()
    told = over_bed([thing(0.9)], None, surface).living
    assert len(told) == 1
    assert "lies over the bed near x 200, y 100 mm" in told[0].text
    assert (told[0].code, told[0].places_mm) == ("obstructed", ((200.0, 100.0),))
