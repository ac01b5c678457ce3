"""The solve: right within its own stated error, and refusals that name what is wrong."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from calibration_cases import built_table, exact_lens, random_camera, simulated_landmarks

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.kept.budget import bed_grid_mm, radius_95_mm
from calibration.kept.calibration import Calibration
from calibration.seen.marks import Landmark, Landmarks
from calibration.solve.known import Known
from calibration.solve.quality import bed_error_mm
from calibration.solve.solve import solve
from calibration.table import Table


def solved(
    rng: np.random.Generator, *, noise: float = 1.0, source: str = "lens file"
) -> tuple[Calibration, Camera]:
    """One simulated table solved as told: nine foot, fittings by the standard."""
    table = Table()
    camera = random_camera(rng, table)
    marks = simulated_landmarks(rng, camera, table, built_table(rng, table), noise=noise)
    lens = exact_lens(camera) if source == "lens file" else None
    tape = float(camera.position_mm[2]) + rng.normal(0, 10) if source == "tape measure" else None
    return solve(marks, table, Known(lens=lens, camera_height_mm=tape)), camera


def test_nothing_but_the_still_stays_within_its_budget() -> None:
    rng = np.random.default_rng(71)
    held = []
    for _ in range(12):
        calibration, camera = solved(rng, source="default")
        worst = np.hypot(*bed_error_mm(calibration, camera).T).max()
        assert calibration.budget is not None
        held.append(worst <= calibration.budget.worst_mm)
        assert calibration.scale_source == "default"
    assert np.mean(held) >= 0.9


def test_the_tape_narrows_what_the_default_leaves_open() -> None:
    rng = np.random.default_rng(72)
    table = Table()
    camera = random_camera(rng, table)
    marks = simulated_landmarks(rng, camera, table, built_table(rng, table))
    by_default = solve(marks, table)
    by_tape = solve(marks, table, Known(camera_height_mm=float(camera.position_mm[2])))
    by_lens = solve(marks, table, Known(lens=exact_lens(camera)))
    heights = [np.sqrt(one.parameter_cov[5][5]) for one in (by_lens, by_tape, by_default)]
    assert heights[0] < heights[1] < heights[2]
    assert heights[1] < 11
    sources = [one.scale_source for one in (by_lens, by_tape, by_default)]
    assert sources == ["lens file", "tape measure", "default"]


def test_a_lens_is_held_and_its_own_error_carried_along() -> None:
    rng = np.random.default_rng(73)
    table = Table()
    camera = random_camera(rng, table)
    marks = simulated_landmarks(rng, camera, table, built_table(rng, table))
    sure = exact_lens(camera)
    cov = np.zeros((9, 9))
    cov[:2, :2] = 4.0
    cov[2, 2] = cov[3, 3] = 4.0
    unsure = replace(sure, parameter_cov=tuple(tuple(float(v) for v in row) for row in cov))
    one, other = (solve(marks, table, Known(lens=each)) for each in (sure, unsure))
    assert one.camera == other.camera
    assert one.camera.matrix == pytest.approx(camera.matrix)
    assert one.camera.distortion == pytest.approx(camera.distortion)
    grid = bed_grid_mm(table)
    narrow, wide = (radius_95_mm(each.own_covariance_mm2(grid)) for each in (one, other))
    assert np.all(wide > narrow)
    # the pose takes up nearly all of a lens error: 2 px of 1700 do not become 2 px on the bed
    assert np.median(wide) < 2 * np.median(narrow)


def test_dimensions_of_the_table_are_found() -> None:
    rng = np.random.default_rng(74)
    table = Table()
    camera = random_camera(rng, table)
    built = built_table(rng, table)
    found = solve(
        simulated_landmarks(rng, camera, table, built, noise=0.5),
        table,
        Known(lens=exact_lens(camera)),
    ).table
    assert found.rail_cap_height_mm == pytest.approx(built.rail_cap_height_mm, abs=1.5)
    assert found.sight_offset_mm == pytest.approx(built.sight_offset_mm, abs=0.8)
    assert found.corner_mouth_mm == pytest.approx(built.corner_mouth_mm, abs=1.5)
    assert found.surface_mm == table.surface_mm


def test_false_landmarks_are_outvoted_and_named() -> None:
    rng = np.random.default_rng(75)
    table = Table()
    camera = random_camera(rng, table)
    marks = simulated_landmarks(rng, camera, table, built_table(rng, table))
    clean = solve(marks, table, Known(lens=exact_lens(camera)))
    items = list(marks.items)
    for index, item in enumerate(items):
        if item.name in ("sight left-3", "sight foot-1"):
            seen = (item.seen_px[0] + 9.0, item.seen_px[1] - 7.0)
            items[index] = replace(item, seen_px=seen)
    spoilt = solve(replace(marks, items=tuple(items)), table, Known(lens=exact_lens(camera)))
    moved = np.hypot(*(bed_error_mm(spoilt, camera) - bed_error_mm(clean, camera)).T)
    assert moved.max() < 0.25
    assert any("sight left-3" in w and "sight foot-1" in w for w in spoilt.warnings)
    by_name = {r.name: r for r in spoilt.residuals}
    assert by_name["sight left-3"].weight < 0.3
    assert abs(by_name["sight left-3"].off_mm) > 5


def test_a_wholly_misread_side_is_outvoted() -> None:
    rng = np.random.default_rng(76)
    table = Table()
    camera = random_camera(rng, table)
    marks = simulated_landmarks(rng, camera, table, table)

    def shadow(item: Landmark) -> Landmark:
        if not item.name.startswith("nose left"):
            return item
        at = np.array(item.point_mm)
        off = camera.project([at + np.array([0, -2.5, 0])])[0] - camera.project([at])[0]
        return replace(item, seen_px=tuple(float(v) for v in np.array(item.seen_px) + off))

    spoilt = replace(marks, items=tuple(shadow(item) for item in marks.items))
    calibration = solve(spoilt, table, Known(lens=exact_lens(camera)))
    assert np.hypot(*bed_error_mm(calibration, camera).T).max() < 1.2
    assert any("nose line on the left side" in warning for warning in calibration.warnings)


# -- refusals ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def case() -> tuple[Landmarks, Table, Camera]:
    rng = np.random.default_rng(80)
    table = Table()
    camera = random_camera(rng, table)
    return simulated_landmarks(rng, camera, table, table), table, camera


def test_too_few_are_refused(case: tuple[Landmarks, Table, Camera]) -> None:
    marks, table, _ = case
    few = replace(marks, items=marks.items[:3])
    with pytest.raises(CalibrationError, match=r"got 3 \(nose head 1, .*\); allowed: 4 or more"):
        solve(few, table)
    none = replace(marks, items=())
    with pytest.raises(CalibrationError, match=r"got 0 \(none\)"):
        solve(none, table)


def test_collinear_are_refused(case: tuple[Landmarks, Table, Camera]) -> None:
    marks, table, _ = case
    line = tuple(item for item in marks.items if item.name.startswith("nose left"))
    with pytest.raises(CalibrationError, match=r"one line of the table \(nose left-head 1"):
        solve(replace(marks, items=line), table)


def test_coincident_are_refused(case: tuple[Landmarks, Table, Camera]) -> None:
    marks, table, _ = case
    same = tuple(replace(marks.items[0], name=f"copy {i}") for i in range(8))
    with pytest.raises(CalibrationError, match=r"one line of the table \(copy 0"):
        solve(replace(marks, items=same), table)


def test_not_finite_is_refused_by_name(case: tuple[Landmarks, Table, Camera]) -> None:
    marks, table, _ = case
    bad = replace(marks.items[5], seen_px=(float("nan"), 3.0))
    items = (*marks.items[:5], bad, *marks.items[6:])
    with pytest.raises(CalibrationError, match=rf"not finite for {bad.name}; allowed: finite"):
        solve(replace(marks, items=items), table)


def test_mirrored_is_refused(case: tuple[Landmarks, Table, Camera]) -> None:
    marks, table, camera = case
    width = camera.image_size_px[0]
    items = tuple(
        replace(item, seen_px=(width - 1 - item.seen_px[0], item.seen_px[1]), normal_px=None)
        for item in marks.items
    )
    with pytest.raises(CalibrationError, match=r"mirrored table from nose head 1.*mirroring off"):
        solve(replace(marks, items=items), table)


def told_as(camera: Camera, told: Table, real: Table) -> Landmarks:
    """Landmarks of ``real``, in its true place before the camera, named after ``told``."""
    return simulated_landmarks(np.random.default_rng(81), camera, told, real, noise=0.5)


@pytest.mark.parametrize(("told", "real"), [("9ft", "7ft"), ("7ft", "8ft"), ("9ft", "pro8")])
def test_a_wrong_size_is_betrayed_by_the_fittings(told: str, real: str) -> None:
    table = Table.from_surface(real)
    camera = random_camera(np.random.default_rng(82), table)
    wrong = Table.from_surface(told)
    with pytest.raises(CalibrationError, match=r"(surface: got .* by one factor|got a table with)"):
        solve(told_as(camera, wrong, table), wrong, Known(lens=exact_lens(camera)))


def test_a_wrong_aspect_is_refused() -> None:
    table = Table(length_mm=2540.0, width_mm=1290.0 - 12.0)
    camera = random_camera(np.random.default_rng(83), table)
    wrong = Table(length_mm=2540.0, width_mm=1254.0)
    with pytest.raises(CalibrationError, match=r"(residuals of|got a table with|surface: got)"):
        solve(told_as(camera, wrong, table), wrong, Known(lens=exact_lens(camera)))


def test_contradictory_landmarks_are_refused(case: tuple[Landmarks, Table, Camera]) -> None:
    marks, table, camera = case
    rng = np.random.default_rng(84)
    items = tuple(
        replace(
            item, seen_px=(item.seen_px[0] + rng.normal(0, 9), item.seen_px[1] + rng.normal(0, 9))
        )
        for item in marks.items
    )
    with pytest.raises(CalibrationError, match=r"mm rms, \d+% of them agreeing.*Worst: .* mm"):
        solve(replace(marks, items=items), table, Known(lens=exact_lens(camera)))


def test_edges_without_sights_are_refused(case: tuple[Landmarks, Table, Camera]) -> None:
    marks, table, camera = case
    edges = tuple(item for item in marks.items if item.kind != "sight")
    with pytest.raises(CalibrationError, match=r"got 0 sights that agree .*; allowed: 6 or more"):
        solve(replace(marks, items=edges), table, Known(lens=exact_lens(camera)))


def test_pictures_of_another_size_are_refused(case: tuple[Landmarks, Table, Camera]) -> None:
    marks, table, camera = case
    other = replace(exact_lens(camera), image_size_px=(1280, 720))
    with pytest.raises(CalibrationError, match=r"lens file for 1280x720; .*own 1920x1080"):
        solve(marks, table, Known(lens=other))


def test_a_tape_that_contradicts_the_lens_is_refused(
    case: tuple[Landmarks, Table, Camera],
) -> None:
    marks, table, camera = case
    wrong_mm = float(camera.position_mm[2]) * 1.1
    with pytest.raises(CalibrationError, match=r"camera_height_mm: got .*put the lens at \d+ mm"):
        solve(marks, table, Known(lens=exact_lens(camera), camera_height_mm=wrong_mm))
    with pytest.raises(CalibrationError, match=r"camera_height_mm: got 2\.6; allowed: 300 to"):
        solve(marks, table, Known(camera_height_mm=2.6))


def test_an_unknown_head_is_refused(case: tuple[Landmarks, Table, Camera]) -> None:
    with pytest.raises(CalibrationError, match=r"head: got 'north'; allowed: left, right"):
        replace(case[0], head="north")
