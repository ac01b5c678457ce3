"""A part of the bed that cannot be seen: files, verdicts, what happened, drawings."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from position_layouts import layout
from shapely.geometry import LineString, Polygon

from calibration.errors import FileFormatError
from calibration.kept.bed_picture import BedPicture
from calibration.table import PointMm, Table
from service.drawing import top_view_svg
from service.drawing.hidden import HATCH_MM, hatching
from service.position import Intent, Verdict, score_shot
from service.practice.between.decide import what_happened
from service.practice.between.outcome import Outcome
from service.words.balls import hidden_words
from service.words.lengths import Lengths, Units
from vision.bed.blind import blind_share, still_blind
from vision.layout import Layout
from vision.still import decode_still
from vision.truth.file import read_truth

NINE = Table()
BEFORE = {"cue": (1800.0, 800.0), "3": (2200.0, 1000.0), "4": (1270.0, 400.0), "9": (300.0, 300.0)}
STOP = {"cue": (1270.0, 800.0)}
LEAVE = Intent.from_dict(
    {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right",
     "cut_deg": [0, 40], "distance_mm": [100, 600]}
)  # fmt: skip
FAR = ((600.0, 900.0), (800.0, 900.0), (800.0, 1100.0), (600.0, 1100.0))
"""Away from every ball and from the next shot."""
ON_THE_WAY = ((1310.0, 560.0), (1360.0, 560.0), (1360.0, 620.0), (1310.0, 620.0))


def after(*hidden: tuple[PointMm, ...], gone: tuple[str, ...] = ("3",), **moved) -> Layout:
    places = {k: v for k, v in (BEFORE | STOP | moved).items() if k not in gone}
    return replace(layout(NINE, places), hidden_mm=hidden)


def scored(now: Layout) -> Verdict:
    return score_shot(layout(NINE, BEFORE), now, LEAVE, NINE)


def happened(now: Layout, was: Layout | None = None) -> Outcome:
    return what_happened(was or layout(NINE, BEFORE), now, NINE, fresh=True)


# -- layouts -------------------------------------------------------------------------------


def test_layouts_carry_it_through_their_files() -> None:
    made = after(FAR)
    data = json.loads(json.dumps(made.to_dict()))
    assert data["hidden_mm"] == [[list(corner) for corner in FAR]]
    assert Layout.from_dict(data) == made
    del data["hidden_mm"]
    assert Layout.from_dict(data).hidden_mm == ()


@pytest.mark.parametrize("wrong", [[[[0, 0], [1, 1]]], [[[0, 0], [1, 1], [1e9, 0]]], [[1, 2, 3]]])
def test_polygons_that_cannot_be_are_refused(wrong: object) -> None:
    data = after().to_dict() | {"hidden_mm": wrong}
    with pytest.raises(FileFormatError, match="hidden_mm"):
        Layout.from_dict(data)


# -- verdicts ------------------------------------------------------------------------------


def test_what_is_hidden_elsewhere_changes_no_verdict_but_what_is_potted() -> None:
    clear, hidden = scored(after()), scored(after(FAR))
    assert (clear.verdict, hidden.verdict) == ("in", "in")
    assert hidden.path_to_pocket == "open"
    assert (clear.potted, hidden.potted) == (("3",), ())
    assert any(text.startswith("ball 3 is not seen") for text in hidden.warnings)


def test_a_hidden_way_to_the_next_ball_is_too_close_to_call() -> None:
    verdict = scored(after(ON_THE_WAY))
    assert (verdict.verdict, verdict.path_to_pocket) == ("too close to call", "too close to call")
    assert any("hides a part of the way to ball 4" in text for text in verdict.warnings)


def test_a_missing_cue_ball_is_no_scratch_while_a_part_is_hidden() -> None:
    gone = scored(after(gone=("3", "cue")))
    assert (gone.verdict, gone.scratch) == ("out", True)
    verdict = scored(after(FAR, gone=("3", "cue")))
    assert (verdict.verdict, verdict.scratch, verdict.p_in) == ("too close to call", False, None)
    assert any(text.startswith("the cue ball is not seen") for text in verdict.warnings)


def test_a_missing_next_ball_may_lie_hidden() -> None:
    assert scored(after(gone=("3", "4"))).verdict == "out"
    assert scored(after(FAR, gone=("3", "4"))).verdict == "too close to call"


# -- what happened -------------------------------------------------------------------------


def test_a_ball_that_could_lie_hidden_is_not_called_potted() -> None:
    assert [ball.ball for ball in happened(after()).potted] == ["3"]
    out = happened(after(FAR))
    assert (out.event, out.potted, out.doubtful) == ("shot", (), True)
    assert "ball 3 not seen" in out.detail
    out = happened(after(FAR, gone=("3", "cue")))
    assert (out.event, out.scratch, out.doubtful) == ("shot", False, True)


def test_what_covers_a_ball_neither_takes_it_nor_brings_it() -> None:
    x, y = BEFORE["9"]
    cover = ((x - 80, y - 80), (x + 80, y - 80), (x + 80, y + 80), (x - 80, y + 80))
    lying = replace(layout(NINE, BEFORE), hidden_mm=())
    covered = after(cover, gone=("9",), cue=BEFORE["cue"])
    assert happened(covered, lying).event == "nothing"
    assert happened(lying, covered).event == "nothing"


# -- drawings and words --------------------------------------------------------------------


def test_hatching_stays_inside_its_polygon_and_fills_it() -> None:
    shape = Polygon(FAR)
    lines = hatching(FAR)
    assert len(lines) >= 200 / HATCH_MM
    assert all(shape.buffer(0.1).contains(LineString(line)) for line in lines)


def test_the_top_view_shows_and_says_it() -> None:
    svg = ET.fromstring(top_view_svg(NINE, after(FAR)))
    groups = [g for g in svg.iter() if g.get("class") == "hidden"]
    assert len(groups) == 1
    assert len(groups[0].findall("{*}polygon")) == 1
    words = hidden_words((FAR,), Lengths.on(NINE, Units.MM))
    assert words == "A ball could lie unseen about 700, 1000 mm."
    description = svg.findtext("{*}desc") or ""
    assert words in description
    assert "hidden" not in top_view_svg(NINE, after())


# -- the calibration's own -----------------------------------------------------------------


def test_a_ball_seen_in_a_blind_part_shows_that_it_hides_nothing() -> None:
    assert still_blind((FAR,), [BEFORE["9"]]) == (FAR,)
    assert still_blind((FAR,), [(700.0, 1000.0)]) == ()
    assert still_blind((FAR,), []) == (FAR,)


def test_a_wide_shade_in_the_empty_still_is_blind_whole() -> None:
    """Its middle has no edge near: it is told by its colour."""
    stills = Path(__file__).parent / "paired_stills"
    still = read_truth(stills)["0001-empty-a.jpg"]
    picture = decode_still((stills / still.name).read_bytes())
    bed = BedPicture.of(picture, still.camera, still.table)
    share = blind_share(replace(still.calibration, bed_picture=bed))
    assert 0.09 < share < 0.13
