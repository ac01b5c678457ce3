"""Intents: reading, writing, and every refusal with its field path and remedy."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from position_layouts import POCKETS, layout

from calibration.errors import RestmarkError
from calibration.table import Table
from service.position import (
    AttemptError,
    DrawnZone,
    Intent,
    IntentError,
    Player,
    PlayerError,
    score_shot,
)
from service.position.meant.player_file import read_player, write_player

NINE = Table()
FULL: dict[str, Any] = {
    "pot": "3",
    "pocket": "foot-left",
    "next": "4",
    "next_pocket": "side-right",
    "cut_deg": [10, 40],
    "side": "left",
    "distance_mm": [200, 900],
    "cushion_mm": 60,
    "reach": "hand",
    "over_ball": "any",
    "route_mm": [[2400.0, 1150.0], [1300.0, 700.0]],
}


def test_full_intent_round_trip() -> None:
    intent = Intent.from_dict(FULL)
    assert intent.cut_deg == (10.0, 40.0)
    assert intent.to_dict() == FULL
    assert Intent.from_dict(json.loads(json.dumps(intent.to_dict()))) == intent


def test_least_intents() -> None:
    leave = Intent.from_dict({"next": "4", "next_pocket": "side-right"})
    assert (leave.cut_deg, leave.side, leave.reach) == ((0.0, 90.0), "either", "bridge")
    assert math.isinf(leave.distance_mm[1])
    drawn = Intent.from_dict({"zone": {"circle_mm": [500, 600, 80]}})
    assert drawn.zone == DrawnZone(circle_mm=(500.0, 600.0, 80.0))
    assert Intent.from_dict({"pot": 3, "zone": {"circle_mm": [500, 600, 80]}}).pot == "3"


@given(
    st.fixed_dictionaries(
        {"next": st.just("4"), "next_pocket": st.sampled_from(POCKETS)},
        optional={
            "pot": st.sampled_from(["1", "9", "15", "lowest"]),
            "route_mm": st.lists(
                st.tuples(st.floats(0, 1000), st.floats(0, 500)), min_size=2, max_size=4
            ).filter(lambda way: all(math.dist(a, b) >= 1 for a, b in itertools.pairwise(way))),
            "cut_deg": st.floats(0, 44).map(lambda low: [low, low + 45]),
            "side": st.sampled_from(["left", "right", "either"]),
            "distance_mm": st.floats(0, 1000).map(lambda low: [low, low + 1]),
            "cushion_mm": st.floats(0, 300),
            "reach": st.sampled_from(["hand", "bridge", "any"]),
            "over_ball": st.sampled_from(["avoid", "any"]),
            "zone": st.sampled_from(
                [
                    {"circle_mm": [1.0, 2.0, 3.0]},
                    {"polygon_mm": [[0.0, 0.0], [9.0, 0.0], [0.0, 9.0]]},
                ]
            ),
        },
    )
)
def test_every_intent_round_trips(data: dict[str, Any]) -> None:
    intent = Intent.from_dict(data)
    assert Intent.from_dict(intent.to_dict()) == intent


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"cut_deg": [40, 10]}, r"intent\.cut_deg: got \[40, 10\], limits crossed"),
        (
            {"distance_mm": [float("inf"), None]},
            r"intent\.distance_mm\[0\]: got inf; allowed",
        ),
        ({"cut_deg": [10, 95]}, r"intent\.cut_deg\[1\]: got 95; allowed: degrees from 0 to 90"),
        ({"cut_deg": [-1, 20]}, r"intent\.cut_deg\[0\]: got -1"),
        ({"cut_deg": [10]}, r"intent\.cut_deg: got \[10\]; allowed: 2 numbers"),
        ({"cut_deg": ["a", 3]}, r"intent\.cut_deg\[0\]: got 'a'"),
        ({"cut_deg": [float("nan"), 3]}, r"intent\.cut_deg\[0\]: got nan"),
        ({"distance_mm": [900, 200]}, r"intent\.distance_mm: got \[900, 200\], limits crossed"),
        ({"cushion_mm": -5}, r"intent\.cushion_mm: got -5; allowed: a finite number, 0 or more"),
        ({"cushion_mm": True}, r"intent\.cushion_mm: got True; allowed: a finite number"),
        ({"side": "up"}, r"intent\.side: got 'up'; allowed: left, right, either"),
        ({"reach": "arm"}, r"intent\.reach: got 'arm'; allowed: hand, bridge, any"),
        ({"over_ball": "no"}, r"intent\.over_ball: got 'no'; allowed: avoid, any"),
        ({"next": "16"}, r"intent\.next: got '16'; allowed: 1, 2, 3"),
        ({"next": "cue"}, r"intent\.next: got 'cue'; allowed: 1, 2, 3"),
        ({"pot": "blue"}, r"intent\.pot: got 'blue'; allowed: 1, 2, 3"),
        ({"pocket": "corner"}, r"intent\.pocket: got 'corner'; allowed: head-left"),
        ({"next_pocket": "side"}, r"intent\.next_pocket: got 'side'; allowed: head-left"),
        ({"next": "3"}, r"intent\.next: got '3', which is also the ball to pot"),
        ({"next": None}, r"intent\.next: missing, though next_pocket is 'side-right'"),
        ({"route_mm": 5}, r"intent\.route_mm: got 5; allowed: a list of lists of 2 numbers"),
        ({"route_mm": [[1, 2]]}, r"intent\.route_mm: got \[\[1\.0, 2\.0\]\]; allowed: 2 or more"),
        ({"route_mm": [[1, 2], [1, 2]]}, r"intent\.route_mm: got .*each 1 mm or more from the one"),
        ({"route_mm": [[1, 2], [1, "b"]]}, r"intent\.route_mm\[1\]\[1\]: got 'b'"),
        ({"pot": None}, r"intent\.pot: missing, though pocket is 'foot-left'"),
        ({"spin": "draw"}, r"intent: got unknown field\(s\) spin; allowed: pot, pocket"),
        ({"zone": {}}, r"intent\.zone: got both or neither"),
        ({"zone": []}, r"intent\.zone: got \[\]; allowed:"),
        ({"zone": {"circle_mm": [1, 2]}}, r"intent\.zone\.circle_mm: got \[1, 2\]"),
        (
            {"zone": {"circle_mm": [1, 2, 0]}},
            r"circle_mm\[2\]: got 0; allowed: a radius above 0",
        ),
        ({"zone": {"polygon_mm": 7}}, r"intent\.zone\.polygon_mm: got 7; allowed: a list"),
        ({"zone": {"polygon_mm": [[0, 0], [1, 1]]}}, r"polygon_mm: got .*3 or more points"),
        (
            {"zone": {"polygon_mm": [[k, k * k] for k in range(501)]}},
            r"zone\.polygon_mm: got 501 points; allowed: 3 or more points, up to 500",
        ),
        (
            {"route_mm": [[10 * k, 9] for k in range(101)]},
            r"intent\.route_mm: got 101 points; allowed: 2 to 100",
        ),
        (
            {"zone": {"polygon_mm": [[0, 0], [1, "b"]]}},
            r"zone\.polygon_mm\[1\]\[1\]: got 'b'",
        ),
        (
            {"zone": {"polygon_mm": [[0, 0], [9, 9], [9, 0], [0, 9]]}},
            r"intent\.zone\.polygon_mm: got .*does not cross itself",
        ),
    ],
)
def test_contradictions_are_refused(change: dict[str, Any], text: str) -> None:
    with pytest.raises(IntentError, match=text) as caught:
        Intent.from_dict(FULL | change)
    assert caught.value.code == "bad-intent"
    assert isinstance(caught.value, RestmarkError)


def test_intent_without_next_ball_or_zone_is_refused() -> None:
    with pytest.raises(IntentError, match=r"intent\.next: missing; allowed: next and next_pocket"):
        Intent.from_dict({"pot": "3", "pocket": "foot-left"})
    with pytest.raises(IntentError, match=r"intent: got \[.*; allowed: an object"):
        Intent.from_dict([FULL])


@pytest.mark.parametrize(
    ("limits", "name", "why"),
    [
        ({"cut_deg": [20, 20]}, "cut_deg", "a cut of exactly 20° are a line without width"),
        ({"cut_deg": [0, 0]}, "cut_deg", "a cut of exactly 0° are a line without width"),
        ({"distance_mm": [300, 300]}, "distance_mm", "exactly 300 mm away are a line without"),
    ],
)
def test_equal_limits_are_not_crossed_but_leave_no_surface(
    limits: dict[str, Any], name: str, why: str
) -> None:
    """They contradict nothing, so they are no error; the zone is empty and says which limit."""
    intent = Intent.from_dict({"next": "4", "next_pocket": "side-right"} | limits)
    there = layout(NINE, {"cue": (1270, 800), "4": (1270, 400)})
    verdict = score_shot(there, there, intent, NINE)
    assert (verdict.verdict, verdict.miss_mm, verdict.zone_empty) == ("out", None, True)
    assert verdict.zone is not None
    assert verdict.zone.emptied_by == name
    assert any(f"{name}: " in text and why in text for text in verdict.warnings)


def test_lowest_ball_is_named_by_the_layout() -> None:
    """Rotation: the lowest number is to be potted, the lowest of the others comes next."""
    there = layout(NINE, {"cue": (400, 400), "9": (1000, 600), "12": (900, 300), "5": (600, 900)})
    intent = Intent.from_dict({"pot": "lowest", "pocket": "side-left", "next": "lowest"})
    named = intent.named_on(there)
    assert (named.pot, named.next) == ("5", "9")
    assert Intent.from_dict({"pot": "9", "next": "lowest"}).named_on(there).next == "5"
    assert named.named_on(there) is named
    verdict = score_shot(there, there, intent, NINE)
    assert verdict.intent is not None
    assert (verdict.intent.pot, verdict.intent.next) == ("5", "9")
    assert "pot 5 missed" in verdict.warnings


def test_no_ball_left_for_lowest_is_an_error() -> None:
    there = layout(NINE, {"cue": (400, 400), "9": (1000, 600)})
    intent = Intent.from_dict({"pot": "lowest", "pocket": "side-left", "next": "lowest"})
    with pytest.raises(IntentError, match="next: got 'lowest', but no object ball is left"):
        score_shot(there, there, intent, NINE)


def test_route_must_lie_on_the_table() -> None:
    there = layout(NINE, {"cue": (400, 400), "4": (1000, 600)})
    intent = Intent.from_dict({"next": "4", "route_mm": [[100, 100], [100, 1300]]})
    with pytest.raises(
        IntentError, match=r"route_mm: got a point at \(100, 1300\) mm; allowed: the"
    ):
        score_shot(there, there, intent, NINE)


def test_intent_must_fit_the_layout() -> None:
    there = layout(NINE, {"cue": (400, 400), "3": (1000, 600)})
    with pytest.raises(IntentError, match=r"next: got '4', which is not on the table; .*\(3\)"):
        score_shot(there, there, Intent.from_dict(FULL), NINE)
    with pytest.raises(IntentError, match="zone: got a point at"):
        score_shot(there, there, Intent.from_dict({"zone": {"circle_mm": [5000, 600, 50]}}), NINE)


def test_intent_files(tmp_path: Path) -> None:
    good = tmp_path / "intent.json"
    good.write_text(json.dumps(FULL), encoding="utf-8")
    assert Intent.read(good) == Intent.from_dict(FULL)
    good.write_text("{", encoding="utf-8")
    with pytest.raises(IntentError, match=r"intent\.json: cannot be read as JSON"):
        Intent.read(good)
    with pytest.raises(IntentError, match="cannot be read as JSON"):
        Intent.read(tmp_path / "absent.json")


def test_limits_beside_a_drawn_zone_are_named_as_unused() -> None:
    data = {"next": "4", "next_pocket": "side-right", "zone": {"circle_mm": [900, 600, 80]}}
    there = layout(NINE, {"cue": (400, 400), "4": (1000, 600)})
    verdict = score_shot(there, there, Intent.from_dict(data | {"cut_deg": [10, 20]}), NINE)
    assert "the zone is taken as drawn: cut_deg does not limit it" in verdict.warnings
    plain = score_shot(there, there, Intent.from_dict(data), NINE)
    assert not any("taken as drawn" in text for text in plain.warnings)


def test_layouts_that_cannot_be_compared_are_refused() -> None:
    there = layout(NINE, {"cue": (400, 400), "4": (1000, 600)})
    intent = Intent.from_dict({"next": "4", "next_pocket": "side-right"})
    cases = [
        (replace(there, obstructed=True), "obstructed", r"after \(test\): something lies over"),
        (replace(there, settled=False), "unsettled", r"after \(test\): balls are still moving"),
        (
            replace(there, surface_mm=(2235.2, 1117.6)),
            "other-surface",
            r"after\.surface_mm: got 2235\.2x1117\.6; allowed: this table's 2540x1270 mm",
        ),
    ]
    for bad, code, text in cases:
        with pytest.raises(AttemptError, match=text) as caught:
            score_shot(there, bad, intent, NINE)
        assert caught.value.code == code


@pytest.mark.parametrize(
    ("settings", "text"),
    [
        ({"handedness": "both"}, "player.handedness: got 'both'; allowed: right, left"),
        ({"hand_back_mm": -1}, "player.hand_back_mm: got -1; allowed: a finite number above 0"),
        ({"aim_spread_deg": 1e9}, r"player.aim_spread_deg: got 1e\+09; allowed: below 90"),
        ({"elevation_limit_deg": 90}, "player.elevation_limit_deg: got 90; allowed: below 90"),
        ({"hand_back_mm": 2100}, "player.bridge_back_mm: got 2000; allowed: at least hand_back_mm"),
        ({"height": 3}, "player: got unknown field"),
    ],
)
def test_player_settings_are_checked(settings: dict[str, Any], text: str) -> None:
    with pytest.raises(PlayerError, match=text):
        Player.from_dict(settings)


def test_player_round_trip(tmp_path: Path) -> None:
    player = Player(handedness="left", hand_back_mm=1000)
    assert Player.from_dict(player.to_dict()) == player
    path = tmp_path / "player.json"
    write_player(path, player, fitted={"aim_spread_deg": {"value": 0.1}})
    assert read_player(path) == player


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("{", r"player\.json: cannot be read as JSON"),
        ("{}", r"player\.json\.format: got None; allowed: 'restmark-player'"),
        (
            '{"format": "restmark-player", "version": 9}',
            r"player\.json\.version: got 9; allowed: 1",
        ),
        (
            '{"format": "restmark-player", "version": 1, "height": 2}',
            r"player\.json: got unknown field\(s\) height",
        ),
    ],
)
def test_player_files_that_cannot_be_are_refused(tmp_path: Path, text: str, wanted: str) -> None:
    path = tmp_path / "player.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RestmarkError, match=wanted):
        read_player(path)


def test_a_short_player_file_by_hand_keeps_starting_values(tmp_path: Path) -> None:
    path = tmp_path / "player.json"
    path.write_text('{"format": "restmark-player", "version": 1, "handedness": "left"}')
    assert read_player(path) == Player(handedness="left")


@pytest.mark.parametrize(
    ("circle", "text"),
    [
        ([600, 600, 10**30], r"zone\.circle_mm\[2\]: got .*above 0 and up to 5000"),
        ([600, 600, 10**400], r"zone\.circle_mm\[2\]: got 1000.*above 0 and up to 5000"),
    ],
)
def test_a_circle_beyond_any_table_is_refused(circle, text):
    with pytest.raises(IntentError, match=text):
        Intent.from_dict({"zone": {"circle_mm": circle}})
