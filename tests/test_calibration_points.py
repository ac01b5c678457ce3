"""Points given by hand: alone, beside what is found, and refused by their names."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from calibration_cases import built_table, exact_lens, random_camera
from drawn_table import draw_table
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import CalibrationError, RestmarkError
from calibration.from_still import calibrate
from calibration.kept.budget import bed_grid_mm
from calibration.kept.calibration import Calibration
from calibration.seen.points import (
    GivenPoint,
    check_alone,
    point_marks,
    point_names,
    points_to_dict,
    read_points,
)
from calibration.solve.known import Known
from calibration.solve.quality import bed_error_mm
from calibration.table import Table
from service.cli import main

SIZE_PX = (1280, 720)
SIGHTS = ("left-2", "left-6", "right-2", "right-6", "head-2", "foot-2")
NOSES = tuple(f"{end}-{hand}/{i}" for end in ("head", "foot") for hand in ("left", "right")
              for i in (1, 2))  # fmt: skip
SPOTS = ("head spot", "centre spot", "foot spot")
CLICK_PX = 0.5
OFF_PX = 25.0
"""A point set on the wrong thing, as somebody does who is in a hurry."""
CALIBRATIONS = 16
RMS_RATIO = (0.6, 1.35)
"""Measured over stated RMS error: 1 is true; 16 calibrations know it to about 20 %."""
BLANK = np.full((SIZE_PX[1], SIZE_PX[0], 3), 90, np.uint8)


def place_mm(table: Table, name: str) -> tuple[float, float, float]:
    if name.endswith(" spot"):
        return (*table.spots_mm[name.removesuffix(" spot")], 0.0)
    if "/" in name:
        pocket, number = name.split("/")
        return (*table.pocket(pocket).nose_points_mm[int(number) - 1], table.nose_height_mm)
    return (*table.sights_mm[name], table.rail_cap_height_mm)


def clicked(
    rng: np.random.Generator,
    camera: Camera,
    built: Table,
    names: Sequence[str],
    noise_px: float = CLICK_PX,
) -> tuple[GivenPoint, ...]:
    """Points as somebody would click them on a table as built."""
    seen = camera.project([place_mm(built, name) for name in names])
    seen = seen + rng.normal(0, noise_px, seen.shape)
    return tuple(
        GivenPoint(name=name, seen_px=(float(u), float(v)), sigma_px=max(noise_px, 0.1))
        for name, (u, v) in zip(names, seen, strict=True)
    )


def by_points(
    points: Sequence[GivenPoint], table: Table, camera: Camera | None, head: str = "left"
) -> Calibration:
    """Calibration by points alone, with the camera's own lens or none."""
    lens = None if camera is None else exact_lens(camera)
    known = Known(points=tuple(points), points_only=True)
    return calibrate(BLANK, table, head, replace(known, lens=lens))


@pytest.fixture(scope="module")
def case() -> tuple[Table, Table, Camera]:
    """The table as told, as built, and its camera."""
    rng = np.random.default_rng(40)
    table = Table()
    return table, built_table(rng, table), random_camera(rng, table, size_px=SIZE_PX)


@pytest.fixture(scope="module")
def still(case: tuple[Table, Table, Camera]) -> NDArray:
    return draw_table(case[2], case[1], None, 40)


# -- alone ---------------------------------------------------------------------------------


def test_every_name_can_be_given(case: tuple[Table, Table, Camera]) -> None:
    table, _, camera = case
    names = point_names(table)
    assert len(names) == 18 + 12 + 3
    marks = point_marks(
        clicked(np.random.default_rng(1), camera, table, names, 0.0), table, SIZE_PX
    )
    seen = camera.project([mark.point_mm for mark in marks])
    np.testing.assert_allclose(seen, [mark.seen_px for mark in marks], rtol=0, atol=1e-6)
    assert {mark.kind for mark in marks} == {"point"}


def test_the_first_nose_point_is_the_left_one_seen_from_the_bed(
    case: tuple[Table, Table, Camera],
) -> None:
    table, _, _ = case
    (x1, _, _), (x2, _, _) = (place_mm(table, f"side-left/{i}") for i in (1, 2))
    assert x1 < x2  # looking to y = width the head end lies on the left hand


@pytest.mark.parametrize(("with_lens", "names"), [(True, SIGHTS), (False, SIGHTS + NOSES + SPOTS)])
def test_points_alone_state_a_true_error(with_lens: bool, names: tuple[str, ...]) -> None:
    rng = np.random.default_rng(41)
    table, squares, stated = Table(), [], []
    for _ in range(CALIBRATIONS):
        camera, built = random_camera(rng, table, size_px=SIZE_PX), built_table(rng, table)
        made = by_points(clicked(rng, camera, built, names), table, camera if with_lens else None)
        squares.append(np.mean(np.sum(bed_error_mm(made, camera) ** 2, axis=1)))
        assert made.budget is not None
        cov = made.own_covariance_mm2(bed_grid_mm(table))
        stated.append(np.mean(np.trace(cov, axis1=1, axis2=2)))
    ratio = np.sqrt(np.mean(squares) / np.mean(stated))
    assert RMS_RATIO[0] < ratio < RMS_RATIO[1]


def test_four_exact_points_are_enough_and_say_so(case: tuple[Table, Table, Camera]) -> None:
    table, _, camera = case
    four = clicked(np.random.default_rng(2), camera, table, NOSES[::2], 0.0)
    made = by_points(four, table, camera)
    assert np.hypot(*bed_error_mm(made, camera).T).max() < 0.5
    assert any("with 4 points alone a wrong one may go unnoticed" in w for w in made.warnings)


def test_free_points_in_mm(case: tuple[Table, Table, Camera]) -> None:
    table, _, camera = case
    places = [(100.0, 100.0, 0.0), (2400.0, 90.0, 0.0), (2300.0, 1200.0, 28.575),
              (150.0, 1150.0, 0.0), (1270.0, 635.0, 0.0), (1900.0, 300.0, 0.0)]  # fmt: skip
    points = [
        GivenPoint(place_mm=place, seen_px=(float(u), float(v)), sigma_px=0.1, sigma_mm=0.1)
        for place, (u, v) in zip(places, camera.project(places), strict=True)
    ]
    made = by_points(points, table, camera)
    assert np.hypot(*bed_error_mm(made, camera).T).max() < 0.3
    assert [r.name for r in made.residuals][2] == "point at 2300, 1200, 28.575 mm"


def test_a_wider_click_widens_the_budget(case: tuple[Table, Table, Camera]) -> None:
    table, _, camera = case
    exact = clicked(np.random.default_rng(3), camera, table, SIGHTS, 0.0)
    budgets = [
        by_points([replace(p, sigma_px=sigma) for p in exact], table, camera).budget
        for sigma in (0.5, 3.0)
    ]
    assert budgets[0] is not None
    assert budgets[1] is not None
    assert budgets[1].worst_mm > 2 * budgets[0].worst_mm


# -- beside what is found ------------------------------------------------------------------


def test_points_start_the_search_where_part_of_the_table_is_covered(
    case: tuple[Table, Table, Camera], still: NDArray
) -> None:
    table, built, camera = case
    covered = still.copy()
    covered[:, :360] = (60, 60, 170)
    lens = exact_lens(camera)
    with pytest.raises(
        CalibrationError, match=r"an end seems to be covered .*`--points` with four or more"
    ):
        calibrate(covered, table, "left", Known(lens=lens))
    given = clicked(np.random.default_rng(4), camera, built, SIGHTS + NOSES)
    made = calibrate(covered, table, "left", Known(lens=lens, points=given))
    kinds = {r.kind for r in made.residuals}
    assert kinds >= {"point", "nose", "cushion back"}
    alone = by_points(given, table, camera)
    assert made.budget is not None
    assert alone.budget is not None
    assert made.budget.median_mm < 0.7 * alone.budget.median_mm
    assert np.hypot(*bed_error_mm(made, camera).T).max() < 1.5 * made.budget.worst_mm


NOISE = np.random.default_rng(1).integers(0, 255, BLANK.shape).astype(np.uint8)


@pytest.mark.parametrize("bad_still", [BLANK, NOISE, cv2.GaussianBlur(NOISE, (0, 0), 3)])
def test_points_carry_a_still_in_which_nothing_is_found(
    case: tuple[Table, Table, Camera], bad_still: NDArray
) -> None:
    table, built, camera = case
    given = clicked(np.random.default_rng(5), camera, built, SIGHTS + NOSES)
    made = calibrate(bad_still, table, "left", Known(lens=exact_lens(camera), points=given))
    assert {r.kind for r in made.residuals} == {"point"}
    assert any("only the 14 given points are used: landmarks: got" in w for w in made.warnings)


def test_a_given_point_replaces_the_found_one(
    case: tuple[Table, Table, Camera], still: NDArray
) -> None:
    table, built, camera = case
    given = clicked(np.random.default_rng(6), camera, built, ("left-3", "foot spot"))
    made = calibrate(still, table, "left", Known(lens=exact_lens(camera), points=given))
    kinds = {r.name: r.kind for r in made.residuals}
    assert kinds["sight left-3"] == "point"
    assert kinds["foot spot"] == "point"
    assert len(kinds) == len(made.residuals)


def test_too_few_points_beside_too_few_landmarks_say_both(
    case: tuple[Table, Table, Camera],
) -> None:
    table, built, camera = case
    given = clicked(np.random.default_rng(7), camera, built, ("left-3", "foot-2"))
    with pytest.raises(
        CalibrationError, match=r"no whole cloth.*points alone do not do: points: got 2 \(sight l"
    ):
        calibrate(BLANK, table, "left", Known(lens=exact_lens(camera), points=given))


# -- refusals, each by the points' names ---------------------------------------------------


def test_fewer_than_four_alone(case: tuple[Table, Table, Camera]) -> None:
    table, _, camera = case
    three = clicked(np.random.default_rng(8), camera, table, SIGHTS[:3])
    with pytest.raises(CalibrationError, match=r"got 3 \(sight left-2, sight left-6, sight right"):
        by_points(three, table, camera)
    with pytest.raises(CalibrationError, match=r"got 0 \(none\).*both ends and on both long side"):
        by_points((), table, camera)


@pytest.mark.parametrize(
    ("names", "text"),
    [
        (("left-1", "left-2", "left-5", "left-7"), r"\(sight left-1.*span 75% of the .* 0% of the"),
        (("head-1", "head-3", "left-1", "right-1"), r"that span 16% of the length"),
        (("left-1", "left-3", "left-7", "right-4"), r"point right-4: got an unknown name"),
        (
            ("left-1", "left-3", "left-7", "right-5"),
            r"one line of the table \(sight left-1, .*, sight left-7\) but for .* right-5",
        ),
    ],
)
def test_collinear_or_crowded(
    case: tuple[Table, Table, Camera], names: tuple[str, ...], text: str
) -> None:
    table, _, camera = case
    known = [n if n in point_names(table) else "right-5" for n in names]
    points = clicked(np.random.default_rng(9), camera, table, known)
    points = tuple(replace(p, name=n) for p, n in zip(points, names, strict=True))
    with pytest.raises(CalibrationError, match=text):
        by_points(points, table, camera)


def test_mirrored(case: tuple[Table, Table, Camera]) -> None:
    table, _, camera = case
    points = clicked(np.random.default_rng(10), camera, table, SIGHTS)
    swapped = {"left": "right", "right": "left"}
    mirrored = [
        replace(p, name="-".join(swapped.get(part, part) for part in str(p.name).split("-")))
        for p in points
    ]
    with pytest.raises(CalibrationError, match=r"mirrored table from sight right-2.*points' names"):
        by_points(mirrored, table, camera)


def test_names_that_put_the_head_elsewhere(case: tuple[Table, Table, Camera]) -> None:
    table, _, camera = case
    points = clicked(np.random.default_rng(11), camera, table, SIGHTS)
    with pytest.raises(CalibrationError, match=r"head: got 'right', but by .* lies on the left"):
        by_points(points, table, camera, head="right")


def test_a_wrong_pixel_is_named(case: tuple[Table, Table, Camera], still: NDArray) -> None:
    table, built, camera = case
    points = list(clicked(np.random.default_rng(12), camera, built, SIGHTS + NOSES))
    u, v = points[1].seen_px
    points[1] = replace(points[1], seen_px=(u + 25, v))
    with pytest.raises(CalibrationError, match=r"points: got sight left-6 2\d\.\d px \("):
        by_points(points, table, camera)
    with pytest.raises(CalibrationError, match=r"points: got sight left-6 2\d.*points-only"):
        calibrate(still, table, "left", Known(lens=exact_lens(camera), points=tuple(points)))


@pytest.mark.parametrize("index", range(len(SIGHTS)))
def test_one_of_six_points_off_by_25_px_is_named_alone(
    case: tuple[Table, Table, Camera], index: int
) -> None:
    table, built, camera = case
    points = list(clicked(np.random.default_rng(20 + index), camera, built, SIGHTS))
    by_points(points, table, camera)
    (u, v), way = points[index].seen_px, 2.0 * index
    moved = (u + OFF_PX * np.cos(way), v + OFF_PX * np.sin(way))
    points[index] = replace(points[index], seen_px=moved)
    with pytest.raises(
        CalibrationError, match=r"points: got sight .* px .*other landmarks"
    ) as told:
        by_points(points, table, camera)
    assert told.value.fields["told"] is True
    ((name, off_px),) = told.value.fields["off_px"].items()
    assert name == f"sight {SIGHTS[index]}"
    # the five others place the sixth to about twice a click's error
    assert off_px == pytest.approx(OFF_PX, abs=6 * CLICK_PX)


def test_two_of_eight_points_off_are_both_named(case: tuple[Table, Table, Camera]) -> None:
    table, built, camera = case
    points = list(clicked(np.random.default_rng(30), camera, built, SIGHTS + NOSES[:6]))
    for index in (1, 7):
        u, v = points[index].seen_px
        points[index] = replace(points[index], seen_px=(u, v + OFF_PX))
    with pytest.raises(CalibrationError, match=r"where the other landmarks put them") as told:
        by_points(points, table, camera)
    assert set(told.value.fields["off_px"]) == {"sight left-6", f"nose point {NOSES[1]}"}


def test_four_points_that_contradict_each_other_cannot_tell_which(
    case: tuple[Table, Table, Camera],
) -> None:
    table, built, camera = case
    four = ("left-1", "left-7", "right-1", "right-7")
    points = list(clicked(np.random.default_rng(31), camera, built, four))
    u, v = points[2].seen_px
    points[2] = replace(points[2], seen_px=(u + OFF_PX, v))
    with pytest.raises(CalibrationError, match=r"it cannot be told which is wrong") as told:
        by_points(points, table, camera)
    assert told.value.fields["told"] is False
    assert "sight right-1" in told.value.fields["off_px"]


def test_a_wrong_size(case: tuple[Table, Table, Camera]) -> None:
    seven = Table.from_surface("7ft")
    camera = random_camera(np.random.default_rng(42), seven, size_px=SIZE_PX)
    points = clicked(np.random.default_rng(13), camera, seven, SIGHTS + NOSES)
    with pytest.raises(CalibrationError, match=r"(surface: got 2540x1270|got a table with)"):
        by_points(points, Table(), camera)


def test_a_wrong_aspect() -> None:
    long = Table(length_mm=2540.0, width_mm=1254.0)
    camera = random_camera(np.random.default_rng(43), long, size_px=SIZE_PX)
    points = clicked(np.random.default_rng(14), camera, long, SIGHTS + NOSES + SPOTS, 0.1)
    told = Table(length_mm=2540.0, width_mm=1288.0)
    with pytest.raises(CalibrationError, match=r"points: got .* the surface's length and width"):
        by_points(points, told, camera)


# -- the file ------------------------------------------------------------------------------


def test_file_round_trip(tmp_path: Path, case: tuple[Table, Table, Camera]) -> None:
    table, _, camera = case
    points = (
        *clicked(np.random.default_rng(15), camera, table, SIGHTS),
        GivenPoint(place_mm=(1.0, 2.0, 3.0), seen_px=(4.0, 5.0), sigma_mm=0.4),
    )
    path = tmp_path / "points.json"
    path.write_text(json.dumps(points_to_dict(points)))
    assert read_points(path) == points


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        ({"is": "left-4", "u": 1, "v": 2}, r"point left-4: got an unknown name; allowed: right-1"),
        ({"is": "foot-left/3", "u": 1, "v": 2}, r"point foot-left/3: got an unknown name"),
        ({"is": "left-3", "u": True, "v": 2}, r"points\[0\] \(left-3\)\.u: got True"),
        ({"is": "left-3", "u": 1}, r"points\[0\] \(left-3\)\.v: missing"),
        ({"is": "left-3", "u": 1, "v": 2, "w": 3}, r"\(left-3\): got unknown field\(s\) w"),
        ({"is": "left-3", "u": 1, "v": 2, "sigma_px": 0}, r"left-3: got an expected error of 0 px"),
        ({"is": "left-3", "u": 5000, "v": 2}, r"left-3: got pixel 5000,2; allowed: inside"),
        ({"u": 1, "v": 2}, r"points\[0\]\.is: missing"),
        ({"x_mm": 1, "y_mm": 2, "u": 1, "v": 2}, r"points\[0\]\.z_mm: missing"),
        ({"is": "left-3", "x_mm": 1, "y_mm": 2, "z_mm": 0, "u": 1, "v": 2}, r"got both of a name"),
        ({"x_mm": 9000, "y_mm": 2, "z_mm": 0, "u": 1, "v": 2}, r"at 9000, 2, 0 mm: got a place of"),
        (7, r"points\[0\]: got 7; allowed: an object with is"),
    ],
)
def test_bad_entries_are_named(tmp_path: Path, entry: object, text: str) -> None:
    path = tmp_path / "points.json"
    path.write_text(json.dumps({"format": "restmark-points", "version": 1, "points": [entry]}))
    with pytest.raises(RestmarkError, match=text):
        point_marks(read_points(path), Table(), SIZE_PX)


def test_repeated_places_are_refused() -> None:
    point = GivenPoint(name="left-3", seen_px=(1.0, 2.0))
    with pytest.raises(CalibrationError, match=r"points: got left-3 more than once"):
        point_marks((point, point), Table(), SIZE_PX)
    with pytest.raises(CalibrationError, match=r"point\.seen_px\[0\]: got inf; allowed: a finite"):
        replace(point, seen_px=(float("inf"), 2.0))


def test_version_of_the_file_is_checked(tmp_path: Path) -> None:
    path = tmp_path / "points.json"
    path.write_text(json.dumps({"format": "restmark-points", "version": 2, "points": []}))
    with pytest.raises(RestmarkError, match=r"version: got 2; allowed: 1"):
        read_points(path)


def test_check_alone_passes_a_good_spread(case: tuple[Table, Table, Camera]) -> None:
    table, _, camera = case
    check_alone(
        point_marks(clicked(np.random.default_rng(16), camera, table, SIGHTS), table, SIZE_PX),
        table,
    )


# -- the command ---------------------------------------------------------------------------


def test_the_command_takes_a_points_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], case: tuple[Table, Table, Camera]
) -> None:
    _, built, camera = case
    cv2.imwrite(str(tmp_path / "empty.png"), BLANK)
    points = clicked(np.random.default_rng(17), camera, built, SIGHTS + NOSES)
    (tmp_path / "points.json").write_text(json.dumps(points_to_dict(points)))
    exact_lens(camera).write(tmp_path / "lens.json")
    words = ["calibrate", str(tmp_path / "empty.png"), "--surface", "9ft", "--head", "left",
             "--out", str(tmp_path / "table.json"), "--lens", str(tmp_path / "lens.json"),
             "--points-only"]  # fmt: skip
    assert main(words) == 1
    assert "--points-only: given without --points" in capsys.readouterr().err
    assert main([*words, "--points", str(tmp_path / "points.json")]) == 0
    assert "points given by hand: 14 seen" in capsys.readouterr().out
    made = Calibration.read(tmp_path / "table.json")
    assert np.hypot(*bed_error_mm(made, camera).T).max() < 6.0
