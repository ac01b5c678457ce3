"""A disk without room, and a database that another program holds: 503, and nothing is lost.

Files of the service's process may not grow beyond a limit, as on a full disk.
"""

from __future__ import annotations

import re
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from api_kit import CALIBRATION, Client, after, assert_problem, running, taken

from service.store import DATABASE_NAME

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
