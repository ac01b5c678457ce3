"""Live changes as server-sent events, and a server that stops while someone listens."""

import json
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack

import httpx
import pytest
from api_kit import INTENT, Client, after, running, still, taken

STOP_S = 4.0
"""A stop that listeners hold up would last the server's whole patience, 5 s."""


@pytest.fixture
def client(data):
    with running(data) as address, Client(address) as client:
        yield client


def events(answer: httpx.Response) -> Iterator[dict]:
    """Events of an open stream: their fields, the data parsed."""
    fields = {}
    for line in answer.iter_lines():
        if line and not line.startswith(":"):
            name, _, value = line.partition(": ")
            fields[name] = json.loads(value) if name == "data" else value
        elif not line and fields:
            yield fields
            fields = {}


def told_of(event: dict) -> dict:
    """What an event says, without its table and its time."""
    return {key: value for key, value in event["data"].items() if key not in ("table_id", "at")}


def test_every_change_is_told_in_its_order(client):
    with client.stream("GET", "/events") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        told = events(answer)
        assert next(told)["data"] == {"kind": "hello"}
        with Client(str(client.base_url).removesuffix("api/v1/")) as other:
            other.calibrate()
            other.give(still())
            other.put("/intent", json=INTENT)
            other.give(still(after()))
            other.put("/intent", json={"zone": {"circle_mm": [600, 600, 100]}})
            other.delete("/intent")
        heard = [next(told) for _ in range(6)]
    assert [told_of(each) for each in heard] == [
        {"kind": "calibration", "calibration_id": 1},
        {"kind": "reading", "reading_id": 1, "attempt_id": None},
        {"kind": "intent", "intent_id": 1},
        {"kind": "attempt", "reading_id": 2, "attempt_id": 1},
        {"kind": "intent", "intent_id": 2},
        {"kind": "intent", "intent_id": None},
    ]
    assert [each["event"] for each in heard] == ["change"] * 6
    assert [each["id"] for each in heard] == ["1", "2", "3", "4", "5", "6"]


def test_refusals_and_replays_are_no_news(client):
    client.calibrate()
    client.give(still(), "a.jpg", **{"Idempotency-Key": "k"})
    with client.stream("GET", "/events") as answer:
        told = events(answer)
        next(told)
        with Client(str(client.base_url).removesuffix("api/v1/")) as other:
            other.give(b"no still")
            other.put("/intent", json={})
            other.give(still(), "a.jpg", **{"Idempotency-Key": "k"})
            other.give(taken(), "b.jpg")
        assert next(told)["data"]["reading_id"] == 2


def test_every_listener_hears(client):
    client.calibrate()
    heard, ready = [], threading.Barrier(4)
    address = str(client.base_url).removesuffix("api/v1/")

    def listen():
        with Client(address) as own, own.stream("GET", "/events") as answer:
            told = events(answer)
            next(told)
            ready.wait(10)
            heard.append(next(told)["data"]["kind"])

    threads = [threading.Thread(target=listen) for _ in range(3)]
    for thread in threads:
        thread.start()
    ready.wait(10)
    client.give(still())
    for thread in threads:
        thread.join(10)
    assert heard == ["reading"] * 3


def test_the_server_stops_while_someone_listens(data):
    with ExitStack() as listener:
        with running(data) as address:
            client = listener.enter_context(Client(address))
            told = events(listener.enter_context(client.stream("GET", "/events")))
            assert next(told)["data"] == {"kind": "hello"}
            stopping = time.monotonic()
        assert time.monotonic() - stopping < STOP_S
        assert list(told) == [], "the stream ends"
