"""``route``, ``chances`` and ``player`` at the command line, and ``--player``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from service.cli import main
from service.position import Player
from service.position.meant.player_file import read_player, write_player

BALLS = {"cue": (1800, 800), "3": (2200, 1000), "4": (1270, 400), "9": (1600, 700)}
LEAVE: dict[str, Any] = {
    "pot": 3, "pocket": "foot-left", "next": 4, "next_pocket": "side-right", "cut_deg": [0, 50],
    "distance_mm": [100, 700], "route_mm": [[2150, 970], [2100, 1242], [1300, 700]],
}  # fmt: skip


def _layout(name: str, balls: dict[str, tuple[float, float]]) -> dict[str, Any]:
    return {
        "still": name,
        "surface_mm": [2540, 1270],
        "balls": [{"id": key, "x_mm": x, "y_mm": y} for key, (x, y) in balls.items()],
    }


def _save(path: Path, data: Any) -> str:
    path.write_text(json.dumps(data), encoding="utf-8")
    return str(path)


@pytest.fixture
def files(tmp_path: Path) -> dict[str, str]:
    other = LEAVE | {"route_mm": [[2150, 970], [1300, 750]]}
    return {
        "layout": _save(tmp_path / "before.json", _layout("before", BALLS)),
        "one": _save(tmp_path / "one.json", LEAVE),
        "two": _save(tmp_path / "two.json", other),
    }


def test_routes_side_by_side(files: dict[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["route", files["layout"], "--intent", files["one"], "--intent", files["two"]]) == 0
    said = capsys.readouterr().out
    assert "forgives most" in said
    for row in ("cushions", "tightest gap", "hooked", "in the zone", "stops in the zone"):
        assert row in said


def test_routes_as_json(files: dict[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    code = main(
        ["route", files["layout"], "--intent", files["one"], "--intent", files["two"], "--json"]
    )
    assert code == 0
    one, two = (json.loads(line) for line in capsys.readouterr().out.splitlines())
    assert one["rails"] == ["left"]
    assert two["rails"] == []
    assert sorted([one["forgives_most"], two["forgives_most"]]) == [False, True]
    assert {gap["left"] for gap in one["gaps"]} == {"9"}


def test_route_without_a_route_is_refused(
    files: dict[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bare = _save(tmp_path / "bare.json", {k: v for k, v in LEAVE.items() if k != "route_mm"})
    assert main(["route", files["layout"], "--intent", bare]) == 1
    assert "route_mm: missing; allowed: 2 or more points" in capsys.readouterr().err


def test_chances_and_their_map(
    files: dict[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drawing = tmp_path / "map.svg"
    assert main(["chances", files["layout"], "--ball", "4", "--out", str(drawing)]) == 0
    said = capsys.readouterr().out
    assert "from where the cue ball lies: " in said
    assert "best place: 100 %" in said
    assert drawing.read_text(encoding="utf-8").startswith("<svg")
    assert main(["chances", files["layout"], "--ball", "4", "--pocket", "side-left", "--json"]) == 0
    out = json.loads(capsys.readouterr().out)
    assert (len(out["chance"]), len(out["chance"][0])) == (127, 254)
    assert {p for row in out["pocket"] for p in row} <= {-1, out["pockets"].index("side-left")}


@pytest.mark.parametrize(
    ("options", "text"),
    [
        (["--ball", "7"], "ball: got '7', which is not on the table"),
        (["--ball", "4", "--pocket", "middle"], "pocket: got 'middle'; allowed: head-left"),
        (["--ball", "4", "--player", "none.json"], "none.json: cannot be read as JSON"),
    ],
)
def test_chances_refusals(
    files: dict[str, str], options: list[str], text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["chances", files["layout"], *options]) == 1
    assert text in capsys.readouterr().err


def test_the_players_own_reach_counts(
    files: dict[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a short reach of their own the same stop is out of reach."""
    after = _save(tmp_path / "after.json", _layout("after", {"cue": (1270, 700), "4": (1270, 400)}))
    short = {"format": "restmark-player", "version": 1, "handedness": "left"}
    for name in ("back", "body_side", "off_side"):
        short |= {f"hand_{name}_mm": 200, f"bridge_{name}_mm": 300}
    own = _save(tmp_path / "player.json", short)
    meant = _save(tmp_path / "meant.json", {"next": 4, "next_pocket": "side-right"})
    reaches = []
    for options in ([], ["--player", own]):
        assert main(["score", files["layout"], after, "--intent", meant, "--json", *options]) == 0
        reaches.append(json.loads(capsys.readouterr().out)["reach"])
    assert reaches == ["hand", "out of reach"]


def test_player_from_a_session(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Three attempts are too few: the file is written, and every spread said to be a start."""
    folder = tmp_path / "session"
    folder.mkdir()
    left = {"cue": (1500, 800), "4": (1270, 400), "9": (1600, 700)}
    for number in (1, 2, 3):
        _save(folder / f"shot-{number}-before.json", _layout(f"shot-{number}-before", BALLS))
        _save(folder / f"shot-{number}-after.json", _layout(f"shot-{number}-after", left))
    plan = _save(tmp_path / "plan.json", {"shots": [LEAVE] * 3})
    result = tmp_path / "player.json"
    assert main(["player", str(folder), "--plan", plan, "--out", str(result)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert len(said) == 5
    assert all("a starting value, too little to tell from 3 " in line for line in said)
    assert read_player(result).to_dict()["aim_spread_deg"] == 0.1
    own = tmp_path / "own.json"
    write_player(own, Player(aim_spread_deg=0.2))
    assert main(
        ["player", str(folder), "--plan", plan, "--out", str(result), "--player", str(own)]
    ) == 0  # fmt: skip
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "aim spread: 0.2°, as given, too little to tell from 3 pots and misses"
    assert main(["player", str(folder), "--plan", plan, "--out", str(result)]) == 0
    capsys.readouterr()
    fitted = json.loads(result.read_text(encoding="utf-8"))["fitted"]
    assert fitted["aim_spread_deg"]["count"] == 3
    assert main(["player", str(folder), "--plan", plan, "--out", str(result), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["fitted"] == fitted
