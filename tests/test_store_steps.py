"""A store that any older release left is brought up with all that it holds."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from api_kit import CALIBRATION, INTENT, Client, after, layout, running, taken
from store_kit import URLS, change_past_the_store, engine_of, open_store, step_up

from service.position import Intent, score_shot
from service.store import DamagedError, Store
from service.store.plain import plain_columns
from service.store.tables import attempts, metadata

STEPS = ("0001", "0002", "0003", "0004")
NEWEST = "0012"
AT = datetime(2026, 9, 1, 19, 30)  # as the database holds it, in UTC
VERDICT = score_shot(layout(), after(), Intent.from_dict(INTENT), CALIBRATION.table)
OFFSETS_MM = (VERDICT.offset_along_mm, VERDICT.offset_across_mm)
PLAYER = {"format": "restmark-player", "version": 1, "hand_back_mm": 900.0}


@pytest.fixture(params=["sqlite", "postgresql"])
def blank(request, tmp_path):
    """A directory whose database has nothing in it."""
    folder = tmp_path / "data"
    (folder / "stills").mkdir(parents=True)
    if request.param == "postgresql":
        URLS[folder] = request.getfixturevalue("postgres").database()
    yield folder
    URLS.pop(folder, None)


def left_by(data_dir, step):
    """The database as that step's release left it, with something in every table."""
    engine = engine_of(data_dir)
    step_up(engine, step)
    held = sa.MetaData()
    held.reflect(engine)
    with engine.begin() as connection:
        for name, rows in _rows().items():
            table = held.tables.get(name)
            for row in rows if table is not None else ():
                known = {key: value for key, value in row.items() if key in table.columns}
                connection.execute(sa.insert(table).values(**known))
    engine.dispose()


def _rows():
    """Rows of all old steps: two readings of one moment, as a session is loaded, and one alone."""
    times = [AT, AT, AT + timedelta(hours=1)]
    stills = [
        {"received_at": at, "name": f"{i}.jpg", "media_type": "image/jpeg", "sha256": "0" * 64,
         "size_bytes": 4}
        for i, at in enumerate(times)
    ]  # fmt: skip
    layouts = [layout(still="0.jpg"), after(still="1.jpg"), layout(still="2.jpg")]
    readings = [
        {"still_id": i, "calibration_id": 1, "read_at": at, "took_ms": 12.5, "comparable": True,
         "layout": found.to_dict()}
        for i, (at, found) in enumerate(zip(times, layouts, strict=True), start=1)
    ]  # fmt: skip
    intents = [
        {"set_at": AT, "before_reading_id": 1, "state": "scored", "document": INTENT},
        {"set_at": AT, "before_reading_id": 3, "state": "pending", "document": INTENT},
    ]
    attempt = {
        "made_at": AT, "intent_id": 1, "before_reading_id": 1, "after_reading_id": 2,
        "verdict": VERDICT.to_dict(), "offset_along_mm": OFFSETS_MM[0],
        "offset_across_mm": OFFSETS_MM[1], "travel_mm": 800.0, "spin": "draw", "player": PLAYER,
        "player_source": "given",
    }  # fmt: skip
    return {
        "calibrations": [{"set_at": AT, "document": CALIBRATION.to_dict()}],
        "stills": stills,
        "readings": readings,
        "intents": intents,
        "attempts": [attempt],
        "receipts": [{"key": "a", "fingerprint": "b", "given_at": AT, "body": {}}],
        "sets": [{"taught_at": AT, "document": {"looks": []}}],
        "corrections": [
            {"made_at": AT, "reading_id": 3, "set_id": 1, "names": [],
             "layout_before": layout().to_dict()}
        ],
        "players": [{"set_at": AT, "document": PLAYER}],
    }  # fmt: skip


@pytest.mark.parametrize("step", STEPS)
def test_what_an_older_release_left_is_all_there(blank, step):
    left_by(blank, step)
    with closing(open_store(blank)) as store, store.reading() as reader:
        assert reader.counts() == {"stills": 3, "readings": 3, "attempts": 1}
        assert (reader.table().name, reader.player_at().name) == ("Table 1", "Player 1")
        assert [each.live for each in reader.readings(limit=9)] == [True, False, False]
        sources = [each.source for each in reader.stills(limit=9)]
        assert sources == ["posted", "imported", "imported"]
        assert reader.latest_comparable(1).id == 3 == reader.latest_live().id
        assert reader.pending_intent().before_reading_id == 3
        assert reader.calibration().document == CALIBRATION.to_dict()
        (attempt,) = reader.attempts()
        assert attempt.verdict == VERDICT.to_dict()
        assert (attempt.table_id, attempt.player_id, attempt.struck_at) == (1, 1, None)
        assert attempt.kind["spin"] == ("draw" if step >= "0002" else None)
        given = "given" if step >= "0004" else "starting values"
        assert attempt.judged_by.source == given
        assert (reader.settings_at() is not None) == (step >= "0004")
        assert (reader.ball_set() is not None) == (step >= "0003")
        assert len(reader.corrections(3)) == (step >= "0003")
        assert reader.receipt("a").fingerprint == "b"
    with closing(open_store(blank)) as store, store.writing() as writer:
        assert writer.add_settings(PLAYER).id == (2 if step >= "0004" else 1)
        assert writer.add_table("Left").id == 2


@pytest.mark.parametrize("step", STEPS)
def test_figures_of_old_attempts_stand_in_columns(blank, step):
    left_by(blank, step)
    open_store(blank).close()
    engine = engine_of(blank)
    wanted = plain_columns(VERDICT.to_dict(), INTENT, offsets_mm=OFFSETS_MM)
    with engine.connect() as connection:
        row = connection.execute(sa.select(*(attempts.c[name] for name in wanted))).one()
    engine.dispose()
    assert row._asdict() == wanted
    assert row.called == "out"
    assert row.potted_meant is True


@pytest.mark.parametrize("step", [None, STEPS[0]], ids=["at once", "by all steps"])
def test_an_empty_store_and_an_old_one_come_to_the_same_tables(blank, step):
    if step is not None:
        left_by(blank, step)
    with closing(open_store(blank)) as store, store.reading() as reader:
        assert (reader.table().id, reader.table().name) == (1, "Table 1")
        assert (reader.player_at().id, reader.player_at().name) == (1, "Player 1")
    engine = engine_of(blank)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection)
        assert context.get_current_heads() == (NEWEST,)
        assert compare_metadata(context, metadata) == []
    engine.dispose()


def test_a_damaged_verdict_of_old_is_named_and_nothing_is_changed(blank):
    left_by(blank, "0004")
    change_past_the_store(blank, "UPDATE attempts SET verdict = '7'")
    with pytest.raises(DamagedError, match=r"attempts\[1\]\.verdict"):
        open_store(blank)
    engine = engine_of(blank)
    with engine.connect() as connection:
        assert MigrationContext.configure(connection).get_current_heads() == ("0004",)
    engine.dispose()


KEPT = Path(__file__).with_name("kept_stores")
"""Stores as each release left them, as SQL: what the steps say today cannot change them."""
PLACES = {"0001": 3, "0002": 3, "0003": 3, "0004": 3, "0007": 3}
"""Stills of each."""


def kept_store(folder, step):
    (folder / "stills").mkdir(parents=True)
    database = sqlite3.connect(folder / "restmark.db")
    database.executescript((KEPT / f"{step}.sql").read_text(encoding="utf-8"))
    database.close()


@pytest.mark.parametrize("step", PLACES)
def test_a_kept_store_of_every_release_is_brought_up_and_goes_on(tmp_path, step):
    kept_store(tmp_path / "data", step)
    with running(tmp_path / "data") as address, Client(address) as client:
        health = client.get("/health").json()
        assert (health["stills"], health["attempts"]) == (PLACES[step], 1)
        (attempt,) = client.get("/attempts").json()["attempts"]
        assert attempt["verdict"]["verdict"] == "out"
        assert client.get("/intent").json()["intent"] == INTENT
        assert client.give(taken(after(), shade=140)).status_code == 201
        assert client.get("/health").json()["status"] == "ok"


def test_every_release_has_its_kept_store():
    assert {path.stem for path in KEPT.glob("*.sql")} == set(PLACES)


DYING = """
import os, signal, sys
from pathlib import Path
import sqlalchemy as sa
from service.store import Store

for moment in range(0, 10_000, int(sys.argv[2])):
    child = os.fork()
    if child == 0:
        said = 0

        @sa.event.listens_for(sa.Engine, "before_cursor_execute")
        def count(*_):
            global said
            said += 1
            if said > moment:
                os.kill(os.getpid(), signal.SIGKILL)

        Store(Path(sys.argv[1]))
        os._exit(0)
    status = os.waitpid(child, 0)[1]
    with sa.create_engine(f"sqlite:///{sys.argv[1]}/restmark.db").connect() as connection:
        step = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar_one()
        print(step, connection.exec_driver_sql("PRAGMA integrity_check").scalar_one(), flush=True)
    if status == 0:
        break
"""
"""Opens a store again and again, killed after one statement more each time, until it lives."""


def test_a_migration_killed_at_any_statement_changes_nothing_or_all(tmp_path):
    kept_store(tmp_path / "data", "0001")
    command = [sys.executable, "-c", DYING, str(tmp_path / "data"), "50"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    *killed, last = done.stdout.splitlines()
    assert len(killed) > 2
    assert set(killed) <= {"0001 ok", f"{NEWEST} ok"}
    assert last == f"{NEWEST} ok"
    with closing(Store(tmp_path / "data")) as store, store.reading() as reader:
        assert reader.counts() == {"stills": 3, "readings": 3, "attempts": 1}
