"""Each step of a reading on drawn stills: cloth, candidates, fit, names, obstruction."""

import cv2
import numpy as np
import pytest
from drawn_stills import (
    BLUE_CLOTH,
    GREEN_CLOTH,
    RGB,
    DrawnBall,
    draw_still,
    overhead,
)

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Table
from vision.apart import FARTHEST_MM, SLACK_MM, keep_apart
from vision.cloth import estimate_cloth, to_tone
from vision.detect import can_rest
from vision.identify import name_balls
from vision.layout import BALL_IDS, Ball, Layout
from vision.look import NO_PAINT, Look
from vision.obstruction import find_obstructions, trusted_balls
from vision.profile import inside_cushion
from vision.topview import TopView

TABLE = Table()
CAMERA = overhead(TABLE)
VIEW = TopView.of(CAMERA, TABLE)
CLOTH_TOLERANCE = 0.06
"""Share of the cloth's own light: noise, 8-bit steps and the drawn shadows."""


def top_of(balls: list[DrawnBall], cloth: RGB = GREEN_CLOTH) -> np.ndarray:
    return to_tone(VIEW.warp(draw_still(CAMERA, TABLE, balls, cloth=cloth)))


def rack(x_mm: float, y_mm: float) -> list[DrawnBall]:
    step = BALL_DIAMETER_MM * np.sqrt(3) / 2 + 0.02
    places = [
        (x_mm + i * step, y_mm + (j - i / 2) * (BALL_DIAMETER_MM + 0.02))
        for i in range(5)
        for j in range(i + 1)
    ]
    return [
        DrawnBall(id=str(k + 1), x_mm=x, y_mm=y, turn=(0.3 * k, 1.0, 0.5))
        for k, (x, y) in enumerate(places)
    ]


# -- cloth ---------------------------------------------------------------------------------


@pytest.mark.parametrize("cloth", [GREEN_CLOTH, BLUE_CLOTH, (0.3, 0.02, 0.03), (0.02, 0.02, 0.025)])
def test_balls_do_not_tint_the_cloth_model(cloth: RGB) -> None:
    bare = estimate_cloth(top_of([], cloth), VIEW)
    full = estimate_cloth(top_of(rack(1700.0, 600.0), cloth), VIEW)
    points = [(300.0, 300.0), (1270.0, 635.0), (1800.0, 635.0), (2400.0, 1200.0)]
    np.testing.assert_allclose(full.at(points) / bare.at(points), 1.0, rtol=0, atol=CLOTH_TOLERANCE)


def test_bare_cloth_has_ratio_one_and_a_ball_has_not() -> None:
    top = top_of([DrawnBall(id="3", x_mm=900.0, y_mm=600.0)])
    ratio = estimate_cloth(top, VIEW).ratio(top)
    column, row = (int(c) for c in VIEW.to_view([(900.0, 600.0)])[0])
    cloth = estimate_cloth(top, VIEW)
    light, red, blue = np.moveaxis(cloth.deviation(ratio), -1, 0)
    bare = (slice(100, 600), slice(100, 400))
    assert float(np.median(light[bare])) * cloth.light_sigma == pytest.approx(
        1.0, abs=CLOTH_TOLERANCE
    )
    assert abs(float(np.median(red[bare]))) < 0.5
    assert abs(float(np.median(blue[bare]))) < 0.5
    ball = (slice(row - 5, row + 5), slice(column - 8, column - 2))
    assert np.hypot(red[ball], blue[ball]).mean() > 8.0


def test_shadow_darkens_cloth_and_keeps_its_chroma() -> None:
    top = top_of([])
    cloth = estimate_cloth(top, VIEW)
    for shade in (0.9, 0.6, 0.4):
        seen = cloth.deviation(cloth.ratio((top * shade).astype(np.float32)))[100:600, 100:1200]
        light, red, blue = (np.median(seen[..., i]) for i in range(3))
        assert light * cloth.light_sigma == pytest.approx(shade, abs=CLOTH_TOLERANCE)
        assert np.hypot(red, blue) < 0.5


def test_cloth_is_held_beyond_its_edges() -> None:
    cloth = estimate_cloth(top_of([]), VIEW)
    assert np.all(np.isfinite(cloth.at([(-500.0, -500.0), (9000.0, 9000.0)])))


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


def test_cushions_end_at_the_pockets() -> None:
    points = np.array([(600.0, -1.0), (1270.0, -1.0), (5.0, -5.0), (600.0, 1.0), (-1.0, 600.0)])
    assert inside_cushion(TABLE, points).tolist() == [True, False, False, False, True]


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

RED = (44.0, 62.0, 42.0)


def look(white: float, paint: tuple[float, float, float], dark: float = 0.0) -> Look:
    return Look(white=white, dark=dark, paint=paint)


CUE_LOOK = look(1.0, NO_PAINT)


def test_solid_stripe_and_cue_are_told_apart() -> None:
    looks = [look(0.05, RED), look(0.55, RED), CUE_LOOK]
    names = name_balls(looks, np.array([(100.0, 100.0), (400.0, 100.0), (700.0, 100.0)]))
    assert [name.id for name in names] == ["3", "11", "cue"]
    assert not any(name.doubtful for name in names)


def test_each_name_is_given_once_even_to_like_balls() -> None:
    looks = [look(0.05, RED)] * 2
    names = name_balls(looks, np.array([(100.0, 100.0), (400.0, 100.0)]))
    assert len({name.id for name in names}) == 2
    assert all(name.doubtful and name.runners_up for name in names)


def test_two_cue_looks_never_give_two_cue_balls() -> None:
    names = name_balls([CUE_LOOK] * 2, np.array([(100.0, 100.0), (400.0, 100.0)]))
    assert sorted(name.id == "cue" for name in names) == [False, True]


def test_previous_name_of_an_unmoved_ball_settles_a_doubt() -> None:
    between = (34.0, 46.0, 26.0)  # half way from red to maroon
    places = np.array([(100.0, 100.0)])
    alone = name_balls([look(0.05, between)], places)[0]
    assert alone.doubtful
    for earlier in ("3", "7"):
        previous = Layout(
            still="", surface_mm=(2540.0, 1270.0), balls=(Ball(id=earlier, x_mm=100.5, y_mm=100),)
        )
        named = name_balls([look(0.05, between)], places, previous=previous)[0]
        assert named.id == earlier
        assert named.confidence > alone.confidence


def test_no_balls_no_names() -> None:
    assert name_balls([], np.zeros((0, 2))) == ()


def test_all_sixteen_are_named() -> None:
    rng = np.random.default_rng(0)
    looks = [look(rng.uniform(0, 1), tuple(rng.uniform(20, 60, 3))) for _ in BALL_IDS]
    names = name_balls(looks, rng.uniform(100, 1000, (16, 2)))
    assert sorted(name.id for name in names) == sorted(BALL_IDS)


# -- obstruction ---------------------------------------------------------------------------


def foreign_with(*outlines_mm: list[tuple[float, float]]) -> np.ndarray:
    out = np.zeros(VIEW.shape, np.float32)
    for outline in outlines_mm:
        cv2.fillPoly(out, [np.round(VIEW.to_view(outline)).astype(np.int32)], 1.0)
    return out


def box(x0: float, y0: float, x1: float, y1: float) -> list[tuple[float, float]]:
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


@pytest.mark.parametrize(
    "outline",
    [box(900, -60, 990, 400), box(600, 600, 1500, 613), box(-60, 300, 260, 390)],
    ids=["forearm", "cue", "hand"],
)
def test_large_things_over_the_bed_obstruct(outline: list[tuple[float, float]]) -> None:
    things = find_obstructions(foreign_with(outline), VIEW, CAMERA, np.zeros((0, 2)))
    assert len(things) == 1
    assert things[0].extent_mm > 100


@pytest.mark.parametrize(
    "outline",
    [
        box(900, 600, 922, 622),
        box(300, 100, 303, 1200),
        box(-60, -60, 2600, 15),
        box(900, 600, 957, 657),
    ],
    ids=["chalk", "pencil line", "thing on the rail", "overlooked ball"],
)
def test_small_thin_and_outer_things_do_not(outline: list[tuple[float, float]]) -> None:
    assert find_obstructions(foreign_with(outline), VIEW, CAMERA, np.zeros((0, 2))) == ()


def test_a_knuckle_taken_for_a_ball_does_not_explain_the_arm() -> None:
    foreign = foreign_with(box(900, -60, 990, 300))
    knuckles = np.array([(945.0, 270.0), (945.0, 150.0)])
    assert not trusted_balls(foreign, VIEW, CAMERA, knuckles).any()
    assert len(find_obstructions(foreign, VIEW, CAMERA, knuckles)) == 1


def test_balls_are_explained() -> None:
    centres = np.array([(ball.x_mm, ball.y_mm) for ball in rack(1700.0, 600.0)])
    discs = []
    angle = np.linspace(0, 2 * np.pi, 40)
    for centre in centres:
        ring = CAMERA.back_project(CAMERA.ball_outline(tuple(centre), samples=len(angle)))
        discs.append([(float(x), float(y)) for x, y in ring])
    foreign = foreign_with(*discs)
    assert find_obstructions(foreign, VIEW, CAMERA, centres) == ()
    assert len(find_obstructions(foreign, VIEW, CAMERA, centres[:3])) == 1
