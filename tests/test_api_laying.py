"""Layouts, plans and the set-up guide over HTTP."""

import json
from dataclasses import replace

import pytest
from api_kit import BEFORE, INTENT, Client, after, assert_problem, layout, running, still

from service.desk.laying.guiding import guide_said
from service.guide import SetUpError
from service.layouts.files import read_layout
from service.store import Store
from vision.layout import Layout

BOTH_DATABASES = True
NEAR = {"cue": (1502.0, 401.0), "3": (2100.0, 900.0), "4": (900.0, 300.0), "9": (300.0, 1000.0)}
OFF = BEFORE | {"3": (2058.0, 893.0)}


@pytest.fixture
def client(data):
    with running(data) as address, Client(address) as calls:
        assert calls.calibrate().status_code == 200
        yield calls


@pytest.fixture
def laid(client):
    """A client whose table was read once."""
    assert client.give(still(), "before.jpg").status_code == 201
    return client


def record(client: Client, **given) -> dict:
    answer = client.post("/layouts", json=given)
    assert answer.status_code == 201, answer.text
    assert answer.headers["location"] == f"/api/v1/layouts/{answer.json()['id']}"
    return answer.json()


# -- the library -----------------------------------------------------------------------------


def test_the_table_is_recorded_as_it_lies_with_one_call(laid):
    kept = record(laid)
    assert kept["title"].startswith("Layout of ")
    assert kept["reading_id"] == 1
    places = {ball["id"]: (ball["x_mm"], ball["y_mm"]) for ball in kept["layout"]["balls"]}
    assert places == BEFORE
    assert laid.get(f"/layouts/{kept['id']}").json() == kept


def test_layouts_are_found_by_words_in_title_note_and_tags(laid):
    for title, note, tags in (
        ("Stop beside the 4", "soft draw", ["speed"]),
        ("Long follow", "firm", ["speed", "long"]),
        ("Safety", "behind the STOP line", []),
    ):
        record(laid, title=title, note=note, tags=tags)
    titles = lambda **query: [  # noqa: E731
        each["title"] for each in laid.get("/layouts", params=query).json()["layouts"]
    ]
    assert titles() == ["Safety", "Long follow", "Stop beside the 4"]
    assert titles(q="stop") == ["Safety", "Stop beside the 4"]
    assert titles(q="stop draw") == ["Stop beside the 4"]
    assert titles(q="long") == ["Long follow"]
    assert titles(tag="speed") == ["Long follow", "Stop beside the 4"]
    assert titles(q="100%") == []
    assert laid.get("/layouts").json()["tags"] == ["long", "speed"]
    first = laid.get("/layouts", params={"limit": 2}).json()
    rest = laid.get("/layouts", params={"before": first["next_before"]}).json()
    assert [each["title"] for each in rest["layouts"]] == ["Stop beside the 4"]
    assert rest["next_before"] is None


def test_words_and_shot_can_be_changed_and_nothing_else_is(laid):
    kept = record(laid, title="One", note="first", intent=INTENT)
    number = kept["id"]
    changed = laid.patch(f"/layouts/{number}", json={"title": "Two", "tags": ["b", "a"]}).json()
    assert (changed["title"], changed["note"], changed["tags"]) == ("Two", "first", ["a", "b"])
    assert changed["layout"] == kept["layout"]
    assert changed["intent"]["pot"] == "3"
    gone = laid.patch(f"/layouts/{number}", json={"intent": None}).json()
    assert gone["intent"] is None
    assert_problem(
        laid.patch(f"/layouts/{number}", json={"layout": {}}), 422, "bad-layout", text="unknown"
    )


def test_a_struck_layout_is_listed_no_longer_and_comes_back(laid):
    number = record(laid)["id"]
    assert laid.post(f"/layouts/{number}/strike").json()["struck_at"]
    assert laid.get("/layouts").json()["layouts"] == []
    assert len(laid.get("/layouts", params={"struck": True}).json()["layouts"]) == 1
    assert laid.post(f"/layouts/{number}/restore").json()["struck_at"] is None
    assert len(laid.get("/layouts").json()["layouts"]) == 1


@pytest.mark.parametrize(
    ("given", "status", "code"),
    [
        ({"title": ""}, 422, "bad-layout"),
        ({"tags": "soft"}, 422, "bad-layout"),
        ({"unknown": 1}, 422, "bad-layout"),
        ({"layout": {"surface_mm": [2540, 1270], "balls": []}}, 422, "empty-layout"),
        ({"layout": {"surface_mm": [1, 1], "balls": []}}, 422, "bad-file"),
        ({"reading_id": 99}, 404, "not-found"),
        ({"reading_id": "1"}, 422, "bad-layout"),
        ({"intent": {"pot": "7", "next": "4"}}, 422, "bad-intent"),
        ({"intent": {}}, 422, "bad-intent"),
    ],
)
def test_what_cannot_be_kept_is_refused_and_nothing_is_kept(laid, given, status, code):
    assert_problem(laid.post("/layouts", json=given), status, code)
    assert laid.get("/layouts").json()["layouts"] == []


def test_a_table_never_read_or_not_clear_is_not_recorded(client):
    assert_problem(client.post("/layouts", json={}), 409, "no-layout")
    client.give(still(layout(obstructed=True)), "arm.jpg")
    assert_problem(client.post("/layouts", json={}), 422, "bad-layout", text="something lies over")


# -- files -----------------------------------------------------------------------------------


def test_every_file_of_a_layout_can_be_had_and_comes_back(laid):
    number = record(laid, title="Stop beside the 4", tags=["soft"], intent=INTENT)["id"]
    files = {
        ending: laid.get(f"/layouts/{number}.{ending}") for ending in ("svg", "png", "pdf", "json")
    }
    kinds = {ending: answer.headers["content-type"] for ending, answer in files.items()}
    assert kinds["svg"].startswith("image/svg+xml")
    assert kinds["png"] == "image/png"
    assert kinds["pdf"] == "application/pdf"
    assert kinds["json"] == "application/json"
    assert files["png"].content.startswith(b"\x89PNG")
    assert files["pdf"].content.startswith(b"%PDF")
    before = laid.get(f"/layouts/{number}").json()
    for ending in files:
        answer = laid.post(
            "/layouts/import", params={"name": f"x.{ending}"}, content=files[ending].content
        )
        assert answer.status_code == 201, answer.text
        again = answer.json()
        for told in ("title", "note", "tags", "intent", "layout"):
            assert again[told] == before[told], (ending, told)
    for other in (b"<svg/>", b"%PDF-1.7", still(layout())):
        refused = laid.post("/layouts/import", content=other)
        assert_problem(refused, 422, "bad-layout", text="holds no layout")
    large = laid.post("/layouts/import", content=b"%PDF-" + bytes(20_000_000))
    assert_problem(large, 413, "too-large")


def test_files_come_mirrored_and_turned(laid):
    number = record(laid, title="One", intent=INTENT)["id"]
    copy = read_layout(laid.get(f"/layouts/{number}.json", params={"mirror": "across"}).content)
    assert copy.title == "One (mirrored across)"
    assert copy.intent.pocket == "foot-right"
    assert copy.layout.ball("cue").centre_mm == (1500.0, 870.0)
    turned = read_layout(laid.get(f"/layouts/{number}.svg", params={"turn": 180}).content)
    assert turned.layout.ball("cue").centre_mm == (1040.0, 870.0)
    for query in ({"mirror": "up"}, {"turn": 90}, {"width": 10}):
        assert_problem(laid.get(f"/layouts/{number}.png", params=query), 422, "invalid-request")


def test_markers_come_with_the_sheet_on_request(laid):
    number = record(laid)["id"]
    plain, tiled = (
        laid.get(f"/layouts/{number}.pdf", params={"tiles": tiles}).content
        for tiles in (False, True)
    )
    assert tiled.count(b"/Type /Page\n") > plain.count(b"/Type /Page\n")


def test_a_lesson_is_made_of_chosen_layouts(laid):
    one, two = record(laid, title="One", intent=INTENT)["id"], record(laid, title="Two")["id"]
    query = {"layouts": f"{two},{one}", "title": "Ünit 1", "note": "Slow"}
    page = laid.get("/lessons.html", params=query)
    assert page.headers["content-type"].startswith("text/html")
    assert "filename*=UTF-8''%C3%9Cnit%201.html" in page.headers["content-disposition"]
    assert page.text.index("Two") < page.text.index("One")
    assert laid.get("/lessons.pdf", params=query).content.startswith(b"%PDF")
    assert_problem(laid.get("/lessons.html", params={"layouts": "1,99"}), 404, "not-found")
    assert_problem(laid.get("/lessons.html", params={"layouts": "a"}), 422, "invalid-request")
    many = ",".join(["1"] * 25)
    assert_problem(laid.get("/lessons.html", params={"layouts": many}), 422, "bad-layout")


# -- plans -----------------------------------------------------------------------------------


def test_a_plan_is_kept_changed_struck_and_restored(client):
    answer = client.post("/plans", json={"title": "Thursday", "plan": {"shots": [INTENT, None]}})
    assert answer.status_code == 201
    number = answer.json()["id"]
    assert client.get(f"/plans/{number}").json()["plan"]["shots"][0]["pot"] == "3"
    changed = client.patch(f"/plans/{number}", json={"title": "Friday"}).json()
    assert changed["title"] == "Friday"
    assert changed["plan"] == answer.json()["plan"]
    client.post(f"/plans/{number}/strike")
    assert client.get("/plans").json() == {"plans": [], "next_before": None}
    client.post(f"/plans/{number}/restore")
    assert [plan["id"] for plan in client.get("/plans").json()["plans"]] == [number]


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"title": "x"},
        {"plan": {"shots": [{"pot": "99"}]}},
        {"plan": {"shots": []}, "title": 3},
        {"plan": [], "title": "x"},
        {"plan": {"shots": []}, "more": 1},
    ],
)
def test_a_plan_that_cannot_be_is_refused(client, given):
    assert_problem(client.post("/plans", json=given), 422, "bad-intent")
    assert client.get("/plans").json()["plans"] == []


# -- the set-up guide ------------------------------------------------------------------------


def test_a_guide_goes_from_off_to_done_by_stills(laid):
    number = record(laid, title="Stop beside the 4")["id"]
    laid.give(still(layout(OFF), shade=100), "off.jpg")
    answer = laid.put("/guide", json={"layout_id": number, "tolerance_mm": 5})
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert (body["title"], body["layout_id"], body["tolerance_mm"]) == (
        "Stop beside the 4",
        number,
        5,
    )
    assert not body["state"]["done"]
    (off,) = (ball for ball in body["state"]["balls"] if not ball["right"])
    assert off["id"] == "3"
    assert off["said"] == "toward the foot rail 42 mm, toward the left long rail 7.0 mm"
    assert [part["rail"] for part in off["toward"]] == ["foot", "left"]
    assert body["state"]["steps"][0]["do"] == "move"
    laid.give(still(layout(NEAR), shade=110), "near.jpg")
    state = laid.get("/guide").json()["state"]
    assert state["done"]
    assert state["said"] == "Done: 4 balls within 5.0 mm."
    assert laid.delete("/guide").status_code == 204
    assert_problem(laid.get("/guide"), 404, "no-guide")
    assert_problem(laid.delete("/guide"), 404, "no-guide")


def test_a_look_reads_a_picture_and_keeps_nothing(laid):
    number = record(laid)["id"]
    laid.put("/guide", json={"layout_id": number})
    counts = laid.holds()
    answer = laid.post(
        "/guide/look",
        params={"drawing": True},
        content=still(layout(OFF), shade=120),
        headers={"Content-Type": "image/jpeg"},
    )
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert body["reading_id"] is None
    assert not body["state"]["done"]
    assert body["svg"].startswith("<svg")
    assert 'class="move"' in body["svg"]
    assert laid.holds() == counts


def test_a_look_with_an_arm_over_the_table_is_never_done(laid):
    laid.put("/guide", json={"reading_id": 1})
    answer = laid.post(
        "/guide/look",
        content=still(layout(obstructed=True)),
        headers={"Content-Type": "image/jpeg"},
    )
    state = answer.json()["state"]
    assert state["obstructed"]
    assert not state["done"]
    assert "step back" in state["said"]


def test_the_tolerance_is_the_player_s_and_stays(laid):
    laid.put("/guide", json={"reading_id": 1, "tolerance_mm": 3})
    assert laid.put("/guide", json={"reading_id": 1}).json()["tolerance_mm"] == 3
    again = laid.put("/guide", json={"tolerance_mm": 4}).json()
    assert again["tolerance_mm"] == 4
    assert len(again["layout"]["balls"]) == len(BEFORE)
    assert (
        laid.put("/guide", json={"reading_id": 1, "tolerance_mm": 12.5}).json()["tolerance_mm"]
        == 12.5
    )


def test_a_mirrored_layout_is_laid_as_such(laid):
    number = record(laid, title="One")["id"]
    body = laid.put("/guide", json={"layout_id": number, "mirror": "across"}).json()
    assert body["title"] == "One (mirrored across)"
    cue = next(ball for ball in body["layout"]["balls"] if ball["id"] == "cue")
    assert (cue["x_mm"], cue["y_mm"]) == (1500.0, 870.0)


def test_a_layout_of_another_table_is_laid_by_diamonds_or_refused(laid):
    small = replace(
        layout({"cue": (558.8, 558.8), "3": (1117.6, 279.4)}), surface_mm=(2235.2, 1117.6)
    )
    body = laid.put("/guide", json={"layout": small.to_dict()}).json()
    cue = next(ball for ball in body["layout"]["balls"] if ball["id"] == "cue")
    assert (cue["x_mm"], cue["y_mm"]) == pytest.approx((635.0, 635.0))
    large = replace(layout({"cue": (900.0, 30.0)}), surface_mm=(4000.0, 2000.0))
    assert_problem(laid.put("/guide", json={"layout": large.to_dict()}), 409, "other-surface")


@pytest.mark.parametrize(
    ("given", "status", "code"),
    [
        ({}, 422, "bad-guide"),
        ({"layout_id": 1, "reading_id": 1}, 422, "bad-guide"),
        ({"layout_id": 99}, 404, "not-found"),
        ({"layout_id": True}, 422, "bad-guide"),
        ({"reading_id": 1, "tolerance_mm": 0}, 422, "bad-guide"),
        ({"reading_id": 1, "tolerance_mm": "5"}, 422, "bad-guide"),
        ({"reading_id": 1, "mirror": "up"}, 422, "bad-layout"),
        ({"reading_id": 1, "turn": 90}, 422, "bad-layout"),
        ({"layout": {"surface_mm": [2540, 1270], "balls": []}}, 422, "bad-guide"),
        ({"reading_id": 1, "more": 1}, 422, "bad-guide"),
    ],
)
def test_a_guide_that_cannot_be_is_refused(laid, given, status, code):
    assert_problem(laid.put("/guide", json=given), status, code)
    assert_problem(laid.get("/guide"), 404, "no-guide")


def test_a_guide_at_a_table_without_a_calibration_says_so(data):
    with running(data) as address, Client(address) as client:
        client.put("/guide", json={"layout": layout().to_dict()})
        assert client.get("/guide").json()["state"] is None
        answer = client.post("/guide/look", content=still(), headers={"Content-Type": "image/jpeg"})
        assert_problem(answer, 409, "no-calibration")


def test_listeners_are_told(laid):
    with laid.stream("GET", "/events", timeout=5) as stream:
        lines = stream.iter_lines()
        kinds = []
        laid_number = None
        for line in lines:
            if not line.startswith("data:"):
                continue
            event = json.loads(line.removeprefix("data:"))
            kinds.append(event["kind"])
            if event["kind"] == "hello":
                laid_number = record(laid)["id"]
                laid.put("/guide", json={"layout_id": laid_number})
            if event["kind"] == "guide":
                break
    assert kinds[:3] == ["hello", "layout", "guide"]
    assert Layout.from_dict(laid.get("/guide").json()["layout"]).ball("cue") is not None


def test_an_attempt_can_be_told_how_far_off_its_set_up_was(tmp_path):
    with running(tmp_path) as address, Client(address) as client:
        client.calibrate()
        client.put("/guide", json={"layout": layout().to_dict(), "tolerance_mm": 5})
    store = Store(tmp_path)
    try:
        with store.reading() as reader:
            near = guide_said(reader, 1, layout(NEAR))
            assert SetUpError.from_dict(near).worst_mm == pytest.approx(5**0.5)
            assert near["tolerance_mm"] == 5
            assert guide_said(reader, 1, layout(BEFORE | {"3": (2000.0, 900.0)})) is None
            assert guide_said(reader, 1, after()) is None
            assert guide_said(reader, 2, layout()) is None
    finally:
        store.close()
