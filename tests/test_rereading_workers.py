"""Workers that are killed, a scheduler that goes, a command that is stopped: every still once.

The cluster is Dask's own, of real processes on this machine.
"""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

import distributed
import pytest
from api_kit import free_port
from archive_kit import DEADLY, fill, read_or_die, readings_a_still
from store_kit import open_store

from service.rereading import Wanted, pool, reread_all, target_of
from service.rereading.pool import SchedulerLostError, joined_pool

BOTH_DATABASES = True
STILLS = 12
SOON_S = 60


@pytest.fixture(scope="module")
def cluster():
    """Two workers behind a scheduler."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None,
        memory_limit=0, silence_logs=logging.CRITICAL,
    ) as cluster:  # fmt: skip
        yield cluster


def workers_of(address):
    """Process numbers of its workers."""
    with distributed.Client(address, set_as_default=False) as client:
        return list(client.run(os.getpid).values())


def test_a_killed_worker_and_a_second_run_read_every_still_once(data, cluster):
    fill(data, STILLS // 2, tables=2)
    killed = []

    def kill_one(progress):
        if not killed:
            killed.append(workers_of(cluster.scheduler_address)[0])
            os.kill(killed[0], signal.SIGKILL)
        assert progress.total == STILLS
        assert progress.left_s is not None

    with closing(open_store(data)) as store:
        target = target_of(store, Wanted())
        done = reread_all(store, target, scheduler=cluster.scheduler_address, tell=kill_one)
        assert killed
        assert (done.read, done.gone, dict(done.refused)) == (STILLS, 0, {})
        again = reread_all(store, target, scheduler=cluster.scheduler_address)
        assert (again.read, again.read_before) == (0, STILLS)
    assert readings_a_still(data) == {1: STILLS}


def test_a_still_that_kills_every_worker_is_told_and_no_other_is(tmp_path, cluster, monkeypatch):
    data = tmp_path / "data"
    fill(data, 6)
    monkeypatch.setattr(pool, "read_batch", read_or_die)
    monkeypatch.setattr(cluster.scheduler, "allowed_failures", 0)
    with closing(open_store(data)) as store:
        target = target_of(store, Wanted())
        done = reread_all(store, target, scheduler=cluster.scheduler_address)
        assert (done.read, dict(done.refused)) == (5, {"killed-worker": 1})
        with store.reading() as reader:
            stills = reader.stills_to_read()
            missing = [s.name for s in stills if len(reader.readings_of([s.id])[s.id]) == 1]
    assert missing == [DEADLY]


class Site:
    """A scheduler and a worker as processes of their own, on one port."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self.address = f"tcp://127.0.0.1:{self.port}"
        self._running: list[subprocess.Popen] = []

    def start(self) -> None:
        self._run("scheduler", "--host", "127.0.0.1", "--port", self.port, "--no-dashboard")
        self._run("worker", self.address, "--nthreads", 1, "--no-dashboard",
                  "--local-directory", self.folder, "--death-timeout", 60)  # fmt: skip

    def _run(self, *words) -> None:
        command = [sys.executable, "-m", "dask", *map(str, words)]
        self._running.append(
            subprocess.Popen(
                command, cwd=self.folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                start_new_session=True,
                env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent)},
            )
        )  # fmt: skip

    def kill(self) -> None:
        """Both at once, with all their processes."""
        for process in self._running:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        self._running.clear()


@pytest.fixture
def site(tmp_path):
    folder = tmp_path / "site"
    folder.mkdir()
    site = Site(folder)
    yield site
    site.kill()


def test_a_lost_scheduler_loses_nothing_and_one_that_comes_back_goes_on(site, tmp_path):
    data = tmp_path / "data"
    fill(data, 8)
    site.start()
    came_back = []

    def lose(_progress):
        if not came_back:
            site.kill()
            came_back.append(threading.Thread(target=site.start))
            came_back[0].start()

    with closing(open_store(data)) as store:
        target = target_of(store, Wanted())
        done = reread_all(store, target, scheduler=site.address, tell=lose, patience_s=SOON_S)
        came_back[0].join()
        assert done.reconnected >= 1
        assert done.read == 8
    assert readings_a_still(data) == {1: 8}


def test_a_scheduler_that_never_was_is_told():
    nobody = joined_pool("tcp://127.0.0.1:9", timeout_s=0.3)
    with pytest.raises(SchedulerLostError, match=r"does not answer; allowed: the address") as lost:
        nobody.__enter__()
    assert lost.value.code == "scheduler-lost"


def test_a_command_that_is_killed_goes_on_where_it_was(tmp_path):
    data, stills = tmp_path / "data", 8
    fill(data, stills)
    command = [sys.executable, "-m", "service", "reread", "--data", str(data), "--workers", "1"]
    where = Path(__file__).parent.parent
    first = subprocess.Popen(
        command, cwd=where, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        start_new_session=True,
    )  # fmt: skip
    until = time.monotonic() + SOON_S
    while readings_a_still(data)[1] == 0 and first.poll() is None and time.monotonic() < until:
        time.sleep(0.05)
    os.killpg(first.pid, signal.SIGKILL)
    first.wait()
    kept = readings_a_still(data)[1]
    assert kept > 0
    done = subprocess.run(command, cwd=where, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert f"read so before: {kept}" in done.stdout
    assert readings_a_still(data) == {1: stills}
