"""Screens that show the same cost one rendering, and none is shown what is no longer so."""

import sqlite3
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing

import httpx
import pytest
from api_kit import INTENT, Client, after, running, taken
from store_kit import open_store

from service.pages.frame.kept import Html, KeptParts
from service.store import DATABASE_NAME

PATHS = ("/parts", "/strip", "/so-far")


@pytest.fixture
def screen(client):
    """A browser's requests for parts."""
    root = str(client.base_url).partition("/api/")[0]
    with httpx.Client(base_url=root, timeout=20) as screen:
        yield screen


def rendered(monkeypatch):
    """Texts that were rendered since, in their order."""
    made = []
    of = Html.of
    monkeypatch.setattr(Html, "of", lambda text: made.append(text) or of(text))
    return made


def test_two_screens_that_show_the_same_cost_one_rendering(client, screen, monkeypatch):
    client.round(after())
    made = rendered(monkeypatch)
    both = [screen.get("/parts") for _ in range(2)]
    assert both[0].text == both[1].text
    assert len(made) == 1
    assert screen.get("/parts", headers={"Cookie": "restmark-units=inches"}).text != both[0].text
    assert len(made) == 2, "another screen sees things in its own way"
    assert both[0].headers["cache-control"] == "no-store"


def test_a_screen_that_has_what_is_shown_is_told_so(client, screen):
    client.round(after())
    for path in PATHS:
        first = screen.get(path)
        again = screen.get(path, headers={"If-None-Match": first.headers["etag"]})
        assert (again.status_code, again.text) == (304, "")


def test_every_change_is_shown_at_once(client, screen):
    tags = []

    def look(*said):
        answer = screen.get("/parts")
        assert all(words in answer.text for words in said), said
        assert answer.headers["etag"] not in tags, "what changed is new"
        tags.append(answer.headers["etag"])

    look("Waiting for the first still")
    client.give(taken(), "before.jpg")
    look("4 balls on the table")
    client.put("/intent", json=INTENT)
    look("Play the shot")
    number = client.give(taken(after(), shade=140), "after.jpg").json()["attempt"]["id"]
    look("after.jpg")
    client.put(f"/attempts/{number}/note", json={"spin": "draw"})
    look()
    client.post(f"/attempts/{number}/strike")
    look()
    client.post("/undo")
    # a struck attempt that is restored looks as before
    assert screen.get("/parts").headers["etag"] == tags[-2]


def test_what_another_process_wrote_is_shown_too(client, screen, data):
    client.round(after())
    before = screen.get("/parts")
    with closing(sqlite3.connect(data / DATABASE_NAME)) as other, other:
        other.execute("UPDATE attempts SET struck_at = '2026-11-28 10:00:00.000000'")
    assert screen.get("/parts").text != before.text


def test_the_strip_tells_of_the_camera_at_once(client, screen, tmp_path):
    before = screen.get("/strip").text
    (tmp_path / "stills").mkdir()
    assert client.put("/watch", json={"source": str(tmp_path / "stills")}).is_success
    assert screen.get("/strip").text != before
    client.delete("/watch")
    assert "watching" not in screen.get("/strip").text


def test_another_store_revision_after_every_write_and_none_without(data):
    with closing(open_store(data)) as store:
        seen = {store.revision()}
        for number in range(20):
            with store.writing() as writer:
                writer.tell("note", attempt_id=number)
            assert store.revision() not in seen
            seen.add(store.revision())
        with store.reading() as reader:
            reader.counts()
        assert store.revision() in seen


def test_who_asks_for_the_same_at_once_waits_for_it():
    parts, made, go = KeptParts(), [], threading.Event()

    def render():
        made.append(1)
        go.wait(10)
        return "the part"

    with ThreadPoolExecutor(4) as pool:
        asked = [pool.submit(parts.html, "a", 1, (), render) for _ in range(4)]
        time.sleep(0.05)
        go.set()
        assert {each.result().text for each in asked} == {"the part"}
    assert len(made) == 1


def test_few_screens_are_kept_and_failures_are_not():
    parts = KeptParts(most=2)
    for key in "abc":
        parts.html(key, 1, (), lambda: "x")
    made = []
    parts.html("c", 1, (), lambda: made.append(1) or "y")
    assert made == []
    parts.html("a", 1, (), lambda: made.append(1) or "y")
    assert made == [1]
    with pytest.raises(ZeroDivisionError):
        parts.html("d", 1, (), lambda: str(1 / 0))
    assert parts.html("d", 1, (), lambda: "z").text == "z"
    assert parts.html("d", None, (), lambda: "unkept").text == "unkept"
    assert parts.html("d", 1, (), lambda: "no").text == "z"


def test_a_part_is_rendered_anew_where_what_it_was_given_changed():
    parts = KeptParts()
    texts = iter("abc")
    for given, text in (((1,), "a"), ((1,), "a"), ((2,), "b")):
        assert parts.html("k", 1, given, lambda: next(texts)).text == text


def test_pages_stay_right_on_a_database_whose_revision_nobody_can_tell(data, monkeypatch):
    monkeypatch.setattr("service.store.Store.revision", lambda _self: None)
    with running(data) as address, Client(address) as client, httpx.Client(base_url=address) as own:
        client.calibrate()
        client.give(taken(), "before.jpg")
        first = own.get("/parts")
        client.put("/intent", json=INTENT)
        assert own.get("/parts").text != first.text
