"""``serve`` as the command calls it: in a process of its own, ended as a user ends it."""

import os
import re
import signal
import socket
import subprocess
import sys
import time

import httpx
import pytest
from api_kit import CALIBRATION

from calibration.errors import FileFormatError
from service.api import ServeError, serve
from service.api.serve import address, bind
from service.store import StoreError

LINE_S = 30
"""A first line that has not come by then is not coming."""
SERVE = "import pathlib, sys; from service.api import serve; serve(pathlib.Path({}), {})"


def start(*arguments: object) -> subprocess.Popen:
    """``serve(arguments…)`` in another process, its first line on ``stdout``."""
    shown = ", ".join(map(str, arguments[1:]))
    return subprocess.Popen(
        [sys.executable, "-u", "-W", "error", "-c", SERVE.format(repr(str(arguments[0])), shown)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )


def test_it_serves_says_where_and_ends_cleanly_on_interrupt(tmp_path):
    table = tmp_path / "table.json"
    CALIBRATION.write(table)
    data_dir = tmp_path / "new" / "data"
    process = start(data_dir, "'127.0.0.1'", 0, f"open_calibration=pathlib.Path({str(table)!r})")
    try:
        line = process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+/", line)
        assert found, line + process.stderr.read()
        assert str(data_dir) in line
        give_up = time.monotonic() + LINE_S
        while True:
            try:
                health = httpx.get(f"{found[0]}api/v1/health").json()
                break
            except httpx.ConnectError:
                assert time.monotonic() < give_up
        assert health["calibrated"] is True
        assert httpx.get(found[0]).text.startswith("<!doctype html>")
    finally:
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=LINE_S)
    assert (process.returncode, out, err) == (0, "", "")


def test_beyond_this_machine_it_warns(tmp_path):
    process = start(tmp_path, "'0.0.0.0'", 0)
    try:
        first, second = process.stdout.readline(), process.stdout.readline()
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=LINE_S)
    assert re.search(r"at http://127\.0\.0\.1:\d+/", first)
    assert second.startswith("Warning: 0.0.0.0 can be reached by others, and there is no login")


def test_a_taken_port_is_refused(tmp_path):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(ServeError, match=f"127.0.0.1 port {port}: cannot be served on .*free"):
            serve(tmp_path / "data", port=port)
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize(("host", "port"), [("192.0.2.1", 0), ("127.0.0.1", 70000)])
def test_an_impossible_address_is_refused(tmp_path, host, port):
    with pytest.raises(ServeError, match="allowed: an address of this machine and a free port"):
        serve(tmp_path / "data", host, port)


def test_a_bad_calibration_file_is_refused_before_anything(tmp_path):
    (tmp_path / "table.json").write_text("{}")
    with pytest.raises(FileFormatError, match=r"table\.json\.format: got None"):
        serve(tmp_path / "data", port=0, open_calibration=tmp_path / "table.json")
    assert not (tmp_path / "data").exists()


def test_a_bad_set_file_is_refused_before_anything(tmp_path):
    (tmp_path / "set.json").write_text("{}")
    with pytest.raises(FileFormatError, match=r"set\.json\.format: got None; .*`restmark teach`"):
        serve(tmp_path / "data", port=0, ball_set=tmp_path / "set.json")
    assert not (tmp_path / "data").exists()


def test_a_data_directory_that_is_a_file_is_refused(tmp_path):
    (tmp_path / "data").write_text("no directory")
    with pytest.raises(StoreError, match="allowed: a directory that can be written"):
        serve(tmp_path / "data", port=0)


@pytest.mark.parametrize(("host", "shown"), [("127.0.0.1", "127.0.0.1"), ("::1", "[::1]")])
def test_the_address_can_be_typed_into_a_browser(host, shown):
    try:
        listener = bind(host, 0)
    except ServeError:
        assert host == "::1", "a machine without IPv6 has no ::1"
        return
    with listener:
        assert address(listener) == f"http://{shown}:{listener.getsockname()[1]}/"
