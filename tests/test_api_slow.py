"""Slow, silent and rude connections are closed, and nobody else waits for them.

With shortened limits here; ``slow_senders.py`` does it with 300 senders and the real ones.
"""

import asyncio
import contextlib
import socket
import time
from urllib.parse import urlsplit

import pytest
from api_kit import Client, running, still
from slow_kit import besiege

from service.api.serving import Limits

SHORT = Limits(
    header_s=0.6,
    stall_s=0.6,
    floor_bytes_s=20_000.0,
    grace_s=0.5,
    unread_s=0.6,
    closing_s=0.3,
    rest_s=0.8,
)
LOOK_S = 0.6
"""The server looks over its connections twice a second."""


@pytest.fixture(scope="module")
def strict(tmp_path_factory):
    with running(tmp_path_factory.mktemp("slow") / "data", limits=SHORT) as address:
        yield address


@pytest.fixture
def line(strict):
    """A raw connection."""
    place = urlsplit(strict)
    with socket.create_connection((place.hostname, place.port), timeout=10) as line:
        yield line


def host_of(line):
    return "{}:{}".format(*line.getpeername()).encode()


def rest(line):
    """What still comes, until the other side closes."""
    received = b""
    with contextlib.suppress(ConnectionError):
        while part := line.recv(65536):
            received += part
    return received


def test_slow_senders_go_while_a_healthy_client_is_served(strict, capfd):
    place = urlsplit(strict)
    fates = asyncio.run(besiege(place.hostname, place.port, senders=40, pause_s=0.1, give_up_s=8.0))
    assert fates.left == 0
    assert max(fates.gone_s) < SHORT.stall_s + SHORT.grace_s + 2 * LOOK_S + 1.0
    assert fates.unserved == 0
    assert len(fates.healthy_s) > 5
    # a quarter each: silence is closed without a word, the others are told why
    said = [answer.partition(b"\r\n")[0] for answer in fates.answers]
    assert said.count(b"HTTP/1.1 408 Request Timeout") == 30
    assert said.count(b"") == 10
    assert "Traceback" not in capfd.readouterr().err


def test_an_upload_above_the_floor_may_take_its_time(line):
    data = still() + bytes(40_000)
    line.sendall(
        b"POST /api/v1/stills HTTP/1.1\r\nHost: %s\r\nConnection: close\r\n"
        b"Content-Type: image/jpeg\r\nContent-Length: %d\r\n\r\n" % (host_of(line), len(data))
    )
    began_s = time.monotonic()
    for at in range(0, len(data), 4000):
        line.sendall(data[at : at + 4000])
        time.sleep(0.13)
    assert time.monotonic() - began_s > SHORT.grace_s + SHORT.stall_s
    answer = rest(line)
    assert answer.startswith(b"HTTP/1.1 409"), "not calibrated, but heard out"


def test_an_answer_that_nobody_takes_in_is_given_up(strict, capfd):
    place = urlsplit(strict)
    with socket.socket() as deaf:
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        deaf.connect((place.hostname, place.port))
        asked = b"GET /api/v1/openapi.json HTTP/1.1\r\nHost: %s\r\n\r\n" % host_of(deaf)
        deaf.settimeout(0.1)
        # until nothing more goes in, and the other side has given up
        assert is_thrown_out(deaf, asked)
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.parametrize("more", [b"zz\r\nno chunk", b'5\r\n{"pot\r\n'], ids=["broken", "gone"])
def test_a_body_that_breaks_off_leaves_no_traceback(strict, line, capfd, more):
    line.sendall(
        b"PUT /api/v1/intent HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\n"
        b"Transfer-Encoding: chunked\r\n\r\n" % host_of(line)
    )
    time.sleep(0.05)
    line.sendall(more)
    if more.startswith(b"zz"):
        assert rest(line).startswith(b"HTTP/1.1 400")
    else:
        line.close()
    with Client(strict) as client:
        assert client.get("/health").status_code == 200
    assert "Traceback" not in capfd.readouterr().err


def test_one_address_holds_no_more_than_its_share(tmp_path):
    limits = Limits(per_address=5, connections=8)
    with running(tmp_path / "data", limits=limits) as address, contextlib.ExitStack() as kept:
        place = urlsplit(address)
        lines = [
            kept.enter_context(socket.create_connection((place.hostname, place.port)))
            for _ in range(9)
        ]
        with Client(address) as client:
            give_up_s = time.monotonic() + 8
            while (open_now := sum(map(is_open, lines))) > 5:
                assert time.monotonic() < give_up_s, open_now
                assert client.get("/health").status_code == 200
                time.sleep(0.1)
        # the last to come are the ones that stay
        assert [is_open(each) for each in lines[-4:]] == [True] * 4


def is_thrown_out(line, asked):
    give_up_s = time.monotonic() + 10
    while time.monotonic() < give_up_s:
        try:
            line.sendall(asked)
        except TimeoutError:
            continue
        except ConnectionError:
            return True
    return False


def is_open(line):
    line.setblocking(False)
    try:
        return line.recv(1) != b""
    except BlockingIOError:
        return True
    except ConnectionError:
        return False


def test_a_crowd_beyond_the_burst_is_told_to_come_again(tmp_path):
    limits = Limits(connections=3, burst=2)
    with running(tmp_path / "data", limits=limits) as address, contextlib.ExitStack() as kept:
        place = urlsplit(address)
        for _ in range(5):
            kept.enter_context(socket.create_connection((place.hostname, place.port)))
        time.sleep(0.1)
        with socket.create_connection((place.hostname, place.port), timeout=5) as one_more:
            assert rest(one_more).startswith(b"HTTP/1.1 503")


def test_what_is_left_of_a_refused_body_is_thrown_away_for_a_while_only(strict, line):
    line.sendall(
        b"POST /api/v1/stills HTTP/1.1\r\nHost: " + host_of(line) + b"\r\n"
        b"Content-Type: image/jpeg\r\nContent-Length: 1000000000\r\n\r\n"
    )
    assert b"413" in line.recv(4096)
    began_s = time.monotonic()
    with contextlib.suppress(OSError):
        while time.monotonic() < began_s + 10:  # faster than the floor, and without end
            line.sendall(bytes(20_000))
            time.sleep(0.01)
    assert SHORT.rest_s < time.monotonic() - began_s < SHORT.rest_s + 2 * LOOK_S + 1
