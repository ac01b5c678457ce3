"""What a reading was made with, and kept stills read again beside their first readings."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from importlib.metadata import version

import odd_set
import pytest
from api_kit import (
    BEFORE,
    CALIBRATION,
    INTENT,
    Client,
    after,
    assert_problem,
    layout,
    running,
    stand_in_read,
    taken,
)
from store_kit import open_store

from service.desk.arriving import Upload
from service.desk.desk import Desk
from service.desk.live import Live
from service.desk.readers import TableReaders
from service.desk.session import SessionStill, load_session
from vision.known.teaching import teach_still
from vision.name.taught import Taught
from vision.networks import fingerprint

BOTH_DATABASES = True
NOW_MM = 1503.25
"""Where the shifted reader has the cue ball, 3.25 mm beside its first place."""


class Shifting:
    """A reader that comes to read the cue ball elsewhere, as a later release might."""

    def __init__(self) -> None:
        self.has_moved = False
        self.previous = []

    def __call__(self, data, calibration, *, name="", previous=None, taught=None):
        self.previous.append(previous)
        found = stand_in_read(data, calibration, name=name)
        return layout(BEFORE | {"cue": (NOW_MM, 400.0)}, still=name) if self.has_moved else found


@pytest.fixture
def read():
    return Shifting()


@pytest.fixture
def client(data, read):
    with running(data, read=read) as address, Client(address) as client:
        client.calibrate()
        yield client


def cue_x_mm(reading: dict) -> float:
    return next(b["x_mm"] for b in reading["layout"]["balls"] if b["id"] == "cue")


def test_a_still_read_again_has_both_readings_and_the_table_stays(client, read):
    first = client.give(taken(), "before.jpg").json()["reading"]
    client.put("/intent", json=INTENT)
    page_before = client.get("/readings/latest").json()
    read.has_moved = True
    answer = client.post("/stills/1/readings")
    assert answer.status_code == 201, answer.text
    again = answer.json()
    assert answer.headers["Location"] == "/api/v1/readings/2"
    assert (cue_x_mm(first), cue_x_mm(again)) == (1500.0, NOW_MM)
    assert (first["live"], again["live"]) == (True, False)
    assert again["still"] == first["still"]
    assert again["outcome"] is None
    assert again["comparison"] is None
    assert again["software"] == version("restmark")
    assert client.get("/stills/1/readings").json() == {
        "readings": [again, first], "next_before": None,
    }  # fmt: skip
    assert client.get("/readings/latest").json() == page_before
    read.has_moved = False
    shot = client.give(taken(after()), "after.jpg").json()
    assert shot["attempt"]["before_reading_id"] == first["id"]
    assert shot["outcome"]["event"] == "shot"
    assert read.previous[-1].ball("cue").x_mm == 1500.0


def test_it_is_told_like_any_reading(client):
    client.give(taken(), "before.jpg")
    client.post("/stills/1/readings")
    with client.stream("GET", "/events", headers={"Last-Event-ID": "2"}) as stream:
        for line in stream.iter_lines():
            if line.startswith("data:") and '"reading_id"' in line:
                told = json.loads(line.removeprefix("data:"))
                break
    assert (told["kind"], told["reading_id"], told["table_id"]) == ("reading", 2, 1)


def test_with_an_earlier_calibration_where_one_is_named(client):
    client.give(taken(), "one.jpg")
    client.put("/calibration", json=CALIBRATION.to_dict() | {"head": "right"})
    assert client.post("/stills/1/readings").json()["calibration_id"] == 2
    named = client.post("/stills/1/readings", json={"calibration_id": 1})
    assert named.json()["calibration_id"] == 1
    client.post("/tables", json={"name": "Upstairs"})
    client.put("/calibration", json=CALIBRATION.to_dict(), params={"table": 2})
    for number in (3, 4):
        wrong = client.post("/stills/1/readings", json={"calibration_id": number})
        assert_problem(wrong, 404, "not-found", text="calibration")
    assert_problem(client.post("/stills/2/readings"), 404, "not-found", text="still")
    assert_problem(
        client.post("/stills/1/readings", json={"calibration": 1}), 422, "invalid-request"
    )
    assert len(client.get("/stills/1/readings").json()["readings"]) == 3


def test_balls_that_rolled_still_roll(client):
    client.post(
        "/stills",
        params={"settled": "false"},
        content=taken(),
        headers={"Content-Type": "image/jpeg"},
    )
    for _ in range(2):
        assert client.post("/stills/1/readings").json()["layout"]["settled"] is False


def test_a_store_of_imported_stills_keeps_showing_the_last_of_them(data):
    stills = [
        SessionStill(name=f"{k}.jpg", data=taken(layout()), layout=layout(still=f"{k}.jpg"))
        for k in range(2)
    ]
    load_session(
        data,
        CALIBRATION,
        store_url=store_url(data),
        stills=stills,
        attempts=[],
        played_at=datetime(2026, 11, 1, tzinfo=UTC),
    )
    store = open_store(data)
    with store.reading() as reader:
        assert reader.latest_shown().still.name == "1.jpg"
    desk = Desk(store, Live(store), stand_in_read)
    desk.reread(1)
    with store.reading() as reader:
        assert reader.latest_shown().still.name == "1.jpg"
        assert reader.latest_live() is None
    desk.close()


def store_url(data):
    from store_kit import URLS

    return URLS.get(data)


# -- what it was made with -------------------------------------------------------------------


def test_a_reading_names_the_networks_and_the_set_that_named_its_balls(tmp_path):
    """With the shipped networks: the first still teaches the set, the rest are named by it."""
    store = open_store(tmp_path)
    desk = Desk(store, Live(store), TableReaders())
    try:
        desk.set_calibration(odd_set.CALIBRATION.to_dict())
        balls = odd_set.scattered(1)
        first = desk.take(Upload(data=odd_set.still_of(balls), name="one.jpg")).body["reading"]
        assert (first["weights"], first["set_id"]) == (fingerprint(), None)
        known = teach_still(
            odd_set.still_of(balls), odd_set.CALIBRATION, odd_set.layout_of(balls), taught=None
        )
        desk.set_ball_set(known.to_dict())
        second = odd_set.still_of(odd_set.scattered(2))
        named = desk.take(Upload(data=second, name="two.jpg")).body["reading"]
        assert (named["weights"], named["set_id"]) == (fingerprint(), 1)
        again = desk.reread(1).to_dict()
        assert (again["weights"], again["set_id"]) == (fingerprint(), 1)
        truth = {ball.id for ball in balls}
        right = {ball["id"] for ball in again["layout"]["balls"] if not ball["doubtful"]}
        assert len(right) >= len(truth) - odd_set.MOST_DOUBTED
        with store.reading() as reader:
            assert [r.read_by.set_id for r in reader.readings(limit=9)] == [1, 1, None]
    finally:
        desk.close()


def test_a_set_of_other_networks_is_not_named(data):
    store = open_store(data)
    with store.writing() as writer:
        writer.add_set({"format": "restmark-set", "version": 1})
    desk = Desk(store, Live(store), stand_in_read)
    desk.set_calibration(CALIBRATION.to_dict())
    reading = desk.take(Upload(data=taken(), name="one.jpg")).body["reading"]
    assert (reading["set_id"], reading["weights"]) == (None, None)
    desk.close()


def test_a_loaded_session_names_them_too(tmp_path):
    balls = odd_set.scattered(1)
    known = teach_still(
        odd_set.still_of(balls), odd_set.CALIBRATION, odd_set.layout_of(balls), taught=None
    )
    other = Taught(network=known.network, looks=known.looks[:1])
    store = open_store(tmp_path)
    with store.writing() as writer:
        writer.add_set(known.to_dict())
    for name, taught in (("one.jpg", known), ("two.jpg", other), ("three.jpg", None)):
        load_session(
            tmp_path,
            CALIBRATION,
            stills=[SessionStill(name=name, data=taken(), layout=layout(still=name))],
            attempts=[],
            weights="a" * 64,
            taught=taught,
        )
    with store.reading() as reader:
        found = {r.still.name: r.read_by for r in reader.readings(limit=9)}
    assert {name: by.set_id for name, by in found.items()} == {
        "one.jpg": 1, "two.jpg": None, "three.jpg": None,
    }  # fmt: skip
    assert {by.weights for by in found.values()} == {"a" * 64}
    store.close()
