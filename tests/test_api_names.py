"""Names put right over the API: the reading, its attempts, and what later stills gain."""

import pytest
from api_kit import FAR, Client, after, assert_problem, layout, running, still
from odd_set import CALIBRATION, MOST_DOUBTED, scattered, still_of, truth_of

from service.api import create_app
from vision.layout import Layout
from vision.measure import match_layout, summary
from vision.read import read_still
from vision.teaching import teach_still


@pytest.fixture
def client(tmp_path):
    with running(tmp_path / "data") as address, Client(address) as client:
        client.calibrate()
        yield client


def names_at(reading):
    return {ball["x_mm"]: ball["id"] for ball in reading["layout"]["balls"]}


def say(client, number, *names):
    body = {"names": [{"id": name, "x_mm": x, "y_mm": y} for name, x, y in names]}
    return client.post(f"/readings/{number}/names", json=body)


def wrong_names(arrival, balls):
    """Names read wrong in an answer, wrong ones without doubt, and doubts."""
    read = Layout.from_dict(arrival.json()["reading"]["layout"])
    found = summary([match_layout(read, truth_of(balls))])
    assert (found.missed, found.invented) == (0, 0)
    return found.wrong_names, found.wrong_names_undoubted, found.doubtful


def test_a_corrected_name_is_kept_and_the_other_is_in_doubt(client):
    number = client.give(still()).json()["reading"]["id"]
    answer = say(client, number, ("9", 901, 302))
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert names_at(body["reading"]) == {1500.0: "cue", 2100.0: "3", 900.0: "9", 300.0: "4"}
    assert [b["id"] for b in body["reading"]["layout"]["balls"] if b["doubtful"]] == ["4"]
    assert client.get(f"/readings/{number}").json() == body["reading"]
    assert client.get("/readings/latest").json() == body["reading"]
    assert body["attempts"] == []


def test_attempts_of_a_corrected_reading_are_judged_again(client):
    arrival = client.round(after()).json()
    was, number = arrival["attempt"], arrival["reading"]["id"]
    assert was["verdict"]["cue_stop_mm"] == list(FAR)
    # the ball at (900, 300) is the cue ball, the one taken for it the 4
    body = say(client, number, ("cue", 900, 300)).json()
    assert body["attempts"] == [{"id": was["id"], "judged": True, "detail": None}]
    now = client.get(f"/attempts/{was['id']}").json()
    assert now["verdict"]["cue_stop_mm"] == [900.0, 300.0]
    assert now["verdict"]["miss_mm"] != was["verdict"]["miss_mm"]


def test_attempt_that_cannot_be_judged_on_the_new_names_keeps_its_verdict(client):
    arrival = client.round(after()).json()
    was = arrival["attempt"]
    # with another name for the ball that was to be potted the intent means nothing here
    body = say(client, was["before_reading_id"], ("12", 2100, 900)).json()
    (judged,) = body["attempts"]
    assert (judged["id"], judged["judged"]) == (was["id"], False)
    assert "3" in judged["detail"]
    assert client.get(f"/attempts/{was['id']}").json() == was


def test_corrections_that_mean_nothing_change_nothing(client):
    reading = client.give(still()).json()["reading"]
    number = reading["id"]
    for body, text in (
        ({}, "names: got None; allowed: a list of objects with id, x_mm and y_mm"),
        ({"names": []}, "names: got []; allowed: a list"),
        ({"names": [{"id": "16", "x_mm": 900, "y_mm": 300}]}, "names[0].id: got '16'"),
        ({"names": [{"id": "3", "x_mm": 900, "y_mm": 380}]}, "80 mm from the nearest ball"),
    ):
        answer = client.post(f"/readings/{number}/names", json=body)
        assert_problem(answer, 422, "bad-correction", text=text)
    answer = client.post(f"/readings/{number}/names", json={"names": [{"id": "3", "x_mm": 1}]})
    assert_problem(answer, 422, "bad-file", text="names[0].y_mm: missing")
    assert_problem(say(client, 99, ("3", 900, 300)), 404, "not-found")
    assert client.get(f"/readings/{number}").json() == reading


def test_corrections_of_one_still_name_later_stills_of_the_table(tmp_path):
    """After a restart too: what was said is kept, and learned again."""
    first, second = scattered(20), scattered(21)
    true = [(ball.id, ball.x_mm, ball.y_mm) for ball in first]
    data = tmp_path / "data"
    with running(data, read=read_still) as address, Client(address) as client:
        assert client.put("/calibration", json=CALIBRATION.to_dict()).status_code == 200
        before = client.give(still_of(first), "first.jpg")
        assert wrong_names(before, first)[0] >= 10
        body = say(client, before.json()["reading"]["id"], *true).json()
        assert len(body["taught"]) == 16
        wrong, sure, doubtful = wrong_names(client.give(still_of(second), "second.jpg"), second)
        assert (wrong, sure) == (0, 0)
        assert doubtful <= MOST_DOUBTED
    third = scattered(22)
    with running(data, read=read_still) as address, Client(address) as client:
        wrong, sure, doubtful = wrong_names(client.give(still_of(third), "third.jpg"), third)
        assert (wrong, sure) == (0, 0)
        assert doubtful <= MOST_DOUBTED


def test_a_set_given_at_the_start_is_used_and_starts_anew(tmp_path):
    balls, later = scattered(20), scattered(21)
    exact = layout({ball.id: (ball.x_mm, ball.y_mm) for ball in balls})
    taught = teach_still(still_of(balls), CALIBRATION, exact)
    data = tmp_path / "data"
    with running(data, read=read_still) as address, Client(address) as client:
        client.put("/calibration", json=CALIBRATION.to_dict())
        number = client.give(still_of(balls), "first.jpg").json()["reading"]["id"]
        say(client, number, ("15", balls[0].x_mm, balls[0].y_mm))
    desk = create_app(data, read=read_still).state.desk
    for _ in range(2):  # the same set twice is one set
        desk.set_ball_set(taught.to_dict())
    with pytest.raises(ValueError, match=r"^set\.looks: missing"):
        desk.set_ball_set({key: taught.to_dict()[key] for key in ("format", "version", "network")})
    with desk.store.reading() as reader:
        assert (reader.ball_set().id, reader.ball_set().document) == (1, taught.to_dict())
        assert reader.corrected_readings(limit=8) == ()
    desk.close()
    with running(data, read=read_still) as address, Client(address) as client:
        wrong, sure, _ = wrong_names(client.give(still_of(later), "later.jpg"), later)
        assert (wrong, sure) == (0, 0)
