"""Whether a calibration is to be trusted, what its stated error rests on, and the empty bed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from calibration_cases import built_table, exact_lens, random_camera, simulated_landmarks

from calibration.errors import CalibrationError
from calibration.kept.calibration import Calibration
from calibration.kept.trust import MOST_MM, Trust
from calibration.notices import Notice
from calibration.solve.known import Known
from calibration.solve.solve import solve
from calibration.table import Table
from calibration.vary import POSE
from calibration.watch.drift import corrected
from service.cli import main
from service.demo.samples import EMPTY_STILL, SHOTS_FOLDER, sample_folder
from service.words.calibration import calibration_lines
from vision.known.empty_check import balls_on_bed, refuse_balls, with_balls_accepted
from vision.layout import Ball
from vision.still import decode_still
from vision.truth.file import read_truth

SEEN_MM = 4.0
"""A ball that a refusal names lies no further from its truth: places are read with a guessed lens,
whose stated error is 6 mm, 95 %, at the worst place."""


@pytest.fixture(scope="module")
def made() -> Calibration:
    rng = np.random.default_rng(61)
    table = Table()
    camera = random_camera(rng, table)
    marks = simulated_landmarks(rng, camera, table, built_table(rng, table))
    return solve(marks, table, Known(lens=exact_lens(camera), surface_error_mm=1.0))


def test_a_sure_calibration_is_trusted_within_its_stated_error(made: Calibration) -> None:
    trust = Trust.of(made)
    assert trust.good
    assert made.budget is not None
    assert trust.within_mm == made.budget.noses_worst_mm
    first = calibration_lines(made)[0]
    promised_mm = float(first.split()[5])
    assert first.startswith("good enough to trust")
    assert made.budget.noses_worst_mm <= promised_mm < made.budget.noses_worst_mm + 0.1


def test_a_wide_or_doubted_one_is_not(made: Calibration) -> None:
    wide = replace(
        made,
        scale_source="default",
        parameter_cov=tuple(tuple(900.0 * v for v in row) for row in made.parameter_cov),
    )
    (reason,) = Trust.of(wide).against
    assert (reason.code, reason.fields["most_mm"]) == ("too-wide", MOST_MM)
    assert reason.fields["within_mm"] == pytest.approx(30 * Trust.of(made).within_mm)
    assert calibration_lines(wide)[0].startswith("not yet, because ")
    doubt = Notice(code="size-in-doubt", text="measure.", fields={"rival": "pro8"})
    doubted = replace(made, notices=(doubt,))
    assert Trust.of(doubted).against == (doubt,)
    assert Trust.of(replace(made, notices=(Notice(code="odd-landmarks", text="a"),))).good


def test_a_corrected_calibration_states_the_error_of_the_move_too(made: Calibration) -> None:
    cov = np.diag([1e-8, 1e-8, 1e-8, 1.0, 1.0, 1.0])
    moved = corrected(made, made.camera, cov)
    assert set(POSE) <= set(moved.parameter_names)
    assert made.budget is not None
    assert moved.budget is not None
    assert moved.budget.worst_mm > 1.5 * made.budget.worst_mm
    assert moved.to_dict()["budget"]["worst_mm"] == moved.budget.worst_mm


# -- the empty bed -------------------------------------------------------------------------


def test_balls_on_the_bed_are_named_and_refused(made: Calibration) -> None:
    balls = (Ball(id="cue", x_mm=635.2, y_mm=400.0), Ball(id="7", x_mm=1500.0, y_mm=801.7))
    refuse_balls(())
    with pytest.raises(
        CalibrationError,
        match=r"e\.jpg: got .*2 balls.*cue ball at x 635, y 400 mm; ball 7 at x 15",
    ) as refused:
        refuse_balls(balls, name="e.jpg")
    assert refused.value.fields["balls"] == [
        {"id": "cue", "x_mm": 635.2, "y_mm": 400.0}, {"id": "7", "x_mm": 1500.0, "y_mm": 801.7}
    ]  # fmt: skip
    assert with_balls_accepted(made, ()) is made
    accepted = with_balls_accepted(made, balls)
    assert accepted.bed_picture is None
    assert [notice.code for notice in accepted.notices][-1] == "balls-on-bed"


def test_the_command_refuses_a_still_with_balls(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    still = sample_folder(SHOTS_FOLDER) / "shot-01-after.jpg"
    truth = read_truth(still.parent)[still.name]
    words = ["calibrate", str(still), "--surface", "100x50in", "--out", str(tmp_path / "t.json")]
    assert main(words) == 1
    said = capsys.readouterr().err
    assert f"got a bed with {len(truth.balls)} balls on it" in said
    assert not (tmp_path / "t.json").exists()
    assert main([*words, "--balls-on-bed", "accept"]) == 0
    accepted = Calibration.read(tmp_path / "t.json")
    assert accepted.bed_picture is None
    (notice,) = [each for each in accepted.notices if each.code == "balls-on-bed"]
    places = {ball["id"]: (ball["x_mm"], ball["y_mm"]) for ball in notice.fields["balls"]}
    assert set(places) == {ball.id for ball in truth.balls}
    for ball in truth.balls:
        assert np.hypot(*np.subtract(places[ball.id], (ball.x_mm, ball.y_mm))) < SEEN_MM


def test_the_empty_sample_shows_no_ball(made: Calibration) -> None:
    empty = sample_folder(EMPTY_STILL)
    truth = read_truth(empty.parent)[empty.name]
    exact = Calibration.exact(truth.camera, truth.table)
    assert balls_on_bed(exact, decode_still(empty.read_bytes())) == ()


def test_a_guessed_scale_leaves_errors_that_a_layout_takes() -> None:
    # its variances are so large that rounding made them lopsided, and every still was refused
    rng = np.random.default_rng(67)
    table = Table()
    camera = random_camera(rng, table)
    rough = solve(simulated_landmarks(rng, camera, table, table), table, Known())
    assert rough.scale_source == "default"
    places_mm = np.stack(np.meshgrid(np.linspace(60, 2480, 9), np.linspace(60, 1210, 5)), -1)
    for place, cov in zip(
        places_mm.reshape(-1, 2), rough.own_covariance_mm2(places_mm), strict=True
    ):
        assert np.array_equal(cov, cov.T)
        x_mm, y_mm = map(float, place)
        Ball(id="cue", x_mm=x_mm, y_mm=y_mm, cov_mm2=tuple(map(tuple, cov.tolist())))
