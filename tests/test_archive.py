"""A whole store as one archive, and archives taken in: whole, twice, mixed, damaged, hostile."""

import hashlib
import io
import json
import re
import shutil
import struct
import zipfile
from contextlib import closing
from datetime import UTC, datetime

import pytest
import sqlalchemy as sa
from api_kit import CALIBRATION, FAR, INTENT, after, layout, still
from store_kit import URLS, open_store

from calibration.lens.file import Lens
from service.desk.session import SessionAttempt, SessionStill, load_session
from service.moving import export_archive, take_in
from service.moving.checks import CHECKS
from service.position import Intent, score_shot
from service.setup.lens.files import LensFiles
from service.store import tables as t
from service.store.archive import ArchiveError
from service.store.archive.carried import CARRIED, STAYING

BOTH_DATABASES = True
PLAYED = datetime(2026, 11, 20, 19, 0, tzinfo=UTC)
LENS = Lens.exact(CALIBRATION.camera)
NOT_COMPARED = {
    "readings": {"live"},
    "intents": {"state"},
    "practices": {"finished_at"},
}
"""What may be other in another store, beside numbers."""


def fill(data, stops=(FAR, (1300.0, 600.0)), *, name="a"):
    """A folder with one attempt a stop, and one row of everything else that travels."""
    intent = Intent.from_dict(INTENT)
    stills, attempts = [], []
    for place, stop in enumerate(stops):
        names = [f"{name}{place}-{when}.jpg" for when in ("before", "after")]
        before, rest = layout(still=names[0]), after(stop, still=names[1])
        stills += [
            SessionStill(name=names[0], data=still(before, shade=80 + place), layout=before),
            SessionStill(name=names[1], data=still(rest, shade=80 + place), layout=rest),
        ]
        verdict = score_shot(before, rest, intent, CALIBRATION.table)
        attempts.append(
            SessionAttempt(before=names[0], after=names[1], intent=intent, verdict=verdict)
        )
    load_session(
        data, CALIBRATION, stills=stills, attempts=attempts, played_at=PLAYED,
        store_url=URLS.get(data),
    )  # fmt: skip
    with closing(open_store(data)) as store, store.writing() as writer:
        back = writer.add_table(f"Table of {name}")
        writer.add_player(f"Player of {name}")
        reading = writer.latest_reading()
        writer.correct_reading(reading, reading.layout, [{"id": "4", "x_mm": 900, "y_mm": 300}])
        plan = writer.add_plan("Ten", {"shots": [INTENT]})
        writer.begin_practice({"kind": "free"}, plan_id=plan.id)
        kept = writer.add_layout(layout(), title="Long side", tags=("long", "side"))
        assert (back.id, kept.id) == (2, 1)
        writer.set_intent(INTENT, before_reading_id=reading.id)
    LensFiles(data).keep(LENS)
    return data


def archive(data):
    with closing(open_store(data)) as store:
        return b"".join(export_archive(store))


def taken(data, content):
    with closing(open_store(data)) as store:
        return take_in(store, io.BytesIO(content))


def rows(data):
    """All rows that travel, by table, with what numbers point to in place of numbers."""
    found = {}
    with closing(open_store(data)) as store, store.reading() as reader:
        for carried in CARRIED:
            known = []
            for row in reader.connection.execute(sa.select(carried.table)):
                values = row._asdict()
                if carried.has_number:
                    found.setdefault(f"{carried.table.name} by number", {})[values["id"]] = len(
                        known
                    )
                    del values["id"]
                for column, target in carried.points_to.items():
                    if values[column] is not None:
                        values[column] = found[f"{target} by number"][values[column]]
                for column in NOT_COMPARED.get(carried.table.name, ()):
                    del values[column]
                known.append(values)
            found[carried.table.name] = known
    return {name: known for name, known in found.items() if not name.endswith("by number")}


def counts(data):
    return {name: len(known) for name, known in rows(data).items()}


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("source") / "data")


@pytest.fixture(scope="module")
def whole(source):
    return archive(source)


# -- what travels --------------------------------------------------------------------------


def test_every_table_travels_or_stays_for_a_reason():
    carried = {each.table.name for each in CARRIED}
    assert carried | set(STAYING) == set(t.metadata.tables)
    assert not carried & set(STAYING)


def test_every_document_is_looked_at():
    documents = {
        f"{carried.table.name}.{column.name}"
        for carried in CARRIED
        for column in carried.columns
        if isinstance(column.type, sa.JSON)
    }
    assert documents <= set(CHECKS)


def test_rows_come_after_those_that_they_point_to():
    seen = set()
    for carried in CARRIED:
        assert set(carried.points_to.values()) <= seen, carried.table.name
        assert set(carried.known_by) <= {column.name for column in carried.columns}
        seen.add(carried.table.name)


def test_the_sample_store_has_a_row_of_all_that_travels_but_what_it_cannot(source):
    empty = {name for name, count in counts(source).items() if not count}
    assert empty == {"player_settings", "sets"}


# -- there and back ------------------------------------------------------------------------


def test_a_new_store_becomes_what_the_old_one_was(source, whole, data):
    done = taken(data, whole)
    assert rows(data) == rows(source)
    moved = {name: done.added[name] + done.there[name] for name in done.added}
    assert moved == counts(source) | {"lenses": 1}
    with closing(open_store(data)) as store:
        assert store.check_stills().damaged == ()
        assert store.check_stills().hashed == 4


def test_there_and_back_over_another_database_nothing_is_lost(source, whole, data, tmp_path):
    taken(data, whole)
    taken(tmp_path / "back", archive(data))
    assert rows(tmp_path / "back") == rows(source)


def test_the_manifest_says_what_lies_in_it(source, whole):
    with zipfile.ZipFile(io.BytesIO(whole)) as file:
        manifest = json.loads(file.read("manifest.json"))
        assert (manifest["format"], manifest["version"]) == ("restmark-archive", 1)
        for member in manifest["members"]:
            content = file.read(member["name"])
            assert hashlib.sha256(content).hexdigest() == member["sha256"]
            assert len(content) == member["size_bytes"]
            assert content.count(b"\n") == member["rows"]
        told = {member["name"]: member["rows"] for member in manifest["members"]}
        assert told == {f"rows/{name}.jsonl": count for name, count in counts(source).items()}
        stills = [name for name in file.namelist() if name.startswith("stills/")]
        assert len(stills) == manifest["stills"] == 4
        for name in stills:
            assert hashlib.sha256(file.read(name)).hexdigest() == name.removeprefix("stills/")


def test_the_same_archive_twice_changes_nothing(whole, data):
    taken(data, whole)
    before = rows(data)
    done = taken(data, whole)
    assert not any(done.added.values())
    assert rows(data) == before


def test_a_store_takes_its_own_archive_without_a_change(whole, source):
    before = rows(source)
    assert not any(taken(source, whole).added.values())
    assert rows(source) == before


def test_a_grown_archive_adds_what_is_new(tmp_path):
    old = fill(tmp_path / "old")
    taken(tmp_path / "new", archive(old))
    with closing(open_store(old)) as store, store.writing() as writer:
        writer.add_player("Late")
    done = taken(tmp_path / "new", archive(old))
    assert {name: count for name, count in done.added.items() if count} == {"players": 1}


def test_a_filled_store_keeps_its_own_and_gets_the_others_beside_it(whole, data):
    fill(data, ((1200.0, 300.0),), name="mine")
    own, had = rows(data), counts(data)
    done = taken(data, whole)
    assert done.numbers["tables"] == {1: 3, 2: 4}
    assert done.numbers["players"] == {1: 3, 2: 4}
    now = rows(data)
    for name, known in own.items():
        assert now[name][: had[name]] == known
        assert len(now[name]) == had[name] + done.added[name]
    assert (done.added["lenses"], done.there["lenses"]) == (0, 1)


def test_nothing_that_comes_in_is_live(whole, data):
    taken(data, whole)
    with closing(open_store(data)) as store, store.reading() as reader:
        assert reader.pending_intent() is None
        assert reader.open_practice() is None
        assert all(
            live is False
            for live in reader.connection.execute(sa.select(t.readings.c.live)).scalars()
        )


def test_a_practice_that_was_open_ends_with_its_last_still(tmp_path, data):
    """And not when it was taken in; what a loaded session brought is none of its stills."""
    with closing(open_store(tmp_path / "old")) as store:
        with store.writing() as writer:
            writer.begin_practice({"kind": "free"})
        with store.writing() as writer:
            last = writer.add_still(still(), name="last.jpg")
        with store.writing() as writer:
            writer.add_still(still(shade=99), name="loaded.jpg", source="imported")
    taken(data, archive(tmp_path / "old"))
    with closing(open_store(data)) as store, store.reading() as reader:
        (practice,) = reader.practices(limit=5)
        assert practice.finished_at == last.received_at


def test_a_practice_without_a_still_ends_as_it_began(whole, data):
    taken(data, whole)
    with closing(open_store(data)) as store, store.reading() as reader:
        (practice,) = reader.practices(limit=5)
        assert practice.finished_at == practice.began_at


def test_figures_are_worked_out_anew_and_not_believed(whole, tmp_path):
    def richer(lines):
        return [line | {"miss_mm": 0.0} for line in lines]

    with pytest.raises(ArchiveError, match="the unknown field 'miss_mm'"):
        taken(tmp_path, remade(whole, rows={"attempts": richer}))


def test_lenses_travel_with_the_time_they_were_kept(source, whole, data):
    taken(data, whole)
    (kept,), (told,) = LensFiles(data).all(), LensFiles(source).all()
    assert (kept.lens, kept.number) == (LENS, told.number)
    assert abs((kept.kept_at - told.kept_at).total_seconds()) < 0.001
    (data / "lenses" / "0123456789ab.json").write_text("{}")
    with zipfile.ZipFile(io.BytesIO(archive(data))) as file:
        assert [n for n in file.namelist() if "lenses" in n] == [f"lenses/{kept.number}.json"]


def test_a_still_that_is_gone_is_said_and_the_rest_travels(tmp_path, data):
    fill(tmp_path / "old")
    lost = next((tmp_path / "old" / "stills").glob("*/*"))
    lost.unlink()
    content = archive(tmp_path / "old")
    with zipfile.ZipFile(io.BytesIO(content)) as file:
        assert json.loads(file.read("manifest.json"))["missing_stills"] == [lost.name]
    taken(data, content)
    with closing(open_store(data)) as store:
        (damaged,) = store.check_stills().damaged
        assert damaged.sha256 == lost.name


# -- damaged and hostile -------------------------------------------------------------------


def remade(content, *, rows=None, members=None, manifest=None, hashes=True):
    """The archive with rows of a table changed, members added or replaced, manifest changed."""
    with zipfile.ZipFile(io.BytesIO(content)) as file:
        held = {name: file.read(name) for name in file.namelist()}
    for name, change in (rows or {}).items():
        lines = [json.loads(line) for line in held[f"rows/{name}.jsonl"].splitlines()]
        held[f"rows/{name}.jsonl"] = b"".join(
            json.dumps(line).encode() + b"\n" for line in change(lines)
        )
    held |= members or {}
    page = json.loads(held["manifest.json"])
    if hashes:
        for member in page["members"]:
            member["sha256"] = hashlib.sha256(held[member["name"]]).hexdigest()
            member["rows"] = held[member["name"]].count(b"\n")
    held["manifest.json"] = json.dumps(page | (manifest or {})).encode()
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in held.items():
            if data is not None:
                file.writestr(name, data)
    return made.getvalue()


def assert_refused(tmp_path, content, code="bad-archive", text=""):
    """Refused, and nothing of it is there: no row, no file."""
    before = counts(tmp_path)
    lenses = list((tmp_path / "lenses").glob("*"))
    with pytest.raises(ArchiveError) as refused:
        taken(tmp_path, content)
    assert refused.value.code == code, refused.value.detail
    assert text in refused.value.detail
    assert counts(tmp_path) == before
    assert not list((tmp_path / "stills").glob("*/*"))
    assert list((tmp_path / "lenses").glob("*")) == lenses


def each(**more):
    """Change all rows."""
    return lambda lines: [line | more for line in lines]


def first(**more):
    """Change the first row."""
    return lambda lines: [lines[0] | more, *lines[1:]]


def same(line):
    """The same picture as another row has."""
    return {name: line[name] for name in ("sha256", "size_bytes")}


BAD_ROWS = {
    "a number that is text": ("stills", first(size_bytes="12")),
    "a number too large": ("stills", first(size_bytes=2**40)),
    "a truth value as number": ("readings", first(took_ms=True)),
    "nothing where something is": ("stills", first(name=None)),
    "text with a byte 0": ("stills", first(name="a\0b")),
    "text too long": ("attempts", first(spin="x" * 100)),
    "a time without zone": ("stills", first(received_at="2026-11-20T10:00:00")),
    "no time": ("stills", first(received_at="yesterday")),
    "an unknown field": ("stills", first(colour="red")),
    "a list for a layout": ("readings", first(layout=[])),
    "a layout of nonsense": ("readings", first(layout={"balls": [{}]})),
    "a verdict of nonsense": ("attempts", first(verdict={"verdict": 7})),
    "an intent of nonsense": ("intents", first(document={"pot": "77"})),
    "a player of nonsense": ("attempts", first(player={"hand": 1})),
    "a calibration of nonsense": ("calibrations", first(document={})),
    "a reading of no still": ("readings", first(still_id=999)),
    "an attempt of no intent": ("attempts", first(intent_id=999)),
    "a number twice": ("stills", each(id=1)),
    "a number below 1": ("stills", first(id=0)),
    "a still that is not in it": ("stills", first(sha256="0" * 64)),
    "a still of another size": ("stills", first(size_bytes=5)),
    "a still that no row names": ("stills", lambda lines: [lines[0] | same(lines[1]), *lines[1:]]),
}  # fmt: skip


@pytest.mark.parametrize("wrong", BAD_ROWS)
def test_a_row_that_cannot_be_is_refused(whole, tmp_path, wrong):
    table, change = BAD_ROWS[wrong]
    assert_refused(tmp_path, remade(whole, rows={table: change}), text=f"rows/{table}.jsonl"
                   if "no row names" not in wrong else "1 stills that no row names")  # fmt: skip


BAD_MEMBERS = {
    "a way out": {"../../outside.jsonl": b"x"},
    "an absolute path": {"/etc/outside": b"x"},
    "a path with backslashes": {"stills\\..\\outside": b"x"},
    "another name": {"readme.txt": b"x"},
    "a table that is none": {"rows/sqlite_master.jsonl": b""},
    "a still by another name": {"stills/mine.jpg": b"x"},
    "a still in capitals": {"stills/" + "A" * 64: b"x"},
    "a still of other bytes": {"stills/" + "a" * 64: b"x"},
    "a lens by another name": {"lenses/mine.json": b"{}"},
    "a way out of the lenses": {"lenses/../../outside.json": b"{}"},
    "a lens that the manifest does not tell": {"lenses/0123456789ab.json": b"{}"},
    "no manifest": {"manifest.json": None},
}


@pytest.mark.parametrize("wrong", BAD_MEMBERS)
def test_a_member_that_no_export_makes_is_refused(whole, tmp_path, wrong):
    content = remade(whole)
    made = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            if name not in BAD_MEMBERS[wrong]:
                new.writestr(name, old.read(name))
        for name, data in BAD_MEMBERS[wrong].items():
            if data is not None:
                new.writestr(name, data)
    assert_refused(tmp_path, made.getvalue())
    assert not list(tmp_path.parent.rglob("outside*"))


def test_a_member_twice_is_refused(whole, tmp_path):
    made = io.BytesIO(whole)
    with pytest.warns(UserWarning, match="Duplicate name"), zipfile.ZipFile(made, "a") as file:
        file.writestr("rows/stills.jsonl", b"")
    assert_refused(tmp_path, made.getvalue(), text="rows/stills.jsonl twice")


def test_other_bytes_than_the_hash_is_of_are_refused(whole, tmp_path):
    changed = remade(whole, rows={"players": each(name="Another")}, hashes=False)
    assert_refused(tmp_path, changed, text="the manifest's hash")


def test_a_still_of_other_bytes_is_refused(whole, tmp_path):
    with zipfile.ZipFile(io.BytesIO(whole)) as file:
        entry = next(e for e in file.infolist() if e.filename.startswith("stills/"))
        name, size = entry.filename, entry.file_size
    assert_refused(tmp_path, remade(whole, members={name: bytes(size)}), text="hash of")


def with_lenses(content, *files, **told):
    """The archive with these lenses in place of its own, and what its manifest says of them."""
    lenses = []
    with zipfile.ZipFile(io.BytesIO(content)) as file:
        members = {name: None for name in file.namelist() if name.startswith("lenses/")}
    for data in files:
        lens = {
            "number": hashlib.sha256(data).hexdigest()[:12],
            "kept_at": "2026-11-01T10:00:00+00:00",
            "size_bytes": len(data),
            "sha256": hashlib.sha256(data).hexdigest(),
        } | told
        lenses.append(lens)
        members[f"lenses/{lens['number']}.json"] = data
    return remade(content, members=members, manifest={"lenses": lenses})


SOUND_LENS = json.dumps(LENS.to_dict()).encode()
BAD_LENSES = {
    "no JSON": (b"lens", {}),
    "no object": (b"[]", {}),
    "nesting": (b"[" * 50_000, {}),
    "another format": (b'{"format": "x"}', {}),
    "a number as text": (re.sub(rb'"fx_px": [0-9.]+', b'"fx_px": "7"', SOUND_LENS), {}),
    "an endless number": (re.sub(rb'"fx_px": [0-9.]+', b'"fx_px": 1e999', SOUND_LENS), {}),
    "other bytes": (SOUND_LENS, {"sha256": "0" * 64}),
    "another size": (SOUND_LENS, {"size_bytes": 3}),
    "another number": (SOUND_LENS, {"number": "0123456789ab"}),
    "a time without its zone": (SOUND_LENS, {"kept_at": "2026-11-01T10:00:00"}),
    "large": (b" " * 1_000_001, {}),
}  # fmt: skip


@pytest.mark.parametrize("wrong", BAD_LENSES)
def test_a_lens_that_cannot_be_is_refused(whole, tmp_path, wrong):
    data, told = BAD_LENSES[wrong]
    code = "archive-too-large" if wrong == "large" else "bad-archive"
    text = "got the time" if "time" in wrong else "lenses"
    assert_refused(tmp_path, with_lenses(whole, data, **told), code, text)


def test_lenses_are_kept_up_to_as_many_as_a_folder_holds(whole, tmp_path):
    own = [json.dumps(LENS.to_dict() | {"fx_px": 1000.0 + k}).encode() for k in range(50)]
    assert_refused(tmp_path, with_lenses(whole, *own, b"{}"), text="lenses")
    LensFiles(tmp_path).keep(LENS)
    assert_refused(tmp_path, with_lenses(whole, *own), text="got 51 with those that are here")


@pytest.mark.parametrize("version", [2, 99])
def test_a_newer_version_is_refused_by_its_code(whole, tmp_path, version):
    content = remade(whole, manifest={"version": version})
    assert_refused(tmp_path, content, "newer-archive", "A newer Restmark made the archive")


def test_a_newer_step_of_the_database_is_refused_by_its_code(whole, tmp_path):
    assert_refused(tmp_path, remade(whole, manifest={"step": "9999"}), "newer-archive")


@pytest.mark.parametrize(
    "manifest",
    [
        {"format": "zip"},
        {"version": "1"},
        {"version": 0},
        {"version": True},
        {"made_at": "now"},
        {"made_at": "2026-11-20T10:00:00"},
        {"members": []},
        {"members": [{}]},
        {"members": 7},
        {"stills": 3},
        {"stills": -1},
        {"missing_stills": ["../.."]},
        {"lenses": []},
        {"lenses": [{"number": "../../../etc"}]},
        {"lenses": 7},
        {"step": 5},
    ],
)
def test_a_manifest_that_cannot_be_is_refused(whole, tmp_path, manifest):
    assert_refused(tmp_path, remade(whole, manifest=manifest), text="manifest.json")


def test_a_member_that_swells_is_refused_unopened(whole, tmp_path):
    bomb = remade(whole, members={"rows/players.jsonl": b" " * 50_000_000 + b"\n"})
    assert len(bomb) < 200_000, "it is small itself"
    assert_refused(tmp_path, bomb, "archive-too-large", "rows/players.jsonl")


def test_a_line_without_end_is_refused(whole, tmp_path):
    assert_refused(tmp_path, remade(whole, members={"rows/players.jsonl": b'{"id": 1}'}))


def test_members_that_lie_over_one_another_are_refused(whole, tmp_path):
    """One packed member under many names: each would be unpacked again."""
    with zipfile.ZipFile(io.BytesIO(whole)) as file:
        stills = [e for e in file.infolist() if e.filename.startswith("stills/")]
    directory = whole.rindex(b"PK\x01\x02", 0, whole.rindex(stills[1].filename.encode()))
    changed = bytearray(whole)
    struct.pack_into("<I", changed, directory + 42, stills[0].header_offset)
    assert_refused(tmp_path, bytes(changed))


@pytest.mark.parametrize("keep", [0.0, 0.01, 0.3, 0.9, 0.999])
def test_a_part_of_an_archive_is_refused(whole, tmp_path, keep):
    assert_refused(tmp_path, whole[: int(len(whole) * keep)], text="no whole zip")


def test_flipped_bytes_are_refused_or_change_nothing(whole, tmp_path, source):
    """Whatever byte is damaged: refused, or in a place that carries nothing."""
    empty, refused = counts(tmp_path / "new"), 0
    for place in range(0, len(whole), max(1, len(whole) // 60)):
        changed = bytearray(whole)
        changed[place] ^= 0x5A
        try:
            taken(tmp_path / "new", bytes(changed))
        except ArchiveError:
            refused += 1
        else:
            taken(tmp_path / str(place), bytes(changed))
            assert rows(tmp_path / str(place)) == rows(source)
            shutil.rmtree(tmp_path / "new")
    assert refused > 40
    if (tmp_path / "new").exists():
        assert counts(tmp_path / "new") == empty


def test_no_archive_at_all_is_refused(tmp_path):
    for content in (b"", b"text", still(), b"PK\x05\x06" + bytes(18)):
        assert_refused(tmp_path, content)
