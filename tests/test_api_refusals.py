"""Every refusal has one shape, says what to do, and leaves nothing behind."""

import re
import socket

import cv2
import numpy as np
import pytest
from api_kit import (
    CALIBRATION,
    INTENT,
    Client,
    after,
    assert_problem,
    layout,
    picture,
    running,
    still,
)
from fastapi import FastAPI

from service.api.gate import BODY_LIMIT_BYTES, STILL_LIMIT_BYTES
from service.api.routes import router
from vision.read import read_still


@pytest.fixture
def fresh(tmp_path):
    with running(tmp_path) as address, Client(address) as client:
        client.data_dir = tmp_path
        yield client


@pytest.fixture
def client(fresh):
    fresh.calibrate()
    return fresh


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """A server with a calibration, a layout and an intent, for refusals that change nothing."""
    data_dir = tmp_path_factory.mktemp("shared")
    with running(data_dir) as address, Client(address) as client:
        client.data_dir = data_dir
        client.calibrate()
        client.give(still())
        client.put("/intent", json=INTENT)
        client.held = client.get("/intent").json(), holdings(client)
        yield client
        assert (client.get("/intent").json(), holdings(client)) == client.held


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """A server that holds nothing, for refusals that change nothing."""
    with running(tmp_path_factory.mktemp("empty")) as address, Client(address) as client:
        yield client


def holdings(client):
    """All that could have been left behind."""
    health = client.get("/health").json()
    files = [path for path in (client.data_dir / "stills").rglob("*") if path.is_file()]
    return health["stills"], health["readings"], health["attempts"], len(files)


def text_as_jpg():
    return b"This is no picture, whatever its name says.\n" * 20


def truncated_jpeg():
    noise = np.random.default_rng(5).integers(0, 255, (360, 640, 3), np.uint8)
    data = cv2.imencode(".jpg", noise)[1].tobytes()
    return data[: len(data) // 2]


# -- bad stills, with the true reader ------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (text_as_jpg(), "shot.jpg: neither JPEG nor PNG"),
        (truncated_jpeg(), "shot.jpg: cut off or damaged"),
        (picture(width_px=1, height_px=1), "shot.jpg: got 1x1 px"),
        (b"", "shot.jpg: empty, 0 bytes"),
        (picture(width_px=800, height_px=600), "shot.jpg: got 800x600 px; allowed: 640x360 px"),
    ],
    ids=["text", "truncated", "1x1", "empty", "size of another calibration"],
)
@pytest.mark.parametrize("way", ["body", "form"])
def test_a_bad_still_is_refused_and_leaves_nothing(tmp_path, data, text, way):
    with running(tmp_path, read=read_still) as address, Client(address) as client:
        client.data_dir = tmp_path
        client.calibrate()
        if way == "body":
            answer = client.give(data, "shot.jpg", **{"Idempotency-Key": "k"})
        else:
            answer = client.post("/stills", files={"still": ("shot.jpg", data, "image/jpeg")})
        assert_problem(answer, 422, "bad-still", text=text)
        assert holdings(client) == (0, 0, 0, 0)


def test_a_bad_still_leaves_the_intent(client):
    client.give(still())
    client.put("/intent", json=INTENT)
    assert_problem(client.give(text_as_jpg()), 422, "bad-still")
    assert client.get("/intent").status_code == 200
    assert client.give(still(after())).json()["attempt"] is not None


def test_a_still_before_any_calibration_is_refused(fresh):
    body = assert_problem(fresh.give(still()), 409, "no-calibration", text="restmark calibrate")
    assert body["instance"] == "/api/v1/stills"
    assert holdings(fresh) == (0, 0, 0, 0)


@pytest.mark.parametrize("media_type", ["text/plain", "application/json", "image/gif", ""])
def test_another_media_type_is_refused(shared, media_type):
    answer = shared.give(still(), **{"Content-Type": media_type})
    assert_problem(answer, 415, "unsupported-media", text="allowed: multipart/form-data")


def test_a_form_without_the_still_is_refused(shared):
    answer = shared.post("/stills", files={"photo": ("a.jpg", still(), "image/jpeg")})
    assert_problem(answer, 422, "invalid-request", text="still: missing")
    answer = shared.post("/stills", data={"still": "no file"}, files={"x": ("", b"")})
    assert_problem(answer, 422, "invalid-request", text="still: missing")


def test_a_broken_form_is_refused(shared):
    answer = shared.give(b"no form", **{"Content-Type": "multipart/form-data; boundary=x"})
    assert_problem(answer, 400, "bad-request", text="Invalid multipart data; allowed")
    answer = shared.give(b"no form", **{"Content-Type": "multipart/form-data"})
    assert_problem(answer, 400, "bad-request", text="boundary")


@pytest.mark.parametrize("key", ["", "a b", "ü", "x" * 201])
def test_an_unusable_key_is_refused(shared, key):
    answer = shared.post(
        "/stills",
        content=still(),
        headers=[(b"content-type", b"image/jpeg"), (b"idempotency-key", key.encode())],
    )
    assert_problem(answer, 400, "bad-idempotency-key", text="1 to 200 visible ASCII")


# -- bad calibrations ----------------------------------------------------------------------


def changed(**more):
    return CALIBRATION.to_dict() | more


def other_table(**more):
    return changed(table=CALIBRATION.table.to_dict() | more)


@pytest.mark.parametrize(
    ("document", "code", "text"),
    [
        (changed(version=99), "bad-file", "calibration.version: got 99; allowed: 1"),
        (changed(format="lens"), "bad-file", "calibration.format: got 'lens'"),
        ({}, "bad-file", "calibration.format: got None"),
        (changed(camera={}), "bad-file", "calibration.camera.image_size_px: missing"),
        (changed(camera=7), "bad-file", "calibration.camera: got 7"),
        (
            other_table(length_mm=1.0),
            "bad-table",
            "calibration.table: got a surface of 1x1270",
        ),
        (
            other_table(length_mm="x"),
            "bad-table",
            "calibration.table.length_mm: got 'x'",
        ),
        (changed(table={}), "bad-table", "calibration.table.length_mm: missing"),
        (changed(head="up"), "bad-file", "calibration.head: got 'up'"),
    ],
)
def test_a_bad_calibration_is_refused_and_the_old_one_holds(shared, document, code, text):
    assert_problem(shared.put("/calibration", json=document), 422, code, text=text)
    assert shared.get("/calibration").json()["id"] == 1


@pytest.mark.parametrize("path", ["/calibration", "/intent"])
@pytest.mark.parametrize(
    ("content", "status", "code"),
    [
        (b"{not json", 400, "bad-request"),
        (b"", 422, "invalid-request"),
        (b"[1, 2]", 422, "invalid-request"),
        (b'"text"', 422, "invalid-request"),
        (b"[" * 100_000, 400, "bad-request"),
        (b"\xff\xfe", 400, "bad-request"),
    ],
    ids=["broken", "empty", "list", "text", "deep", "no utf-8"],
)
def test_a_body_that_is_no_object_is_refused(shared, path, content, status, code):
    answer = shared.put(path, content=content, headers={"Content-Type": "application/json"})
    assert_problem(answer, status, code)


# -- bad intents ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("document", "text"),
    [
        (INTENT | {"pot": "7"}, "pot: got '7', which is not on the table"),
        (INTENT | {"next": "12"}, "next: got '12', which is not on the table"),
        (INTENT | {"cut_deg": [40, 10]}, "intent.cut_deg: got"),
        (INTENT | {"pocket": "middle"}, "intent.pocket: got 'middle'"),
        (INTENT | {"pot": "16"}, "intent.pot: got '16'"),
        (INTENT | {"colour": "red"}, "intent: got unknown field(s) colour"),
        ({}, "intent.next: missing"),
        ({"zone": {"circle_mm": [1, 2]}}, "intent.zone.circle_mm: got [1, 2]"),
    ],
)
def test_a_bad_intent_is_refused_and_the_old_one_holds(shared, document, text):
    assert_problem(shared.put("/intent", json=document), 422, "bad-intent", text=text)
    assert shared.get("/intent").json() == shared.held[0]


def test_an_intent_needs_a_calibration_and_a_layout(fresh):
    assert_problem(fresh.put("/intent", json=INTENT), 409, "no-calibration")
    fresh.calibrate()
    assert_problem(fresh.put("/intent", json=INTENT), 409, "no-layout")
    fresh.give(still(layout(obstructed=True)))
    assert_problem(fresh.put("/intent", json=INTENT), 409, "no-layout")
    assert_problem(fresh.get("/intent"), 404, "no-intent")


@pytest.mark.parametrize("suffix", [".jpg", ".png"])
@pytest.mark.parametrize("media_type", ["image/jpeg", "application/json", None])
def test_a_still_put_as_calibration_says_what_belongs_there(shared, suffix, media_type):
    coded = cv2.imencode(suffix, np.full((360, 640, 3), 90, np.uint8))[1].tobytes()
    headers = {} if media_type is None else {"content-type": media_type}
    answer = shared.put("/calibration", content=coded, headers=headers)
    problem = assert_problem(answer, 422, "bad-file", text="calibration: got a still (")
    assert "`restmark calibrate STILL --surface 9ft --out table.json`" in problem["detail"]
    form = shared.put("/calibration", files={"calibration": ("a" + suffix, coded)})
    assert_problem(form, 422, "bad-file", text="calibration: got a still (")
    assert_problem(shared.put("/intent", content=coded), 422, "bad-file", text="intent: got a st")


def test_a_large_still_put_as_calibration_says_where_stills_go(shared):
    coded = b"\xff\xd8\xff" + bytes(1_500_000)
    answer = shared.put("/calibration", content=coded)
    assert_problem(answer, 413, "too-large", text="they go to POST /api/v1/stills")


@pytest.mark.parametrize("media_type", ["text/plain", "application/x-www-form-urlencoded", ""])
@pytest.mark.parametrize(
    ("method", "path"),
    [("PUT", "/intent"), ("POST", "/practices"), ("PATCH", "/tables/1"), ("PUT", "/watch")],
)
def test_a_document_of_another_media_type_is_refused(shared, method, path, media_type):
    headers = {"Content-Type": media_type} if media_type else {}
    answer = shared.request(method, path, content=b'{"name": "x"}', headers=headers)
    assert_problem(answer, 415, "unsupported-media", text="allowed: application/json")


# -- practices -----------------------------------------------------------------------------

WAYS_FIELDS = "kind, shots, notes, in_a_row, what, start_mm, step_mm, least_mm, most_mm, window_mm"


@pytest.mark.parametrize(
    ("document", "status", "code", "text"),
    [
        ({"mode": "plan"}, 422, "invalid-request", "body.mode: unknown; allowed: title, way, plan"),
        (
            {"way": {"kind": "progressive", "shots": [INTENT], "speed": 2}},
            422,
            "bad-intent",
            f"way: got unknown field(s) speed; allowed: {WAYS_FIELDS}, counts. Remove it.",
        ),
        (
            {"way": {"kind": "plan", "shots": [INTENT], "each": 3}},
            422,
            "bad-intent",
            "way: got unknown field(s) each; allowed: kind, shots, notes, in_a_row. Remove it.",
        ),
        ({"way": {"kind": "plan", "plan_id": 7}}, 422, "bad-intent", "beside way: move it there"),
        ({"plan_id": 77}, 404, "not-found", "plan: got number 77; allowed: a number that the list"),
        ({"plan_id": 0}, 422, "invalid-request", "body.plan_id"),
    ],
)
def test_a_practice_that_cannot_be_says_what_may(shared, document, status, code, text):
    assert_problem(shared.post("/practices", json=document), status, code, text=text)
    assert shared.get("/practices").json()["practices"] == []


# -- every route ---------------------------------------------------------------------------


def published():
    """Every published address, each number a 1, and its methods."""
    app = FastAPI()
    app.include_router(router)
    return {
        re.sub(r"\{\w+\}", "1", path).removeprefix("/api/v1"): {method.upper() for method in item}
        for path, item in app.openapi()["paths"].items()
    }


ROUTES = published()


@pytest.mark.parametrize("path", ROUTES)
def test_another_method_is_refused(empty, path):
    # a name may be taken for a number where one is asked for in its place
    held = ROUTES[path] | ROUTES.get(f"{path.rpartition('/')[0]}/1", set())
    method = next(each for each in ("PATCH", "DELETE", "PUT") if each not in held)
    answer = empty.request(method, path)
    assert_problem(answer, 405, "method-not-allowed", text=f"{method} /api/v1{path}: not allowed")
    assert ROUTES[path] <= set(answer.headers["allow"].split(", ")) <= held


@pytest.mark.parametrize(
    ("path", "code"),
    [
        ("/nothing", "not-found"),
        ("/stills/1", "not-found"),
        ("/stills/1/picture", "not-found"),
        ("/readings/1", "not-found"),
        ("/readings/latest", "not-found"),
        ("/readings/1/top-view.svg", "not-found"),
        ("/attempts/1", "not-found"),
        ("/calibration", "not-found"),
        ("/intent", "no-intent"),
        ("/problems/none", "not-found"),
        ("/../../nothing", "not-found"),
    ],
)
def test_what_is_not_there_is_refused(empty, path, code):
    assert_problem(empty.get(path), 404, code)


@pytest.mark.parametrize(
    ("path", "field"),
    [
        ("/stills/x", "path.number"),
        ("/stills/0", "path.number"),
        ("/stills/1.5/picture", "path.number"),
        ("/readings/99999999999999999999", "path.number"),
        ("/readings/-1/top-view.svg", "path.number"),
        ("/attempts/x", "path.number"),
        ("/stills?limit=0", "query.limit"),
        ("/readings?limit=501", "query.limit"),
        ("/attempts?before=x", "query.before"),
    ],
)
def test_a_parameter_out_of_bounds_is_named(empty, path, field):
    body = assert_problem(empty.get(path), 422, "invalid-request", text=field)
    assert [error["field"] for error in body["errors"]] == [field]


def test_a_fault_of_the_program_says_nothing_of_its_inside(tmp_path):
    def broken(data, calibration, *, name="", previous=None):
        raise ZeroDivisionError("secret")

    with running(tmp_path, read=broken) as address, Client(address) as client:
        client.data_dir = tmp_path
        client.calibrate()
        answer = client.give(still())
        assert_problem(answer, 500, "internal")
        assert "secret" not in answer.text
        with Client(address) as other:  # the server gives up the connection, not the service
            other.data_dir = tmp_path
            assert holdings(other) == (0, 0, 0, 0)


def test_a_lost_file_is_said(client):
    client.give(still())
    for path in (client.data_dir / "stills").rglob("*"):
        if path.is_file():
            path.unlink()
    assert_problem(client.get("/stills/1/picture"), 503, "store-failed", text="Put the file back")


# -- size ----------------------------------------------------------------------------------


def test_a_still_may_have_twenty_megabytes(client):
    filled = still() + b"\n" * (STILL_LIMIT_BYTES - len(still()))
    assert client.give(filled).status_code == 201
    body = assert_problem(client.give(filled + b"\n"), 413, "too-large")
    assert f"allowed: {STILL_LIMIT_BYTES} bytes" in body["detail"]


@pytest.mark.parametrize("path", ["/calibration", "/intent"])
def test_other_bodies_may_have_one_megabyte(shared, path):
    answer = shared.put(path, content=b" " * (BODY_LIMIT_BYTES + 1))
    assert_problem(answer, 413, "too-large")


@pytest.mark.parametrize("form", [False, True])
def test_a_body_of_unstated_length_is_cut_off_too(shared, form):
    def pieces():
        if form:
            yield b'--x\r\nContent-Disposition: form-data; name="still"; filename="a"\r\n\r\n'
        for _ in range(STILL_LIMIT_BYTES // 1_000_000 + 2):
            yield b"x" * 1_000_000

    media_type = "multipart/form-data; boundary=x" if form else "image/jpeg"
    answer = shared.post("/stills", content=pieces(), headers={"Content-Type": media_type})
    assert_problem(answer, 413, "too-large", text="got more than")


# -- other sites ---------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "127.0.0.1.evil.example", ""])
def test_a_name_of_another_site_is_refused(empty, host):
    for path in ("/health", "/../../", "/../../static/page.js"):
        answer = empty.get(path, headers={"Host": host})
        assert_problem(answer, 421, "foreign-host", text="Use the address that the service printed")


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost:1234", "[::1]:80", "LOCALHOST"])
def test_loopback_has_several_names(empty, host):
    assert empty.get("/health", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_page_of_another_site_changes_nothing(shared, headers):
    assert_problem(shared.give(still(), **headers), 403, "foreign-origin")
    form = shared.post("/stills", files={"still": ("a.jpg", still())}, headers=headers)
    assert_problem(form, 403, "foreign-origin")
    assert_problem(shared.delete("/intent", headers=headers), 403, "foreign-origin")
    assert holdings(shared) == shared.held[1]


def test_the_own_page_may_change_things(client):
    origin = str(client.base_url).removesuffix("/api/v1/")
    answer = client.give(still(), **{"Origin": origin, "Sec-Fetch-Site": "same-origin"})
    assert answer.status_code == 201


def test_no_other_origin_is_let_in_by_cors(shared):
    headers = {"Origin": "http://evil.example", "Access-Control-Request-Method": "POST"}
    for answer in (
        shared.get("/stills", headers=headers),
        shared.options("/stills", headers=headers),
    ):
        assert not [name for name in answer.headers if name.startswith("access-control")]
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"


def test_a_service_beyond_this_machine_is_asked_by_its_own_names_alone(tmp_path):
    settings = {"host_names": {"192.168.1.20", "fd00::2", "table-room"}}
    with running(tmp_path, **settings) as address, Client(address) as client:
        for host in ("192.168.1.20:8765", "table-room:8765", "[fd00::2]", "TABLE-ROOM"):
            assert client.get("/health", headers={"Host": host}).status_code == 200
        # an address is no pass: it has to be one of those that are served
        for host in ("192.168.1.21", "127.0.0.1", "[fe80::1]", "evil.example", "table-room.evil"):
            answer = client.get("/health", headers={"Host": host})
            assert_problem(answer, 421, "foreign-host")


def test_a_request_without_a_host_is_refused(empty):
    port = empty.base_url.port
    with socket.create_connection(("127.0.0.1", port)) as line:
        line.sendall(b"GET /api/v1/health HTTP/1.0\r\n\r\n")
        received = b""
        while part := line.recv(4096):
            received += part
    assert b"421" in received.split(b"\r\n")[0]
