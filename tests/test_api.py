"""The API over HTTP: one round after another, repeats, lists, restarts."""

import json
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime

import httpx
import numpy as np
import pytest
from api_kit import (
    CALIBRATION,
    FAR,
    INTENT,
    Client,
    after,
    assert_problem,
    layout,
    running,
    stand_in_read,
    still,
    taken,
)
from store_kit import URLS

from service.desk.session import SessionAttempt, SessionStill, load_session
from service.position import Intent, landing_zone, score_shot
from service.practice import ShotKind, shot_kind, summarise
from service.store import StoreError

BOTH_DATABASES = True
VERDICT_KEYS = {
    "verdict", "p_in", "miss_mm", "miss_vector_mm", "along_mm", "across_mm", "arrival",
    "cue_stop_mm", "cut_deg", "side", "hooked", "path_to_pocket", "frozen", "reach", "potted",
    "scratch", "pot_chance", "pot_chance_given_up", "zone_empty", "warnings",
    "arrival_from", "arrival_range_deg", "outside_zone_mm", "from_wanted_mm", "wanted_mm",
    "assumed",
}  # fmt: skip


def keep_session(data, *given, **more):
    return load_session(data, *given, store_url=URLS.get(data), **more)


@pytest.fixture
def fresh(data):
    with running(data) as address, Client(address) as client:
        yield client


def counts(client):
    health = client.get("/health").json()
    return health["stills"], health["readings"], health["attempts"]


def in_the_zone():
    """A stop well inside the zone of ``INTENT``."""
    zone = landing_zone(layout(), Intent.from_dict(INTENT), CALIBRATION.table)
    return zone.wanted_mm


# -- one round -----------------------------------------------------------------------------


def test_a_still_gives_its_layout(client):
    answer = client.give(still(), "first.jpg")
    assert answer.status_code == 201
    body = answer.json()
    assert answer.headers["location"] == f"/api/v1/readings/{body['reading']['id']}"
    assert body["reading"]["layout"] == layout(still="first.jpg").to_dict()
    assert body["reading"]["comparison"] is None
    assert body["attempt"] is None
    assert client.get("/readings/latest").json() == body["reading"]
    assert client.get(answer.headers["location"].removeprefix("/api/v1")).json() == body["reading"]


def test_intent_then_still_gives_the_verdict(client):
    client.give(still(), "before.jpg")
    intent = client.put("/intent", json=INTENT)
    assert intent.status_code == 200
    zone = landing_zone(layout(), Intent.from_dict(INTENT), CALIBRATION.table).to_dict()
    assert intent.json()["zone"] == json.loads(json.dumps(zone))
    assert client.get("/intent").json() == intent.json()

    answer = client.give(still(after()), "after.jpg").json()
    expected = score_shot(layout(), after(), Intent.from_dict(INTENT), CALIBRATION.table)
    assert set(answer["attempt"]["verdict"]) == VERDICT_KEYS
    assert answer["attempt"]["verdict"] == expected.to_dict()
    assert answer["attempt"]["verdict"]["verdict"] == "out"
    assert answer["reading"]["comparison"] == {"made": True}
    assert (answer["attempt"]["before"], answer["attempt"]["after"]) == ("before.jpg", "after.jpg")
    assert client.get("/attempts").json()["attempts"] == [answer["attempt"]]
    assert client.get(f"/attempts/{answer['attempt']['id']}").json() == answer["attempt"]
    assert_problem(client.get("/intent"), 404, "no-intent")


def test_a_stop_in_the_zone_is_in(client):
    verdict = client.round(after(in_the_zone())).json()["attempt"]["verdict"]
    assert (verdict["verdict"], verdict["miss_mm"]) == ("in", 0.0)


def test_an_obstructed_still_is_not_compared_and_the_intent_goes_on(client):
    client.give(still(), "before.jpg")
    client.put("/intent", json=INTENT)
    for more, code in (({"obstructed": True}, "obstructed"), ({"settled": False}, "unsettled")):
        answer = client.give(still(after(**more)), f"{code}.jpg")
        assert answer.status_code == 201
        body = answer.json()
        assert body["attempt"] is None
        assert body["reading"]["comparison"]["made"] is False
        assert body["reading"]["comparison"]["code"] == code
        assert "the intent still holds" in body["reading"]["comparison"]["detail"]
    assert client.get("/intent").status_code == 200
    assert counts(client) == (3, 3, 0)
    assert client.give(still(after()), "after.jpg").json()["attempt"]["before"] == "before.jpg"


def test_a_still_said_to_be_unsettled_is_read_but_never_scored(client):
    client.give(still(), "before.jpg")
    client.put("/intent", json=INTENT)
    sent = {"content": still(after()), "headers": {"Content-Type": "image/jpeg"}}
    rolling = client.post("/stills", params={"settled": "false", "name": "a.jpg"}, **sent)
    form = client.post(
        "/stills",
        files={"still": ("b.jpg", still(after(), shade=91), "image/jpeg")},
        data={"settled": "false"},
    )
    for answer in (rolling, form):
        assert answer.status_code == 201
        body = answer.json()
        assert body["attempt"] is None
        assert body["reading"]["layout"]["settled"] is False
        assert body["reading"]["comparison"]["code"] == "unsettled"
    wrong = client.post(
        "/stills", files={"still": ("c.jpg", still(after()), "image/jpeg")}, data={"settled": "no"}
    )
    assert wrong.status_code == 422
    assert client.post("/stills", params={"settled": "true"}, **sent).json()["attempt"] is not None


def test_a_refusal_to_score_is_said_and_the_intent_goes_on(client):
    client.give(still(), "before.jpg")
    client.put("/intent", json=INTENT)
    other = layout(still="other.jpg").to_dict() | {"surface_mm": [2235.2, 1117.6]}
    body = client.give(still(type(layout()).from_dict(other)), "other.jpg").json()
    assert body["attempt"] is None
    assert body["reading"]["comparison"]["code"] == "other-surface"
    assert client.get("/intent").status_code == 200


def test_an_intent_can_be_withdrawn_and_replaced(client):
    client.give(still())
    client.put("/intent", json=INTENT)
    second = client.put("/intent", json=INTENT | {"pot": "9", "pocket": "head-left"}).json()
    assert client.get("/intent").json() == second
    assert client.delete("/intent").status_code == 204
    assert_problem(client.delete("/intent"), 404, "no-intent")
    assert client.give(still(after())).json()["attempt"] is None


def test_a_new_calibration_withdraws_the_intent_and_needs_a_new_layout(client):
    client.give(still())
    client.put("/intent", json=INTENT)
    assert client.calibrate().json()["id"] == 2
    assert_problem(client.get("/intent"), 404, "no-intent")
    assert_problem(client.put("/intent", json=INTENT), 409, "no-layout", text="Post that still")


def test_the_calibration_comes_back_as_it_was_given(fresh):
    assert_problem(fresh.get("/calibration"), 404, "not-found", text="restmark calibrate")
    answer = fresh.calibrate()
    assert answer.status_code == 200
    body = answer.json()
    assert body["calibration"] == CALIBRATION.to_dict()
    assert body["surface_mm"] == [2540.0, 1270.0]
    assert (body["head"], body["scale_source"]) == ("left", "exact")
    assert fresh.get("/calibration").json() == body


def test_the_summary_is_that_of_the_verdicts_in_their_order(client):
    stops = [FAR, in_the_zone(), (1300.0, 600.0), in_the_zone()]
    for stop in stops:
        client.round(after(stop))
    intent = Intent.from_dict(INTENT)
    verdicts = [score_shot(layout(), after(stop), intent, CALIBRATION.table) for stop in stops]
    kinds = [shot_kind(layout(), verdict, CALIBRATION.table) for verdict in verdicts]
    expected = summarise(verdicts, kinds=kinds).to_dict()
    assert client.get("/summary").json()["summary"] == expected


def test_the_summary_of_nothing_is_empty(client):
    assert client.get("/summary").json()["summary"]["attempts"] == 0


# -- pictures and lists --------------------------------------------------------------------


def test_the_picture_comes_back_byte_for_byte(client):
    number = client.give(still()).json()["reading"]["still"]["id"]
    answer = client.get(f"/stills/{number}/picture")
    assert answer.content == still()
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_the_top_view_is_an_svg(client):
    number = client.round(after()).json()["reading"]["id"]
    answer = client.get(f"/readings/{number}/top-view.svg")
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert answer.text.startswith("<svg")
    assert "Out by" in answer.text


def test_a_form_and_the_body_itself_give_the_same(client):
    form = client.post("/stills", files={"still": ("a.jpg", still(), "image/jpeg")})
    assert form.status_code == 201
    body = client.give(still(), "a.jpg").json()
    assert form.json()["reading"]["layout"] == body["reading"]["layout"]


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\stills\\a.jpg", "a.jpg"),
        ("<b>&\"'.jpg", "<b>&\"'.jpg"),
        ("a\x00\nb.jpg", "ab.jpg"),
        ("", "still"),
        ("..", ".."),
        ("x" * 500, "x" * 200),
    ],
)
def test_a_name_is_a_name_and_never_a_path(client, sent, kept):
    assert client.give(still(), sent).json()["reading"]["still"]["name"] == kept


def test_lists_go_on_where_they_ended(client):
    for number in range(5):
        client.give(taken(), f"{number}.jpg")
    for kind in ("stills", "readings"):
        first = client.get(f"/{kind}", params={"limit": 3}).json()
        rest = client.get(f"/{kind}", params={"limit": 3, "before": first["next_before"]}).json()
        assert [row["id"] for row in first[kind] + rest[kind]] == [5, 4, 3, 2, 1]
        assert rest["next_before"] is None


# -- repeats, order, restart ---------------------------------------------------------------


def test_the_same_key_takes_a_still_once(client):
    client.give(still(), "before.jpg")
    client.put("/intent", json=INTENT)
    first = client.give(still(after()), "a.jpg", **{"Idempotency-Key": "shot-1"})
    again = client.give(still(after()), "a.jpg", **{"Idempotency-Key": "shot-1"})
    assert again.status_code == first.status_code == 201
    assert again.json() == first.json()
    assert again.headers["location"] == first.headers["location"]
    assert "idempotency-replayed" not in first.headers
    assert again.headers["idempotency-replayed"] == "true"
    assert counts(client) == (2, 2, 1)


def test_a_key_belongs_to_one_still(client):
    client.give(still(), "a.jpg", **{"Idempotency-Key": "k"})
    for data, name in ((still(after()), "a.jpg"), (still(), "b.jpg")):
        answer = client.give(data, name, **{"Idempotency-Key": "k"})
        assert_problem(answer, 422, "idempotency-key-reused", text="Use a new key")
    assert counts(client) == (1, 1, 0)


def test_a_refused_still_leaves_its_key_free(client):
    assert client.give(b"text", "a.jpg", **{"Idempotency-Key": "k"}).status_code == 422
    assert client.give(still(), "a.jpg", **{"Idempotency-Key": "k"}).status_code == 201


def test_the_same_key_at_the_same_time_takes_a_still_once(client):
    answers = []

    def give():
        answers.append(client.give(still(), "a.jpg", **{"Idempotency-Key": "k"}))

    threads = [threading.Thread(target=give) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.status_code for answer in answers] == [201] * 6
    assert len({answer.text for answer in answers}) == 1
    assert counts(client) == (1, 1, 0)


def test_the_very_same_still_counts_once_with_or_without_a_key(client):
    first = client.give(still(), "a.jpg")
    for more in ({}, {"Idempotency-Key": "k"}, {"Idempotency-Key": "k"}):
        again = client.give(still(), "a.jpg", **more)
        assert again.status_code == (201 if "idempotency-replayed" in again.headers else 200)
        assert again.json()["same_as"] == first.json()["reading"]["id"]
        assert again.headers["location"] == first.headers["location"]
    client.give(taken(), "a.jpg")
    assert counts(client) == (2, 2, 0)


def test_the_service_answers_while_a_still_is_read(data):
    go_on, has_begun = threading.Event(), threading.Event()

    def slow(data, calibration, *, name="", previous=None):
        has_begun.set()
        assert go_on.wait(10)
        return stand_in_read(data, calibration, name=name)

    with running(data, read=slow) as address, Client(address) as client:
        client.calibrate()
        answer = []
        poster = threading.Thread(target=lambda: answer.append(client.give(still())))
        poster.start()
        assert has_begun.wait(10)
        started = time.perf_counter()
        assert client.get("/health").json()["stills"] == 0
        assert time.perf_counter() - started < 2.0
        go_on.set()
        poster.join()
        assert answer[0].status_code == 201


def test_the_reader_gets_the_last_comparable_layout(data):
    seen = []

    def watching(data, calibration, *, name="", previous=None):
        seen.append(previous.still if previous else None)
        return stand_in_read(data, calibration, name=name)

    with running(data, read=watching) as address, Client(address) as client:
        client.calibrate()
        client.give(still(), "clear.jpg")
        client.give(still(layout(obstructed=True)), "arm.jpg")
        client.give(taken(), "third.jpg")
        client.calibrate()
        client.give(still(), "fourth.jpg")
    assert seen == [None, "clear.jpg", "clear.jpg", None]


def test_a_restart_keeps_everything(data):
    paths = ("/calibration", "/stills", "/readings", "/attempts", "/summary", "/intent")
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.round(after())
        given = client.give(still(), "k.jpg", **{"Idempotency-Key": "k"}).json()
        client.put("/intent", json={"zone": {"circle_mm": [600, 600, 100]}})
        kept = {path: client.get(path).json() for path in paths}
    with running(data) as address, Client(address) as client:
        assert {path: client.get(path).json() for path in paths} == kept
        assert client.give(still(), "k.jpg", **{"Idempotency-Key": "k"}).json() == given


def test_a_pending_intent_outlives_a_restart(data):
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.give(still(), "before.jpg")
        client.put("/intent", json=INTENT)
    with running(data) as address, Client(address) as client:
        assert client.give(still(after())).json()["attempt"]["before"] == "before.jpg"


# -- a session loaded beforehand -----------------------------------------------------------


def session():
    intent = Intent.from_dict(INTENT)
    stills = [
        SessionStill(name="1-before.jpg", data=still(), layout=layout(still="1-before.jpg")),
        SessionStill(name="1-after.jpg", data=still(after()), layout=after(still="1-after.jpg")),
    ]
    verdict = score_shot(stills[0].layout, stills[1].layout, intent, CALIBRATION.table)
    attempts = [
        SessionAttempt(before="1-before.jpg", after="1-after.jpg", intent=intent, verdict=verdict)
    ]
    return stills, attempts


def test_a_loaded_session_is_like_a_played_one(data):
    stills, attempts = session()
    assert keep_session(data, CALIBRATION, stills=stills, attempts=attempts)
    with running(data) as address, Client(address) as client:
        listed = client.get("/attempts").json()["attempts"]
        assert [row["verdict"] for row in listed] == [attempts[0].verdict.to_dict()]
        # nobody took those stills now
        assert_problem(client.get("/readings/latest"), 404, "not-found")
        newest = client.get("/readings").json()["readings"][0]
        assert newest["layout"] == stills[1].layout.to_dict()
        assert newest["live"] is False
        expected = summarise([attempts[0].verdict], kinds=[ShotKind()]).to_dict()
        assert client.get("/summary").json()["summary"] == expected
        assert client.round(after()).json()["attempt"]["id"] == 2


def test_the_same_session_is_loaded_once(data):
    stills, attempts = session()
    assert keep_session(data, CALIBRATION, stills=stills, attempts=attempts)
    assert not keep_session(data, CALIBRATION, stills=stills, attempts=attempts)
    with running(data) as address, Client(address) as client:
        assert counts(client) == (2, 2, 1)


def test_a_session_with_a_hole_leaves_nothing(data):
    stills, attempts = session()
    with pytest.raises(StoreError, match=r"got still '1-after\.jpg'; allowed: one of the"):
        keep_session(data, CALIBRATION, stills=stills[:1], attempts=attempts)
    with running(data) as address, Client(address) as client:
        assert counts(client) == (0, 0, 0)
        assert client.get("/health").json()["calibrated"] is False
    assert [path for path in (data / "stills").rglob("*") if path.is_file()] == []


# -- notes and progress --------------------------------------------------------------------


def test_a_note_is_kept_and_tells_kinds_apart(client):
    made = client.round(after()).json()["attempt"]
    assert made["kind"]["spin"] is None
    assert made["kind"]["cut_deg"] == pytest.approx(cut_deg(layout()), abs=1e-9)
    assert made["kind"]["travel_mm"] > 0
    noted = client.put("/attempts/1/note", json={"spin": "draw", "side_spin": "none", "rails": 1})
    assert noted.status_code == 200
    expected = {**made["kind"], "spin": "draw", "side_spin": "none", "rails": 1}
    assert noted.json()["kind"] == expected
    assert client.get("/attempts/1").json() == noted.json()
    splits = client.get("/summary").json()["summary"]["by_kind"]
    groups = {split["by"]: [group["label"] for group in split["groups"]] for split in splits}
    assert groups["spin"] == ["draw"]
    assert groups["side spin"] == ["no side"]
    assert groups["rails"] == ["1 rail"]
    # a later note takes its place
    again = client.put("/attempts/1/note", json={"spin": "stun"}).json()["kind"]
    assert (again["spin"], again["side_spin"]) == ("stun", None)


def cut_deg(before):
    """By hand: angle between the way to the ghost ball and from ball 3 to the foot-left pocket."""
    cue, ball = (np.array(before.ball(name).centre_mm) for name in ("cue", "3"))
    u = np.array(CALIBRATION.table.pocket("foot-left").aim_mm) - ball
    u /= np.hypot(*u)
    way = ball - 57.15 * u - cue
    return np.degrees(np.arccos(way @ u / np.hypot(*way)))


@pytest.mark.parametrize(
    ("note", "text"),
    [
        ({"spin": "masse"}, "note.spin: got 'masse'; allowed: follow, stun, draw"),
        ({"rails": -1}, "note.rails: got -1; allowed: a whole number from 0 to 9"),
        ({"english": "left"}, "got unknown field(s) english; allowed: spin, side_spin, rails"),
    ],
)
def test_a_note_that_cannot_be_taken_changes_nothing(client, note, text):
    client.round(after())
    before = client.get("/attempts/1").json()
    assert_problem(client.put("/attempts/1/note", json=note), 422, "bad-note", text=text)
    assert client.get("/attempts/1").json() == before
    assert_problem(client.put("/attempts/9/note", json={}), 404, "not-found")


def test_sets_are_not_pooled_with_plain_repeats(client):
    client.round(after(in_the_zone()))
    client.round(after(FAR))
    client.put("/attempts/2/note", json={"in_a_row": 3})
    assert client.get("/summary").json()["summary"]["attempts"] == 1
    progress = client.get("/progress").json()["progress"]
    assert progress["attempts"] == 1
    assert [each["sets"]["attempts"] for each in progress["sets"]] == [1]


def test_sessions_loaded_over_weeks_give_progress(data):
    stills, attempts = session()
    for week in range(3):
        shown = [replace(each, data=each.data + bytes([week])) for each in stills]
        played = datetime(2026, 10, 1 + 7 * week, 19, 30, tzinfo=UTC)
        assert keep_session(data, CALIBRATION, stills=shown, attempts=attempts, played_at=played)
    with running(data) as address, Client(address) as client:
        body = client.get("/progress").json()
        found = body["progress"]
        assert [each["started_at"][:10] for each in found["sessions"]] == [
            "2026-10-01",
            "2026-10-08",
            "2026-10-15",
        ]
        assert found["zone_trend"]["sessions_missing"] == 2
        assert "Sessions until a trend can be claimed: at least 2 more" in " ".join(body["words"])
        assert client.get("/progress", params={"same_shots": True}).json()["progress"] == {
            **found,
            "same_shots": True,
        }
        assert client.get("/calibration").json()["id"] == 1, "the same calibration is kept once"


# -- OpenAPI -------------------------------------------------------------------------------


def test_openapi_names_every_address_and_says_what_each_is_for(client):
    document = client.get("/openapi.json").json()
    operations = {
        (method, path): operation
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    }
    assert {path for _, path in operations} >= {
        f"/api/v1{path}"
        for path in (
            "/health", "/problems", "/problems/{code}", "/events", "/calibration", "/player",
            "/stills", "/stills/{number}", "/stills/{number}/picture", "/readings",
            "/readings/latest",
            "/readings/{number}", "/readings/{number}/names",
            "/readings/{number}/names/{correction}", "/readings/{number}/top-view.svg", "/intent",
            "/attempts", "/attempts/{number}", "/attempts/{number}/note", "/summary", "/progress",
            "/set", "/intent/again", "/intent/mirror", "/practices", "/practices/{number}",
            "/practices/{number}/report.pdf",
            "/watch", "/undo", "/attempts/{number}/strike", "/attempts/{number}/restore",
            "/attempts/{number}/reopen",
            "/layouts", "/layouts/import", "/layouts/{number}", "/layouts/{number}/strike",
            "/layouts/{number}/restore", "/layouts/{number}.svg", "/layouts/{number}.png",
            "/layouts/{number}.pdf", "/layouts/{number}.json", "/lessons.html", "/lessons.pdf",
            "/plans", "/plans/{number}", "/plans/{number}/strike", "/plans/{number}/restore",
            "/guide", "/guide/look",
        )
    }  # fmt: skip
    for where, operation in operations.items():
        assert operation["description"], where
        refusals = [each for code, each in operation["responses"].items() if code[0] == "4"]
        assert refusals, where
        assert all("application/problem+json" in each["content"] for each in refusals), where
    names = operations["post", "/api/v1/readings/{number}/names"]["requestBody"]["content"]
    (said,) = names["application/json"]["schema"]["properties"].values()
    assert set(said["items"]["properties"]) == {"id", "x_mm", "y_mm"}
    media = operations["post", "/api/v1/stills"]["requestBody"]["content"]
    assert set(media) >= {"multipart/form-data", "image/jpeg", "image/png"}


def test_every_kind_of_problem_has_its_page(client):
    kinds = client.get("/problems").json()
    for kind in kinds:
        assert client.get(f"/problems/{kind['code']}").json() == kind
        assert kind["meaning"].endswith(".")
    refusal = client.get("/attempts/77").json()
    page = httpx.get(str(client.base_url.join(refusal["type"]))).json()
    assert page["title"] == refusal["title"]
