"""What the empty table tells of a still: what lies over the bed, and what does not."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon

from calibration.errors import FileFormatError
from calibration.from_still import watched
from calibration.kept.bed_picture import MOST_BYTES, SCALE_MM
from calibration.kept.calibration import Calibration
from service.bench.stills.readings import BenchStill
from service.bench.stills.reference import hear, lines
from vision.bed.hidden import hidden_mm
from vision.bed.obstruction import (
    ALONE_CM2,
    CLEARED_CM2,
    CLEARED_SCORE,
    GREY_CM2,
    GREY_SCORE,
    HIDES_CM2,
    REACH_MM,
    THING_SCORE,
    Over,
    hiding,
    over_bed,
)
from vision.bed.patches import SURE_LIGHT, SURE_THING, Patch
from vision.bed.reference import Reference
from vision.find.detect import Thing
from vision.find.finder_view import FinderView
from vision.read import Reader
from vision.truth.file import TruthStill, read_truth

ImageArray = NDArray[np.uint8]
PRACTICE = Path(__file__).parents[1] / "sample_frames" / "practice"
SHOT = "shot-05-before.jpg"
MOST_FILE_KB = 40
"""Of the picture inside a table file."""
SAME_LEVELS = 3.0
"""Grey levels by which the kept picture may differ in the mean from the still: JPEG."""
NEAR_MM = 60.0
"""A patch's middle lies so near the middle of what was laid there: half a hand."""
SEEN_MM = 6.0
"""A missed ball lies in what is called hidden, or so near: half a cell of the comparison."""
JAWS_MM = 120.0
"""So near a pocket the bed is not compared in full."""
SURFACE_MM = (2540.0, 1270.0)
MOST_CPU_MS = 6.0
"""For comparing one still, of one core; 1.9 ms measured."""


def picture(path: Path) -> ImageArray:
    return np.asarray(cv2.imread(str(path)), np.uint8)


@pytest.fixture(scope="module")
def truths() -> dict[str, TruthStill]:
    return {**read_truth(PRACTICE), **read_truth(PRACTICE / "shots")}


@pytest.fixture(scope="module")
def truth(truths: dict[str, TruthStill]) -> TruthStill:
    return truths["empty.jpg"]


@pytest.fixture(scope="module")
def made(truth: TruthStill) -> Calibration:
    return watched(truth.calibration, picture(PRACTICE / "empty.jpg"))


@pytest.fixture(scope="module")
def reader(made: Calibration) -> Reader:
    return Reader(made)


@pytest.fixture(scope="module")
def shot() -> ImageArray:
    return picture(PRACTICE / "shots" / SHOT)


def compared(reader: Reader, still: ImageArray, balls: NDArray[np.float64]) -> list[Patch]:
    assert reader.reference is not None
    cells = reader.search.cells(reader.view.warp(still))
    found = reader.reference.unexplained(cells, balls)
    assert found is not None
    return list(found)


def balls_of(truth: TruthStill) -> NDArray[np.float64]:
    return np.array([(ball.x_mm, ball.y_mm) for ball in truth.balls])


def laid(
    still: ImageArray, made: Calibration, box_mm: tuple[float, ...], colour: tuple[int, int, int],
    height_mm: float = 40.0,
) -> ImageArray:  # fmt: skip
    """A plain thing over x0, y0, x1, y1 of the table, its edges as sharp as a lens shows them."""
    x0, y0, x1, y1 = box_mm
    corners = [(x0, y0, height_mm), (x1, y0, height_mm), (x1, y1, height_mm), (x0, y1, height_mm)]
    mask = np.zeros(still.shape[:2], np.float32)
    outline = np.round(made.camera.project(corners) * 16).astype(np.int32)
    cv2.fillPoly(mask, [outline], (1.0,), cv2.LINE_AA, 4)
    return mixed(still, cv2.GaussianBlur(mask, (0, 0), 0.8), colour)


def mixed(still: ImageArray, mask: NDArray[Any], colour: tuple[int, int, int]) -> ImageArray:
    part = mask[..., None]
    return np.asarray(np.round(still * (1 - part) + part * np.array(colour)), np.uint8)


WOOD, SLEEVE, SKIN = (110, 160, 205), (25, 22, 24), (120, 150, 200)


# -- the picture that is kept --------------------------------------------------------------


def test_the_kept_picture_shows_the_bed_in_the_table_frame(
    made: Calibration, truth: TruthStill
) -> None:
    bed = made.bed_picture
    assert bed is not None
    assert len(bed.jpeg) <= MOST_BYTES
    assert bed.scale_mm == SCALE_MM
    still = cv2.GaussianBlur(picture(PRACTICE / "empty.jpg"), (0, 0), 1.5)
    for x_mm, y_mm in [(300.0, 250.0), (1270.0, 635.0), (2200.0, 1000.0)]:
        column, row = np.round((np.array([x_mm, y_mm]) - bed.corner_mm) / SCALE_MM).astype(int)
        at = np.array(bed.corner_mm) + np.array([column, row]) * SCALE_MM
        u, v = np.round(truth.camera.project([(*at, 28.575)])[0]).astype(int)
        kept = bed.pixels()[row - 1 : row + 2, column - 1 : column + 2].mean(axis=(0, 1))
        assert kept == pytest.approx(still[v - 2 : v + 3, u - 2 : u + 3].mean(axis=(0, 1)),
                                     abs=SAME_LEVELS)  # fmt: skip


def test_table_files_hold_it_and_older_ones_do_without(made: Calibration) -> None:
    data = json.loads(json.dumps(made.to_dict()))
    assert len(json.dumps(data["bed_picture"])) <= MOST_FILE_KB * 1024
    assert Calibration.from_dict(data) == made
    for gone in (None, ...):
        data["bed_picture"] = gone
        if gone is ...:
            del data["bed_picture"]
        older = Calibration.from_dict(data)
        assert older == replace(made, bed_picture=None)
        assert Reference.of(older, FinderView.of(made.camera, made.table)) is None


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"jpeg": "no!"}, r"table\.bed_picture\.jpeg: got 'no!'; allowed: base64"),
        ({"jpeg": "aGVsbG8="}, r"bed_picture\.jpeg: got 5 bytes; allowed: a JPEG file"),
        ({"scale_mm": 0.0}, r"bed_picture\.scale_mm: got 0\.0; allowed: a finite number above 0"),
        ({"corner_mm": [1.0]}, r"table\.bed_picture\.corner_mm: got \[1\.0\]; allowed: 2 numbers"),
    ],
)
def test_a_damaged_picture_is_named(
    made: Calibration, change: dict[str, object], said: str
) -> None:
    data = json.loads(json.dumps(made.to_dict()))
    data["bed_picture"].update(change)
    with pytest.raises(FileFormatError, match=said):
        Calibration.from_dict(data, path="table")


# -- what does not count -------------------------------------------------------------------


def test_a_whole_practice_shows_nothing_unexplained(reader: Reader) -> None:
    shots = sorted((PRACTICE / "shots").glob("*.jpg"))
    assert len(shots) == 24
    for path in shots:
        layout = reader.read_still(path.read_bytes(), name=path.name)
        assert not layout.obstructed, layout.warnings
        assert layout.hidden_mm == ()
        centres = np.array([ball.centre_mm for ball in layout.balls])
        assert over_bed((), compared(reader, picture(path), centres), SURFACE_MM) == Over()


def brighter(still: ImageArray) -> ImageArray:
    return np.asarray(np.clip(still * 1.25, 0, 255), np.uint8)


def darker(still: ImageArray) -> ImageArray:
    return np.asarray(still * 0.6, np.uint8)


def warmer(still: ImageArray) -> ImageArray:
    return np.asarray(np.clip(still * np.array([0.85, 1.0, 1.15]), 0, 255), np.uint8)


def lamp_out(still: ImageArray) -> ImageArray:
    """Half the light gone at one end."""
    slope = np.linspace(0.5, 1.1, still.shape[1])[None, :, None]
    return np.asarray(np.clip(still * slope, 0, 255), np.uint8)


def shaded(still: ImageArray) -> ImageArray:
    """A player's soft shadow, over the lower rail and the bed."""
    light = np.ones(still.shape[:2], np.float32)
    cv2.ellipse(light, (900, 850), (230, 170), 0, 0, 360, (0.6,), -1)
    return np.asarray(still * cv2.GaussianBlur(light, (0, 0), 35)[..., None], np.uint8)


def chalked(still: ImageArray) -> ImageArray:
    """Chalk marks."""
    rng = np.random.default_rng(5)
    mask = np.zeros(still.shape[:2], np.float32)
    for _ in range(12):
        at = (int(rng.integers(300, 1600)), int(rng.integers(250, 850)))
        cv2.circle(mask, at, int(rng.integers(2, 7)), (0.3,), -1)
    return mixed(still, cv2.GaussianBlur(mask, (0, 0), 1.5), (230, 205, 160))


def squeezed(still: ImageArray) -> ImageArray:
    _, coded = cv2.imencode(".jpg", still, [cv2.IMWRITE_JPEG_QUALITY, 60])
    return np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), np.uint8)


def trembling(still: ImageArray) -> ImageArray:
    shift = np.array([[1, 0, 0.7], [0, 1, -0.5]])
    size = (still.shape[1], still.shape[0])
    return np.asarray(cv2.warpAffine(still, shift, size, borderMode=cv2.BORDER_REPLICATE), np.uint8)


@pytest.mark.parametrize(
    "change", [brighter, darker, warmer, lamp_out, shaded, chalked, squeezed, trembling]
)
def test_light_shadow_chalk_and_noise_do_not_obstruct(
    reader: Reader, truths: dict[str, TruthStill], shot: ImageArray,
    change: Callable[[ImageArray], ImageArray],
) -> None:  # fmt: skip
    balls = balls_of(truths[SHOT])
    over = over_bed((), compared(reader, change(shot), balls), SURFACE_MM)
    assert over.living == ()
    assert hidden_mm(hiding(over), reader.view, reader.calibration.table, balls) == ()


def test_what_lies_on_the_rail_does_not_obstruct(
    reader: Reader, made: Calibration, truths: dict[str, TruthStill], shot: ImageArray
) -> None:
    balls = balls_of(truths[SHOT])
    still = laid(shot, made, (500, -150, 1900, -110), WOOD, height_mm=60.0)
    still = laid(still, made, (2600, 300, 2720, 500), SLEEVE, height_mm=50.0)
    assert compared(reader, still, balls) == []


# -- what does ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("box_mm", "colour"),
    [
        ((1000.0, -90.0, 1013.0, 90.0), WOOD),  # a cue's tip over the lower nose
        ((2450.0, 600.0, 2640.0, 613.0), WOOD),  # and over the foot nose
        ((400.0, 1190.0, 418.0, 1400.0), SKIN),  # one finger over the upper nose
        ((-90.0, 500.0, 60.0, 580.0), SLEEVE),  # a dark sleeve over the head nose
    ],
)
def test_small_things_over_the_bed_are_refused_and_placed(
    reader: Reader, made: Calibration, shot: ImageArray, box_mm: tuple[float, ...],
    colour: tuple[int, int, int],
) -> None:  # fmt: skip
    layout = reader.read_image(laid(shot, made, box_mm, colour), name="a")
    assert layout.obstructed
    said = next(text for text in layout.warnings if text.startswith("Something lies over the bed"))
    words = said.replace(",", "").split()
    x, y = (float(words[words.index(axis) + 1]) for axis in "xy")
    inside = np.clip(np.reshape(box_mm, (2, 2)), 0, made.table.surface_mm).mean(axis=0)
    assert np.hypot(x - inside[0], y - inside[1]) < NEAR_MM


def test_a_missed_ball_on_the_open_bed_is_noticed_where_it_lies(
    reader: Reader, truths: dict[str, TruthStill], shot: ImageArray
) -> None:
    balls = balls_of(truths[SHOT])
    table = reader.calibration.table
    away = np.hypot(*(balls[:, None] - [pocket.aim_mm for pocket in table.pockets]).T).min(axis=0)
    assert np.count_nonzero(away > JAWS_MM) > 3
    for k in np.flatnonzero(away > JAWS_MM):
        others = np.delete(balls, k, axis=0)
        over = over_bed((), compared(reader, shot, others), SURFACE_MM)
        polygons = hidden_mm(hiding(over), reader.view, table, others)
        told = [place for notice in over.living for place in notice.places_mm]
        assert any(
            Polygon(each).buffer(SEEN_MM).contains(Point(balls[k])) for each in polygons
        ) or (told and np.hypot(*(np.array(told) - balls[k]).T).min() < NEAR_MM)


def test_another_cloth_makes_it_of_no_use(reader: Reader, shot: ImageArray) -> None:
    rng = np.random.default_rng(2)
    coarse = rng.integers(40, 220, (27, 48, 3)).astype(np.uint8)
    other = cv2.resize(coarse, (shot.shape[1], shot.shape[0]), interpolation=cv2.INTER_NEAREST)
    assert reader.reference is not None
    cells = reader.search.cells(reader.view.warp(np.asarray(other, np.uint8)))
    assert reader.reference.unexplained(cells, np.zeros((0, 2))) is None


def test_a_ball_forgotten_on_the_empty_table_does_no_harm(
    truth: TruthStill, truths: dict[str, TruthStill], shot: ImageArray
) -> None:
    forgetful = Reader(watched(truth.calibration, shot))
    bare = picture(PRACTICE / "empty.jpg")
    assert over_bed((), compared(forgetful, bare, np.zeros((0, 2))), SURFACE_MM) == Over()


def test_without_an_empty_table_readings_work_as_before(
    made: Calibration, reader: Reader, shot: ImageArray
) -> None:
    bare = Reader(replace(made, bed_picture=None))
    assert bare.reference is None
    assert bare.read_image(shot, name="a") == reader.read_image(shot, name="a")


def test_comparing_is_quick(
    reader: Reader, truths: dict[str, TruthStill], shot: ImageArray
) -> None:
    assert reader.reference is not None
    cells = reader.search.cells(reader.view.warp(shot))
    balls = balls_of(truths[SHOT])
    times = []
    for _ in range(9):
        started = time.thread_time()
        reader.reference.unexplained(cells, balls)
        times.append((time.thread_time() - started) * 1e3)
    assert min(times) < MOST_CPU_MS


# -- both witnesses -------------------------------------------------------------------------


def thing(score: float) -> Thing:
    return Thing(score=score, low_mm=(100.0, 0.0), high_mm=(300.0, 200.0))


def patch(
    weight_cm2: float, *, colour: bool = True, from_edge: bool = True, x_mm: float = 200.0,
    y_mm: float = 10.0, tells: bool = True, texture: float = 0.0, slender: bool = False,
) -> Patch:  # fmt: skip
    return Patch(
        weight_cm2=weight_cm2, colour_cm2=weight_cm2 if colour else 0.0, texture=texture,
        tells=tells, from_edge=from_edge, slender=slender, low_mm=(x_mm, y_mm),
        high_mm=(x_mm + 30, y_mm + 30),
    )  # fmt: skip


def refused(things: list[Thing], patches: list[Patch] | None) -> bool:
    return bool(over_bed(things, patches, SURFACE_MM).living)


def test_without_an_empty_table_the_finder_decides() -> None:
    assert refused([thing(THING_SCORE)], None)
    assert not refused([thing(THING_SCORE - 0.01)], None)


def test_the_empty_table_clears_what_the_finder_fancies_unless_it_is_sure() -> None:
    assert not refused([thing(CLEARED_SCORE - 0.01)], [])
    assert refused([thing(CLEARED_SCORE)], [])
    assert not refused([thing(CLEARED_SCORE - 0.01)], [patch(900.0, colour=False)])


def test_what_comes_in_over_a_rail_in_another_colour_is_refused_alone() -> None:
    told = over_bed([], [patch(ALONE_CM2)], SURFACE_MM)
    assert [notice.code for notice in told.living] == ["obstructed"]
    assert told.living[0].places_mm == ((215.0, 25.0),)
    assert told.dead == ()
    assert not refused([], [patch(ALONE_CM2 - 0.1)])
    assert refused([thing(THING_SCORE)], [patch(CLEARED_CM2 + 8.0)])


def test_where_the_empty_table_cannot_tell_the_finder_is_asked() -> None:
    """A cloth of the colour of skin, or grey: brightness alone is a shadow, or a hand."""
    doubtful = patch(GREY_CM2, colour=False, tells=False)
    assert not refused([], [doubtful])
    assert refused([thing(GREY_SCORE)], [doubtful])
    assert not refused([thing(GREY_SCORE - 0.01)], [doubtful])
    assert not refused([thing(GREY_SCORE)], [patch(GREY_CM2, colour=False, tells=False, x_mm=900)])
    shadow = patch(900.0, colour=False, tells=False, texture=SURE_LIGHT)
    assert not refused([thing(GREY_SCORE)], [shadow])
    sleeve = patch(900.0, colour=False, tells=False, texture=SURE_THING)
    assert refused([], [sleeve])


def test_what_lies_by_itself_hides_a_part_and_a_stick_hides_nothing() -> None:
    inside = patch(400.0, from_edge=False, x_mm=1200.0, y_mm=600.0)
    told = over_bed([thing(THING_SCORE)], [inside], SURFACE_MM)
    assert (told.living, told.dead) == ((), (inside,))
    assert over_bed([], [replace(inside, weight_cm2=HIDES_CM2 - 0.1)], SURFACE_MM) == Over()
    cue = patch(400.0, slender=True)
    told = over_bed([thing(0.9)], [cue], SURFACE_MM)
    assert (told.living, hiding(told)) == ((), ())


def test_a_hand_whose_arm_is_hardly_seen_is_refused_by_both() -> None:
    low = REACH_MM - 1.0
    hand = patch(GREY_CM2 * 2, from_edge=False, y_mm=low)
    assert refused([thing(GREY_SCORE)], [hand])
    assert not refused([], [hand])
    assert not refused([thing(GREY_SCORE)], [replace(hand, low_mm=(200.0, low + 2.0))])


# -- the bench ------------------------------------------------------------------------------


def test_the_bench_tells_what_both_said(truths: dict[str, TruthStill]) -> None:
    path = PRACTICE / "shots" / SHOT
    still = BenchStill(path=path, truth=truths[SHOT], empty=PRACTICE / "empty.jpg")
    heard = hear(still)
    assert not heard.refused
    assert not heard.refused_alone
    told = lines([heard, replace(heard, obstructed=True)])
    assert told[0].startswith("1 obstructed: refused 0 by the finder alone, 0 with the empty table")
    assert told[1] == "  wrong shot-05-before.jpg: thing 0.000, differs 0.0 cm² from the edge, " \
                      "0.0 elsewhere"  # fmt: skip
    assert told[2].startswith("1 clear: refused 0")
    assert told[-1].startswith("empty table of no use: 0; comparing takes ")
