"""The player's settings: what an attempt was judged by is kept, drawn by, and judged again by."""

from __future__ import annotations

import json
import sqlite3

import pytest
from api_kit import (
    BEFORE,
    CALIBRATION,
    INTENT,
    Client,
    after,
    assert_problem,
    layout,
    running,
    stand_in_read,
    still,
)
from store_kit import step_back

from service.api import create_app, serve
from service.api.serve import Server
from service.cli import main
from service.desk.scene import Scene
from service.desk.stored import player_of
from service.position import Intent, Player, score_shot
from service.position.meant.player_file import player_document, read_player, write_player
from service.store import Store

SHORT = player_document(
    Player.from_dict(
        {"hand_back_mm": 200, "hand_body_side_mm": 100, "hand_off_side_mm": 100,
         "bridge_back_mm": 220, "bridge_body_side_mm": 150, "bridge_off_side_mm": 150}
    )
)  # fmt: skip
"""A child's reach: most of the bed's middle is out of it."""


def judged(stop_mm, settings=None):
    player = None if settings is None else player_of(settings, path="player")
    return score_shot(
        layout(), after(stop_mm), Intent.from_dict(INTENT), CALIBRATION.table, player=player
    )


@pytest.fixture(scope="module")
def stop_mm():
    """A stop that is in the zone of the starting values, and out of reach of ``SHORT``."""
    stop = (700.0, 635.0)
    assert (judged(stop).verdict, judged(stop, SHORT).verdict) == ("in", "out")
    return stop


def put(client, document=SHORT):
    answer = client.put("/player", json=document)
    assert answer.status_code == 200, answer.text
    return answer.json()


def top_view(client):
    number = client.get("/readings/latest").json()["id"]
    return client.get(f"/readings/{number}/top-view.svg").text


def scene(data):
    store = Store(data)
    try:
        with store.reading() as reader:
            return Scene.of(reader, reader.latest_reading())
    finally:
        store.close()


# -- the service holds a player --------------------------------------------------------------


def test_starting_values_are_called_so_until_someone_gives_settings(client, data):
    body = client.get("/player").json()
    assert (body["id"], body["set_at"], body["player_source"]) == (None, None, "starting values")
    assert body["player"] == player_document(Player())
    assert put(client)["player"] == SHORT
    held = client.get("/player").json()
    assert (held["player_source"], held["player"]) == ("given", SHORT)
    assert put(client)["id"] == held["id"], "the same settings again are no new ones"


def test_settings_that_cannot_be_are_refused_and_change_nothing(client):
    put(client)
    head = {"format": SHORT["format"], "version": SHORT["version"]}
    answer = client.put("/player", json=head | {"hand_back_mm": -5})
    assert_problem(answer, 422, "bad-player", text="hand_back_mm: got -5")
    answer = client.put("/player", json=head | {"arm_mm": 5})
    assert_problem(answer, 422, "bad-player", text="player: got unknown field(s) arm_mm")
    assert_problem(client.put("/player", json={}), 422, "bad-file", text="player.format: got None")
    assert client.get("/player").json()["player"] == SHORT


def test_an_attempt_is_judged_by_the_players_settings_and_keeps_them(client, stop_mm):
    put(client)
    attempt = client.round(after(stop_mm)).json()["attempt"]
    assert attempt["verdict"]["verdict"] == "out"
    assert (attempt["player_source"], attempt["player"]) == ("given", SHORT)
    put(client, player_document(Player()))
    assert client.get(f"/attempts/{attempt['id']}").json() == attempt
    again = client.round(after(stop_mm)).json()["attempt"]
    assert again["verdict"]["verdict"] == "in"


def test_the_zone_that_waits_is_the_players_own(client):
    client.give(still())
    client.put("/intent", json=INTENT)
    wide = client.get("/intent").json()["zone"]
    put(client)
    assert client.get("/intent").json()["zone"] != wide


# -- what is stored is drawn -----------------------------------------------------------------


def test_a_stored_out_is_drawn_out(client, data, stop_mm):
    put(client)
    client.round(after(stop_mm))
    put(client, player_document(Player()))
    drawn = top_view(client)
    assert "Verdict: Out" in drawn
    page = client.get(client.base_url.join("/parts")).text
    assert "Out" in page
    shown = scene(data)
    assert shown.verdict.verdict == "out"
    assert shown.zone.nearest_mm(stop_mm) != pytest.approx(stop_mm), "the zone that was judged by"
    assert shown.differs is None


def test_a_verdict_that_would_be_another_today_is_drawn_as_stored_and_said(client, data, stop_mm):
    """As after a release that judges otherwise."""
    attempt = client.round(after(stop_mm)).json()["attempt"]
    database = sqlite3.connect(data / "restmark.db")
    with database:
        stored = json.dumps(attempt["verdict"] | {"verdict": "out", "miss_mm": 12.0})
        database.execute("UPDATE attempts SET verdict = ?", (stored,))
    database.close()
    assert "Verdict: Out by 12 mm" in top_view(client)
    assert scene(data).differs == "in"


# -- corrections -----------------------------------------------------------------------------


def test_a_correction_judges_by_the_attempts_own_settings(client, stop_mm):
    put(client)
    was = client.round(after(stop_mm)).json()["attempt"]
    put(client, player_document(Player()))
    x, y = BEFORE["9"]
    said = {"names": [{"id": "12", "x_mm": x, "y_mm": y}]}
    body = client.post(f"/readings/{was['after_reading_id']}/names", json=said).json()
    assert body["attempts"] == [{"id": was["id"], "judged": True, "detail": None}]
    now = client.get(f"/attempts/{was['id']}").json()
    assert now["verdict"]["verdict"] == "out"
    assert now["player"] == SHORT


# -- the command line ------------------------------------------------------------------------


def test_a_session_kept_with_a_player_is_drawn_by_his_settings(
    tmp_path, data, monkeypatch, stop_mm
):
    monkeypatch.setattr("service.desk.readers.TableReaders", lambda: stand_in_read)
    folder = tmp_path / "session"
    folder.mkdir()
    (folder / "1-before.jpg").write_bytes(still())
    (folder / "1-after.jpg").write_bytes(still(after(stop_mm), shade=140))
    (folder / "plan.json").write_text(json.dumps({"shots": [INTENT]}))
    CALIBRATION.write(tmp_path / "table.json")
    (tmp_path / "player.json").write_text(json.dumps(SHORT))
    arguments = ["session", folder, "--calibration", tmp_path / "table.json", "--data", data,
                 "--player", tmp_path / "player.json"]  # fmt: skip
    assert main([str(argument) for argument in arguments]) == 0
    shown = scene(data)
    assert shown.attempt.judged_by.source == "given"
    assert shown.attempt.judged_by.settings == SHORT
    assert shown.verdict.verdict == "out"
    store = Store(data)
    with store.reading() as reader:
        assert reader.settings_at().document == SHORT
    store.close()


def test_the_service_starts_with_a_player_file(tmp_path, data, monkeypatch):
    write_player(tmp_path / "player.json", player_of(SHORT, path="player"))
    started = {}

    def run(server, sockets):
        with server._app.state.desk.store.reading() as reader:
            started["player"] = reader.settings_at().document
        server._app.state.desk.close()

    monkeypatch.setattr(Server, "run", run)
    serve(data, port=0, player=tmp_path / "player.json", announce=lambda _: None)
    assert started["player"] == SHORT
    assert read_player(tmp_path / "player.json").to_dict() == player_of(SHORT, path="").to_dict()


# -- older directories -----------------------------------------------------------------------


def test_attempts_of_the_step_before_have_the_starting_values_and_are_called_so(data, stop_mm):
    with running(data) as address, Client(address) as client:
        client.calibrate()
        was = client.round(after(stop_mm)).json()["attempt"]
    step_back(data, "0003")
    shown = scene(data)
    assert shown.attempt.verdict == was["verdict"]
    assert shown.attempt.judged_by.source == "starting values"
    assert player_of(shown.attempt.judged_by.settings, path="player").hand_back_mm == 1100.0
    assert shown.verdict.verdict == "in"


def test_a_damaged_verdict_is_refused_and_not_drawn(client, data, stop_mm):
    client.round(after(stop_mm))
    database = sqlite3.connect(data / "restmark.db")
    with database:
        database.execute("UPDATE attempts SET verdict = json_set(verdict, '$.miss_mm', 'far')")
    number = client.get("/readings/latest").json()["id"]
    drawn = f"/readings/{number}/top-view.svg"
    assert_problem(client.get(drawn), 503, "store-failed", text="miss_mm: got 'far'")
    assert client.get("/summary").status_code == 200, "figures need no document"
    for column, said in (("called", "called: got 'far'"), ("miss_mm", "'far'")):
        with database:
            database.execute(f"UPDATE attempts SET {column} = 'far'")
        assert_problem(client.get("/summary"), 503, "store-failed", text=said)
    database.close()


def test_create_app_holds_what_was_given_before(data):
    with running(data) as address, Client(address) as client:
        put(client)
    app = create_app(data)
    with app.state.desk.store.reading() as reader:
        assert reader.settings_at().document == SHORT
    app.state.desk.close()
