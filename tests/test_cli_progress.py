"""``session --data`` keeps sessions in a store, ``progress`` shows them together."""

from __future__ import annotations

import json
import os

import pytest
from api_kit import CALIBRATION, FAR, INTENT, after, layout, stand_in_read, still

from service.cli import main
from service.position import Intent, landing_zone
from service.store import Store

IN = landing_zone(after(), Intent.from_dict(INTENT), CALIBRATION.table).wanted_mm


@pytest.fixture
def table_file(tmp_path):
    path = tmp_path / "table.json"
    CALIBRATION.write(path)
    return path


@pytest.fixture(autouse=True)
def reading(monkeypatch):
    """Stills carry their layout: reading pictures has tests of its own."""
    monkeypatch.setattr("service.desk.readers.TableReaders", lambda: stand_in_read)


def folder_of(path, stops, *, shade, plan=None):
    """A session's stills and plan; ``shade`` makes its bytes differ from other sessions'."""
    path.mkdir()
    for i, stop in enumerate(stops):
        (path / f"{i}-before.jpg").write_bytes(still(layout(), shade=shade))
        (path / f"{i}-after.jpg").write_bytes(still(after(stop), shade=shade + 1))
    default = {"shots": [INTENT] * len(stops), "notes": [{"spin": "draw"}] * len(stops)}
    (path / "plan.json").write_text(json.dumps(plan or default))
    return path


def run(*arguments):
    return main([str(a) for a in arguments])


def keep(folder, table_file, data, *more):
    return run("session", folder, "--calibration", table_file, "--data", data, *more)


def progress(capsys, data, *more):
    capsys.readouterr()
    assert run("progress", "--data", data, "--json", *more) == 0
    return json.loads(capsys.readouterr().out)


def test_sessions_of_three_weeks(capsys, tmp_path, table_file):
    data = tmp_path / "data"
    for week, stops in enumerate(([FAR, FAR, IN], [FAR, IN, IN], [IN, IN, IN])):
        folder = folder_of(tmp_path / f"week-{week}", stops, shade=40 + 10 * week)
        assert keep(folder, table_file, data, "--played", f"2026-11-{3 + 7 * week:02d}") == 0
        assert "3 attempts kept" in capsys.readouterr().err
    body = progress(capsys, data)
    found = body["progress"]
    rates = [s["summary"]["zone"]["successes"] for s in found["sessions"]]
    assert rates == [1, 2, 3]
    assert [group["label"] for split in found["by_kind"] if split["by"] == "spin"
            for group in split["groups"]] == ["draw"]  # fmt: skip
    assert found["zone_trend"]["sessions_missing"] == 2
    assert run("progress", "--data", data) == 0
    text = capsys.readouterr().out
    assert "2026-11-10" in text
    assert "Sessions until a trend can be claimed: at least 2 more" in text
    for line in body["words"]:
        assert line in text


def test_the_files_own_time_tells_sessions_apart(capsys, tmp_path, table_file):
    data = tmp_path / "data"
    for day in range(2):
        folder = folder_of(tmp_path / f"day-{day}", [IN], shade=60 + 10 * day)
        for path in folder.glob("*.jpg"):
            os.utime(path, (1.79e9 + 86400 * day, 1.79e9 + 86400 * day))
        assert keep(folder, table_file, data) == 0
    assert len(progress(capsys, data)["progress"]["sessions"]) == 2


def test_the_same_session_is_kept_once(capsys, tmp_path, table_file):
    folder, data = folder_of(tmp_path / "one", [IN], shade=50), tmp_path / "data"
    assert keep(folder, table_file, data) == 0
    assert keep(folder, table_file, data) == 0
    assert "holds this very session already: nothing was added" in capsys.readouterr().err
    assert progress(capsys, data)["progress"]["attempts"] == 1


def test_sets_in_the_plan_are_kept_apart(capsys, tmp_path, table_file):
    plan = {"shots": [INTENT] * 3, "in_a_row": 2}
    folder = folder_of(tmp_path / "sets", [IN, IN, FAR], shade=50, plan=plan)
    assert keep(folder, table_file, tmp_path / "data") == 0
    assert "Sets of 2 in a row: completed 1 time (in 3 attempts" in capsys.readouterr().out
    body = progress(capsys, tmp_path / "data")
    assert body["progress"]["attempts"] == 0
    assert body["progress"]["sets"][0]["sets"]["completions"] == 1
    assert body["words"][0] == "No plain attempts are stored yet."


def test_layouts_cannot_be_kept(capsys, tmp_path, table_file):
    folder = tmp_path / "layouts"
    folder.mkdir()
    for name, made in (("1-before", layout(still="1-before")), ("1-after", after())):
        (folder / f"{name}.json").write_text(json.dumps(made.to_dict()))
    assert keep(folder, table_file, tmp_path / "data") == 1
    assert "1-before is a layout; allowed: a session of stills" in capsys.readouterr().err
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize("given", ["yesterday", "2026-13-01", "24.11.2026"])
def test_a_day_that_is_none_is_refused(capsys, tmp_path, table_file, given):
    folder = folder_of(tmp_path / "one", [IN], shade=50)
    assert keep(folder, table_file, tmp_path / "data", "--played", given) == 1
    assert f"--played: got '{given}'; allowed: a day" in capsys.readouterr().err


def test_a_folder_without_a_store_is_refused_and_stays_empty(capsys, tmp_path):
    assert run("progress", "--data", tmp_path) == 1
    assert "holds no store; allowed: a folder that" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_an_empty_store_says_so(capsys, tmp_path):
    Store(tmp_path).close()
    assert run("progress", "--data", tmp_path) == 0
    assert "No plain attempts are stored yet." in capsys.readouterr().out
