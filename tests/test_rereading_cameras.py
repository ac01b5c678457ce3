"""Moments of several cameras read again from what is kept of them, each still as it was taken."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

import pytest
from paired_kit import calibrations, still
from store_kit import open_store

from service.desk.arriving.joining import joined
from service.desk.arriving.upload import Moment, Upload
from service.desk.readers import TableReaders
from service.desk.refusals import no_still_of
from service.desk.stored import calibration_behind
from service.moving import export_archive, take_in
from service.rereading import Wanted, adopt, compare, estimate, target_of
from service.rereading.keeping import Kept
from service.rereading.wanted import plan
from service.rereading.work import read_batch
from service.store import CalibrationRecord

BOTH_DATABASES = True
OLDER = "0" * 64
NOW = datetime(2026, 11, 28, tzinfo=UTC)
WITHIN_MM = 0.5
"""The same stills by the same release: the order in which they are joined is all that differs."""


@pytest.fixture
def store(data):
    """A table with two cameras, a moment of both and one of the further camera alone."""
    with closing(open_store(data)) as store:
        with store.writing() as writer:
            for name, made in zip(("overhead", "foot"), calibrations().values(), strict=True):
                writer.add_calibration(made.to_dict(), camera=name)
        keep(store, overhead=still("3", "a"), foot=still("3", "b"))
        keep(store, foot=still("3", "b"))
        yield store


def keep(store, **stills):
    """A moment as the desk keeps it, read by an older release."""
    moment, layout = read_once(tuple(stills.items()))
    with store.writing() as writer:
        kept = {each.camera: writer.add_still(each.data, name=each.name) for each in moment.uploads}
        writer.add_reading(
            kept[moment.main.camera], layout, calibration_id=1, took_ms=9.0, weights=OLDER
        )


@cache
def read_once(stills):
    """A moment's stills and their layout, by the calibrations that the table has first."""
    uploads = tuple(
        Upload(data=path.read_bytes(), name=path.name, camera=camera) for camera, path in stills
    )
    absent = {"overhead", "foot"} - dict(stills).keys()
    moment = Moment(uploads=uploads, away={name: no_still_of(name, 2.0) for name in absent})
    held = {
        name: CalibrationRecord(
            id=number, set_at=NOW, document=made.to_dict(), table_id=1, camera=name
        )
        for number, (name, made) in enumerate(
            zip(("overhead", "foot"), calibrations().values(), strict=True), 1
        )
    }
    return moment, joined(TableReaders(), moment, held, previous=None, taught=None)


def read_all(store, target):
    kept = Kept(store, target, str(store.files.folder))
    todo = plan(store, target, kept.refusals)
    return sum(kept.keep(batch, read_batch(batch.job)) for batch in kept.batches(todo, 1))


def missing(store, target):
    return plan(store, target, Kept(store, target, "").refusals).stills


def both(reader, number):
    """The readings of a still: the one its table goes by, and the one made last."""
    found = reader.readings_of([number])[number]
    return found[0], found[-1]


def test_a_moment_is_read_again_from_all_its_stills(store):
    target = target_of(store, Wanted())
    assert (read_all(store, target), read_all(store, target)) == (2, 0)
    with store.reading() as reader:
        old, new = both(reader, 1)
        assert old.layout.calibration_ids == new.layout.calibration_ids
        assert dict(new.layout.calibration_ids) == {"overhead": 1, "foot": 2}
        assert [part.sha256 for part in new.layout.cameras] == [
            part.sha256 for part in old.layout.cameras
        ]
        assert (new.layout.still, new.live) == (old.layout.still, False)
        places = {ball.id: ball for ball in old.layout.balls}
        assert {ball.id for ball in new.layout.balls} == set(places)
        for ball in new.layout.balls:
            assert ball.centre_mm == pytest.approx(places[ball.id].centre_mm, abs=WITHIN_MM)
            assert ball.seen_by == places[ball.id].seen_by
        (alone,) = (part for part in both(reader, 3)[1].layout.cameras if part.state == "away")
        assert (alone.camera, alone.calibration_id, alone.sha256) == ("overhead", None, "")
    found = compare(store, target)
    assert (found.stills, found.moved, found.renamed, found.gone) == (2, 0, 0, 0)
    assert adopt(store, target).readings == 2
    with store.reading() as reader:
        assert both(reader, 1)[0].read_by.weights == target.weights


def test_a_further_cameras_newer_calibration_is_asked_for_by_itself(store):
    read_all(store, target_of(store, Wanted()))
    with store.writing() as writer:
        newer = writer.add_calibration(calibrations()["b"].to_dict(), camera="foot")
    assert (
        plan(
            store, target_of(store, Wanted()), Kept(store, target_of(store, Wanted()), "").refusals
        ).stills
        == 0
    )
    target = target_of(store, Wanted(newest=True))
    told = estimate(store, target).to_dict()["groups"]
    used = [group["cameras"] for group in told]
    assert used == [{"overhead": 1, "foot": newer.id}, {"foot": newer.id}]
    assert read_all(store, target) == 2
    with store.reading() as reader:
        old, new = both(reader, 1)
    assert (old.calibration_id, new.calibration_id) == (1, 1)
    assert dict(new.layout.calibration_ids) == {"overhead": 1, "foot": newer.id}
    assert compare(store, target).stills == 2


def test_a_moment_without_one_of_its_files_is_tried_again(store):
    with store.reading() as reader:
        old, _ = both(reader, 1)
    store.files.remove(old.layout.cameras[1].sha256)
    target = target_of(store, Wanted())
    assert read_all(store, target) == 0
    assert missing(store, target) == 2


def test_moments_of_which_it_was_not_kept_how_they_were_read_are_passed_over(store):
    with store.writing() as writer:
        for number in (1, 2):
            layout = writer.reading(number).layout
            parts = tuple(replace(part, calibration_id=None) for part in layout.cameras)
            writer.put_layout(number, replace(layout, cameras=parts))
    with store.reading() as reader:
        assert list(reader.stills_to_read()) == []
        assert len(reader.stills(limit=9)) == 3


def test_a_still_is_shown_by_the_calibration_of_the_camera_that_took_it(store):
    with store.reading() as reader:
        overhead, foot = reader.reading(1), reader.reading(2)
        assert (overhead.calibration_id, overhead.still_calibration_id) == (1, 1)
        assert (foot.calibration_id, foot.still_calibration_id) == (1, 2)
        assert calibration_behind(reader, foot) == calibrations()["b"]


def test_an_archive_takes_the_numbers_of_its_cameras_calibrations_along(store, tmp_path):
    with closing(open_store(tmp_path / "other")) as other:
        with other.writing() as writer:
            other_table = writer.add_table("Upstairs").id
            for _ in range(3):
                writer.add_calibration(calibrations()["a"].to_dict(), table_id=other_table)
        path = tmp_path / "practice.zip"
        path.write_bytes(b"".join(export_archive(store)))
        take_in(other, path)
        with other.reading() as reader:
            record = next(iter(reader.all_readings()))
            held = {reader.calibration(number).camera: name
                    for name, number in record.layout.calibration_ids}  # fmt: skip
            assert held == {"overhead": "overhead", "foot": "foot"}
            assert min(number for _, number in record.layout.calibration_ids) > 3
            assert len(list(reader.stills_to_read())) == 2
