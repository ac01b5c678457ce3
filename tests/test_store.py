"""The store: all of a write or nothing, numbered steps, and the same answers after a restart."""

import os
import sqlite3
import threading
from dataclasses import replace
from datetime import UTC, datetime

import pytest
import sqlalchemy as sa
from api_kit import INTENT, layout, picture
from store_kit import open_store, step_back

from service.store import (
    Circumstances,
    JudgedBy,
    NotFoundError,
    ReadBy,
    Store,
    StoreError,
    media_type_of,
)

BOTH_DATABASES = True
DOCUMENT = {"format": "restmark-table", "version": 1}
BY = JudgedBy(settings={"format": "restmark-player", "version": 1}, source="given")


@pytest.fixture
def store(data):
    opened = open_store(data)
    yield opened
    opened.close()


def files_of(store):
    return sorted(path for path in store.files.folder.rglob("*") if path.is_file())


def add_reading(writer, data=b"\xff\xd8\xff1", *, name="one.jpg", places=None, **more):
    calibration = writer.calibration() or writer.add_calibration(DOCUMENT)
    return writer.add_reading(
        writer.add_still(data, name=name),
        layout(places, still=name, **more),
        calibration_id=calibration.id,
        took_ms=12.5,
    )


def add_attempt(writer, **more):
    before, after = add_reading(writer), add_reading(writer, b"\xff\xd8\xff2", name="two.jpg")
    intent = writer.set_intent(INTENT, before_reading_id=before.id)
    return writer.add_attempt(
        intent,
        before=before,
        after=after,
        verdict={"verdict": "in", "miss_mm": 0.0},
        judged_by=BY,
        offsets_mm=(-3.5, 1.25),
        **more,
    )


def test_what_is_written_reads_back_equal_after_a_restart(store):
    with store.writing() as writer:
        attempt = add_attempt(writer)
    with store.reading() as reader:
        assert reader.attempts() == (attempt,)
    store.close()
    again = open_store(store.data_dir)
    with again.reading() as reader:
        assert reader.attempts() == (attempt,)
        assert reader.attempt(attempt.id) == attempt
        assert (attempt.intent.document, attempt.verdict) == (
            INTENT,
            {"verdict": "in", "miss_mm": 0.0},
        )
        assert (attempt.offset_along_mm, attempt.offset_across_mm) == (-3.5, 1.25)
        assert reader.attempt_after(attempt.after.id) == attempt
        assert reader.latest_reading() == attempt.after
        assert reader.calibration().document == DOCUMENT
        assert reader.counts() == {"stills": 2, "readings": 2, "attempts": 1}
        assert again.files.read(attempt.before.still.sha256) == b"\xff\xd8\xff1"
    again.close()


def test_nothing_stays_of_a_write_that_fails(store):
    def write():
        with store.writing() as writer:
            add_attempt(writer)
            assert len(files_of(store)) == 2
            raise KeyError("after all was written")

    with pytest.raises(KeyError, match="after all was written"):
        write()
    with store.reading() as reader:
        assert reader.counts() == {"stills": 0, "readings": 0, "attempts": 0}
        assert reader.calibration() is None
    assert files_of(store) == []


def test_a_failed_write_leaves_the_file_of_an_earlier_still(store):
    with store.writing() as writer:
        add_reading(writer)

    def write():
        with store.writing() as writer:
            add_reading(writer, name="the same bytes.jpg")
            raise KeyError("after all was written")

    with pytest.raises(KeyError, match="after all was written"):
        write()
    assert len(files_of(store)) == 1


def test_the_same_bytes_share_one_file(store):
    with store.writing() as writer:
        first, second = add_reading(writer), add_reading(writer, name="again.jpg")
    assert first.still.id != second.still.id
    assert first.still.sha256 == second.still.sha256
    assert len(files_of(store)) == 1


def test_a_file_is_whole_or_not_there(store, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(StoreError, match="No space left on device"), store.writing() as writer:
        add_reading(writer)
    assert files_of(store) == []


def test_what_a_crash_left_is_swept_at_the_start(store):
    leftover = store.files.folder / "ab" / "half.part"
    leftover.parent.mkdir()
    leftover.write_bytes(b"half")
    store.close()
    # whoever opens the folder beside its service leaves alone what that may be writing
    open_store(store.data_dir).close()
    assert leftover.exists()
    open_store(store.data_dir, hold=True).close()
    assert not leftover.exists()


def test_lists_are_newest_first_and_go_on_where_they_ended(store):
    with store.writing() as writer:
        numbers = [add_reading(writer, name=f"{i}.jpg").id for i in range(5)]
    with store.reading() as reader:
        first = [reading.id for reading in reader.readings(limit=3)]
        rest = [reading.id for reading in reader.readings(limit=3, before=first[-1])]
        assert first + rest == numbers[::-1]
        assert [still.name for still in reader.stills(limit=2, before=4)] == ["2.jpg", "1.jpg"]


def test_one_intent_pends_at_a_time(store):
    with store.writing() as writer:
        reading = add_reading(writer)
        first = writer.set_intent(INTENT, before_reading_id=reading.id)
        second = writer.set_intent(INTENT | {"pot": "9"}, before_reading_id=reading.id)
    with store.reading() as reader:
        assert reader.pending_intent() == second
        assert reader.intent(first.id).state == "withdrawn"


def test_a_new_calibration_withdraws_the_intent(store):
    with store.writing() as writer:
        writer.set_intent(INTENT, before_reading_id=add_reading(writer).id)
        writer.add_calibration(DOCUMENT)
    with store.reading() as reader:
        assert reader.pending_intent() is None


def test_a_calibration_is_fetched_once_and_a_newer_one_holds_at_once(store):
    documents = []
    with store.writing() as writer:
        first = writer.add_calibration(DOCUMENT)
    sa.event.listen(
        store._database.engine, "before_cursor_execute",
        lambda *given: documents.append("document" in given[2]),
    )  # fmt: skip
    with store.writing() as writer:
        assert writer.calibration() == first
    for _ in range(3):
        with store.reading() as reader:
            assert reader.calibration() == first
            assert reader.calibration(first.id) is reader.calibrations_held()["overhead"]
    assert sum(documents) == 1
    newer_document = DOCUMENT | {"head": "right"}

    def fail(writer):
        taken_back = writer.add_calibration(DOCUMENT | {"head": "left"})
        assert writer.calibration() == taken_back
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError), store.writing() as writer:
        fail(writer)
    with store.writing() as writer:
        newer = writer.add_calibration(newer_document)
    with store.reading() as reader:
        assert reader.calibration() == newer
        assert reader.calibration().document == newer_document
        assert reader.calibration(first.id).document == DOCUMENT


def test_only_a_clear_table_at_rest_with_this_calibration_is_comparable(store):
    with store.writing() as writer:
        clear = add_reading(writer, name="clear.jpg")
        add_reading(writer, name="arm.jpg", obstructed=True)
        add_reading(writer, name="moving.jpg", settled=False)
        calibration_id = clear.calibration_id
        assert writer.latest_comparable(calibration_id) == clear
        assert writer.latest_comparable(writer.add_calibration(DOCUMENT).id) is None


@pytest.mark.parametrize("kind", ["still", "reading", "attempt", "intent"])
def test_a_missing_number_is_named(store, kind):
    with store.reading() as reader, pytest.raises(NotFoundError, match=f"{kind}: got number 77"):
        getattr(reader, kind)(77)


def test_writes_of_many_threads_all_arrive(store):
    def write(number):
        with store.writing() as writer:
            add_reading(writer, f"\xff\xd8\xff{number}".encode("latin1"), name=f"{number}.jpg")

    threads = [threading.Thread(target=write, args=(number,)) for number in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.reading() as reader:
        assert {still.name for still in reader.stills(limit=50)} == {f"{n}.jpg" for n in range(12)}
        assert reader.calibration().id == 1, "the first write made the one calibration"


def test_a_reader_is_not_held_up_by_a_writer_and_sees_one_moment(store):
    with store.writing() as writer:
        add_reading(writer)
        with store.reading() as reader:
            assert reader.counts()["readings"] == 0


# -- migrations ----------------------------------------------------------------------------


def test_attempts_of_the_first_release_are_kept_and_have_no_kind(tmp_path):
    store = Store(tmp_path)
    with store.writing() as writer:
        attempt = add_attempt(writer)
    store.close()
    step_back(tmp_path, "0001")
    database = sqlite3.connect(tmp_path / "restmark.db")
    assert "spin" not in [row[1] for row in database.execute("PRAGMA table_info(attempts)")]
    database.close()
    again = Store(tmp_path)
    with again.reading() as reader:
        (found,) = reader.attempts()
        assert found.verdict == attempt.verdict
        assert set(found.kind.values()) == {None}
        assert found.made_at == attempt.made_at
    again.close()


def test_kind_and_time_of_an_attempt_read_back(store):
    played = datetime(2026, 11, 3, 19, 30, tzinfo=UTC)
    around = Circumstances(
        played_at=played, travel_mm=812.5, cut_deg=22.0, rails=1, spin="draw", in_a_row=4
    )
    with store.writing() as writer:
        attempt = add_attempt(writer, circumstances=around)
        later = add_attempt(writer)
    with store.reading() as reader:
        assert reader.attempt(attempt.id).made_at == played
        second, first = reader.attempts()
        assert first.kind == around.kind()
        assert (first.made_at, first.in_a_row) == (played, 4)
        assert second.made_at == later.made_at
    with store.writing() as writer:
        writer.set_note(attempt.id, Circumstances(spin="stun"))
    with store.reading() as reader:
        assert reader.attempt(attempt.id).kind == {**around.kind(), "spin": "stun"}
        assert reader.attempt(attempt.id).in_a_row is None
    with pytest.raises(NotFoundError, match="attempt: got number 77"), store.writing() as writer:
        writer.set_note(77, Circumstances())


def as_of_old(reading):
    """As it comes back from a step that kept neither where it came from nor what read it.

    Both of the attempt's readings were written at one moment, as a loaded session is.
    """
    still = replace(reading.still, source="imported")
    return replace(reading, still=still, live=False, read_by=ReadBy())


def test_a_directory_of_the_step_before_is_brought_up_with_what_it_holds(tmp_path):
    store = Store(tmp_path)
    with store.writing() as writer:
        attempt = add_attempt(writer)
    store.close()
    step_back(tmp_path, "0002")
    again = Store(tmp_path)
    with again.writing() as writer:
        (held,) = writer.attempts()
        assert held.judged_by.source == "starting values"
        old = {"before": as_of_old(attempt.before), "after": as_of_old(attempt.after)}
        assert replace(held, judged_by=BY) == replace(attempt, **old)
        assert writer.ball_set() is None
        writer.add_set({"looks": []})
        assert writer.ball_set().document == {"looks": []}
    again.close()


def test_corrections_keep_what_was_read_and_count_from_the_last_set_on(store):
    with store.writing() as writer:
        readings = [add_reading(writer, b"\xff\xd8\xff%d" % k) for k in range(3)]
        other = layout({"cue": (700.0, 400.0)}, still="one.jpg")
        for reading in (readings[2], readings[0], readings[2]):
            writer.correct_reading(reading, other, [{"id": "cue", "x_mm": 700, "y_mm": 400}])
        assert writer.reading(readings[0].id).layout == other
        numbers = [reading.id for reading in writer.corrected_readings(limit=8)]
        assert numbers == [readings[0].id, readings[2].id]
        assert [r.id for r in writer.corrected_readings(limit=1)] == [readings[2].id]
        writer.add_set({"looks": []})
        assert writer.corrected_readings(limit=8) == ()
        writer.correct_reading(readings[1], other, [])
        assert [r.id for r in writer.corrected_readings(limit=8)] == [readings[1].id]
    with store.reading() as reader:
        held = reader.corrections(readings[2].id)[0].layout_before
    assert held == readings[2].layout


def test_a_correction_taken_back_leaves_the_reading_as_it_was(store):
    with store.writing() as writer:
        reading = add_reading(writer, b"\xff\xd8\xff1")
        assert writer.corrections(reading.id) == ()
        said = [{"id": "cue", "x_mm": 700, "y_mm": 400}]
        others = [layout({"cue": (x, 400.0)}, still="one.jpg") for x in (700.0, 800.0)]
        between = writer.correct_reading(reading, others[0], said)
        writer.correct_reading(between, others[1], [])
        first, last = writer.corrections(reading.id)
        assert (list(first.names), first.layout_before) == (said, reading.layout)
        assert last.layout_before == others[0]
        assert writer.take_back(last) == between
        assert writer.take_back(first) == reading
        assert writer.corrections(reading.id) == ()
        assert writer.corrected_readings(limit=8) == ()


def test_an_attempt_judged_again_keeps_its_place(store):
    with store.writing() as writer:
        attempt = add_attempt(writer)
        writer.set_note(attempt.id, Circumstances(spin="draw"))
        writer.judge_again(
            attempt,
            {"verdict": "out"},
            offsets_mm=(4.0, None),
            circumstances=Circumstances(travel_mm=300.0, cut_deg=20.0),
        )
        assert writer.attempts_with(attempt.before.id) == writer.attempts_with(attempt.after.id)
        (now,) = writer.attempts()
    assert (now.id, now.verdict) == (attempt.id, {"verdict": "out"})
    assert (now.offset_along_mm, now.offset_across_mm) == (4.0, None)
    assert (now.kind["travel_mm"], now.kind["cut_deg"], now.kind["spin"]) == (300.0, 20.0, "draw")


def test_a_directory_of_a_newer_release_is_refused_untouched(tmp_path):
    Store(tmp_path).close()
    database = sqlite3.connect(tmp_path / "restmark.db")
    database.execute("UPDATE alembic_version SET version_num = '9999'")
    database.commit()
    with pytest.raises(StoreError, match=r"got step 9999; allowed: steps up to \d{4}\. A newer"):
        Store(tmp_path)
    assert database.execute("SELECT version_num FROM alembic_version").fetchall() == [("9999",)]
    database.close()


def test_a_broken_database_is_refused(tmp_path):
    (tmp_path / "restmark.db").write_bytes(b"this is no database" * 100)
    with pytest.raises(StoreError, match="file is not a database"):
        Store(tmp_path)


def test_a_file_in_place_of_the_directory_is_refused(tmp_path):
    (tmp_path / "data").write_text("no directory")
    with pytest.raises(StoreError, match=r"data: cannot be used .*allowed: a directory"):
        Store(tmp_path / "data")


def test_a_still_whose_file_is_gone_is_named(store):
    with store.writing() as writer:
        still = add_reading(writer).still
    store.files.remove(still.sha256)
    with pytest.raises(StoreError, match=f"still {still.sha256[:12]}…: cannot be read"):
        store.files.read(still.sha256)


@pytest.mark.parametrize(
    ("data", "media_type"),
    [
        (picture(), "image/jpeg"),
        (b"\x89PNG\r\n\x1a\n....", "image/png"),
        (b"RIFF1234WEBPxxxx", "image/webp"),
        (b"<script>alert(1)</script>", "application/octet-stream"),
        (b"", "application/octet-stream"),
    ],
)
def test_media_type_comes_from_the_bytes(data, media_type):
    assert media_type_of(data) == media_type
