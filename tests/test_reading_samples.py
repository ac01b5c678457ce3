"""Readings of the shipped stills against their truth, with the true camera."""

from importlib.resources import files
from pathlib import Path

import pytest

from vision.read import Reader
from vision.truth.file import TruthStill, read_truth
from vision.truth.measure import match_layout, summary

SAMPLES = Path(str(files("sample_frames")))
SHOTS = SAMPLES / "practice" / "shots"
OTHERS = SAMPLES / "others"
MEDIAN_LIMIT_MM = 0.3
P95_LIMIT_MM = 0.7
"""Twice what was measured on these stills; the promise is 1.0 and 2.5."""
OTHER_MEDIAN_LIMIT_MM = 0.6
OTHER_P95_LIMIT_MM = 1.6


def stills_of(folder: Path, step: int) -> list[TruthStill]:
    return list(read_truth(folder).values())[::step]


def test_practice_session_is_read_without_a_fault() -> None:
    stills = stills_of(SHOTS, 3)
    reader = Reader(stills[0].calibration)
    matches = []
    for still in stills:
        layout = reader.read_still((SHOTS / still.name).read_bytes(), name=still.name)
        assert not layout.obstructed, layout.warnings
        matches.append(match_layout(layout, still.balls))
    figures = summary(matches)
    assert (figures.missed, figures.invented, figures.wrong_names) == (0, 0, 0), matches
    assert figures.cue_wrong == 0
    assert figures.median_mm < MEDIAN_LIMIT_MM
    assert figures.p95_mm < P95_LIMIT_MM
    assert figures.coverage_95 > 0.9


def test_empty_practice_table_is_empty() -> None:
    still = next(iter(read_truth(SHOTS).values()))
    data = (SAMPLES / "practice" / "empty.jpg").read_bytes()
    layout = Reader(still.calibration).read_still(data)
    assert layout.balls == ()
    assert not layout.obstructed


def test_other_rooms_are_read_or_refused() -> None:
    matches = []
    for still in stills_of(OTHERS, 2):
        layout = Reader(still.calibration).read_still((OTHERS / still.name).read_bytes())
        assert layout.obstructed is still.obstructed, (still.name, layout.warnings)
        if not still.obstructed:
            matches.append(match_layout(layout, still.balls))
    figures = summary(matches)
    assert figures.missed == 0
    assert figures.invented == 0
    assert figures.wrong_names_undoubted == 0
    assert figures.median_mm < OTHER_MEDIAN_LIMIT_MM
    assert figures.p95_mm < OTHER_P95_LIMIT_MM


@pytest.mark.parametrize("name", ["other-05.jpg", "other-08.jpg"])
def test_warnings_name_places_in_the_table_frame(name: str) -> None:
    still = read_truth(OTHERS)[name]
    layout = Reader(still.calibration).read_still((OTHERS / name).read_bytes())
    for warning in layout.warnings:
        assert "mm" in warning
        assert warning.endswith(".")
