"""A practice is copied while it goes on, and is there again when its folder is destroyed."""

import hashlib
import json
import os
import shutil
import sqlite3
import threading
import time
from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta

import pytest
from api_kit import CALIBRATION, INTENT, Client, after, assert_problem, running, still, taken
from store_kit import URLS, open_store

from calibration.lens.file import Lens
from service.cli import main
from service.door import Door, DoorError, Role
from service.setup.lens.files import LensFiles
from service.store import DAMAGED, WHOLE, DamagedError, Store, StoreError
from service.store import keeper as keeping
from service.store.databases.kept import DailyCopy, daily_copies, superfluous
from service.store.keeper import Keeper

LENS = Lens.exact(CALIBRATION.camera)
ASKED = ("/attempts", "/readings", "/stills", "/intent", "/calibration", "/tables", "/players")


def told(client):
    """All that a practice consists of, as the service tells it."""
    out = {path: client.get(path).json() for path in ASKED}
    numbers = [each["id"] for each in out["/stills"]["stills"]]
    return out | {number: client.get(f"/stills/{number}/picture").content for number in numbers}


@pytest.fixture
def played(data):
    """A running service after one attempt, with the next intent waiting."""
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.round(after())
        client.put("/attempts/1/note", json={"spin": "draw"})
        client.give(taken(), "next.jpg")
        client.put("/intent", json=INTENT)
        LensFiles(data).keep(LENS)
        yield client


def restmark(*words):
    return main([str(word) for word in words])


def test_a_destroyed_folder_is_what_it_was(played, data, tmp_path):
    before, lenses = told(played), LensFiles(data).all()
    assert restmark("backup", tmp_path / "copy", "--data", data) == 0
    shutil.rmtree(data)
    assert restmark("restore", tmp_path / "copy", "--data", tmp_path / "new") == 0
    assert LensFiles(tmp_path / "new").all() == lenses
    assert [kept.lens for kept in lenses] == [LENS]
    with running(tmp_path / "new") as address, Client(address) as client:
        assert told(client) == before
        assert client.post("/undo").is_success, "what was done last can still be undone"
        assert client.give(taken(after(), shade=140)).json()["attempt"] is not None


def test_a_copy_taken_while_stills_arrive_has_every_picture_of_its_rows(played, data, tmp_path):
    over, sent = threading.Event(), []

    def practise():
        with Client(f"{played.base_url}".removesuffix("api/v1/")) as client:
            while not over.is_set():
                sent.append(client.give(taken()).status_code)

    player = threading.Thread(target=practise)
    player.start()
    try:
        for _ in range(3):
            assert restmark("backup", tmp_path / "copy", "--data", data) == 0
    finally:
        over.set()
        player.join()
    assert set(sent) == {201}
    assert restmark("restore", tmp_path / "copy", "--data", tmp_path / "new") == 0
    with closing(Store(tmp_path / "new")) as store:
        assert store.check_stills().damaged == ()
        assert store.stills_check.stills > 3


def test_a_copy_is_brought_up_to_date_and_stays_one_copy(played, data, tmp_path):
    copy = tmp_path / "copy"
    assert restmark("backup", copy, "--data", data) == 0
    first = {path: path.stat().st_mtime_ns for path in (copy / "stills").glob("*/*")}
    played.give(taken(shade=70))
    assert restmark("backup", copy, "--data", data) == 0
    second = {path: path.stat().st_mtime_ns for path in (copy / "stills").glob("*/*")}
    assert len(second) == len(first) + 1
    assert second.items() >= first.items(), "nothing was written again"
    assert len(list(copy.glob("restmark-*"))) == 1
    assert all(path.stat().st_mode & 0o077 == 0 for path in copy.rglob("*") if path.is_file())
    manifest = json.loads((copy / "copy.json").read_text())
    assert manifest["stills"] == len(second)


def test_a_lens_that_was_removed_is_gone_from_the_copy_and_stays_where_a_copy_is_put_back(
    played, data, tmp_path
):
    copy = tmp_path / "copy"
    assert restmark("backup", copy, "--data", data) == 0
    (first,) = (copy / "lenses").glob("*")
    (data / "lenses" / first.name).unlink()
    other = LensFiles(data).keep(replace(LENS, fx_px=LENS.fx_px + 1.0))
    assert restmark("backup", copy, "--data", data) == 0
    (second,) = (copy / "lenses").glob("*")
    assert second.stem == other.number
    own = LensFiles(tmp_path / "new")
    (tmp_path / "new").mkdir()
    own.keep(LENS)
    assert restmark("restore", copy, "--data", tmp_path / "new") == 0
    assert {kept.number for kept in own.all()} == {first.stem, second.stem}


def _lens_of_others(copy):
    (path,) = (copy / "lenses").glob("*")
    path.write_bytes(path.read_bytes().replace(b"fx_px", b"fx-px"))


def _no_lens(copy):
    """Its bytes are what the manifest tells, and yet it is none."""
    content = b'{"format": "restmark-lens"}'
    sha256 = hashlib.sha256(content).hexdigest()
    (copy / "lenses" / f"{sha256[:12]}.json").write_bytes(content)
    lens = {
        "number": sha256[:12], "sha256": sha256, "size_bytes": len(content),
        "kept_at": "2026-11-28T12:00:00+00:00",
    }  # fmt: skip
    _changed(lenses=[lens])(copy)


def _bit(copy):
    (member,) = copy.glob("restmark-*.db")
    content = bytearray(member.read_bytes())
    content[len(content) // 2] ^= 1
    member.write_bytes(content)


def _changed(**values):
    def change(copy):
        path = copy / "copy.json"
        path.write_text(json.dumps(json.loads(path.read_text()) | values))

    return change


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (_bit, "other bytes than were written"),
        (lambda copy: (copy / "copy.json").unlink(), "No such file"),
        (lambda copy: (copy / "copy.json").write_text("{"), "copy.json"),
        (_changed(member="../../restmark-1.db"), "missing or wrong"),
        (_changed(version=2), "A newer Restmark made the copy"),
        (_lens_of_others, "other bytes than the manifest's hash is of"),
        (_no_lens, "a lens that"),
        (lambda copy: next((copy / "lenses").glob("*")).unlink(), "No such file"),
        (_changed(lenses=[{"number": "../../../../x"}]), "missing or wrong"),
    ],
    ids=[
        "bit", "no manifest", "half a manifest", "way out of the folder", "newer", "lens",
        "no lens", "lens gone", "way out of the lenses",
    ],
)  # fmt: skip
def test_a_copy_that_is_none_changes_nothing(played, data, tmp_path, capsys, spoil, said):
    copy, new = tmp_path / "copy", tmp_path / "new"
    assert restmark("backup", copy, "--data", data) == 0
    spoil(copy)
    assert restmark("restore", copy, "--data", new) == 1
    assert said in " ".join(capsys.readouterr().err.split())
    assert not (new / "restmark.db").exists()
    assert not (new / "lenses").exists()


def test_a_copy_of_a_newer_release_is_refused_with_words(played, data, tmp_path, capsys):
    path = tmp_path / "restmark.db"
    with closing(open_store(data)) as store:
        store.write_copy(path)
    with closing(sqlite3.connect(path)) as database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
        database.commit()
    assert restmark("restore", path, "--data", tmp_path / "new") == 1
    assert "an older one cannot go back" in " ".join(capsys.readouterr().err.split())


def test_a_store_in_use_is_not_restored_over(played, data, tmp_path, capsys):
    assert restmark("backup", tmp_path / "copy", "--data", data) == 0
    assert restmark("restore", tmp_path / "copy", "--data", data, "--replace") == 1
    assert "is held by another service" in capsys.readouterr().err
    assert restmark("backup", data / "copy", "--data", data) == 1
    assert "lies in the data folder itself" in capsys.readouterr().err


@pytest.fixture
def filled(data):
    """A folder with one attempt, a copy of the day, and no service on it."""
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.round(after())
    (copy,) = daily_copies(data)
    copy.path.unlink()
    Store(data, hold=True).close()
    return data


def damage(path, statement):
    with closing(sqlite3.connect(path)) as database:
        database.execute(statement)
        database.commit()


def test_the_way_out_of_damage_that_is_told_leads_out(filled, capsys):
    with running(filled) as address, Client(address) as client:
        client.give(still(shade=50), "later.jpg")
    damage(filled / "restmark.db", "UPDATE attempts SET verdict = '7'")
    with pytest.raises(DamagedError, match="restmark restore --replace"):
        Store(filled, hold=True)
    assert restmark("restore", "--data", filled) == 1
    assert "--replace" in capsys.readouterr().err
    assert restmark("restore", "--replace", "--data", filled) == 0
    listed = (filled / "pictures-since-the-copy.txt").read_text().split()
    (aside,) = filled.glob("set-aside-*")
    assert (aside / "restmark.db").is_file()
    with running(filled) as address, Client(address) as client:
        assert client.get("/health").json()["attempts"] == 1
        (path,) = listed
        with open(path, "rb") as file:
            assert client.give(file.read(), "later.jpg").status_code == 201


def test_a_damaged_copy_is_passed_over_for_an_older_one(filled):
    (copy,) = daily_copies(filled)
    older = copy.path.with_name("restmark-2026-01-02.db")
    shutil.copy(copy.path, older)
    damage(copy.path, "UPDATE attempts SET verdict = '7'")
    (filled / "restmark.db").write_bytes(b"")
    assert restmark("restore", "--replace", "--data", filled) == 0
    with closing(Store(filled)) as store, store.reading() as reader:
        assert reader.counts()["attempts"] == 1


@pytest.mark.parametrize("how", ["gone", "emptied"])
def test_a_database_that_is_gone_is_not_made_anew_beside_its_copies(filled, how):
    (filled / "restmark.db").write_bytes(b"")
    if how == "gone":
        (filled / "restmark.db").unlink()
    with pytest.raises(StoreError, match="is gone or empty, and copies/ has copies"):
        Store(filled, hold=True)


def test_a_database_taken_away_while_it_is_served_is_not_made_anew(client, data):
    (data / "restmark.db").unlink()
    for _ in range(3):
        assert_problem(client.give(taken()), 503, "store-failed")
        assert_problem(client.get("/readings/1"), 503, "store-failed")
    assert not (data / "restmark.db").exists()


@pytest.mark.parametrize("how", ["backup", "daily", "file"])
def test_a_copy_that_is_put_back_lets_nobody_in_who_was_shut_out_since(data, tmp_path, capsys, how):
    with closing(Store(data, hold=True)) as store, closing(Door(store)) as door:
        token, device = door.pair(door.new_code(Role.OWNER).code, "Lost", source="a")
        other, _ = door.pair(door.new_code(Role.VIEWER).code, "Kept", source="a")
        old_code = door.new_code(Role.OWNER).code
        assert restmark("backup", tmp_path / "copy", "--data", data) == 0
        assert store.look_over().state == WHOLE
        (daily,) = daily_copies(data)
        os.utime(daily.path, (1.0, 1.0))
        assert store.look_over().state == WHOLE, "the daily copy has the devices"
        door.revoke(device.id)
        assert door.known(token, source="a") is None
    shutil.copyfile(daily.path, tmp_path / "one.db")
    source = {"backup": [tmp_path / "copy"], "daily": [], "file": [tmp_path / "one.db"]}[how]
    capsys.readouterr()
    assert restmark("restore", *source, "--data", data, "--replace") == 0
    assert "2 devices of the copy must be paired again" in capsys.readouterr().out
    with closing(Store(data, hold=True)) as store, closing(Door(store)) as door:
        for shown in (token, other):
            assert door.remembered(shown) is None
            assert door.known(shown, source="a") is None
        assert door.devices() == ()
        with pytest.raises(DoorError):
            door.pair(old_code, "With the old code", source="a")
        again, device = door.pair(door.new_code(Role.OWNER).code, "Again", source="a")
        assert door.known(again, source="a").id == device.id
    with running(data, paired=True) as address:
        with Client(address, token) as lost:
            assert_problem(lost.get("/attempts"), 401, "not-paired")
        with Client(address, again) as client:
            assert client.get("/attempts").status_code == 200


# -- the rule ------------------------------------------------------------------------------------


def test_seven_days_and_four_weeks_are_kept(tmp_path):
    (tmp_path / "copies").mkdir()
    day = date(2026, 3, 1)
    for _ in range(90):
        (tmp_path / "copies" / f"restmark-{day}.db").touch()
        for copy in superfluous(daily_copies(tmp_path, today=day)):
            copy.path.unlink()
        day += timedelta(days=1)
    kept = [copy.day for copy in daily_copies(tmp_path, today=day)]
    newest = day - timedelta(days=1)
    assert kept[:7] == [newest - timedelta(days=back) for back in range(7)]
    weeks = [each.isocalendar()[:2] for each in kept[7:]]
    assert len(kept) == 11
    assert len(set(weeks)) == 4
    assert (newest - kept[-1]).days >= 21


def test_a_clock_that_stands_wrong_takes_no_copy_away(tmp_path):
    (tmp_path / "copies").mkdir()
    good = [date(2026, 3, 1) + timedelta(days=k) for k in range(7)]
    for day in (*good, date(2036, 1, 1)):
        (tmp_path / "copies" / f"restmark-{day}.db").touch()
    (tmp_path / "copies" / "restmark-yesterday.db").touch()  # no copy of ours
    copies = daily_copies(tmp_path, today=good[-1])
    assert [copy.day for copy in copies] == [*reversed(good), date(2036, 1, 1)]
    assert superfluous(copies) == ()
    one = DailyCopy(day=date(2001, 1, 1), path=tmp_path)
    assert superfluous((*copies, one)) == ()


# -- looked over ---------------------------------------------------------------------------------


def test_a_large_database_is_read_at_once_and_written_once_it_is_whole(filled, monkeypatch):
    go_on = threading.Event()
    look = Store.look_over
    monkeypatch.setattr(Store, "look_over", lambda store: go_on.wait(20) and look(store))
    with closing(Store(filled, hold=True, large_bytes=0)) as store:
        with store.reading() as reader:
            assert reader.counts()["attempts"] == 1
        written = threading.Event()

        def write():
            with store.writing() as writer:
                writer.add_player("Second")
            written.set()

        threading.Thread(target=write).start()
        assert not written.wait(0.2)
        go_on.set()
        assert written.wait(20)
        assert store.condition.state == WHOLE
        assert store.condition.copies


def test_a_large_database_that_is_damaged_takes_nothing_and_says_so(filled, monkeypatch):
    damage(filled / "restmark.db", "UPDATE attempts SET verdict = '7'")
    monkeypatch.setattr("service.store.store.LARGE_BYTES", 0)
    with running(filled) as address, Client(address) as client:
        answer = client.give(taken())
        assert_problem(answer, 503, "store-damaged", text="restmark restore --replace")
        health = client.get("/health").json()
        assert (health["status"], health["database"]["state"]) == ("damaged", DAMAGED)
        assert "attempts[1].verdict" in health["warnings"][0]
        assert client.get("/readings/1").is_success, "what is whole can be read"
        assert_problem(client.get("/attempts"), 503, "store-damaged")
        page = client.get(f"{address}setup").text
        assert "damaged: nothing is stored, restore a copy" in page
        assert 'href="/docs/keeping"' in page


def test_damage_that_the_daily_look_finds_stops_writing(filled):
    with closing(Store(filled, hold=True)) as store:
        for path in (filled / "stills").glob("*/*"):
            path.write_bytes(b"other bytes")
        store._daily()
        assert store.condition.state == WHOLE
        assert len(store.stills_check.damaged) == 2
        damage(filled / "restmark.db", "UPDATE attempts SET verdict = '7'")
        store._daily()
        assert store.condition.state == DAMAGED
        with pytest.raises(DamagedError), store.writing():
            pass


def test_a_day_is_over_by_whichever_clock_says_so_first(monkeypatch):
    now, done = [0.0, 1.8e9], threading.Semaphore(0)
    monkeypatch.setattr(Keeper, "_now", lambda self: tuple(now))
    keeper = Keeper(done.release, awake_s=0.01)
    keeper.start()
    try:
        for change in ((0.0, 90_000.0), (90_000.0, 0.0), (0.0, -400_000.0)):
            assert not done.acquire(timeout=0.05)
            now[:] = now[0] + change[0], now[1] + change[1]
            assert done.acquire(timeout=10)
    finally:
        keeper.close()
    assert keeping.EVERY_S == 24 * 3600


# -- PostgreSQL ----------------------------------------------------------------------------------


def test_a_store_in_postgresql_comes_back_into_an_empty_database(postgres, tmp_path, capsys):
    data, new, copy = (tmp_path / name for name in ("data", "new", "copy"))
    URLS[data], other = postgres.database(), postgres.database()
    try:
        with running(data) as address, Client(address) as client:
            client.calibrate()
            client.round(after())
            before = told(client)
            assert restmark("backup", copy, "--data", data, "--store", URLS[data]) == 0
        assert restmark("restore", copy, "--data", tmp_path / "no") == 1
        assert "is a copy of a PostgreSQL store" in capsys.readouterr().err
        assert restmark("restore", copy, "--data", new, "--store", other) == 0
        assert restmark("restore", copy, "--data", new, "--store", other) == 1
        assert "an empty one" in capsys.readouterr().err
        URLS[new] = other
        with running(new) as address, Client(address) as client:
            after_all = told(client)
        assert (
            after_all["/attempts"]["attempts"][0]["verdict"]
            == (before["/attempts"]["attempts"][0]["verdict"])
        )
        assert {key: after_all[key] for key in (1, 2)} == {key: before[key] for key in (1, 2)}
    finally:
        URLS.pop(data), URLS.pop(new, None)


def test_a_full_disk_keeps_the_older_copies_and_is_told(filled, monkeypatch):
    (copy,) = daily_copies(filled)
    os.utime(copy.path, (time.time() - 9000,) * 2)
    made = copy.path.stat().st_mtime
    monkeypatch.setattr("service.store.databases.kept.ROOM_BYTES", 10**18)
    with closing(Store(filled, hold=True)) as store:
        (warning,) = store.warnings
    assert "No copy of the database could be made today" in warning
    assert copy.path.stat().st_mtime == made
