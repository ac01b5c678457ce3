"""A disk without room, and a database that another program holds: 503, and nothing is lost.

Copies, what is put back, and the log on such a disk, too.

Files of the service's process may not grow beyond a limit, as on a full disk.
"""

from __future__ import annotations

import json
import re
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from api_kit import CALIBRATION, Client, after, assert_problem, running, taken

from service.cli import main
from service.store import DATABASE_NAME, LOCK_NAME, Store
from service.store.databases.kept import daily_copies

LIMIT = 900_000
"""Bytes that a file may grow to; an empty database is smaller."""
SERVE = """
import pathlib, resource, sys
limit = int(sys.argv[2])
if limit:
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
from service.api import serve
serve(pathlib.Path(sys.argv[1]), port=0)
"""


@contextmanager
def serving(data: Path, limit: int) -> Iterator[Client]:
    process = subprocess.Popen(
        [sys.executable, "-u", "-c", SERVE, str(data), str(limit)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        line = process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+/", line)
        assert found, line + process.stderr.read()
        with Client(found[0]) as client:
            yield client
    finally:
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=60)
    assert "Traceback" not in said, said


def documents(number: int) -> dict[str, tuple[str, str, dict]]:
    """By what they are: something else to store each time."""
    note = f"{number} " + "x" * 900
    head = "left" if number % 2 else "right"
    return {
        "calibration": ("PUT", "/calibration", CALIBRATION.to_dict() | {"head": head}),
        "settings": ("PUT", "/player", {"speed_share": 0.05 + number / 1e6}),
        "player": ("POST", "/players", {"name": f"Player {number}"}),
        "table": ("POST", "/tables", {"name": f"Table {number}"}),
        "plan": ("POST", "/plans", {"title": note[:80], "plan": {"shots": [None] * 50}}),
    }


def test_what_was_acknowledged_before_the_disk_was_full_is_there_afterwards(tmp_path) -> None:
    data, kept = tmp_path / "data", dict.fromkeys(documents(0), 0)
    full: dict[str, dict] = {}
    with serving(data, LIMIT) as client:
        for number in range(1, 4000):
            for what, (method, path, document) in documents(number).items():
                answer = client.request(method, path, json=document)
                if answer.status_code in (200, 201):
                    kept[what] += 1
                elif answer.status_code == 503:
                    full[what] = assert_problem(answer, 503, "store-failed")
                else:
                    assert answer.status_code == 422, answer.text
            if len(full) >= 3:
                break
        assert full, "the disk was never full"
        assert all("room" in problem["detail"] for problem in full.values())
        assert client.get("/health").status_code == 200
        assert client.give(taken()).status_code in (422, 503)
    with serving(data, 0) as client:  # room again
        assert len(client.get("/tables").json()["tables"]) == kept["table"] + 1
        assert len(client.get("/players").json()["players"]) == kept["player"] + 1
        assert client.get("/calibration").status_code == (200 if kept["calibration"] else 404)
        method, path, document = documents(5001)["table"]
        assert client.request(method, path, json=document).status_code == 201
        assert client.get("/health").json()["database"]["state"] != "damaged"


def test_a_database_that_another_program_holds_is_told_and_used_again(tmp_path) -> None:
    data = tmp_path / "data"
    with running(data) as address, Client(address) as client:
        client.calibrate()
        assert client.give(taken()).status_code == 201
        with closing(sqlite3.connect(data / DATABASE_NAME, isolation_level=None)) as other:
            other.execute("BEGIN EXCLUSIVE")
            refused = client.give(taken(after(), shade=140))
            assert_problem(refused, 503, "store-failed", text="no other program holds")
            assert client.get("/health").json()["stills"] == 1
            other.execute("ROLLBACK")
        assert client.give(taken(after(), shade=140)).status_code == 201
        assert client.get("/health").json()["stills"] == 2


# -- copies --------------------------------------------------------------------------------------

BIG_STILL_BYTES = 2_000_000
IN_THE_DATABASE, IN_THE_PICTURES = 60_000, 1_000_000
"""Room for a part of the database; for all of it and no large picture."""
UNDER = """
import resource, sys
limit = int(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
"""
COMMAND = UNDER + "from service.cli import main; sys.exit(main(sys.argv[2:]))"
OPEN = """
import contextlib, pathlib
from service.store import Store
with contextlib.closing(Store(pathlib.Path(sys.argv[2]), hold=True)) as store:
    print(store.condition.state, "|", " ".join(store.warnings))
    with store.reading() as reader:
        print(reader.counts()["stills"])
"""
LOG = """
import pathlib
from service import log
with log.to_files(pathlib.Path(sys.argv[2])):
    for number in range(2000):
        log.event("turn", number=number)
    if len(sys.argv) > 3:
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
        log.event("turn", number=-1)
print("went on")
"""


def under(limit: int, code: str, *words: object) -> subprocess.CompletedProcess[str]:
    """Run ``code`` where no file may grow beyond ``limit`` bytes."""
    found = subprocess.run(
        [sys.executable, "-c", code, str(limit), *map(str, words)],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert "Traceback" not in found.stderr, found.stderr
    return found


def restmark(*words: object) -> int:
    return main([str(word) for word in words])


def listing(folder: Path) -> dict[str, bytes]:
    """Every file below, with its bytes."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != LOCK_NAME
    }


def big(shade: int) -> bytes:
    return taken(shade=shade) + b" " * BIG_STILL_BYTES


@pytest.mark.parametrize("limit", [IN_THE_DATABASE, IN_THE_PICTURES])
def test_a_copy_that_finds_no_room_leaves_the_one_before_whole(tmp_path, limit) -> None:
    data, copy = tmp_path / "data", tmp_path / "copy"
    with running(data) as address, Client(address) as client:
        client.calibrate()
        assert client.give(big(90)).status_code == 201
        assert restmark("backup", copy, "--data", data) == 0
        assert client.give(big(140)).status_code == 201
        before = listing(copy)
        refused = under(limit, COMMAND, "backup", copy, "--data", data)
        assert refused.returncode == 1
        assert "the copy could not be made" in refused.stderr
        assert "Make room" in refused.stderr
        assert listing(copy) == before, "nothing is lost, and nothing stays that takes room"
        assert client.give(big(180)).status_code == 201, "the service goes on"
    assert restmark("restore", copy, "--data", tmp_path / "new") == 0
    with running(tmp_path / "new") as address, Client(address) as client:
        assert client.get("/health").json()["stills"] == 1


@pytest.mark.parametrize("limit", [IN_THE_DATABASE, IN_THE_PICTURES])
def test_a_copy_is_not_put_back_by_half_where_there_is_no_room(tmp_path, limit) -> None:
    data, copy = tmp_path / "data", tmp_path / "copy"
    with running(data) as address, Client(address) as client:
        client.calibrate()
        assert client.give(big(90)).status_code == 201
        assert restmark("backup", copy, "--data", data) == 0
    for path in (data / "stills").glob("*/*"):
        path.unlink()
    before = listing(data)
    refused = under(limit, COMMAND, "restore", copy, "--data", data, "--replace")
    assert refused.returncode == 1
    assert "room" in refused.stderr
    assert listing(data) == before
    assert restmark("restore", copy, "--data", data, "--replace") == 0


def test_a_daily_copy_that_finds_no_room_is_said_and_the_older_ones_stay(tmp_path) -> None:
    data = tmp_path / "data"
    with running(data) as address, Client(address) as client:
        client.calibrate()
        assert client.give(taken()).status_code == 201
    (today,) = daily_copies(data)
    # one of another day
    old = today.path.with_name("restmark-2026-01-02.db")
    today.path.rename(old)
    held = old.read_bytes()
    opened = under(IN_THE_DATABASE, UNDER + OPEN, data)
    assert opened.returncode == 0, opened.stderr
    state, stills = opened.stdout.splitlines()
    assert state.startswith("whole | No copy of the database could be made today"), state
    assert "the newest is 2026-01-02" in state
    assert stills == "1"
    assert [path.name for path in (data / "copies").iterdir()] == [old.name]
    assert old.read_bytes() == held
    with closing(Store(data, hold=True)):
        assert len(daily_copies(data)) == 2


# -- the log -------------------------------------------------------------------------------------


@pytest.mark.parametrize("has_room_again", [False, True])
def test_a_full_disk_costs_lines_of_the_log_and_nothing_else(tmp_path, has_room_again) -> None:
    found = under(5000, UNDER + LOG, tmp_path, *["again"] * has_room_again)
    assert (found.returncode, found.stdout, found.stderr) == (0, "went on\n", "")
    text = (tmp_path / "logs" / "restmark.log").read_text(encoding="utf-8")
    lines = text.splitlines()
    whole = lines if text.endswith("\n") else lines[:-1]
    numbers = [json.loads(line)["number"] for line in whole]
    if has_room_again:
        assert numbers[-1] == -1, "it goes on once there is room"
        numbers.pop()
    assert numbers == list(range(len(numbers)))
    assert 20 < len(numbers) < 2000
