"""Two cameras at one table over HTTP: stills of a moment wait for each other and become one."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace

import httpx
import pytest
from api_kit import BEFORE, CALIBRATION, FAR, INTENT, Client, assert_problem, layout, running, taken

from calibration.camera import Camera
from calibration.kept.calibration import Calibration
from calibration.table import Table
from service.store import Store

BOTH_DATABASES = True
WAIT_S = 2.5
LATER_S = 0.3
"""Between two senders whose order matters, on a machine that others use too."""
SECOND = Calibration.exact(
    Camera.looking(
        position_mm=(2000.0, 635.0, 2600.0), target_mm=(1270.0, 635.0, 0.0), up=(0.0, 1.0, 0.0),
        image_size_px=(640, 360), focal_px=400.0,
    ),
    Table(),
)  # fmt: skip
BEHIND = (((700.0, 100.0), (1100.0, 100.0), (1100.0, 500.0), (700.0, 500.0)),)
"""About ball 4: a lamp hides it from the overhead camera."""


@pytest.fixture
def two(data, database):
    """A table with two calibrated cameras."""
    with (
        running(data, store_url=database, wait_s=WAIT_S) as address,
        Client(address) as client,
    ):
        client.calibrate()
        put = client.put("/calibration", params={"camera": "foot"}, json=SECOND.to_dict())
        assert put.status_code == 200
        yield client


def give(client: Client, camera: str, data: bytes, **headers: str) -> httpx.Response:
    return client.post(
        "/stills", params={"name": f"{camera}.jpg", "camera": camera}, content=data,
        headers={"Content-Type": "image/jpeg"} | headers,
    )  # fmt: skip


def give_both(client: Client, one: bytes, other: bytes, **headers) -> list[httpx.Response]:
    """Both stills, each by a sender of its own, the second a little later."""
    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(give, client, "overhead", one, **headers.get("overhead", {}))
        time.sleep(LATER_S)
        second = pool.submit(give, client, "foot", other, **headers.get("foot", {}))
        return [first.result(), second.result()]


def places(**moved):
    return {**BEFORE, **moved}


def test_two_stills_of_a_moment_become_one_reading(two):
    hidden = {name: at for name, at in BEFORE.items() if name != "4"}
    answers = give_both(two, taken(layout(hidden, hidden_mm=BEHIND)), taken(layout()))
    assert [each.status_code for each in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    made = answers[0].json()["reading"]
    assert made["still"]["name"] == "overhead.jpg"
    assert made["layout"]["hidden_mm"] == []
    seen = {ball["id"]: ball["seen_by"] for ball in made["layout"]["balls"]}
    assert seen == {"cue": ["overhead", "foot"], "3": ["overhead", "foot"], "4": ["foot"],
                    "9": ["overhead", "foot"]}  # fmt: skip
    own = {part["camera"]: part for part in made["layout"]["cameras"]}
    assert len(own["overhead"]["layout"]["balls"]) == 3
    assert len(own["foot"]["layout"]["balls"]) == 4
    kept = two.get("/stills").json()["stills"]
    assert {still["sha256"] for still in kept} == {part["sha256"] for part in own.values()}
    assert len(two.get("/readings").json()["readings"]) == 1


def test_a_shot_between_two_moments_is_judged_once(two):
    give_both(two, taken(), taken())
    assert two.put("/intent", json=INTENT).status_code == 200
    gone = {"cue": FAR, "4": BEFORE["4"], "9": BEFORE["9"]}
    answers = give_both(two, taken(layout(gone)), taken(layout(gone)))
    verdict = answers[1].json()["attempt"]["verdict"]
    assert verdict["potted"] == ["3"]
    assert verdict["cue_stop_mm"] == pytest.approx(FAR, abs=0.1)
    assert len(two.get("/attempts").json()["attempts"]) == 1


def test_a_moment_is_read_again_whole(two):
    hidden = {name: at for name, at in BEFORE.items() if name != "4"}
    one = taken(layout(hidden, hidden_mm=BEHIND))
    made = give_both(two, one, taken(layout()))[0].json()["reading"]
    number = made["still"]["id"]
    again = two.post(f"/stills/{number}/readings", json={}).json()
    assert again["live"] is False
    assert again["layout"]["balls"] == made["layout"]["balls"]
    own = [{part["camera"]: part["sha256"]} for part in again["layout"]["cameras"]]
    assert own == [{part["camera"]: part["sha256"]} for part in made["layout"]["cameras"]]


def test_each_camera_says_its_calibration_and_the_moment_can_be_read_again(two, data, database):
    two.put("/calibration", params={"camera": "foot"}, json=SECOND.to_dict())
    made = give_both(two, taken(), taken())[0].json()["reading"]
    used = {part["camera"]: part["calibration_id"] for part in made["layout"]["cameras"]}
    assert used == {"overhead": 1, "foot": 3}
    with closing(Store(data, database)) as store, store.reading() as reader:
        (moment,) = reader.stills_to_read()
        assert moment.id == made["still"]["id"]
        assert {part.camera: part.calibration_id for part in moment.parts} == used


def test_a_layout_that_is_kept_names_no_camera(two):
    give_both(two, taken(), taken())
    kept = two.post("/layouts", json={"title": "As it lay"}).json()["layout"]
    assert len(kept["balls"]) == 4
    assert not kept.get("cameras")
    assert not any("seen_by" in ball for ball in kept["balls"])


def test_a_camera_that_sends_nothing_is_said_and_waited_for_no_longer(two):
    started = time.monotonic()
    answer = give(two, "foot", taken())
    assert time.monotonic() - started >= WAIT_S
    made = answer.json()["reading"]
    told = next(n for n in made["layout"]["notices"] if n["code"] == "camera-away")
    assert told["fields"] == {"camera": "overhead", "code": "no-still"}
    states = {part["camera"]: part["state"] for part in made["layout"]["cameras"]}
    assert states == {"foot": "alone", "overhead": "away"}
    assert made["still"]["name"] == "foot.jpg"


def test_a_hand_before_one_camera_makes_no_attempt(two):
    give_both(two, taken(), taken())
    two.put("/intent", json=INTENT)
    gone = {"cue": FAR, "4": BEFORE["4"], "9": BEFORE["9"]}
    answers = give_both(two, taken(layout(gone)), taken(layout(gone, obstructed=True)))
    body = answers[0].json()
    assert body["attempt"] is None
    assert body["reading"]["layout"]["obstructed"]
    assert body["reading"]["comparison"]["code"] == "obstructed"


def test_the_same_camera_twice_begins_a_moment_of_its_own(two):
    with ThreadPoolExecutor(3) as pool:
        first = pool.submit(give, two, "overhead", taken())
        time.sleep(LATER_S)
        moved = layout(places(cue=(700.0, 700.0)))
        second = pool.submit(give, two, "overhead", taken(moved))
        time.sleep(LATER_S)
        third = pool.submit(give, two, "foot", taken(moved))
        bodies = [each.result().json()["reading"] for each in (first, second, third)]
    assert bodies[1] == bodies[2] != bodies[0]
    assert [part["state"] for part in bodies[0]["layout"]["cameras"]] == ["alone", "away"]
    assert [part["state"] for part in bodies[1]["layout"]["cameras"]] == ["agrees", "agrees"]


def test_the_same_stills_again_count_once_and_keys_are_kept_for_each(two):
    one, other = taken(), taken()
    keys = {"overhead": {"Idempotency-Key": "k1"}, "foot": {"Idempotency-Key": "k2"}}
    first = give_both(two, one, other, **keys)[0].json()
    again = give(two, "foot", other, **keys["foot"])
    assert again.headers["Idempotency-Replayed"] == "true"
    assert again.json() == first
    without = give_both(two, one, other)
    assert {each.status_code for each in without} == {200}
    assert without[0].json()["same_as"] == first["reading"]["id"]
    assert_problem(give(two, "foot", taken(), **keys["foot"]), 422, "idempotency-key-reused")


def test_stills_that_do_not_belong_together_keep_nothing(two):
    far = layout({name: (x / 2 + 50, 1270 - y) for name, (x, y) in BEFORE.items()})
    answers = give_both(two, taken(), taken(far))
    for answer in answers:
        assert_problem(answer, 422, "other-moment", text="balls in the same place")
    assert two.get("/stills").json()["stills"] == []


def test_cameras_that_do_not_belong_to_the_table_are_refused(two):
    body = assert_problem(give(two, "side", taken()), 409, "unknown-camera")
    assert body["fields"]["cameras"] == ["overhead", "foot"]
    small = replace(SECOND, table=Table.from_surface("8ft"))
    answer = two.put("/calibration", params={"camera": "foot"}, json=small.to_dict())
    assert_problem(answer, 422, "other-table", text="allowed: calibrations of one table")


def test_a_second_camera_needs_the_first(client):
    number = client.post("/tables", json={"name": "Two"}).json()["id"]
    asked = {"camera": "foot", "table": number}
    answer = client.put("/calibration", params=asked, json=SECOND.to_dict())
    assert_problem(answer, 409, "no-calibration")
    assert_problem(give(client, "foot", taken()), 409, "unknown-camera")
    assert client.give(taken()).status_code == 201


def test_a_second_camera_withdraws_no_intent(client):
    client.calibrate()
    client.give(taken())
    client.put("/intent", json=INTENT)
    client.put("/calibration", params={"camera": "foot"}, json=SECOND.to_dict())
    assert client.get("/intent").status_code == 200
    assert client.get("/calibration").json()["calibration"] == CALIBRATION.to_dict()


def test_tables_do_not_wait_for_each_other(data, database):
    with running(data, store_url=database, wait_s=15.0) as address, Client(address) as client:
        client.calibrate()
        client.put("/calibration", params={"camera": "foot"}, json=SECOND.to_dict())
        number = client.post("/tables", json={"name": "Two"}).json()["id"]
        client.put("/calibration", params={"table": number}, json=CALIBRATION.to_dict())
        waits = threading.Thread(target=give, args=(client, "foot", taken()))
        waits.start()
        answer = client.post(
            "/stills", params={"table": number}, content=taken(),
            headers={"Content-Type": "image/jpeg"},
        )  # fmt: skip
        assert answer.status_code == 201
        assert waits.is_alive()
        assert give(client, "overhead", taken()).status_code == 201
        waits.join()


# -- watched -------------------------------------------------------------------------------


def test_two_folders_that_fill_are_watched_as_two_cameras(data, database, tmp_path):
    folders = {name: tmp_path / name for name in ("overhead", "foot")}
    for folder in folders.values():
        folder.mkdir()
    with running(data, store_url=database, wait_s=20.0) as address, Client(address) as client:
        client.calibrate()
        client.put("/calibration", params={"camera": "foot"}, json=SECOND.to_dict())
        for name, folder in folders.items():
            begun = client.put("/watch", params={"camera": name}, json={"source": str(folder)})
            assert begun.json()["state"] == "watching"
        listed = client.get("/health").json()["watches"]
        assert [each["camera"] for each in listed] == ["foot", "overhead"]
        for name, folder in folders.items():
            (folder / "part").write_bytes(taken())
            (folder / "part").rename(folder / f"{name}.jpg")
        made = _first_reading(client)
        assert [part["state"] for part in made["layout"]["cameras"]] == ["agrees", "agrees"]
        for name in folders:
            assert client.get("/watch", params={"camera": name}).json()["last_still"] is not None
        client.delete("/watch", params={"camera": "foot"})
        assert client.get("/watch").json()["state"] == "watching"
    with running(data, store_url=database) as address, Client(address) as client:
        (listed,) = client.get("/health").json()["watches"]
        assert (listed["camera"], listed["resumed"]) == ("overhead", True)


def _first_reading(client: Client) -> dict:
    give_up = time.monotonic() + 30
    while time.monotonic() < give_up:
        found = client.get("/readings").json()["readings"]
        if found:
            time.sleep(0.2)
            return found[0]
        time.sleep(0.1)
    raise AssertionError("no still was taken")


def test_the_strip_shows_each_camera_and_which_is_away(two):
    give(two, "overhead", taken())
    page = httpx.get(str(two.base_url).replace("/api/v1", "/").rstrip("/") + "/").text
    text = " ".join(page.split())
    assert "Camera overhead" in text
    assert "Camera foot" in text
    assert "gave no still last" in text


def test_a_camera_that_is_taken_away_is_waited_for_no_longer(two):
    foot = {"camera": "foot"}
    held = two.get("/calibration", params=foot).json()
    assert held["ended_at"] is None
    assert_problem(two.delete("/calibration", params={"camera": "overhead"}), 409, "first-camera")
    assert_problem(two.delete("/calibration", params={"camera": "door"}), 409, "unknown-camera")
    assert two.delete("/calibration", params=foot).status_code == 204
    began = time.monotonic()
    alone = give(two, "overhead", taken(layout()))
    assert time.monotonic() - began < WAIT_S
    assert alone.json()["reading"]["layout"].get("cameras") is None
    assert_problem(give(two, "foot", taken(layout())), 409, "unknown-camera")
    assert two.get("/calibration", params=foot).status_code == 404
    # it stays for the readings that name it
    kept = two.get(f"/calibrations/{held['id']}").json()
    assert kept["calibration"] == held["calibration"]
    assert kept["ended_at"] is not None
    # and comes back
    assert two.put("/calibration", params=foot, json=SECOND.to_dict()).status_code == 200
    answers = give_both(two, taken(layout(), shade=130), taken(layout(), shade=150))
    assert [each.json()["reading"]["layout"]["cameras"] for each in answers]
