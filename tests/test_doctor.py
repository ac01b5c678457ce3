"""The doctor says what is wrong and what to do, and changes nothing."""

import json
import sqlite3
from contextlib import closing

import pytest
from api_kit import Client, after, running

from service.cli import main
from service.store import Store

WATCHED = "INSERT INTO watches (table_id, set_at, source) VALUES"


@pytest.fixture
def filled(data):
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.round(after())
    return data


@pytest.fixture
def told(capsys):
    """Exit code and findings by what they are of."""

    def ask(data):
        code = main(["doctor", "--data", str(data), "--json"])
        lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
        assert all(set(line) == {"what", "state", "found", "to_do"} for line in lines)
        assert all(line["to_do"] for line in lines if line["state"] != "ok")
        return code, {line["what"]: line for line in lines}

    return ask


def change(data, statement, *values):
    with closing(sqlite3.connect(data / "restmark.db")) as database:
        database.execute(statement, values)
        database.commit()


def test_all_is_well(filled, told):
    before = {path: path.stat().st_mtime_ns for path in filled.rglob("*") if path.is_file()}
    code, found = told(filled)
    wrong = {what: each for what, each in found.items() if each["state"] != "ok"}
    assert (code, wrong) == (0, {})
    assert found.keys() >= {
        "restmark", "python", "libraries", "networks", "disk", "service", "database", "pictures",
        "daily copies", "calibration of table 1", "camera",
    }  # fmt: skip
    assert found["database"]["found"].startswith("whole: 1 attempts, 2 readings")
    assert found["pictures"]["found"] == "2, all looked at and whole"
    now = {path: path.stat().st_mtime_ns for path in before}
    assert {path.name for path in before if now[path] != before[path]} <= {"restmark.lock"}


def test_a_running_service_is_named_and_left_its_camera(filled, told, tmp_path):
    change(
        filled,
        f"{WATCHED} (1, '2026-01-01 10:00:00', ?)",
        "rtsp://a:b@cam/1",
    )
    with closing(Store(filled, hold=True)):
        code, found = told(filled)
    assert code == 0
    assert found["service"]["found"].startswith("runs: process ")
    assert found["camera of table 1"]["found"] == "rtsp://cam/1, in use by the running service"


@pytest.mark.parametrize(
    ("statement", "what", "said", "to_do"),
    [
        ("UPDATE attempts SET verdict = '7'", "database", "attempts[1].verdict",
         "restmark restore"),
        ("UPDATE alembic_version SET version_num = '9999'", "database", "step 9999", "newer"),
        ("UPDATE calibrations SET set_at = '2020-01-01 00:00:00'", "calibration of table 1",
         "days old", "calibrate anew"),
        ("DELETE FROM stills", "database", "its stills is gone", "restmark restore"),
        (f"{WATCHED} (1, '2026-01-01 10:00:00', '/nowhere')", "camera of table 1",
         "no source of pictures", "Check cable"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_what_to_do(filled, told, statement, what, said, to_do):
    change(filled, statement)
    code, found = told(filled)
    assert said in found[what]["found"]
    assert to_do in found[what]["to_do"]
    assert code == (0 if found[what]["state"] == "care" else 1)


def test_a_damaged_picture_and_a_missing_folder_are_wrong(filled, told, tmp_path):
    next((filled / "stills").glob("*/*")).write_bytes(b"")
    code, found = told(filled)
    assert (code, found["pictures"]["state"]) == (1, "wrong")
    code, found = told(tmp_path / "nowhere")
    assert (code, found["data folder"]["state"]) == (1, "wrong")
    assert not (tmp_path / "nowhere").exists()
