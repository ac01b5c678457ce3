"""The reach learned from cue balls put where they can just still be played."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from position_layouts import layout

from calibration.table import PointMm, Table
from service.cli import main
from service.position import Player, PlayerError
from service.position.meant.player_file import read_player
from service.position.plan.reach_map import learned_reach
from service.position.shot.reach import reach
from vision.layout import Layout

NINE = Table()
NEAR_MM = 2.0
"""A place is found to half a millimetre along a line; the fit adds rounding."""


def _just_reached(player: Player, target: PointMm, turn_deg: float) -> list[Layout]:
    """The cue ball as far from ``target`` in that direction as the player can just play it.

    The first place within reach on the way outward, by bisection against the rule itself; none
    where it is within reach from the start.
    """
    step = np.array([math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))])

    def reached(way: float) -> bool:
        place = np.asarray(target) + way * step
        return reach((float(place[0]), float(place[1])), target, NINE, player) == "hand"

    near = next(way for way in np.arange(60.0, 2600.0, 5.0) if reached(way))
    if near == 60.0:
        return []
    far = near - 5.0
    for _ in range(20):
        middle = (near + far) / 2
        near, far = (middle, far) if reached(middle) else (near, middle)
    cue = np.asarray(target) + near * step
    return [layout(NINE, {"cue": (float(cue[0]), float(cue[1])), "1": target})]


@pytest.mark.parametrize("hand", ["right", "left"])
def test_every_side_is_learned(hand: str) -> None:
    """A shot straight across the table tells the reach back: no side reaches so far. Shots along
    the table tell the body's side and the other one, mirrored for a left-hander."""
    true = Player(
        handedness=hand, hand_back_mm=980, hand_body_side_mm=560, hand_off_side_mm=260,
        bridge_back_mm=2500,
    )  # fmt: skip
    mirror = (lambda y: y) if hand == "right" else (lambda y: 1270 - y)
    back = layout(NINE, {"cue": (1270.0, 980.0), "1": (1270.0, 1200.0)})
    body = layout(NINE, {"cue": (1270.0, mirror(1270.0 - 560)), "1": (1600.0, mirror(710.0))})
    off = layout(NINE, {"cue": (1270.0, mirror(260.0)), "1": (1600.0, mirror(260.0))})
    for place in (back, body, off):
        cue, ball = (place.ball(name) for name in ("cue", "1"))
        assert cue is not None
        assert ball is not None
        assert reach(cue.centre_mm, ball.centre_mm, NINE, true) == "hand"
    found = learned_reach([back, body, off], NINE, Player(handedness=hand))
    assert found.player.hand_back_mm == pytest.approx(980, abs=NEAR_MM)
    assert found.player.hand_body_side_mm == pytest.approx(560, abs=NEAR_MM)
    assert found.player.hand_off_side_mm == pytest.approx(260, abs=NEAR_MM)
    assert set(found.mapped) == {"hand_back_mm", "hand_body_side_mm", "hand_off_side_mm"}
    assert found.assumed == ()
    assert np.abs(found.residuals_mm).max() < NEAR_MM
    assert set(found.mapped) <= set(found.player.measured)


def test_slanted_places_give_the_reach_that_they_came_from() -> None:
    true = Player(hand_back_mm=900, hand_body_side_mm=500, hand_off_side_mm=250)
    places = [
        place
        for target, turns in (
            ((1270.0, 1200.0), (-80, -90, -100)),
            ((2100.0, 700.0), (140, 150, 160, 170, 180, 190, 200, 210)),
        )
        for turn in turns
        for place in _just_reached(true, target, turn)
    ]
    assert len(places) >= 8
    found = learned_reach(places, NINE, Player())
    for name in found.mapped:
        assert getattr(found.player, name) == pytest.approx(getattr(true, name), rel=0.03), name
    assert "hand_back_mm" in found.mapped


def test_one_still_tells_one_side_and_the_rest_stays_assumed() -> None:
    """A cue ball alone, nearest to the long nose 600 away:
    600 straight back. One played across the table from 1000 tells 1000."""
    alone = learned_reach([layout(NINE, {"cue": (900.0, 600.0)})], NINE, Player())
    assert alone.player.hand_back_mm == pytest.approx(600, abs=NEAR_MM)
    found = learned_reach(
        [layout(NINE, {"cue": (1270.0, 1000.0), "1": (1270.0, 1200.0)})],
        NINE, Player(hand_body_side_mm=600),
    )  # fmt: skip
    assert found.mapped == ("hand_back_mm",)
    assert found.player.hand_back_mm == pytest.approx(1000, abs=NEAR_MM)
    assert found.assumed == ("hand_off_side_mm",), "the body's side was given"
    assert found.player.hand_off_side_mm == Player().hand_off_side_mm


def test_a_longer_hand_takes_the_bridge_along() -> None:
    there = [layout(NINE, {"cue": (1270.0, 1200.0), "1": (1270.0, 1242.0)})]
    start = Player(bridge_back_mm=1125, hand_body_side_mm=500, bridge_body_side_mm=500)
    found = learned_reach(there, NINE, start)
    assert found.player.bridge_back_mm == found.player.hand_back_mm
    bridged = learned_reach(
        [layout(NINE, {"cue": (1230.0, 635.0), "1": (1700.0, 635.0)})],
        NINE, start, bridge=True, side="back",
    )  # fmt: skip
    assert bridged.mapped == ("bridge_back_mm",)
    assert bridged.player.bridge_back_mm == pytest.approx(1230, abs=NEAR_MM)
    assert bridged.player.hand_back_mm == start.hand_back_mm


@pytest.mark.parametrize(
    ("places", "said"),
    [
        ([{"1": (1000.0, 635.0)}], "got 1; allowed: the cue ball"),
        ([{"cue": (900.0, 635.0), "1": (1500, 635), "2": (400, 400)}], "got cue, 1, 2; allowed"),
        (
            [
                {"cue": (1270.0, 1000.0), "1": (1270.0, 1200.0)},
                {"cue": (1270.0, 600.0), "1": (1270.0, 1200.0)},
            ],
            "off the edge of the reach; allowed: 10 %",
        ),
        ([], "got no still"),
    ],
    ids=["no cue ball", "two balls", "contradicting", "none"],
)
def test_stills_that_show_no_reach_are_refused(places: list[dict], said: str) -> None:
    with pytest.raises(PlayerError, match=said) as refused:
        learned_reach([layout(NINE, place) for place in places], NINE, Player())
    assert refused.value.code == "reach-places"


def test_player_command_learns_the_reach(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paths = []
    for name, cue, ball in (
        ("back", (1270.0, 1000.0), (1270.0, 1200.0)), ("off", (1400.0, 350.0), (1900.0, 350.0)),
    ):  # fmt: skip
        there = layout(NINE, {"cue": cue, "1": ball})
        path = tmp_path / f"{name}.json"
        path.write_text(json.dumps(there.to_dict()), encoding="utf-8")
        paths.append(str(path))
    result = tmp_path / "player.json"
    assert main(["player", "--reach", *paths, "--out", str(result)]) == 0
    said = capsys.readouterr().out
    assert "hand_back_mm: 1000 mm" in said
    assert "hand_body_side_mm: 750 mm, assumed" in said
    own = read_player(result)
    assert own.hand_back_mm == pytest.approx(1000, abs=NEAR_MM)
    assert own.hand_off_side_mm == pytest.approx(350, abs=NEAR_MM)
    assert own.assumed(["hand_back_mm", "hand_body_side_mm"]) == ["hand_body_side_mm"]
    assert main(["player", *paths]) != 0
    assert "allowed: one session's folder with --plan" in capsys.readouterr().err


def test_player_files_of_old_keep_loading(tmp_path: Path) -> None:
    """Every field of before, and a bridge's reach alone below today's starting value by hand."""
    path = tmp_path / "player.json"
    head = {"format": "restmark-player", "version": 1}
    old = {
        "handedness": "left", "hand_back_mm": 1100.0, "hand_body_side_mm": 600.0,
        "hand_off_side_mm": 300.0, "bridge_back_mm": 2000.0, "bridge_body_side_mm": 700.0,
        "bridge_off_side_mm": 500.0, "shaft_radius_mm": 6.5, "elevation_limit_deg": 15.0,
        "aim_spread_deg": 0.2, "bridge_spread_factor": 1.5, "speed_spread": 0.15,
        "line_spread_deg": 3.0, "fitted": {},
    }  # fmt: skip
    path.write_text(json.dumps(head | old), encoding="utf-8")
    found = read_player(path)
    assert found.to_dict() | {"fitted": {}} == found.to_dict() | old
    path.write_text(json.dumps(head | {"bridge_body_side_mm": 650}), encoding="utf-8")
    assert read_player(path).hand_body_side_mm == 650
