"""``teach`` and ``--set`` at the command line."""

import json

import pytest
from odd_set import CALIBRATION, layout_of, scattered, still_of, truth_of

from service.cli import main
from vision.layout import BALL_IDS, Layout
from vision.name.taught import Taught
from vision.truth.measure import match_layout, summary

FIRST, LATER = 20, 21


def run(*arguments):
    return main([str(a) for a in arguments])


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """A calibration, two stills of a set in paints of its own, and the first one's layout."""
    folder = tmp_path_factory.mktemp("set")
    CALIBRATION.write(folder / "table.json")
    for seed in (FIRST, LATER):
        (folder / f"{seed}.jpg").write_bytes(still_of(scattered(seed)))
    known = json.dumps(layout_of(scattered(FIRST)).to_dict())
    (folder / "known.json").write_text(known, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def taught(files):
    code = run(
        "teach", files / f"{FIRST}.jpg", "--calibration", files / "table.json",
        "--names", files / "known.json", "--out", files / "set.json",
    )  # fmt: skip
    assert code == 0
    return files / "set.json"


def wrong(printed):
    read = Layout.from_dict(json.loads(printed))
    return summary([match_layout(read, truth_of(scattered(LATER)))]).wrong_names


def test_layout_put_right_by_hand_teaches_the_set_and_read_uses_it(files, taught, capsys):
    assert Taught.read(taught).ids == BALL_IDS
    still = ("read", files / f"{LATER}.jpg", "--calibration", files / "table.json", "--json")
    assert run(*still) == 0
    assert wrong(capsys.readouterr().out) >= 10
    assert run(*still, "--set", taught) == 0
    assert wrong(capsys.readouterr().out) == 0


def test_names_can_be_told_by_places(files, tmp_path, capsys):
    told = ";".join(f"{b.x_mm:.0f},{b.y_mm:.0f}={b.id}" for b in scattered(FIRST))
    code = run(
        "teach", files / f"{FIRST}.jpg", "--calibration", files / "table.json",
        "--names", told, "--yes", "--out", tmp_path / "set.json",
    )  # fmt: skip
    assert code == 0
    assert "16 balls learned" in capsys.readouterr().out
    assert Taught.read(tmp_path / "set.json").ids == BALL_IDS


def test_names_as_read_are_asked_about_and_refused_ones_write_nothing(
    files, tmp_path, capsys, monkeypatch
):
    arguments = (
        "teach", files / f"{LATER}.jpg", "--calibration", files / "table.json",
        "--out", tmp_path / "set.json",
    )  # fmt: skip
    monkeypatch.setattr("typer.confirm", lambda question: not question)
    assert run(*arguments) == 1
    said = capsys.readouterr().out
    assert "16 balls" in said
    assert "say with --names which ball is which" in said
    assert not (tmp_path / "set.json").exists()
    assert run(*arguments, "--yes") == 0
    said = capsys.readouterr().out
    assert "left out, in doubt: " in said
    assert len(Taught.read(tmp_path / "set.json").ids) < len(BALL_IDS)


def test_a_still_is_added_to_an_earlier_set(files, taught, tmp_path, capsys):
    code = run(
        "teach", files / f"{LATER}.jpg", "--calibration", files / "table.json", "--yes",
        "--set", taught, "--out", tmp_path / "more.json",
    )  # fmt: skip
    assert code == 0
    assert len(Taught.read(tmp_path / "more.json").looks) > len(Taught.read(taught).looks)


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ("known.txt", "--names: got known.txt; allowed: a layout file (.json)"),
        ("900=3", "names[0]: got '900=3'; allowed: x,y=name with x and y in mm"),
        ("1270,40=3", "names[0]: got x 1270, y 40 mm, "),
        ("none.json", "none.json: no such file"),
    ],
)
def test_names_that_mean_nothing_are_refused(files, tmp_path, capsys, names, said):
    code = run(
        "teach", files / f"{FIRST}.jpg", "--calibration", files / "table.json", "--yes",
        "--names", names, "--out", tmp_path / "set.json",
    )  # fmt: skip
    assert code == 1
    assert said in capsys.readouterr().err
    assert not (tmp_path / "set.json").exists()


def test_set_of_other_networks_is_refused(files, taught, tmp_path, capsys):
    old = json.loads(taught.read_text(encoding="utf-8")) | {"network": "older"}
    (tmp_path / "old.json").write_text(json.dumps(old), encoding="utf-8")
    code = run(
        "read", files / f"{LATER}.jpg", "--calibration", files / "table.json",
        "--set", tmp_path / "old.json",
    )  # fmt: skip
    assert code == 1
    assert "old.json.network: got 'older'; allowed: " in capsys.readouterr().err
