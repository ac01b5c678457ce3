"""What is not live stays apart from what is: an archive comes in while a practice goes on."""

from __future__ import annotations

import json
import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from api_kit import BEFORE, INTENT, Client, after, layout, running, taken

BOTH_DATABASES = True
STOP = (1100.0, 700.0)
WAITING = "Set the balls up"
AT_ONCE = 2


@pytest.fixture
def archive(tmp_path):
    """Another table's practice: two attempts, and an intent that waited when it was packed."""
    with running(tmp_path / "elsewhere") as address, Client(address) as other:
        other.calibrate()
        for stop in ((2300.0, 200.0), (1300.0, 600.0)):
            assert other.round(after(stop)).json()["attempt"]
        other.put("/intent", json={"zone": {"circle_mm": [600, 600, 100]}})
        return other.get("/export").content


def take_in(client, content):
    done = client.post("/import", content=content, headers={"Content-Type": "application/zip"})
    assert done.status_code == 200, done.text
    assert done.json()["added"]["attempts"] == 2


def shown(client) -> dict[str, str]:
    """The practice page's headline and its strip of states."""
    page = client.get(str(client.base_url).removesuffix("api/v1/")).text
    last = re.search(r'data-name="last".*?</li>', page, re.DOTALL) or re.search(
        r'data-name="last"[^>]*>.*?</', page, re.DOTALL
    )
    return {
        "headline": re.search(r"<h1[^>]*>(.*?)</h1>", page, re.DOTALL).group(1).strip(),
        "last": " ".join(re.sub(r"<[^>]+>", " ", last.group(0)).split()),
    }


def lies(client) -> str:
    """All that says how the table lies and what is next."""
    parts = [client.get(path).json() for path in ("/readings/latest", "/intent", "/tables/1")]
    parts.append(client.get("/calibration").json())
    return json.dumps([*parts, shown(client)])


def test_an_archive_changes_nothing_of_the_live_table(client, archive):
    assert client.give(taken(), "before.jpg").status_code == 201
    client.put("/intent", json=INTENT)
    was = lies(client)
    take_in(client, archive)
    assert lies(client) == was
    shot = client.give(taken(after(STOP)), "after.jpg").json()
    assert shot["outcome"]["event"] == "shot"
    assert shot["attempt"]["before_reading_id"] == 1
    take_in_again = client.post(
        "/import", content=archive, headers={"Content-Type": "application/zip"}
    )
    assert not any(take_in_again.json()["added"].values())
    # the last attempt of the table is the live one still: its shot comes again
    assert client.post(f"/attempts/{shot['attempt']['id']}/reopen").status_code == 200


def test_an_import_is_no_last_still(client, archive):
    take_in(client, archive)
    assert client.get("/readings/latest").status_code == 404
    assert "none yet" in shown(client)["last"]
    client.give(taken(), "mine.jpg")
    assert "4 balls" in shown(client)["last"]
    assert client.get("/readings/latest").json()["outcome"] is None


def test_a_shot_whose_balls_do_not_lie_there_is_not_asked_for(client):
    client.round(after(STOP))
    assert client.post("/intent/again").status_code == 200
    elsewhere = layout(BEFORE | {"cue": (400.0, 900.0)})
    client.give(taken(elsewhere), "not-yet.jpg")
    page = client.get(str(client.base_url).removesuffix("api/v1/")).text
    assert client.get("/intent").json()["state_said"]
    assert "Play the shot" not in page
    client.give(taken(), "set-up.jpg")
    assert client.get("/intent").json()["state_said"] is None
    assert shown(client)["headline"] == "Play the shot"


# -- the same shot again, and its mirror image -----------------------------------------------


def test_again_waits_for_its_layout_and_is_scored_from_there(client):
    none = client.post("/intent/again")
    assert (none.status_code, none.json()["code"]) == (409, "no-attempt")
    first = client.round(after(STOP)).json()["attempt"]
    again = client.post("/intent/again")
    assert again.status_code == 200, again.text
    assert again.json()["intent"] == client.get("/intent").json()["intent"]
    assert again.json()["state_said"]
    # played from elsewhere it is not scored; from its own layout it is
    client.give(taken(), "set-up.jpg")
    assert client.get("/intent").json()["state_said"] is None
    second = client.give(taken(after((1000.0, 500.0))), "second.jpg").json()["attempt"]
    assert second["intent"] == first["intent"]
    assert second["id"] == 2
    assert second["set_up"]["set_up_off_mm"]


@pytest.mark.parametrize(
    ("asked", "pocket", "turned"),
    [
        ({"mirror": "across"}, "foot-right", lambda x, y: (x, 1270 - y)),
        ({"mirror": "along"}, "head-left", lambda x, y: (2540 - x, y)),
        ({"turn": 180}, "head-right", lambda x, y: (2540 - x, 1270 - y)),
    ],
)
def test_the_mirrored_shot_waits_for_the_mirrored_layout(client, asked, pocket, turned):
    client.round(after(STOP))
    mirrored = client.post("/intent/mirror", json=asked)
    assert mirrored.status_code == 200, mirrored.text
    assert mirrored.json()["intent"]["pocket"] == pocket
    assert mirrored.json()["state_said"]
    balls = {name: turned(*at) for name, at in BEFORE.items()}
    client.give(taken(layout(balls)), "mirrored.jpg")
    assert client.get("/intent").json()["state_said"] is None
    stopped = {name: at for name, at in balls.items() if name != "3"} | {"cue": turned(*STOP)}
    shot = client.give(taken(layout(stopped)), "shot.jpg").json()
    assert shot["attempt"]["intent"]["pocket"] == pocket
    listed = client.get("/attempts").json()["attempts"]
    was = next(a for a in listed if a["id"] == 1)["verdict"]
    assert shot["attempt"]["verdict"]["miss_mm"] == pytest.approx(was["miss_mm"], abs=1e-6)


def test_a_mirror_is_refused_with_words(client):
    client.round(after(STOP))
    wrong = client.post("/intent/mirror", json={"mirror": "up"})
    assert (wrong.status_code, wrong.json()["code"]) == (422, "invalid-request")


# -- two at once -----------------------------------------------------------------------------


def test_the_same_still_from_two_clients_at_once_counts_once(client):
    client.give(taken(), "before.jpg")
    client.put("/intent", json=INTENT)
    data = taken(after(STOP))
    address = str(client.base_url).removesuffix("api/v1/")

    def give(k):
        with Client(address) as own:
            return own.give(data, f"{k}.jpg")

    with ThreadPoolExecutor(AT_ONCE) as pool:
        answers = list(pool.map(give, range(AT_ONCE)))
    assert sorted(answer.status_code for answer in answers) == [200, 201]
    first, second = (answer.json() for answer in sorted(answers, key=lambda a: -a.status_code))
    assert second["same_as"] == first["reading"]["id"]
    assert second["attempt"]["id"] == first["attempt"]["id"]
    assert len(client.get("/attempts").json()["attempts"]) == 1
    assert client.get("/health").json()["readings"] == 2


def test_the_same_still_under_one_key_from_two_clients_is_answered_alike(client):
    client.give(taken(), "before.jpg")
    data = taken(after(STOP))
    address = str(client.base_url).removesuffix("api/v1/")

    def give(_):
        with Client(address) as own:
            return own.give(data, "one.jpg", **{"Idempotency-Key": "k"})

    with ThreadPoolExecutor(AT_ONCE) as pool:
        answers = list(pool.map(give, range(AT_ONCE)))
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert sorted(answer.headers.get("Idempotency-Replayed", "") for answer in answers) == [
        "", "true",
    ]  # fmt: skip
    assert client.get("/health").json()["readings"] == 2
