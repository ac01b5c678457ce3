"""The set-up guide on the sample stills, read as they are: right ways, done when done, in time."""

import math
import statistics
import time
from importlib.resources import files
from pathlib import Path

import pytest
from api_kit import Client, running

from calibration.chi_square import PLANE_AXIS_95
from service.desk.readers import TableReaders
from vision.truth.file import read_truth

SHOTS = Path(str(files("sample_frames"))) / "practice" / "shots"
FIRST, LATER = "shot-01-before.jpg", "shot-03-before.jpg"
LOOK_MS = 300.0
"""What a player who moves a ball waits for at most; about 50 were measured on two cores."""
LOOKS = 6
SIGMAS = 5 / PLANE_AXIS_95
"""Errors are told at 95 %; two readings of a dozen balls may lie five sigma off together."""


@pytest.fixture(scope="module")
def truth():
    return read_truth(SHOTS)


@pytest.fixture
def client(tmp_path, truth):
    with running(tmp_path, read=TableReaders()) as address, Client(address) as calls:
        calibration = truth[FIRST].calibration
        assert calls.put("/calibration", json=calibration.to_dict()).status_code == 200
        assert calls.give((SHOTS / FIRST).read_bytes(), FIRST).status_code == 201
        number = calls.post("/layouts", json={"title": "First"}).json()["id"]
        assert calls.put("/guide", json={"layout_id": number}).status_code == 200
        yield calls


def look(client: Client, name: str) -> dict:
    answer = client.post(
        "/guide/look",
        params={"drawing": True},
        content=(SHOTS / name).read_bytes(),
        headers={"Content-Type": "image/jpeg"},
    )
    assert answer.status_code == 200, answer.text
    return answer.json()["state"]


def test_every_ball_is_sent_where_it_truly_lay_and_the_same_table_is_done(client, truth):
    state = look(client, LATER)
    wanted = {ball.id: (ball.x_mm, ball.y_mm) for ball in truth[FIRST].balls}
    there = {ball.id: (ball.x_mm, ball.y_mm) for ball in truth[LATER].balls}
    assert {ball["id"] for ball in state["balls"]} == wanted.keys() & there.keys()
    assert {ball["id"] for ball in state["missing"]} == wanted.keys() - there.keys()
    assert state["missing"]
    assert not state["done"]
    for ball in state["balls"]:
        truly = math.dist(wanted[ball["id"]], there[ball["id"]])
        assert ball["off_mm"] == pytest.approx(truly, abs=2 * SIGMAS * ball["error_mm"])
    moved = [ball for ball in state["balls"] if not ball["right"]]
    assert {"cue"} <= {ball["id"] for ball in moved}
    again = look(client, FIRST)
    assert again["done"]
    assert again["said"].startswith("Done: ")


def test_a_look_is_answered_in_time(client):
    took = []
    for name in (FIRST, LATER) * (LOOKS // 2):
        started = time.perf_counter()
        look(client, name)
        took.append((time.perf_counter() - started) * 1e3)
    assert statistics.median(took) < LOOK_MS
