"""A service that others reach: nothing is answered but to paired devices, each by its role."""

import contextlib
import threading
import time

import httpx
import pytest
from api_kit import Client, assert_problem, running, still, taken

from service.api.paired import OPEN_PATHS
from service.cli import main
from service.door import Role, SourceRule, least_role
from service.door import certificate as certificates

COOKIE = "restmark-device"


class Doors:
    """Keeps the door of a running service."""

    def __call__(self, door):
        self.door = door

    def device(self, role, name="Tablet"):
        """Token and number of a device that has just been paired."""
        token, device = self.door.add_device(name, role)
        return token, device.id


@pytest.fixture(scope="module")
def doors():
    return Doors()


@pytest.fixture(scope="module")
def entered(tmp_path_factory, doors):
    """Address of a service that lets only paired devices in."""
    data = tmp_path_factory.mktemp("entered") / "data"
    with running(data, paired=True, code=doors) as address:
        yield address


@pytest.fixture
def stranger(entered):
    with Client(entered) as client:
        yield client


@pytest.fixture
def client_as(entered, doors):
    with contextlib.ExitStack() as kept:
        yield lambda role: kept.enter_context(Client(entered, doors.device(role)[0]))


def origin(address):
    return address.rstrip("/")


def paths_of(client):
    """Every published address with its methods, numbers put in, and the pages beside them."""
    document = client.get("/openapi.json").json()
    for path, methods in document["paths"].items():
        for method in methods:
            at = path
            for name in ("{number}", "{correction}", "{code}"):
                at = at.replace(name, "1")
            yield method.upper(), at
    for page in ("/", "/setup", "/progress", "/layouts", "/guide", "/lessons", "/docs", "/strip",
                 "/parts", "/so-far", "/devices", "/devices/list", "/docs/service.md",
                 "/attempts/1", "/static/base/base.js", "/api/v1/openapi.json", "/no"):  # fmt: skip
        yield "GET", page
    yield "POST", "/guide/parts"
    yield "POST", "/devices/code"


def test_no_address_answers_a_stranger(entered, stranger, client_as):
    asked = list(paths_of(client_as(Role.OWNER)))
    assert len(asked) > 80
    root = origin(entered)
    let_in = set()
    for method, path in asked:
        for token in ("", "1.abc", "7." + "A" * 43):
            headers = {"Authorization": f"Bearer {token}", "Cookie": f"{COOKIE}={token}"}
            answer = stranger.request(method, root + path, headers=headers if token else {})
            if path in OPEN_PATHS:
                let_in.add(path)
                continue
            assert_problem(answer, 401, "not-paired", text="/pair in its browser")
            assert answer.headers["www-authenticate"].startswith("Bearer")
    assert let_in == {"/api/v1/pair"}


def test_a_browser_is_led_to_the_page_where_it_is_paired(entered, stranger):
    headers = {"Accept": "text/html,*/*;q=0.8"}
    answer = stranger.get(entered + "progress", headers=headers)
    assert (answer.status_code, answer.headers["location"]) == (303, "/pair")
    page = stranger.get(entered + "pair", headers=headers)
    assert page.status_code == 200
    assert "Pair this device" in page.text
    assert "unsafe" not in page.headers["content-security-policy"]
    for path in OPEN_PATHS - {"/pair", "/api/v1/pair"}:
        assert stranger.get(origin(entered) + path).status_code == 200, path


def test_a_program_is_paired_by_a_code(entered, stranger, doors):
    made = doors.door.new_code(Role.TABLE)
    answer = stranger.post("/pair", json={"code": made.code, "name": "Counter"})
    assert answer.status_code == 201
    device = answer.json()["device"]
    assert (device["name"], device["role"], device["this"]) == ("Counter", "table", True)
    with Client(entered, answer.json()["token"]) as client:
        assert client.get("/health").status_code == 200
    again = stranger.post("/pair", json={"code": made.code, "name": "Counter"})
    assert_problem(again, 403, "bad-code")


def test_each_role_may_do_its_own(client_as):
    viewer, table, owner = map(client_as, (Role.VIEWER, Role.TABLE, Role.OWNER))
    assert owner.calibrate().status_code == 200
    assert table.give(taken()).status_code == 201
    assert viewer.get("/readings/latest").status_code == 200
    refused = assert_problem(viewer.give(still()), 403, "role-not-enough")
    assert "paired as viewer, which may look on" in refused["detail"]
    for client in (viewer, table):
        for method, path in (("PUT", "/watch"), ("GET", "/export"), ("GET", "/devices"),
                             ("POST", "/devices/codes"), ("DELETE", "/devices/1"),
                             ("POST", "/import"), ("GET", "/setup/picture?source=0")):  # fmt: skip
            assert_problem(client.request(method, path, json={}), 403, "role-not-enough")
    assert owner.get("/devices").status_code == 200


def test_every_published_change_is_somebodys(client_as):
    """What a table device may change stands in the list on purpose; a new route is the owner's."""
    owners = {
        (method, path.removeprefix("/api/v1"))
        for method, path in paths_of(client_as(Role.OWNER))
        if least_role(method, path) is Role.OWNER and path.startswith("/api/v1")
    }
    assert owners >= {
        ("PUT", "/watch"), ("DELETE", "/watch"), ("POST", "/import"), ("GET", "/export"),
        ("POST", "/setup/stills/host"), ("GET", "/setup/picture"), ("GET", "/devices"),
        ("POST", "/devices/codes"), ("DELETE", "/devices/1"),
    }  # fmt: skip


def test_a_cookie_changes_things_from_the_own_page_alone(entered, stranger, doors):
    token, _ = doors.device(Role.OWNER)
    cookie = {"Cookie": f"{COOKIE}={token}"}
    own = {"Origin": origin(entered)}
    body = {"name": "By the window"}
    for headers, status in (
        (cookie | own, 201),
        (cookie | {"Sec-Fetch-Site": "same-origin"}, 201),
        (cookie, 403),
        (cookie | {"Origin": "http://evil.example"}, 403),
        (cookie | {"Origin": "null"}, 403),
        (cookie | {"Sec-Fetch-Site": "cross-site"}, 403),
        # no browser sends that by itself
        ({"Authorization": f"Bearer {token}"}, 201),
    ):
        answer = stranger.post("/tables", json=body, headers=headers)
        assert answer.status_code == status, (headers, answer.text)
        if status == 403:
            assert_problem(answer, 403, "foreign-origin")
    assert stranger.get("/health", headers=cookie).status_code == 200


@pytest.mark.parametrize("is_tls", [False, True], ids=["plain", "tls"])
def test_the_cookie_is_kept_from_scripts_and_other_sites(tmp_path, is_tls):
    doors = Doors()
    tls = certificates.own(tmp_path / "keys", ["127.0.0.1"]) if is_tls else None
    with (
        running(tmp_path / "data", paired=True, tls=tls, code=doors) as address,
        httpx.Client(base_url=address, verify=False) as http,
    ):
        made = doors.door.new_code(Role.TABLE)
        form = {"code": made.code, "name": "Tablet \a"}
        headers = {"Origin": origin(address)}
        assert http.post("/pair", data=form, headers={"Origin": "http://evil"}).status_code == 403
        answer = http.post("/pair", data=form, headers=headers)
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
        said = answer.headers["set-cookie"].lower()
        assert said.startswith("__host-restmark-device=" if is_tls else f"{COOKIE}=")
        parts = {part.strip() for part in said.split(";")}
        assert parts >= {"httponly", "samesite=strict", "path=/"}
        assert ("secure" in parts) == is_tls
        assert "domain" not in said
        name, _, value = answer.headers["set-cookie"].partition(";")[0].partition("=")
        page = http.get("/", headers={"Cookie": f"{name}={value}"})
        assert page.status_code == 200
        assert doors.door.devices()[0].name == "Tablet"


def test_guesses_are_told_to_wait(tmp_path):
    with running(tmp_path / "data", paired=True) as address, Client(address) as client:
        body = {"code": "WRNG-2345", "name": "Guess"}
        for _ in range(5):
            assert_problem(client.post("/pair", json=body), 403, "bad-code")
        answer = client.post("/pair", json=body)
        assert_problem(answer, 429, "too-many-tries", text="five tries a minute")
        assert 1 <= int(answer.headers["retry-after"]) <= 61
        form = client.post(f"{address}pair", data=body)
        assert form.status_code == 429
        assert "five tries a minute" in form.text


def test_what_a_device_listens_to_ends_when_it_is_shut_out(entered, doors, client_as):
    token, number = doors.device(Role.VIEWER, "Listener")
    heard, ended = threading.Event(), threading.Event()

    def listen():
        with Client(entered, token) as client, client.stream("GET", "/events") as answer:
            for _line in answer.iter_lines():
                heard.set()
        ended.set()

    threading.Thread(target=listen, daemon=True).start()
    assert heard.wait(10)
    owner = client_as(Role.OWNER)
    shown = owner.delete(f"/devices/{number}").json()
    assert shown["revoked_at"] is not None
    # the next change, or the sign of life, finds nobody there
    assert owner.post("/players", json={"name": "Second"}).status_code == 201
    assert ended.wait(10)
    with Client(entered, token) as client:
        assert_problem(client.get("/health"), 401, "not-paired")
    assert number not in {each["id"] for each in owner.get("/devices").json()["devices"]}


def test_no_path_in_a_request_reaches_a_file(tmp_path):
    (tmp_path / "secret").mkdir()
    (tmp_path / "secret" / "secret.jpg").write_bytes(still())
    (tmp_path / "seen").mkdir()
    doors = Doors()
    with (
        running(tmp_path / "data", paired=True, code=doors) as address,
        Client(address, doors.device(Role.OWNER)[0]) as client,
    ):
        for named in (str(tmp_path / "secret"), "..", f"file://{tmp_path}/secret/secret.jpg"):
            body = {"source": named}
            for answer in (
                client.put("/watch", json=body),
                client.post("/setup/stills/host", json=body),
                client.get("/setup/picture", params=body),
            ):
                assert_problem(answer, 403, "source-not-allowed")
        climb = "..%2f" * 8 + "etc%2fpasswd"
        for path in ("static/", "docs/", "api/v1/setup/lenses/", "api/v1/problems/",
                     "api/v1/setup/stills/", "static/base/"):  # fmt: skip
            for way in (climb, climb.replace("%2f", "/"), climb.replace("..", "%2e%2e")):
                answer = client.get(f"{address}{path}{way}")
                assert answer.status_code in (404, 422), (path, way)
                assert "root:" not in answer.text


def test_a_folder_that_was_named_at_the_start_may_be_chosen(tmp_path):
    (tmp_path / "stills").mkdir()
    (tmp_path / "stills" / "a.jpg").write_bytes(still())
    doors = Doors()
    sources = SourceRule.only([tmp_path / "stills"])
    with (
        running(tmp_path / "data", paired=True, code=doors, sources=sources) as address,
        Client(address, doors.device(Role.OWNER)[0]) as client,
    ):
        body = {"source": str(tmp_path / "stills")}
        assert client.post("/setup/stills/host", json=body).status_code == 201
        body = {"source": str(tmp_path)}
        assert_problem(client.post("/setup/stills/host", json=body), 403, "source-not-allowed")


def test_devices_are_listed_made_and_shut_out_by_the_command(tmp_path, capsys):
    data = tmp_path / "data"

    def said(*arguments):
        code = main(["devices", *arguments, "--data", str(data)])
        out, err = capsys.readouterr()
        return code, out.strip(), err

    code, _, err = said("list")
    assert code == 1
    assert "holds no store" in err
    doors = Doors()
    with running(data, paired=True, code=doors) as address:
        assert said("list")[1] == "no device is paired"
        _, token, _ = said("token", "Counter", "--role", "viewer")
        with Client(address, token) as client:
            assert client.get("/health").status_code == 200
            assert "1: Counter, viewer" in said("list")[1]
            assert main(["progress", "--server", address, "--token", token]) == 0
            capsys.readouterr()
            shown = said("code", "--role", "owner")[1]
            body = {"code": shown.split()[0], "name": "Phone"}
            paired = client.post(f"{address}api/v1/pair", json=body).json()
            assert paired["device"]["role"] == "owner"
            assert said("revoke", "1")[1] == "1: Counter is let in no longer"
            give_up_s = time.monotonic() + 5
            while client.get("/health").status_code != 401:
                assert time.monotonic() < give_up_s
                time.sleep(0.1)
        assert main(["progress", "--server", address, "--token", token]) == 1
        assert "not paired with the service, or no longer" in capsys.readouterr().err
