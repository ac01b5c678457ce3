"""A store in PostgreSQL that is shared, cut off, damaged or not there at all."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
from contextlib import closing

import pytest
import sqlalchemy as sa
from api_kit import CALIBRATION, Client, after, assert_problem, running, still
from store_kit import URLS, change_past_the_store, open_store

from service.cli import main
from service.store import DamagedError, HeldError, NoStoreError, Store, StoreError

HOLD = (
    "import pathlib, sys; from service.store import Store; "
    "store = Store(pathlib.Path(sys.argv[1]), sys.argv[2], hold=True); "
    "print('held', flush=True); input()"
)
WAIT_S = 20.0
"""A thread that waits for the other's write and is not done by then never will be."""
CUT = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{}'"


@pytest.fixture
def url(postgres, filled_postgres):
    return postgres.database(like=filled_postgres)


@pytest.fixture
def data(tmp_path, url):
    folder = tmp_path / "data"
    URLS[folder] = url
    yield folder
    URLS.pop(folder)


def cut_off(postgres, url):
    """End every connection to that database, as a restart of the server does."""
    assert postgres.ask(CUT.format(sa.make_url(url).database))


def test_a_second_service_is_refused_wherever_its_stills_lie(data, url, tmp_path):
    other = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path / "elsewhere"), url],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert other.stdout.readline() == "held\n"
        with pytest.raises(HeldError) as refused:
            open_store(data, hold=True)
        assert f"process {other.pid} on {socket.gethostname()} since 20" in refused.value.detail
        open_store(data).close()  # a session may be kept, progress be looked at, meanwhile
        os.kill(other.pid, signal.SIGKILL)
        other.wait()
        open_store(data, hold=True).close()  # who is dead holds nothing
    finally:
        other.kill()
        other.communicate()


def test_a_second_service_on_the_stills_is_refused_whatever_its_database(data, postgres, tmp_path):
    with closing(open_store(data, hold=True)), pytest.raises(HeldError):
        Store(data, postgres.database(), hold=True)


def test_a_service_goes_on_after_the_server_came_back(data, url, postgres):
    with running(data) as address, Client(address) as client:
        client.calibrate()
        cut_off(postgres, url)
        assert client.get("/health").status_code == 200
        assert client.give(still()).status_code == 201
        with pytest.raises(HeldError):
            Store(data.with_name("other"), url, hold=True)


def test_a_store_that_another_took_meanwhile_is_not_written_to(data, url, postgres):
    with closing(open_store(data, hold=True)) as store:
        cut_off(postgres, url)
        with closing(Store(data.with_name("other"), url, hold=True)):
            with pytest.raises(HeldError), store.writing() as writer:
                writer.add_player("Ada")
            with store.reading() as reader:
                assert len(reader.players(limit=9)) == 1
        with store.writing() as writer:
            writer.add_player("Ada")


def test_two_processes_write_one_after_the_other(data, url):
    with closing(open_store(data)) as one, closing(Store(data, url)) as other:
        order = []

        def write():
            with other.writing() as writer:
                order.append("other")
                writer.add_player("Bo")

        thread = threading.Thread(target=write)
        with one.writing() as writer:
            writer.add_player("Ada")
            thread.start()
            thread.join(0.2)
            order.append("one")
        thread.join(WAIT_S)
        assert order == ["one", "other"]
        with one.reading() as reader:
            assert [each.name for each in reader.players(limit=2)] == ["Bo", "Ada"]


def test_a_look_sees_one_moment(data):
    with closing(open_store(data)) as store, store.reading() as reader:
        assert len(reader.players(limit=9)) == 1
        with store.writing() as writer:
            writer.add_player("Ada")
        assert len(reader.players(limit=9)) == 1


def test_a_server_that_is_away_is_a_refusal_without_the_password(tmp_path):
    url = f"postgresql+psycopg://ada:secret@/none?host={tmp_path}"
    with pytest.raises(StoreError) as refused:
        Store(tmp_path / "data", url)
    assert "cannot be used" in refused.value.detail
    assert "secret" not in refused.value.detail


@pytest.mark.parametrize("url", ["", "ada", "sqlite:///x.db", "mysql://ada@localhost/x", "://"])
def test_what_is_no_address_of_a_postgresql_is_refused(tmp_path, url):
    with pytest.raises(StoreError, match=r"--store: got .*allowed: postgresql\+psycopg://"):
        Store(tmp_path / "data", url)
    assert not (tmp_path / "data").exists()


def test_a_damaged_document_is_named_at_the_start(data):
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.round(after())
    change_past_the_store(data, "UPDATE attempts SET verdict = '7'")
    with pytest.raises(DamagedError, match=r"attempts\[1\]\.verdict"):
        open_store(data)


def test_stills_that_went_are_a_refusal(data):
    with running(data) as address, Client(address) as client:
        client.calibrate()
        (data / "stills").rename(data / "gone")
        assert_problem(client.give(still()), 503, "store-failed", text="stills/ is gone")
        (data / "gone").rename(data / "stills")
        assert client.give(still()).status_code == 201


def test_a_database_of_a_newer_release_is_refused_untouched(data):
    open_store(data).close()
    change_past_the_store(data, "UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(StoreError, match="got step 9999"):
        open_store(data)


def test_a_look_at_progress_makes_no_store(postgres, tmp_path, capsys):
    url = postgres.database()
    with pytest.raises(NoStoreError):
        Store(tmp_path / "data", url, must_exist=True)
    assert main(["progress", "--data", str(tmp_path / "data"), "--store", url]) != 0
    assert "no store" in capsys.readouterr().err
    name = sa.make_url(url).database
    assert postgres.ask("SELECT * FROM pg_tables WHERE schemaname = 'public'", name) == []


def test_the_command_reads_a_store_by_its_address(data, url, tmp_path, capsys):
    with running(data) as address, Client(address) as client:
        assert client.put("/calibration", json=CALIBRATION.to_dict()).status_code == 200
        client.round(after())
    assert main(["progress", "--data", str(data), "--store", url, "--json"]) == 0
    assert '"attempts": 1' in capsys.readouterr().out
    assert not (data / "restmark.db").exists()
