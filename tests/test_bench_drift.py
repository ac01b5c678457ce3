"""The bench of drift: what it makes, what it counts, and what it finds on the sample practice."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.console import Console
from typer.testing import CliRunner

from calibration.errors import FileFormatError
from service.bench.drift.moved_stills import MOVES, Light, Mover, misread_mm, shaken_px
from service.bench.drift.noticed import Case, drift_figures, drift_scenes, print_drift, summary_of
from vision.truth.file import TruthStill, read_truth

PRACTICE = Path(str(files("sample_frames"))) / "practice"
CASES = 48
LEFT_MM = 0.35
"""Worst place of the bed after any correction."""
MOST_OVER_STATED = 1.3
"""Measured rms against stated, few cases a size."""
SIZE_RTOL = 1e-3
EDGE_PX = 0.05


@pytest.fixture(scope="module")
def truth() -> TruthStill:
    return read_truth(PRACTICE)["empty.jpg"]


@pytest.fixture(scope="module")
def figures() -> dict[str, Any]:
    return drift_figures(PRACTICE, cases=CASES, seed=5)


def test_scenes_are_an_empty_still_and_the_later_ones_of_its_camera() -> None:
    (scene,) = drift_scenes(PRACTICE)
    assert scene.empty.name == "empty.jpg"
    assert len(scene.later) == 24
    assert {path.parent.name for path in scene.later} == {"shots"}


def test_a_folder_without_an_empty_still_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFormatError, match=r"got no still named …empty with its truth; allowed"):
        drift_scenes(tmp_path)


def test_sample_practice_moves_are_told_and_none_is_misread(figures: dict[str, Any]) -> None:
    assert figures["cases"] == CASES + 24
    assert figures["told_share"] == 1.0
    assert (figures["false_alarm_share"], figures["needless_doubt_share"]) == (0.0, 0.0)
    assert (figures["wrong"], figures["wrong_in_doubt"]) == (0, 0)
    sizes = {row["size"]: row for row in figures["sizes"]}
    far = [row for size, row in sizes.items() if size.endswith(" mm") and float(size[:-3]) > 15]
    assert sum(row["cases"] for row in far) > CASES / 3
    assert all(row["refused"] == row["cases"] for row in far)
    for row in sizes.values():
        if row["left_worst_mm"] is None:
            continue
        assert row["left_worst_mm"] < LEFT_MM
        assert row["rms_over_stated"] < MOST_OVER_STATED


def test_figures_are_plain_and_printed(figures: dict[str, Any]) -> None:
    assert json.loads(json.dumps(figures)) == figures
    console = Console(width=140, record=True, file=None, quiet=False)
    with console.capture() as caught:
        print_drift(figures, console)
    words = caught.get()
    assert f"{CASES + 24} stills of 1 scenes (0 too dark or plain to check), seed 5" in words
    assert "shifts of 2 mm corrected or refused 100.00 %" in words
    assert all(row["size"] in words for row in figures["sizes"])


def test_counting() -> None:
    def case(size: str, outcome: str, left_mm: float | None = None) -> Case:
        return Case(still="a", size=size, outcome=outcome, left_mm=left_mm)

    told = summary_of(
        [
            case("2 mm", "moved", 0.1), case("2 mm", "still", 2.0), case("2 mm", "refused"),
            case("2 mm", "cannot tell", 2.0), case("0 px", "still", 0.0), case("0.3 px", "refused"),
            case("as taken", "cannot tell", 0.0), case("60 mm", "moved", 58.0),
        ]
    )  # fmt: skip
    assert (told["told_share"], told["told_or_doubted_share"]) == (0.5, 0.75)
    assert told["false_alarm_share"] == pytest.approx(1 / 3)
    assert told["needless_doubt_share"] == pytest.approx(1 / 3)
    assert (told["wrong"], told["wrong_in_doubt"]) == (2, 1)
    assert len(told["odd"]) == 6
    assert summary_of([])["told_share"] is None


@pytest.mark.parametrize("move", MOVES)
def test_moves_have_the_size_asked_for(truth: TruthStill, move: str) -> None:
    mover = Mover(camera=truth.camera, table=truth.table)
    rng = np.random.default_rng(1)
    far = mover.by_mm(rng, 40.0, move)
    assert misread_mm(truth.camera, far, truth.table).max() == pytest.approx(40.0, rel=SIZE_RTOL)
    near = mover.by_px(rng, 0.3, move)
    assert shaken_px(truth.camera, near, truth.table).max() == pytest.approx(0.3, rel=SIZE_RTOL)


def test_what_is_retaken_lies_where_the_moved_camera_sees_it(truth: TruthStill) -> None:
    """Blobs drawn at both heights are found where the moved camera projects their places."""
    mover = Mover(camera=truth.camera, table=truth.table)
    real = mover.by_mm(np.random.default_rng(2), 14.0, "all")
    length, width = truth.table.surface_mm
    rail_mm = truth.table.rail_cap_height_mm
    places = np.array(
        [(300, 400, 28.575), (length - 200, width - 150, 28.575), (700, -90, rail_mm),
         (length + 90, 500, rail_mm)]
    )  # fmt: skip
    rows, columns = np.mgrid[0:1080, 0:1920]
    still = np.full((1080, 1920), 20.0)
    for u, v in truth.camera.project(places):
        still += 200 * np.exp(-((columns - u) ** 2 + (rows - v) ** 2) / (2 * 3.0**2))
    taken = mover.retaken(np.dstack([still.astype(np.uint8)] * 3), real)[..., 0].astype(float) - 20
    for u, v in real.project(places):
        box = np.hypot(columns - u, rows - v) < 12
        weight = np.maximum(taken[box] - 2, 0)
        assert np.average(columns[box], weights=weight) == pytest.approx(u, abs=EDGE_PX)
        assert np.average(rows[box], weights=weight) == pytest.approx(v, abs=EDGE_PX)


def test_light_is_applied_as_named() -> None:
    grey = np.full((64, 64, 3), 100, np.uint8)
    rng = np.random.default_rng(3)
    lit = Light(gains=(0.5, 1.0, 3.0), noise=0.0, quality=100).on(grey, rng)
    assert np.allclose(lit.reshape(-1, 3).mean(0), (50, 100, 255), rtol=0, atol=1.5)
    slanted = Light(slant=(0.4, 0.0), noise=0.0, quality=100).on(grey, rng)
    assert slanted[:, -1].mean() - slanted[:, 0].mean() == pytest.approx(80, abs=2)


def test_run_as_a_module(tmp_path: Path) -> None:
    import typer

    from service.bench.drift.noticed import main

    app = typer.Typer()
    app.command()(main)
    told = CliRunner().invoke(app, [str(tmp_path)])
    assert told.exit_code == 1
    assert "got no still named …empty" in told.output
