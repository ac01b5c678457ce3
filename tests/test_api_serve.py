"""``serve`` as the command calls it: in a process of its own, ended as a user ends it."""

import hashlib
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import time
from contextlib import closing

import httpx
import pytest
from api_kit import CALIBRATION

from calibration.errors import FileFormatError, RestmarkError
from service.api import ServeError, serve
from service.api.beyond import Beyond, reached, tell
from service.api.serve import address, bind
from service.client import Client as ServiceClient
from service.door import Door
from service.store import Store, StoreError

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


def test_beyond_this_machine_it_lets_in_paired_devices_over_tls_alone(tmp_path):
    data = tmp_path / "data"
    process = start(data, "'0.0.0.0'", 0)
    try:
        said = []
        while not said or "later codes" not in said[-1]:
            said.append(process.stdout.readline())
            assert said[-1], process.stderr.read()
        told = "".join(said)
        port = re.search(r"https://127\.0\.0\.1:(\d+)/", told)[1]
        code = re.search(r"type the code (\S+)", told)[1]
        fingerprint = re.search(r"fingerprint \(SHA-256\) (\S+)", told)[1]
        certificate = ssl.get_server_certificate(("127.0.0.1", int(port)))
        digest = hashlib.sha256(ssl.PEM_cert_to_DER_cert(certificate)).hexdigest()
        assert fingerprint.replace(":", "").lower() == digest
        # half blocks for a phone's camera
        assert sum("█▀▀▀▀▀█" in line for line in said) >= 2
        address = f"https://127.0.0.1:{port}"
        trust = data / "tls" / "certificate.pem"
        known = ssl.create_default_context(cafile=str(trust))
        with httpx.Client(base_url=address, verify=known) as http:
            assert http.get("/api/v1/health").status_code == 401
            asked = {"code": code, "name": "Phone"}
            token = http.post("/api/v1/pair", json=asked).json()["token"]
            headers = {"Authorization": f"Bearer {token}"}
            assert http.get("/api/v1/health", headers=headers).json()["status"] == "ok"
        with ServiceClient(address, token=token, trust=trust) as service:
            assert service.health()["status"] == "ok"
    finally:
        process.send_signal(signal.SIGINT)
        _, wrong = process.communicate(timeout=LINE_S)
    assert wrong == ""
    modes = {path.relative_to(data).as_posix(): path.stat().st_mode & 0o777 for path in
             (data, *data.rglob("*"))}  # fmt: skip
    assert {name: mode for name, mode in modes.items() if mode & 0o077} == {}, "others may read"


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


@pytest.mark.parametrize(
    ("beyond", "first", "more_names", "is_paired", "has_tls"),
    [
        (Beyond(), "http://127.0.0.1", set(), False, False),
        (Beyond(pairing=True), "http://127.0.0.1", set(), True, False),
        (Beyond(names=("Practice.Example",)), "http://practice.example", {"practice.example"},
         True, False),
    ],
    ids=["alone", "several people", "behind a proxy"],
)  # fmt: skip
def test_on_this_machine_alone_pairing_is_asked_for_where_it_is_wanted(
    tmp_path, beyond, first, more_names, is_paired, has_tls
):
    with bind("127.0.0.1", 0) as listener:
        way = reached(listener, "127.0.0.1", beyond, tmp_path)
    assert way.addresses[0].startswith(f"{first}:")
    assert way.names == {"localhost", "127.0.0.1", "::1"} | more_names
    assert (way.entry is not None, way.tls is not None) == (is_paired, has_tls)
    assert not (tmp_path / "tls").exists()
    if way.entry is not None:
        with pytest.raises(RestmarkError, match="no folder, none was named"):
            way.entry.sources.check("/etc")


def test_behind_a_proxy_the_public_address_is_shown_and_cookies_go_over_tls(tmp_path):
    beyond = Beyond(public="https://Practice.Example/")
    with bind("127.0.0.1", 0) as listener:
        way = reached(listener, "127.0.0.1", beyond, tmp_path)
    assert way.addresses[0] == way.entry.address == "https://practice.example/"
    assert way.entry.is_tls
    assert way.tls is None
    assert "practice.example" in way.names
    told, codes = [], []
    with closing(Store(tmp_path / "data")) as store, closing(Door(store)) as door:
        tell(way, door, told.append, codes.append)
    assert any("open https://practice.example/pair and type" in words for words in told)
    assert not any("without TLS" in words for words in told)
    with bind("127.0.0.1", 0) as listener:
        plain = reached(listener, "127.0.0.1", Beyond(public="http://[::1]:8080"), tmp_path)
    assert plain.entry.address == "http://[::1]:8080/"
    assert not plain.entry.is_tls


@pytest.mark.parametrize(
    "given", ["practice.example", "ftp://a", "https://", "https://a/b", "https://u@a", "http://a:x"]
)
def test_a_public_address_that_is_none_is_refused(tmp_path, given):
    with (
        bind("127.0.0.1", 0) as listener,
        pytest.raises(RestmarkError, match="at the root of a name") as refused,
    ):
        reached(listener, "127.0.0.1", Beyond(public=given), tmp_path)
    assert refused.value.code == "cannot-serve"
