"""The demo: the whole job on the sample stills, its figures, its files and its time."""

import io
import json
import re
import shutil

import httpx
import numpy as np
import pytest
from api_kit import running
from rich.console import Console
from sample_trial import finished_demo

from calibration.kept.calibration import Calibration
from calibration.lens.file import Lens
from service import api
from service.demo import show as demo_module
from service.demo.show import REPORT_FILE, SESSION_FILE, print_demo
from service.practice import score_session
from vision.layout import Ball, Layout

TIME_LIMIT_S = 60.0
REPORT_LIMIT_MB = 6.0
MEDIAN_LIMIT_MM = 1.0
P95_LIMIT_MM = 2.5
NAMES_RIGHT_SHARE = 0.98
BED_MEDIAN_LIMIT_MM = 0.3
BED_WORST_LIMIT_MM = 0.8


@pytest.fixture(scope="module")
def demo():
    return finished_demo()


def test_whole_job_takes_less_than_a_minute(demo):
    assert demo.seconds < TIME_LIMIT_S


def test_every_ball_is_found_and_none_invented(demo):
    figures = demo.trial.accuracy
    assert figures.stills == 2 * len(demo.trial.result.attempts) >= 20
    assert figures.missed == 0
    assert figures.invented == 0


def test_names_are_right_and_the_cue_ball_always(demo):
    figures = demo.trial.accuracy
    assert figures.names_right >= NAMES_RIGHT_SHARE
    assert figures.cue_wrong == 0


def test_places_are_right_over_the_whole_surface(demo):
    figures = demo.trial.accuracy
    assert figures.median_mm <= MEDIAN_LIMIT_MM
    assert figures.p95_mm <= P95_LIMIT_MM


def test_calibration_from_the_board_and_empty_stills_is_right(demo):
    bed_mm = demo.trial.bed_error_mm
    assert np.median(bed_mm) <= BED_MEDIAN_LIMIT_MM
    assert bed_mm.max() <= BED_WORST_LIMIT_MM
    assert demo.trial.calibration.scale_source == "lens file"


def test_verdicts_are_those_of_the_true_places(demo):
    """Scored again on the exact places: no verdict turns, unless it was too close to call."""
    trial = demo.trial
    exact = [
        (
            name,
            Layout(
                still=name,
                surface_mm=trial.calibration.table.surface_mm,
                balls=tuple(Ball(id=b.id, x_mm=b.x_mm, y_mm=b.y_mm) for b in still.balls),
            ),
        )
        for name, still in ((name, trial.truth[name]) for name, _ in trial.readings)
    ]
    true = score_session(exact, trial.plan, trial.calibration.table)
    assert len(true.attempts) == len(trial.result.attempts)
    for read, known in zip(trial.result.attempts, true.attempts, strict=True):
        assert read.verdict is not None, read.refused_why
        assert known.verdict is not None
        assert read.verdict.verdict in (known.verdict.verdict, "too close to call")
        assert sorted(read.verdict.potted) == sorted(known.verdict.potted)
        assert read.verdict.scratch == known.verdict.scratch


def test_session_has_what_a_practice_has(demo):
    """Stops in and out of the zone, a missed pot and a scratch: the report shows every kind."""
    verdicts = [attempt.verdict for attempt in demo.trial.result.attempts]
    assert {"in", "out"} <= {verdict.verdict for verdict in verdicts}
    assert any(verdict.scratch for verdict in verdicts)
    assert any(verdict.pot_made is False for verdict in verdicts)


def test_files_can_be_read_again(demo):
    assert Lens.read(demo.folder / "lens.json") == demo.trial.lens
    assert Calibration.read(demo.folder / "table.json") == demo.trial.calibration
    session = json.loads((demo.folder / SESSION_FILE).read_text(encoding="utf-8"))
    assert (session["format"], session["version"]) == ("restmark-session", 1)
    layouts = [Layout.from_dict(item) for item in session["layouts"]]
    assert layouts == list(demo.trial.layouts.values())
    assert [a["attempt"] for a in session["attempts"]] == list(
        range(1, len(demo.trial.result.attempts) + 1)
    )
    assert session["attempts"][0]["intent"] == demo.trial.plan.intent(1).to_dict()
    assert "rendered" in session["provenance"]
    assert sorted(p.name for p in demo.folder.iterdir()) == sorted(
        [REPORT_FILE, SESSION_FILE, "lens.json", "table.json"]
    )


def test_report_is_small_and_says_that_the_stills_are_rendered(demo):
    text = demo.report.read_text(encoding="utf-8")
    assert len(text.encode()) <= REPORT_LIMIT_MB * 1e6
    assert "rendered, not photographed" in text
    assert not re.findall(r"(?:src|href)=\"(?!data:|#)", text)
    assert text.count('class="overlay"') == len(demo.trial.result.attempts) + 1


def test_terminal_shows_calibration_attempts_summary_and_accuracy(demo):
    stream = io.StringIO()
    print_demo(demo, Console(file=stream, width=140))
    text = stream.getvalue()
    for words in (
        "good enough to trust: within", "held-out", "from the wanted spot", "In the zone",
        "95 % interval", "rendered stills, exact truth", "Position error: median", REPORT_FILE,
    ):  # fmt: skip
        assert words in text, words


def test_serve_gets_the_whole_session(demo, monkeypatch, tmp_path):
    """``demo --serve`` fills the service's data once and then serves that folder."""
    served = []
    monkeypatch.setattr(api, "serve", lambda data, port, announce: served.append((data, port)))
    folder = tmp_path / "demo"
    shutil.copytree(demo.folder, folder)
    moved = demo_module.Demo(trial=demo.trial, folder=folder, seconds=demo.seconds)
    for _ in range(2):
        demo_module.serve_demo(moved, port=8765, announce=lambda text: None)
    assert served == [(folder / "data", 8765)] * 2
    assert (folder / "data").is_dir()
    # nothing of it came by a camera, and what the page shows all the same is said to be older
    with running(folder / "data") as address:
        page = httpx.get(address).text
    assert "Out by 136 mm" in page
    assert "none live yet, older ones are shown" in page
