"""Events that were missed are told again: over lost connections, a restart, up to what is kept."""

import threading
from contextlib import contextmanager

import httpx
import pytest
from api_kit import Client, running, still
from store_kit import open_store
from test_api_live import events

from service.client import Client as Caller
from service.store import NotFoundError
from service.store.writing import kept

BOTH_DATABASES = True
WAIT_S = 20


@contextmanager
def listening(address, **asked):
    """Events of a connection, and its parameters ``after`` and ``table`` and header ``last``."""
    last = asked.pop("last", None)
    headers = {} if last is None else {"Last-Event-ID": str(last)}
    with (
        Client(address) as client,
        client.stream("GET", "/events", params=asked, headers=headers) as answer,
    ):
        assert answer.status_code == 200, answer.read()
        yield events(answer)


def kinds(told, count):
    """Numbers and kinds of the next events."""
    heard = [next(told) for _ in range(count)]
    return [(int(each["id"]), each["data"]["kind"]) for each in heard]


@pytest.fixture
def filled(data):
    """A folder whose service told of one calibration and three readings."""
    with running(data) as address, Client(address) as client:
        client.calibrate()
        for number in range(3):
            client.give(still(shade=90 + 30 * number), f"{number}.jpg")
    return data


MISSED = [(2, "reading"), (3, "reading"), (4, "reading")]


@pytest.mark.parametrize("asked", [{"last": 1}, {"after": 1}])
def test_what_was_missed_is_told_over_a_restart(filled, asked):
    with running(filled) as address, listening(address, **asked) as told:
        hello, *missed = kinds(told, 4)
        assert hello == (1, "hello"), "its id goes no further than what was heard"
        assert missed == MISSED


def test_the_header_counts_before_the_parameter(filled):
    with running(filled) as address, listening(address, last=3, after=0) as told:
        assert kinds(told, 2) == [(3, "hello"), (4, "reading")]


def test_live_changes_follow_what_was_missed(filled):
    with running(filled) as address, listening(address, after=3) as told:
        assert kinds(told, 2) == [(3, "hello"), (4, "reading")]
        with Client(address) as client:
            client.give(still(shade=200), "new.jpg")
        assert kinds(told, 1) == [(5, "reading")]


def test_a_gap_is_said_where_older_ones_are_no_longer_kept(data, monkeypatch):
    monkeypatch.setattr(kept, "EVENTS_KEPT", 5)
    store = open_store(data)
    for number in range(20):
        with store.writing() as writer:
            writer.tell("note", attempt_id=number)
    store.close()
    with running(data) as address:
        with listening(address, after=7) as told:
            next(told)
            gap = next(told)
            assert gap["event"] == "gap"
            assert gap["data"] == {"kind": "gap", "after": 7, "kept_from": 16}
            assert kinds(told, 5) == [(number, "note") for number in range(16, 21)]
        with listening(address, after=15) as told:
            assert kinds(told, 2) == [(15, "hello"), (16, "note")]


def test_a_number_of_another_store_is_a_gap_too(filled):
    with running(filled) as address, listening(address, after=900) as told:
        next(told)
        gap = next(told)
        assert (gap["event"], int(gap["id"])) == ("gap", 4)


def test_a_table_hears_its_own_and_what_concerns_all(data):
    store = open_store(data)
    with store.writing() as writer:
        other = writer.add_table("Back room").id
        for table_id in (1, other, None, 1):
            writer.tell("note", table_id=table_id)
    store.close()
    with running(data) as address:
        for table, numbers in ((1, [1, 3, 4]), (other, [2, 3])):
            with listening(address, after=0, table=table) as told:
                next(told)
                assert [number for number, _ in kinds(told, len(numbers))] == numbers


def test_a_change_that_is_rolled_back_is_not_told(data):
    store = open_store(data)
    woken = []
    store.when_told(lambda: woken.append(True))

    def failing():
        with store.writing() as writer:
            writer.tell("note")
            writer.attempt(7)

    with pytest.raises(NotFoundError, match="got number 7"):
        failing()
    with store.reading() as reader:
        assert reader.event_numbers() == (0, 0)
    assert not woken
    store.close()


@pytest.mark.parametrize("last", ["x", "-1", "1.5"])
def test_a_number_that_is_none_is_refused(served, last):
    answer = httpx.get(f"{served}api/v1/events", headers={"Last-Event-ID": last}, verify=False)
    assert answer.status_code == 422
    assert answer.json()["code"] == "invalid-request"


def test_a_program_that_listens_misses_nothing_while_the_service_is_away(data):
    heard, port = [], []

    def listen(address, ready):
        with Caller(address) as service:
            for event in service.events():
                ready.set()
                heard.append((event.number, event.kind))
                if heard[-1][0] == 4:
                    return

    with running(data) as address:
        port = httpx.URL(address).port
        with Client(address) as client:
            client.calibrate()
        ready = threading.Event()
        thread = threading.Thread(target=listen, args=(address, ready), daemon=True)
        thread.start()
        assert ready.wait(WAIT_S)
        with Client(address) as client:
            client.give(still(), "a.jpg")
    store = open_store(data)
    with store.writing() as writer:  # while nobody serves
        writer.tell("note", attempt_id=1)
    store.close()
    with running(data, port=port) as address, Client(address) as client:
        client.give(still(shade=220), "b.jpg")
        thread.join(WAIT_S)
    assert not thread.is_alive()
    changes = [each for each in heard if each[1] != "hello"]
    assert changes == [(2, "reading"), (3, "note"), (4, "reading")]
