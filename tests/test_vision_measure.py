"""Matching layouts with truth, the figures of accuracy, and truth files."""

import json
import math

import numpy as np
import pytest
from drawn_stills import overhead

from calibration.errors import FileFormatError
from calibration.table import Table
from vision.layout import Ball, Layout
from vision.truth.file import TruthBall, read_truth
from vision.truth.measure import MATCH_WITHIN_MM, match_layout, summary

UNIT = ((1.0, 0.0), (0.0, 1.0))
EXACT_MM = 1e-12


def layout(*balls: Ball) -> Layout:
    return Layout(still="a.jpg", surface_mm=(2540.0, 1270.0), balls=balls)


def ball(name: str, x_mm: float, y_mm: float, **more: object) -> Ball:
    return Ball(id=name, x_mm=x_mm, y_mm=y_mm, cov_mm2=UNIT, **more)


TRUTH = (
    TruthBall(id="cue", x_mm=100, y_mm=100),
    TruthBall(id="1", x_mm=160, y_mm=100),
    TruthBall(id="9", x_mm=900, y_mm=400),
)


def test_right_reading_has_no_faults() -> None:
    found = layout(ball("cue", 100.3, 100.4), ball("1", 160, 100), ball("9", 900, 401))
    figures = summary([match_layout(found, TRUTH)])
    assert (figures.missed, figures.invented, figures.wrong_names, figures.cue_wrong) == (0,) * 4
    assert figures.names_right == 1
    assert figures.median_mm == pytest.approx(0.5, abs=EXACT_MM)
    assert figures.worst_mm == pytest.approx(1.0, abs=EXACT_MM)
    assert figures.coverage_95 == 1


def test_order_of_balls_does_not_matter() -> None:
    found = [ball("cue", 101, 100), ball("1", 161, 100), ball("9", 902, 400)]
    figures = summary([match_layout(layout(*found), TRUTH)])
    assert summary([match_layout(layout(*found[::-1]), TRUTH[::-1])]) == figures


def test_swapped_names_are_wrong_names_not_misses() -> None:
    found = layout(ball("1", 100, 100), ball("cue", 160, 100, doubtful=True), ball("9", 900, 400))
    figures = summary([match_layout(found, TRUTH)])
    assert (figures.missed, figures.invented, figures.wrong_names) == (0, 0, 2)
    assert figures.cue_wrong == 2
    assert figures.wrong_names_undoubted == 1
    assert figures.names_right == pytest.approx(1 / 3)


def test_far_find_is_a_miss_and_an_invention() -> None:
    far = MATCH_WITHIN_MM + 0.1
    found = layout(ball("cue", 100, 100), ball("1", 160, 100), ball("9", 900, 400 + far))
    matched = match_layout(found, TRUTH)
    assert [b.id for b in matched.missed] == ["9"]
    assert [b.id for b in matched.invented] == ["9"]


def test_a_near_wrong_pairing_is_not_preferred() -> None:
    # greedy nearest would pair the find at 128 with the cue ball and leave one out
    found = layout(ball("cue", 84, 100), ball("1", 118, 100))
    truth = (TruthBall(id="cue", x_mm=100, y_mm=100), TruthBall(id="1", x_mm=136, y_mm=100))
    assert [p.distance_mm for p in match_layout(found, truth).pairs] == [16.0, 18.0]


def test_hardly_visible_ball_may_be_missed() -> None:
    truth = (*TRUTH, TruthBall(id="2", x_mm=30, y_mm=30, visible=0.1))
    found = layout(ball("cue", 100, 100), ball("1", 160, 100), ball("9", 900, 400))
    assert match_layout(found, truth).missed == ()


def test_coverage_counts_errors_outside_the_ellipse() -> None:
    found = layout(ball("cue", 100, 102.4), ball("1", 160, 102.5), ball("9", 900, 400))
    # 2.4 sigma is inside the 95 % ellipse of two dimensions (2.448), 2.5 is outside
    assert summary([match_layout(found, TRUTH)]).coverage_95 == pytest.approx(2 / 3)


def test_exact_layouts_state_no_ellipse() -> None:
    found = Layout(
        still="a", surface_mm=(2540.0, 1270.0), balls=(Ball(id="cue", x_mm=100, y_mm=100),)
    )
    figures = summary([match_layout(found, TRUTH[:1])])
    assert math.isnan(figures.coverage_95)
    assert figures.to_dict()["coverage_95"] is None


def test_no_stills_give_empty_figures() -> None:
    figures = summary([])
    assert figures.balls == 0
    assert figures.to_dict()["median_mm"] is None


def write_truth(folder, **changes: object) -> None:
    table = Table()
    still = {
        "camera": overhead(table).to_dict(),
        "table": table.to_dict(),
        "head": "left",
        "balls": [{"id": "cue", "x_mm": 1.0, "y_mm": 2.0, "visible": 0.9}],
        "obstructed": True,
        "scene": {"seed": 4},
    }
    still.update(changes)
    data = {"format": "restmark-truth", "version": 1, "stills": {"a.jpg": still}}
    (folder / "truth.json").write_text(json.dumps(data), encoding="utf-8")


def test_truth_is_read(tmp_path) -> None:
    write_truth(tmp_path)
    still = read_truth(tmp_path)["a.jpg"]
    assert still.balls == (TruthBall(id="cue", x_mm=1.0, y_mm=2.0, visible=0.9),)
    assert still.obstructed
    assert still.scene["seed"] == 4
    assert np.all(still.calibration.own_covariance_mm2([(100.0, 100.0)]) == 0)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (None, "cannot be read as JSON"),
        ("{", "cannot be read as JSON"),
        ("[]", "got list; allowed: a JSON object"),
        ('{"format": "restmark-truth", "version": 2, "stills": {}}', "version: got 2; allowed: 1"),
        ('{"format": "restmark-truth", "version": 1}', "stills: got None; allowed: an object"),
    ],
)
def test_wrong_truth_file_is_refused(tmp_path, text: str | None, match: str) -> None:
    if text is not None:
        (tmp_path / "truth.json").write_text(text, encoding="utf-8")
    with pytest.raises(FileFormatError, match=match):
        read_truth(tmp_path)


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"camera": None}, "camera: got None; allowed: an object"),
        ({"balls": [{"id": "1"}]}, r"balls\[0\]\.x_mm: missing"),
        ({"balls": [{"id": "16", "x_mm": 1, "y_mm": 1}]}, "got '16'"),
        ({"table": {"depth_mm": 1}}, "unknown field"),
    ],
)
def test_wrong_field_of_truth_is_refused(tmp_path, changes: dict, match: str) -> None:
    write_truth(tmp_path, **changes)
    with pytest.raises(FileFormatError, match=match):
        read_truth(tmp_path)
