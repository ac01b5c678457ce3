"""Several tables and players in one store: made, renamed, kept apart."""

from __future__ import annotations

import pytest
from api_kit import CALIBRATION, Client, after, assert_problem, running, still
from test_api_live import events

BOTH_DATABASES = True
MOST = 2**31 - 1
"""The highest number that a row can have."""
FILTERED = ("statistics", "attempts", "attempts.csv")
"""Addresses whose attempts may be those of one table, player or practice."""
SHORT = {"format": "restmark-player", "version": 1, "hand_back_mm": 900.0}


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def unchanged(request, tmp_path_factory):
    """A service that is asked for what it refuses, so that it stays as it was."""
    url = None
    if request.param == "postgresql":
        server = request.getfixturevalue("postgres")
        url = server.database(like=request.getfixturevalue("filled_postgres"))
    place = tmp_path_factory.mktemp("unchanged")
    with running(place, store_url=url) as address, Client(address) as client:
        client.calibrate()
        yield client


def test_a_new_store_has_one_table_and_one_player(client):
    (table,) = client.get("/tables").json()["tables"]
    (player,) = client.get("/players").json()["players"]
    assert (table["id"], table["player_id"], player["id"]) == (1, 1, 1)
    assert client.get("/tables/1").json() == table
    assert client.get("/players/1").json() == player


def test_tables_and_players_are_made_and_renamed(client):
    made = client.post("/players", json={"name": "  Ada  "})
    assert made.status_code == 201
    assert made.json()["name"] == "Ada"
    assert client.get(made.headers["location"].removeprefix("/api/v1")).json() == made.json()
    number = made.json()["id"]
    table = client.post("/tables", json={"name": "Left", "player_id": number}).json()
    assert client.get(f"/tables/{table['id']}").json() == table
    renamed = client.patch(f"/tables/{table['id']}", json={"name": "Right"}).json()
    assert renamed == table | {"name": "Right"}
    moved = client.patch(f"/tables/{table['id']}", json={"player_id": 1}).json()
    assert moved == renamed | {"player_id": 1}
    assert client.patch(f"/tables/{table['id']}", json={}).json() == moved
    assert client.patch(f"/players/{number}", json={"name": "Bo"}).json()["name"] == "Bo"
    assert client.patch(f"/players/{number}", json={"name": None}).json()["name"] == "Bo"


@pytest.mark.parametrize("kind", ["tables", "players"])
def test_lists_go_on_where_they_ended(client, kind):
    for name in "abc":
        client.post(f"/{kind}", json={"name": name})
    first = client.get(f"/{kind}", params={"limit": 3}).json()
    rest = client.get(f"/{kind}", params={"limit": 3, "before": first["next_before"]}).json()
    names = [each["name"] for each in first[kind] + rest[kind]]
    assert names[:3] == ["c", "b", "a"]
    assert len(names) == 4
    assert rest["next_before"] is None


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"name": ""},
        {"name": "   "},
        {"name": "a\nb"},
        {"name": "a\u0000b"},
        {"name": "x" * 101},
        {"name": 7},
        {"name": "a", "length_mm": 2540},
        [],
    ],
)
@pytest.mark.parametrize("kind", ["tables", "players"])
def test_a_name_is_one_line_that_can_be_shown(unchanged, kind, body):
    assert_problem(unchanged.post(f"/{kind}", json=body), 422, "invalid-request")
    assert len(unchanged.get(f"/{kind}").json()[kind]) == 1


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("GET", "/tables/2", None),
        ("GET", f"/tables/{MOST}", None),
        ("PATCH", "/tables/2", {"name": "a"}),
        ("PATCH", "/tables/1", {"player_id": 2}),
        ("POST", "/tables", {"name": "a", "player_id": 2}),
        ("GET", "/players/2", None),
        ("PATCH", "/players/2", {"name": "a"}),
        ("GET", "/players/2/settings", None),
        ("PUT", "/players/2/settings", SHORT),
        ("GET", "/player?table=2", None),
        ("PUT", "/player?table=2", SHORT),
        ("GET", "/calibration?table=2", None),
        ("PUT", "/calibration?table=2", CALIBRATION.to_dict()),
        ("GET", "/calibrations/2", None),
    ],
)
def test_a_number_that_is_none_is_not_found(unchanged, method, path, body):
    assert_problem(unchanged.request(method, path, json=body), 404, "not-found")


@pytest.mark.parametrize("number", ["0", "-1", "x", str(MOST + 1), str(2**63)])
@pytest.mark.parametrize("path", ["/tables/{}", "/players/{}", "/calibration?table={}"])
def test_what_is_no_number_is_refused(unchanged, path, number):
    assert_problem(unchanged.get(path.format(number)), 422, "invalid-request")


def test_settings_belong_to_a_player(client):
    other = client.post("/players", json={"name": "Ada"}).json()["id"]
    assert client.get(f"/players/{other}/settings").json()["player_source"] == "starting values"
    given = client.put(f"/players/{other}/settings", json=SHORT).json()
    assert (given["player_id"], given["player"]["hand_back_mm"]) == (other, 900.0)
    assert client.get("/player").json()["player_source"] == "starting values"
    client.patch("/tables/1", json={"player_id": other})
    assert client.get("/player").json() == given == client.get(f"/players/{other}/settings").json()
    wrong = client.put(f"/players/{other}/settings", json=SHORT | {"hand_back_mm": "far"})
    assert_problem(wrong, 422, "bad-player")


def test_attempts_are_of_whoever_plays(client):
    other = client.post("/players", json={"name": "Ada"}).json()["id"]
    assert client.round(after()).json()["attempt"]["player_id"] == 1
    client.patch("/tables/1", json={"player_id": other})
    assert client.round(after((2200.0, 200.0))).json()["attempt"]["player_id"] == other


def test_calibrations_of_tables_and_cameras_are_kept_apart(client):
    client.post("/tables", json={"name": "Left"})
    for refused in (client.get("/calibration?table=2"), client.post(**still_at(2))):
        assert "/api/v1/calibration?table=2." in refused.json()["detail"]
    second = client.put("/calibration?table=2", json=CALIBRATION.to_dict()).json()
    side = client.put("/calibration?camera=side", json=CALIBRATION.to_dict()).json()
    assert (second["table_id"], second["camera"]) == (2, "overhead")
    assert client.get("/calibration").json()["id"] == 1
    assert client.get("/calibration?table=2").json() == second
    assert client.get("/calibration?camera=side").json() == side
    assert client.get("/calibrations/2").json() == second
    rows = client.get("/calibrations").json()["calibrations"]
    assert [row["id"] for row in rows] == [3, 2, 1]
    assert "calibration" not in rows[0]
    assert [row["id"] for row in client.get("/calibrations?table=1").json()["calibrations"]] == [
        3,
        1,
    ]
    assert client.get("/calibrations?camera=side&limit=1").json()["next_before"] == 3
    still_id = client.give(still()).json()["reading"]
    assert (still_id["table_id"], still_id["live"], still_id["calibration_id"]) == (1, True, 1)
    assert still_id["still"]["source"] == "posted"
    assert still_id["software"]


def still_at(table: int, shade: int = 128) -> dict:
    """The call that posts a still of that table."""
    return {
        "url": f"/stills?table={table}",
        "content": still(shade=shade),
        "headers": {"Content-Type": "image/jpeg"},
    }


def test_stills_and_readings_are_listed_by_table(client):
    client.post("/tables", json={"name": "Left"})
    client.put("/calibration?table=2", json=CALIBRATION.to_dict())
    for table, shade in ((1, 90), (2, 120), (1, 150)):
        assert client.post(**still_at(table, shade)).status_code == 201
    for kind in ("stills", "readings"):
        rows = {table: client.get(f"/{kind}?table={table}").json()[kind] for table in (1, 2)}
        assert {table: [row["id"] for row in found] for table, found in rows.items()} == {
            1: [3, 1],
            2: [2],
        }
        assert len(client.get(f"/{kind}").json()[kind]) == 3


def test_settings_that_change_are_told_of_their_player(client):
    number = client.post("/players", json={"name": "Ada"}).json()["id"]
    assert client.put(f"/players/{number}/settings", json=SHORT).status_code == 200
    with client.stream("GET", "/events?after=0") as answer:
        told = (each["data"] for each in events(answer))
        first = next(each for each in told if each["kind"] == "player")
        second = next(each for each in told if each["kind"] == "player")
    assert [first["player_id"], second["player_id"]] == [number, number]


@pytest.mark.parametrize(
    "path",
    [
        *(f"/{each}?player=77" for each in (*FILTERED, "practices")),
        *(f"/{each}?practice=77" for each in FILTERED),
        *(f"/{each}?table=77" for each in (*FILTERED, "practices", "stills", "readings")),
    ],
)
def test_a_filter_by_what_is_not_there_is_refused(unchanged, path):
    kind = path.partition("?")[2].partition("=")[0]
    assert_problem(unchanged.get(path), 404, "not-found", text=f"{kind}: got number 77")


def test_attempts_of_a_player_are_listed_alone(client):
    client.round(after())
    other = client.post("/players", json={"name": "Bo"}).json()["id"]
    assert len(client.get("/attempts", params={"player": 1}).json()["attempts"]) == 1
    assert client.get("/attempts", params={"player": other}).json()["attempts"] == []


def test_health_says_of_every_table_whether_it_is_calibrated(client):
    number = client.post("/tables", json={"name": "Left"}).json()["id"]
    held = client.get("/health").json()
    assert held["calibrated"] is True
    assert held["tables"] == [
        {"table_id": 1, "calibrated": True},
        {"table_id": number, "calibrated": False},
    ]
    client.put(f"/calibration?table={number}", json=CALIBRATION.to_dict())
    assert client.get("/health").json()["tables"][1]["calibrated"] is True
