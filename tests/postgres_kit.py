"""A throw-away PostgreSQL from the system's own binaries: one cluster a run, a database a test."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path

import pytest
import sqlalchemy as sa

FOLDERS = ("/usr/lib/postgresql/*/bin", "/usr/pgsql-*/bin", "/usr/local/pgsql/bin")
USER = "postgres"
QUICK = (
    "listen_addresses=''",
    "fsync=off",  # the machine does not fail in a test; the service does
    "full_page_writes=off",
    "shared_buffers=16MB",
    "max_connections=60",
    "log_min_messages=panic",
)
OUTLIVED = (
    'while kill -0 "$1" 2>/dev/null; do sleep 1; done; '
    'kill -QUIT "$(head -n 1 "$2/data/postmaster.pid")"; rm -rf "$2"'
)
"""Ends the server where the tests were killed, and could not."""
_numbers = count(1)


def binaries() -> Path:
    """Where PostgreSQL's own programs lie; skips without, but never in CI."""
    found = [path for pattern in FOLDERS for path in Path("/").glob(pattern[1:])]
    usable = sorted(path for path in found if (path / "initdb").exists())
    if not usable:
        assert not os.environ.get("CI"), "PostgreSQL is not installed, and CI tests on it"
        pytest.skip("PostgreSQL is not installed")
    return usable[-1]


def run(*command: object) -> None:
    """A program of PostgreSQL's; as root by its own user, since it refuses root."""
    words = [str(word) for word in command]
    if os.geteuid() == 0:
        words = ["runuser", "-u", USER, "--", *words]
    done = subprocess.run(
        words, cwd="/", capture_output=True, text=True, env=os.environ | {"LC_ALL": "C.UTF-8"}
    )
    assert done.returncode == 0, f"{words}: {done.stdout}{done.stderr}"


class Cluster:
    """A running server that listens on a socket in its own folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._bin = binaries()

    def start(self) -> None:
        """Run it; ready when this returns."""
        options = " ".join(
            f"-c {setting}" for setting in (*QUICK, f"unix_socket_directories={self.folder}")
        )
        run(self._bin / "pg_ctl", "-D", self.folder / "data", "-w", "-s", "-o", options,
            "-l", self.folder / "log", "start")  # fmt: skip

    def stop(self, *, how: str = "immediate") -> None:
        """End it."""
        run(self._bin / "pg_ctl", "-D", self.folder / "data", "-s", "-m", how, "stop")

    def make(self) -> None:
        """Its files."""
        run(self._bin / "initdb", "-D", self.folder / "data", "-U", USER, "-A", "trust",
            "-E", "UTF8", "--no-locale", "--no-sync", "--no-instructions")  # fmt: skip

    def url(self, name: str = USER) -> str:
        """Address of one of its databases."""
        return f"postgresql+psycopg://{USER}@/{name}?host={self.folder}"

    def database(self, *, like: str = "template0") -> str:
        """Address of a new database that is as ``like`` is."""
        name = f"test_{next(_numbers)}"
        self.ask(f"CREATE DATABASE {name} TEMPLATE {like}")
        return self.url(name)

    def ask(self, statement: str, name: str = USER) -> list[tuple[object, ...]]:
        """What one of its databases answers, outside any store."""
        engine = sa.create_engine(self.url(name), isolation_level="AUTOCOMMIT")
        try:
            with engine.connect() as connection:
                found = connection.exec_driver_sql(statement)
                return [tuple(row) for row in found] if found.returns_rows else []
        finally:
            engine.dispose()


@contextmanager
def cluster() -> Iterator[Cluster]:
    """A server for as long as the block lasts."""
    folder = Path(tempfile.mkdtemp(prefix="restmark-pg-", dir="/tmp"))
    try:
        if os.geteuid() == 0:
            shutil.chown(folder, USER, USER)
        made = Cluster(folder)
        made.make()
        made.start()
        watch = subprocess.Popen(
            ["sh", "-c", OUTLIVED, "sh", str(os.getpid()), str(folder)], start_new_session=True
        )
        try:
            yield made
        finally:
            watch.kill()
            watch.wait()
            with suppress(AssertionError):
                made.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
