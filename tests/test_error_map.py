"""The error map: its figures, its bands, its words, and the surface's own error in the budget."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from calibration_cases import built_table, exact_lens, random_camera, simulated_landmarks

from calibration.chi_square import PLANE_95
from calibration.errors import CalibrationError, FileFormatError
from calibration.kept.budget import bed_grid_mm, radius_95_mm
from calibration.kept.calibration import Calibration
from calibration.solve.known import MEASURED_ERROR_MM, NAMED_ERROR_MM, Known
from calibration.solve.quality import bed_error_mm
from calibration.solve.solve import solve
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from service.cli import main
from service.drawing import palette
from service.drawing.error_map import CELLS, band, cell_errors_mm, error_map_svg
from service.words.calibration import calibration_lines

TABLE = Table()
SVG = "{http://www.w3.org/2000/svg}"
TABLES = 20
RMS_RATIO = (0.75, 1.3)
"""Measured over stated RMS error; 1 is true, 20 tables know it to about 11 %."""
CONTRAST = 4.5
"""Least ratio of luminance between text and ground."""


@pytest.fixture(scope="module")
def made() -> Calibration:
    rng = np.random.default_rng(60)
    camera = random_camera(rng, TABLE)
    marks = simulated_landmarks(rng, camera, TABLE, built_table(rng, TABLE))
    known = Known(surface_error_mm=NAMED_ERROR_MM)
    return solve(marks, TABLE, replace(known, lens=exact_lens(camera)))


# -- the picture ---------------------------------------------------------------------------


def test_every_cell_states_its_error(made: Calibration) -> None:
    svg = ET.fromstring(error_map_svg(made))
    cells = next(g for g in svg.iter(f"{SVG}g") if g.get("class") == "cells")
    shown = [float(text.text or "") for text in cells.iter(f"{SVG}text")]
    expected = cell_errors_mm(made)
    assert len(shown) == CELLS[0] * CELLS[1]
    np.testing.assert_allclose(shown, expected.ravel(), rtol=0, atol=0.0051)
    # the lowest row of cells lies lowest in the picture
    tops = [float(rect.get("y", "")) for rect in cells.iter(f"{SVG}rect")]
    assert tops[0] == max(tops)
    fills = [rect.get("fill") for rect in cells.iter(f"{SVG}rect")]
    assert fills == [palette.ERROR_BANDS[band(value)][0] for value in expected.ravel()]


def test_words_say_what_colours_show(made: Calibration) -> None:
    assert made.budget is not None
    text = error_map_svg(made)
    words = f"median {made.budget.median_mm:.2f}, worst {made.budget.worst_mm:.2f}"
    assert text.count(words) == 2  # for eyes and for a screen reader
    for limit in palette.ERROR_LIMITS_MM:
        assert f"≤ {limit:g}<" in text


@pytest.mark.parametrize(
    ("error_mm", "index"), [(0.0, 0), (0.25, 0), (0.26, 1), (1.0, 2), (4.0, 4), (99.0, 5)]
)
def test_bands_include_their_limit(error_mm: float, index: int) -> None:
    assert band(error_mm) == index


def test_ink_can_be_read_on_every_band() -> None:
    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return float(np.dot([0.2126, 0.7152, 0.0722], linear))

    for fill, ink in palette.ERROR_BANDS:
        low, high = sorted((luminance(fill), luminance(ink)))
        assert (high + 0.05) / (low + 0.05) > CONTRAST


# -- the figures ---------------------------------------------------------------------------


def test_the_map_in_the_file_is_the_budget(made: Calibration, tmp_path: Path) -> None:
    made.write(tmp_path / "table.json")
    budget = Calibration.read(tmp_path / "table.json").budget
    assert budget is not None
    assert budget == made.budget
    errors = np.array(budget.map_mm)
    assert errors.shape == (budget.rows, budget.columns)
    assert errors.max() == pytest.approx(budget.worst_mm, abs=1e-4)
    assert np.median(errors) == pytest.approx(budget.median_mm, abs=1e-4)
    grid = bed_grid_mm(TABLE)
    radius = radius_95_mm(made.own_covariance_mm2(grid, by_tape=True))
    np.testing.assert_allclose(errors.ravel(), radius, rtol=0, atol=1e-4)


def test_the_budget_is_worked_out_whatever_a_file_says_of_it(made: Calibration) -> None:
    data = made.to_dict()
    data["budget"]["worst_mm"] = 0.001
    for name in ("map_mm", "noses_median_mm", "noses_worst_mm"):
        del data["budget"][name]
    assert Calibration.from_dict(data).budget == made.budget


def test_unknown_parameters_are_refused(made: Calibration) -> None:
    data = made.to_dict()
    data["parameter_names"][0] = "turn_left_rad"
    with pytest.raises(FileFormatError, match=r"parameter_names: got turn_left_rad; allowed: eac"):
        Calibration.from_dict(data)
    data["parameter_names"][0] = data["parameter_names"][1]
    with pytest.raises(FileFormatError, match=r"parameter_names: got turn_down_rad, turn_down"):
        Calibration.from_dict(data)


# -- the surface's own error ---------------------------------------------------------------


# Measured with the seeds below (RMS over 20 tables and the whole bed, mm; stated in brackets):
#   known to      against the noses   against a tape
#   ±3.2 (named)     0.57 (0.54)        1.39 (1.25)
#   ±1.0 (measured)  0.28 (0.26)        0.51 (0.44)
@pytest.mark.parametrize("error_mm", [NAMED_ERROR_MM, MEASURED_ERROR_MM])
def test_a_table_off_its_size_stays_within_both_budgets(error_mm: float) -> None:
    rng = np.random.default_rng(61)
    grid = bed_grid_mm(TABLE)
    squares, stated, inside = [], [], []
    for _ in range(TABLES):
        real = replace(
            TABLE,
            length_mm=TABLE.length_mm + rng.normal(0, error_mm / 2),
            width_mm=TABLE.width_mm + rng.normal(0, error_mm / 2),
        )
        camera = random_camera(rng, real)
        marks = simulated_landmarks(rng, camera, TABLE, built_table(rng, real))
        known = Known(surface_error_mm=error_mm)
        made = solve(marks, TABLE, replace(known, lens=exact_lens(camera)))
        stretch = np.array(real.surface_mm) / TABLE.surface_mm
        places = np.column_stack([grid * stretch, np.full(len(grid), BALL_CENTRE_HEIGHT_MM)])
        by_noses = made.table_mm(camera.project(places)) - grid
        by_tape = bed_error_mm(made, camera)
        covs = [made.own_covariance_mm2(grid, by_tape=tape) for tape in (False, True)]
        squares.append([np.mean(np.sum(off**2, axis=1)) for off in (by_noses, by_tape)])
        stated.append([np.mean(np.trace(cov, axis1=1, axis2=2)) for cov in covs])
        inside += [
            np.mean(np.einsum("ni,nij,nj->n", off, np.linalg.inv(cov), off) < PLANE_95)
            for off, cov in zip((by_noses, by_tape), covs, strict=True)
        ]
    ratio = np.sqrt(np.mean(squares, axis=0) / np.mean(stated, axis=0))
    assert np.all((ratio > RMS_RATIO[0]) & (ratio < RMS_RATIO[1])), ratio
    assert np.mean(inside) > 0.85


def test_a_measured_surface_narrows_the_budget() -> None:
    rng = np.random.default_rng(62)
    camera = random_camera(rng, TABLE)
    marks = simulated_landmarks(rng, camera, TABLE, built_table(rng, TABLE))
    budgets = []
    for error_mm in (0.0, MEASURED_ERROR_MM, NAMED_ERROR_MM):
        made = solve(marks, TABLE, Known(lens=exact_lens(camera), surface_error_mm=error_mm))
        assert made.budget is not None
        budgets.append((made.budget.worst_mm, made.budget.noses_worst_mm))
        assert ("length_mm" in made.parameter_names) == (error_mm > 0)
        stated = any(f"right to ±{error_mm:g} mm" in line for line in calibration_lines(made))
        assert stated == (error_mm > 0)
    worst, by_noses = np.array(budgets).T
    assert worst[0] == pytest.approx(by_noses[0])
    assert np.all(np.diff(worst) > 0)
    assert np.all(by_noses[1:] < worst[1:])
    with pytest.raises(CalibrationError, match=r"surface_error_mm: got -1; allowed: 0 to 50"):
        Known(surface_error_mm=-1)


def test_map_states_the_error_against_a_tape(
    made: Calibration, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made.write(tmp_path / "table.json")
    place = (2400.0, 1200.0)
    u, v = made.camera.project([(*place, BALL_CENTRE_HEIGHT_MM)])[0]
    words = ["map", f"{u},{v}", "--calibration", str(tmp_path / "table.json")]
    assert main(words) == 0
    radius = radius_95_mm(made.own_covariance_mm2([place], by_tape=True))[0]
    assert f"± {radius:.1f} mm (95 %)" in capsys.readouterr().out


def test_an_upright_map_holds_the_same_cells_and_reads_upright(made):
    lying = ET.fromstring(error_map_svg(made, by_tape=False))
    upright = ET.fromstring(error_map_svg(made, by_tape=False, turn=1, width_px=390))
    wide, high = (float(side) for side in upright.get("viewBox").split()[2:])
    assert high > 1.5 * wide
    numbers = [
        sorted(
            text.text for text in drawn.find(".//*[@class='cells']") if text.tag.endswith("text")
        )
        for drawn in (lying, upright)
    ]
    assert numbers[0] == numbers[1]
    assert len(numbers[0]) == CELLS[0] * CELLS[1]
    rows = sorted(
        (float(text.get("y")), float(text.get("x")), text.text)
        for text in upright.find(".//*[@class='cells']")
        if text.tag.endswith("text")
    )
    # the foot end is up: the first row is the foot's, from the left side of the table on
    foot = cell_errors_mm(made, by_tape=False)[::-1, -1]
    assert [text for _, _, text in rows[: CELLS[0]]] == [f"{value:.2f}" for value in foot]
