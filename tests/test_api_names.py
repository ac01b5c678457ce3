"""Names put right over the API: the reading, its attempts, and what later stills gain."""

from contextlib import closing

import pytest
from api_kit import FAR, INTENT, Client, after, assert_problem, layout, running, still
from odd_set import CALIBRATION, MOST_DOUBTED, scattered, still_of, truth_of
from store_kit import open_store

from service.api import create_app
from service.desk.names.ball_set import BallSet
from service.desk.names.unusual import unusual_at
from service.store import Store
from vision.known.teaching import teach_still
from vision.layout import Layout
from vision.name.taught import Look, Taught
from vision.networks import crops_fingerprint
from vision.read import read_still
from vision.truth.measure import match_layout, summary


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
    assert_problem(answer, 422, "bad-correction", text="names[0].y_mm: missing")
    assert_problem(say(client, 99, ("3", 900, 300)), 404, "not-found")
    assert client.get(f"/readings/{number}").json() == reading


def test_names_that_nobody_can_tell_are_in_doubt(client):
    number = client.give(still()).json()["reading"]["id"]
    body = say(client, number, (None, 900, 300)).json()
    assert [b["id"] for b in body["reading"]["layout"]["balls"] if b["doubtful"]] == ["4"]
    (said,) = client.get(f"/readings/{number}/names").json()["corrections"]
    assert said["names"] == [{"id": None, "x_mm": 900, "y_mm": 300}]


def test_what_was_said_is_listed_and_taken_back_last_first(client):
    arrival = client.round(after()).json()
    reading, was = arrival["reading"], arrival["attempt"]
    number = reading["id"]
    address = f"/readings/{number}/names"
    assert client.get(address).json() == {"corrections": []}
    say(client, number, ("cue", 900, 300))
    between = client.get(f"/readings/{number}").json()
    say(client, number, ("12", 300, 1000), ("4", 2300, 200))
    first, last = client.get(address).json()["corrections"]
    assert first["names"] == [{"id": "cue", "x_mm": 900, "y_mm": 300}]
    assert [name["id"] for name in last["names"]] == ["12", "4"]

    answer = client.delete(f"{address}/{first['id']}")
    assert_problem(answer, 409, "later-correction", text=f"the last, {last['id']}")
    answer = client.delete(f"{address}/{last['id']}")
    assert answer.status_code == 200, answer.text
    assert answer.json()["reading"] == client.get(f"/readings/{number}").json() == between
    assert client.get(f"/attempts/{was['id']}").json()["verdict"]["cue_stop_mm"] == [900.0, 300.0]
    body = client.delete(f"{address}/{first['id']}").json()
    assert body["reading"] == reading
    assert body["attempts"] == [{"id": was["id"], "judged": True, "detail": None}]
    assert client.get(f"/attempts/{was['id']}").json()["verdict"] == was["verdict"]

    answer = client.delete(f"{address}/{first['id']}")
    assert_problem(answer, 404, "not-found", text=f"the list of reading {number}'s names")
    assert_problem(client.get("/readings/99/names"), 404, "not-found", text="reading: got number")
    assert_problem(client.delete("/readings/99/names/1"), 404, "not-found", text="got number 99")


def test_an_intent_that_the_new_names_make_meaningless_is_no_fault_of_the_page(client):
    number = client.give(still()).json()["reading"]["id"]
    assert client.put("/intent", json=INTENT).status_code == 200
    say(client, number, ("12", 2100, 900))  # the ball that was to be potted is no more
    assert client.get("/intent").status_code == 200
    assert client.get(f"/readings/{number}/top-view.svg").status_code == 200
    for part in ("", "parts"):
        page = client.get(client.base_url.join(f"/{part}"))
        assert page.status_code == 200
        assert "The shot does not fit these balls" in page.text


def test_the_set_says_what_it_knows_and_why_it_learned_nothing(client):
    nothing = client.get("/set").json()
    assert [ball["looks"] for ball in nothing["balls"]] == [0] * 16
    assert (nothing["mistrust"], nothing["given_at"], nothing["learned_from"]) == (None, None, [])
    number = client.give(still()).json()["reading"]["id"]
    learned = say(client, number, ("9", 900, 300)).json()["learned"]
    assert learned["made"] is False
    assert "is not seen at x" in learned["detail"]  # the stand-in's still is of one colour
    known = client.get("/set").json()
    assert known["not_learned"] == [{"reading_id": number, "detail": learned["detail"]}]
    assert known["learned_from"] == []


def strange_still():
    """A still on which the 4 and the 9 look like none of the standard colours left for them."""
    document = layout().to_dict()
    for ball in document["balls"]:
        ball["look"] = [{"id": "1", "confidence": 0.9}, {"id": ball["id"], "confidence": 0.05}]
        if ball["id"] in ("cue", "3"):
            ball["look"] = [{"id": ball["id"], "confidence": 0.99}]
    return still(Layout.from_dict(document | {"unlike": ["4", "9"]}))


def test_a_set_of_its_own_colours_is_noticed_until_it_is_taught(client, tmp_path):
    client.give(still())
    assert client.get("/set").json()["unusual"] is None
    arrival = client.give(strange_still()).json()["reading"]
    assert arrival["layout"]["unlike"] == ["4", "9"]
    found = client.get("/set").json()["unusual"]
    assert (found["unlike"], found["stills"]) == (["4", "9"], 1)
    assert found["detail"].startswith("Two balls look like none of the standard colours")
    assert client.get("/set", params={"table": 1}).json()["unusual"] == found
    learned = []

    def learn(data, calibration, given, taught):
        learned.append([ball.id for ball in given.balls])
        return Taught(
            network=crops_fingerprint(), looks=(Look(id="9", chance=0.1, embedding=(1.0,)),)
        )

    answer = say(client, arrival["id"], ("9", 900, 300), ("4", 300, 1000))
    assert answer.json()["reading"]["layout"]["unlike"] == []
    with closing(open_store(tmp_path / "data")) as store:
        known = BallSet(store, learn).known()
        assert learned == [["4", "9"]], "names that nobody said are the ones that were left"
        with store.reading() as reader:
            assert unusual_at(reader, known) is None


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
        assert body["learned"] == {"made": True, "detail": None}
        wrong, sure, doubtful = wrong_names(client.give(still_of(second), "second.jpg"), second)
        assert (wrong, sure) == (0, 0)
        assert doubtful <= MOST_DOUBTED
    third = scattered(22)
    with running(data, read=read_still) as address, Client(address) as client:
        known = client.get("/set").json()
        assert {ball["looks"] for ball in known["balls"]} == {1}
        assert 0 < known["mistrust"] < 1
        assert (known["learned_from"], known["not_learned"]) == ([1], [])
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
        known = client.get("/set").json()
        assert known["given_at"] is not None
        assert known["learned_from"] == []
        wrong, sure, _ = wrong_names(client.give(still_of(later), "later.jpg"), later)
        assert (wrong, sure) == (0, 0)
        # the names said before the set was given can be said again, and taken back
        body = say(client, number, ("15", balls[0].x_mm, balls[0].y_mm)).json()
        assert body["learned"]["made"] is True
        assert client.get("/set").json()["learned_from"] == [number]
        last = client.get(f"/readings/{number}/names").json()["corrections"][-1]
        client.delete(f"/readings/{number}/names/{last['id']}")
        assert client.get("/set").json() == known
        assert "from the set given at the start." in client.get(address).text


@pytest.mark.parametrize("address", ["api/v1/guide/look", "guide/parts"])
def test_a_look_goes_by_the_ball_set_of_its_own_table(tmp_path, address):
    balls = scattered(20)
    exact = layout({ball.id: (ball.x_mm, ball.y_mm) for ball in balls})
    taught_by = []

    def read(_data, _calibration, *, name="", previous=None, taught=None):
        taught_by.append(taught)
        return exact

    desk = create_app(tmp_path, read=read).state.desk
    desk.set_ball_set(teach_still(still_of(balls), CALIBRATION, exact).to_dict())
    desk.close()
    with running(tmp_path, read=read) as at, Client(at) as client:
        client.post("/tables", json={"name": "Left"})
        for table in (1, 2):
            client.put(f"/calibration?table={table}", json=CALIBRATION.to_dict())
            client.put(f"/guide?table={table}", json={"layout": exact.to_dict()})
            answer = client.post(
                f"{at}{address}?table={table}",
                content=still(),
                headers={"Content-Type": "image/jpeg", "Origin": at.rstrip("/")},
            )
            assert answer.status_code == 200, answer.text
    first, second = taught_by
    assert first is not None
    assert second is None


def test_a_set_of_other_networks_is_said_to_be_of_no_use(tmp_path):
    document = {"format": "restmark-set", "version": 1, "network": "older", "looks": []}
    store = Store(tmp_path)
    with store.writing() as writer:
        writer.add_set(document | {"looks": [{"id": "3", "chance": 0.5, "embedding": "1 2"}]})
    store.close()
    with running(tmp_path) as address, Client(address) as client:
        client.calibrate()
        client.give(still())
        known = client.get("/set").json()
        assert "sets[1].network: got 'older'" in known["given_refused"]
        assert known["mistrust"] is None
        assert "The set given at the start is not used." in client.get(address).text
