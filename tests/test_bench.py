"""The bench: what it measures, that it can fail, and what it says of the machine."""

import io
import json

import numpy as np
import pytest
from rich.console import Console
from sample_trial import finished_demo

from calibration.camera import Camera
from calibration.kept.budget import bed_grid_mm
from calibration.kept.calibration import Calibration
from calibration.solve.baseline import homography_error_mm
from calibration.solve.quality import bed_error_mm
from calibration.table import Table
from service.bench import practice as bench

SAME_MM = 1e-3
"""A camera against itself: what project and back-project leave."""


@pytest.fixture(scope="module")
def figures():
    return bench.bench_figures(finished_demo().trial)


def test_figures_are_plain_json(figures):
    assert json.loads(json.dumps(figures, allow_nan=False)) == figures
    assert (figures["format"], figures["version"]) == ("restmark-bench", 1)


def test_accuracy_stands_beside_time(figures):
    for part in ("session", "others"):
        for key in ("median_mm", "p95_mm", "p99_mm", "worst_mm", "missed", "invented",
                    "wrong_names", "coverage_95", "cue_wrong"):  # fmt: skip
            assert figures[part][key] is not None, key
        steps = figures[part]["step_ms"]
        assert {"decode", "drift", "view", "find", "place", "identify", "whole"} <= set(steps)
        assert steps["whole"] > 0


def test_a_homography_from_four_corners_is_compared(figures):
    made = figures["calibration"]
    ours = made["bed_error_mm"]["worst"]
    assert made["homography_bed_error_mm"]["worst"] > 10 * ours
    assert made["homography_bed_undistorted_error_mm"]["worst"] > 10 * ours
    assert made["homography_noses_undistorted_error_mm"]["worst"] > 3 * ours


@pytest.mark.parametrize("corner_mm", [0.0, 36.3])
def test_homography_errs_by_what_heights_say(corner_mm):
    table, high_mm = Table(), 2500.0
    camera = Camera.looking(
        position_mm=(1270, 635, high_mm), target_mm=(1270, 635, 0), up=(0, 1, 0),
        image_size_px=(1920, 1080), focal_px=1500,
    )  # fmt: skip
    off = homography_error_mm(camera, table, corner_mm)
    from_middle = bed_grid_mm(table) - (1270, 635)
    stretch = (high_mm - corner_mm) / (high_mm - 28.575) - 1
    np.testing.assert_allclose(off, stretch * from_middle, rtol=0, atol=0.01)
    # the design's figure: a bed homography is off by 16 mm at the corners of a nine-foot table
    assert stretch * 1420 == pytest.approx(16.4 if corner_mm == 0 else -4.4, abs=0.05)


def test_every_obstructed_still_of_the_other_rooms_is_refused(figures):
    others = figures["others"]
    assert others["obstructed"] >= 2
    assert others["obstructed_refused"] == others["obstructed"]
    assert others["clear_refused"] == 0
    assert others["refused"] == 0


def test_machine_is_named(figures):
    on = figures["machine"]
    assert on["cpus"] >= 1
    assert on["processor"]
    assert on["versions"]["restmark"]
    assert on["versions"]["opencv-python"].startswith("5")
    assert on["load"] >= 0


def test_table_for_people_holds_the_figures(figures):
    stream = io.StringIO()
    bench.print_bench(figures, Console(file=stream, width=130))
    text = stream.getvalue()
    assert f"{figures['session']['median_mm']:.2f}" in text
    assert "inside the 95 % ellipse" in text
    assert "a homography from four true corners of the bed" in text
    assert "ms a still (median)" in text


def test_bed_error_sees_a_camera_that_has_moved():
    table = Table()
    camera = Camera.looking(
        position_mm=(1270, 600, 2700), target_mm=(1270, 640, 0), up=(0, 1, 0),
        image_size_px=(1920, 1080), focal_px=1700, distortion=(-0.1, 0, 0, 0, 0),
    )  # fmt: skip
    same = np.hypot(*bed_error_mm(Calibration.exact(camera, table), camera).T)
    assert same.shape == (15 * 30,)
    assert same.max() < SAME_MM
    moved = Camera.from_dict({**camera.to_dict(), "cx_px": camera.cx_px + 2.0})
    off = np.hypot(*bed_error_mm(Calibration.exact(moved, table), camera).T)
    assert 2.0 < np.median(off) < 4.5


def test_median_steps_leaves_maps_out_of_a_stills_time():
    steps = [{"maps (once a calibration)": 900.0, "decode": 10.0, "place": 30.0}] * 3
    assert bench.median_steps(steps)["whole"] == 40.0
    assert bench.median_steps([]) == {}


def test_distribution_is_of_percentiles():
    spread = bench.distribution(np.arange(101.0))
    assert spread == {"median": 50.0, "p95": 95.0, "p99": 99.0, "worst": 100.0}
