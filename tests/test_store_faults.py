"""A data directory that is taken away, shared, or damaged: nothing goes on as if all were well."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys

import pytest
from api_kit import Client, after, assert_problem, running, still

from service.api import create_app
from service.store import DATABASE_NAME, DamagedError, HeldError, Store, StoreError
from service.store.databases.kept import daily_copies


@pytest.fixture
def filled(data):
    """A directory with one attempt, and no service on it."""
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.round(after())
    return data


def damage(data, statement, *values):
    database = sqlite3.connect(data / DATABASE_NAME)
    with database:
        database.execute(statement, values)
    database.close()


def still_files(data):
    return sorted(path for path in (data / "stills").rglob("*") if path.is_file())


# -- taken away ------------------------------------------------------------------------------


def test_nothing_is_acknowledged_once_the_directory_is_gone(client, data):
    assert client.give(still()).status_code == 201
    shutil.rmtree(data)
    answer = client.give(still(after(), shade=140))
    assert_problem(answer, 503, "store-failed", text="restmark.db is gone")
    assert not data.exists(), "no half directory is made again"
    assert_problem(client.get("/health"), 503, "store-failed")


def test_another_directory_in_its_place_is_not_written_to(client, data):
    client.give(still())
    shutil.copytree(data, data.with_name("copy"))
    shutil.rmtree(data)
    data.with_name("copy").rename(data)
    answer = client.give(still(after(), shade=140))
    assert_problem(answer, 503, "store-failed", text="is another file than the one opened")
    assert len(still_files(data)) == 1


def test_a_still_whose_folder_goes_before_it_is_kept_is_refused(client, data):
    shutil.rmtree(data / "stills")
    assert_problem(client.give(still()), 503, "store-failed")
    assert client.get("/health").json()["stills"] == 0


def test_a_file_that_goes_before_the_commit_is_an_error(data):
    store = Store(data)

    def write():
        with store.writing() as writer:
            writer.add_still(b"\xff\xd8\xff1", name="one.jpg")
            for path in still_files(data):
                path.unlink()

    with pytest.raises(StoreError, match="its file is gone again"):
        write()
    with store.reading() as reader:
        assert reader.counts()["stills"] == 0
    store.close()


# -- shared ----------------------------------------------------------------------------------

HOLD = "import pathlib, sys; from service.store import Store; "
HOLD += "store = Store(pathlib.Path(sys.argv[1]), hold=True); print('held', flush=True); input()"


def test_a_second_service_is_refused_and_told_who_holds_it(data):
    other = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(data)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert other.stdout.readline() == "held\n"
        with pytest.raises(HeldError) as refused:
            create_app(data)
        assert refused.value.code == "store-held"
        for told in (f"process {other.pid} ", f" on {socket.gethostname()} ", " since 20"):
            assert told in refused.value.detail
        Store(data).close()  # a session may be kept, progress be looked at, meanwhile
        os.kill(other.pid, signal.SIGKILL)
        other.wait()
        Store(data, hold=True).close()  # who is dead holds nothing
    finally:
        other.kill()
        other.communicate()


def test_a_service_that_ended_holds_nothing(filled):
    with running(filled) as address, Client(address) as client:
        assert client.get("/health").json()["attempts"] == 1


def test_a_start_that_is_refused_holds_nothing(data):
    data.mkdir()
    (data / DATABASE_NAME).write_bytes(b"this is no database" * 100)
    with pytest.raises(StoreError):
        Store(data, hold=True)
    (data / DATABASE_NAME).unlink()
    Store(data, hold=True).close()


# -- damaged cells ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        ("UPDATE readings SET layout = substr(layout, 1, 40) WHERE id = 2", "readings[2].layout"),
        ("UPDATE attempts SET verdict = '7'", "attempts[1].verdict"),
        ("UPDATE attempts SET made_at = 'yesterday'", "attempts[1].made_at"),
        ("UPDATE attempts SET offset_along_mm = 'far'", "attempts[1].offset_along_mm"),
        ("UPDATE stills SET size_bytes = 'many' WHERE id = 1", "stills[1].size_bytes"),
        ("DELETE FROM stills WHERE id = 1", "readings[1] (its stills is gone)"),
    ],
)
def test_a_start_on_damaged_cells_is_refused_with_their_names(filled, statement, named):
    damage(filled, statement)
    with pytest.raises(DamagedError) as refused:
        Store(filled)
    assert named in refused.value.detail
    assert "restmark restore --replace" in refused.value.detail


def test_damaged_pages_of_the_database_are_refused_at_the_start(filled):
    path = filled / DATABASE_NAME
    whole = bytearray(path.read_bytes())
    for page in range(2, len(whole) // 4096):
        whole[page * 4096 : page * 4096 + 64] = b"\x55" * 64
    path.write_bytes(whole)
    with pytest.raises(DamagedError) as refused:
        Store(filled)
    assert "restmark restore --replace" in refused.value.detail


def test_a_schema_that_is_damaged_into_no_text_is_refused_as_damage(filled):
    data = (filled / DATABASE_NAME).read_bytes()
    (filled / DATABASE_NAME).write_bytes(data.replace(b"PRIMARY KEY", b"PRIMARY\xa0KEY"))
    with pytest.raises(DamagedError, match="is damaged"):
        Store(filled)


def test_a_copy_is_kept_a_while_and_never_one_of_damage(filled):
    (kept,) = daily_copies(filled)
    os.utime(kept.path, (1.79e9, 1.79e9))
    damage(filled, "UPDATE attempts SET verdict = '7'")
    with pytest.raises(DamagedError):
        Store(filled, hold=True)
    assert kept.path.stat().st_mtime == 1.79e9
    damage(filled, "UPDATE attempts SET verdict = '{}'")
    Store(filled, hold=True).close()
    made = kept.path.stat().st_mtime
    assert made > 1.79e9
    assert kept.path.stat().st_mode & 0o077 == 0, "others cannot read it"
    Store(filled, hold=True).close()
    assert kept.path.stat().st_mtime == made


@pytest.mark.parametrize("cell", ['{"still": ', '{"still": "a"}'])
def test_a_cell_damaged_later_is_a_refusal_and_no_failure(client, data, cell):
    client.give(still())
    damage(data, "UPDATE readings SET layout = ?", cell)
    assert_problem(client.get("/readings/1"), 503, "store-damaged")


# -- damaged stills --------------------------------------------------------------------------


@pytest.mark.parametrize("how", ["emptied", "gone", "changed"])
def test_a_start_with_a_damaged_still_says_which(filled, how):
    path = still_files(filled)[0]
    data = path.read_bytes()
    if how == "gone":
        path.unlink()
    else:
        path.write_bytes(b"" if how == "emptied" else data[:-1] + bytes([data[-1] ^ 1]))
    with running(filled) as address, Client(address) as client:
        health = client.get("/health").json()
        (number,) = health["damaged_stills"]
        assert client.get(f"/stills/{number}").json()["sha256"] == path.name
        (warning,) = health["warnings"]
        assert f"{number} (" in warning
        answer = client.get(f"/stills/{number}/picture")
        assert_problem(answer, 503, "store-failed", text="post the picture again")
        # the way out that is told
        assert client.give(data).status_code == 200, "the same still counts once"
        assert client.get(f"/stills/{number}/picture").content == data
    with running(filled) as address, Client(address) as client:
        health = client.get("/health").json()
        assert (health["damaged_stills"], health["warnings"]) == ([], [])


def test_the_stills_check_ends_in_time(filled):
    store = Store(filled)
    found = store.check_stills(limit_s=-1.0)
    assert (found.stills, found.sized, found.hashed) == (2, 0, 0)
    assert store.check_stills().hashed == 2
    store.close()
