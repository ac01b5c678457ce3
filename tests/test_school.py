"""Twelve tables at one service: none waits for another, and none's fault touches another."""

from __future__ import annotations

import threading
import time
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait

import pytest
from api_kit import (
    CALIBRATION,
    INTENT,
    Client,
    after,
    assert_problem,
    running,
    stand_in_read,
    taken,
)

from service.desk.readers import OwnReaders
from service.desk.reading.refusals import reader_died

BOTH_DATABASES = True
LONG_S = 60.0
TABLES = 12


class ByTable(OwnReaders):
    """Reads elsewhere, as processes would; what happens at a table is said by ``does``."""

    is_elsewhere = True
    weights = "stand-in"

    def __init__(self):
        self.does = {}

    def at(self, table_id):
        def read(data, calibration, **more):
            self.does.get(table_id, lambda: None)()
            return stand_in_read(data, calibration, **more)

        return read

    def beside(self):
        return self

    looking = beside

    def __call__(self, data, calibration, **more):
        return self.at(1)(data, calibration, **more)


@pytest.fixture
def reading():
    return ByTable()


@pytest.fixture
def school(data, reading):
    """Twelve calibrated tables, a player each; their numbers are the same."""
    with running(data, read=reading) as address, Client(address) as client:
        for number in range(1, TABLES + 1):
            if number > 1:
                player = client.post("/players", json={"name": f"Player {number}"}).json()["id"]
                client.post("/tables", json={"name": f"Table {number}", "player_id": player})
            put(client, "/calibration", number, CALIBRATION.to_dict())
        yield client


def put(client, path, table, document):
    answer = client.put(path, params={"table": table}, json=document)
    assert answer.status_code == 200, answer.text


def give(client, table, data=None):
    return client.post(
        "/stills", params={"name": "s.jpg", "table": table}, content=data or taken(),
        headers={"Content-Type": "image/jpeg"}, timeout=LONG_S,
    )  # fmt: skip


def wait_for(is_so):
    give_up = time.monotonic() + LONG_S
    while not is_so():
        assert time.monotonic() < give_up
        time.sleep(0.01)


def play(client, table):
    """A shot at a table; its attempt."""
    assert give(client, table).status_code == 201
    put(client, "/intent", table, INTENT)
    answer = give(client, table, taken(after(), shade=140))
    assert answer.status_code == 201, answer.text
    return answer.json()["attempt"]


def test_a_reading_that_hangs_holds_up_no_other_table(school, reading):
    go_on, begun = threading.Event(), threading.Event()
    reading.does[3] = lambda: (begun.set(), go_on.wait(LONG_S))
    with ThreadPoolExecutor(max_workers=1) as thread:
        hung = thread.submit(give, school, 3)
        try:
            assert begun.wait(LONG_S)
            for table in (1, 2, 12):
                assert play(school, table)["verdict"]["verdict"] == "out"
            assert not hung.done()
        finally:
            go_on.set()
        assert hung.result(LONG_S).status_code == 201


def test_all_tables_are_read_at_the_same_time(school, reading):
    together = threading.Barrier(TABLES)
    for table in range(1, TABLES + 1):
        reading.does[table] = lambda: together.wait(LONG_S)
    with ThreadPoolExecutor(max_workers=TABLES) as threads:
        asked = [threads.submit(give, school, table) for table in range(1, TABLES + 1)]
        assert [each.result(LONG_S).status_code for each in asked] == [201] * TABLES


def test_a_still_that_ends_its_process_is_told_and_the_table_goes_on(school, reading):
    def die():
        raise reader_died("s.jpg")

    reading.does[5] = die
    assert_problem(give(school, 5), 500, "reader-died", text="not tried again")
    assert play(school, 6)["table_id"] == 6
    del reading.does[5]
    assert play(school, 5)["table_id"] == 5


def test_a_table_to_which_too_much_is_sent_is_told_to_wait_and_others_are_not(
    school, reading, monkeypatch
):
    most = 4
    monkeypatch.setattr("service.desk.desk.MOST_WAITING", most)
    go_on, sent = threading.Event(), []
    reading.does[2] = lambda: go_on.wait(LONG_S)
    with ThreadPoolExecutor(max_workers=20) as threads:

        def is_refused():
            sent.append(threads.submit(give, school, 2))
            # one that waits for its turn has no answer before the first is read
            return bool(wait(sent, 1.0, FIRST_COMPLETED).done)

        try:
            wait_for(is_refused)
            refused = next(each.result() for each in sent if each.done())
            assert_problem(refused, 503, "table-busy", text="table 2")
            assert int(refused.headers["retry-after"]) > 0
            assert play(school, 1)["table_id"] == 1
        finally:
            go_on.set()
        statuses = [each.result(LONG_S).status_code for each in sent]
    assert statuses.count(201) == most
    assert statuses.count(503) == len(sent) - most


class Camera:
    """A camera that is there when it is opened, and then gives no picture."""

    away, why = False, ""

    def __init__(self, hangs):
        self.hangs, self.closed = hangs, threading.Event()

    def frames(self):
        if self.hangs:
            self.closed.wait(LONG_S)
        raise OSError("the camera went")
        yield

    def close(self):
        self.closed.set()


def test_broken_cameras_stop_no_other_table(data, reading):
    def opened(named, *, size_px, tell, only_new):
        return Camera(hangs=named == "2")

    with running(data, read=reading, opened=opened) as address, Client(address) as client:
        for number in (2, 3):
            client.post("/tables", json={"name": f"Table {number}"})
        for number in (1, 2, 3):
            put(client, "/calibration", number, CALIBRATION.to_dict())
        put(client, "/watch", 2, {"source": "2"})
        put(client, "/watch", 3, {"source": "3"})
        wait_for(lambda: client.get("/watch?table=3").json()["state"] == "lost")
        assert play(client, 1)["table_id"] == 1
        # and stills are still taken where the camera gives none
        for number in (2, 3):
            assert give(client, number).status_code == 201


def test_a_player_who_moves_to_another_table_keeps_the_history(school):
    first = play(school, 2)
    player = school.get("/tables/2").json()["player_id"]
    school.patch("/tables/7", json={"player_id": player})
    second = play(school, 7)
    assert (first["table_id"], second["table_id"]) == (2, 7)
    theirs = school.get("/attempts", params={"player": player}).json()["attempts"]
    assert [each["id"] for each in theirs] == [second["id"], first["id"]]
    assert (
        school.get("/statistics", params={"player": player}).json()["statistics"]["attempts"] == 2
    )
    # somebody else plays on at the table that was left, for himself
    other = school.post("/players", json={"name": "Somebody else"}).json()["id"]
    school.patch("/tables/2", json={"player_id": other})
    third = play(school, 2)
    theirs = school.get("/attempts", params={"player": player}).json()["attempts"]
    assert third["id"] not in [each["id"] for each in theirs]
