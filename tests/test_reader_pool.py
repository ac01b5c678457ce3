"""Reader processes that die, hang or do not start: what they read, and what goes on meanwhile."""

from __future__ import annotations

import os
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from calibration.from_still import watched
from calibration.kept.calibration import Calibration
from service.demo.samples import EMPTY_STILL, SHOTS_FOLDER, sample_folder, sample_stills
from service.desk.reading import PooledReaders
from service.desk.reading.job import Job, Missing, Read, Refused, as_refusal
from service.desk.reading.pool import ReaderPool
from service.desk.reading.process import DiedError
from service.desk.reading.refusals import ReadingError
from vision.layout import Layout
from vision.read import Reader
from vision.still import StillError, decode_still
from vision.truth.file import read_truth

LONG_S = 120.0
SURFACE_MM = (2540.0, 1270.0)


class Scripted:
    """A process that does what its stills' bytes say: ``good``, ``kills``, ``hangs``, ``bad``."""

    made: list[Scripted]
    fails_to_start = 0

    def __init__(self):
        type(self).made.append(self)
        self.number = len(type(self).made)
        self.is_alive, self.job = True, None
        self.read: list[str] = []

    @property
    def pid(self):
        return self.number

    def ready(self, wait_s):
        if self.number <= self.fails_to_start:
            raise DiedError
        return True

    def ask(self, job):
        if not self.is_alive:
            raise DiedError
        self.job = job

    def answer(self, wait_s):
        word = self.job.data
        if word == b"kills":
            self.is_alive = False
            raise DiedError
        if word == b"hangs":
            time.sleep(wait_s)
            return None
        if word == b"bad":
            return Refused(refusal=StillError("bad: no picture", code="bad-still"))
        self.read.append(self.job.sequence)
        return Read(layout=Layout(still=self.job.name, surface_mm=SURFACE_MM), corrected=None)

    def kill(self):
        self.is_alive = False

    def end(self):
        self.is_alive = False


@pytest.fixture
def scripted():
    """A kind of process whose instances are known."""
    return type("Fresh", (Scripted,), {"made": []})


@pytest.fixture
def pool_of(scripted):
    """Makes pools of such processes, and closes them."""
    made = []

    def make(count, **settings):
        settings = {"slow_s": 0.05, "limit_s": 0.4, "free_s": 20.0} | settings
        made.append(ReaderPool(count, started=scripted, **settings))
        return made[-1]

    yield make
    for pool in made:
        pool.close()


def job(data=b"good", *, table=1, name="a.jpg"):
    return Job(
        sequence=str(table), data=data, name=name, calibration="c", taught=None, previous=None,
        afresh=False, values={},
    )  # fmt: skip


def read(pool, data=b"good", *, table=1, **more):
    return pool.read(table, job(data, table=table, **more), {})


def wait_for(is_so):
    give_up = time.monotonic() + LONG_S
    while not is_so():
        assert time.monotonic() < give_up
        time.sleep(0.01)


def test_a_still_that_ends_its_process_is_tried_twice_and_never_again(pool_of, scripted):
    pool = pool_of(2)
    with pytest.raises(ReadingError) as died:
        read(pool, b"kills", name="x.jpg")
    assert died.value.code == "reader-died"
    assert died.value.detail.startswith("x.jpg: ")
    dead = sum(not each.is_alive for each in scripted.made)
    assert dead == 2
    with pytest.raises(ReadingError):
        read(pool, b"kills", name="again.jpg")
    assert sum(not each.is_alive for each in scripted.made) == dead
    wait_for(lambda: len(pool.pids()) == 2)
    for table in (1, 2, 3):
        assert read(pool, table=table).layout.still == "a.jpg"


def test_a_process_that_ends_for_a_reason_of_its_own_costs_no_still(pool_of, scripted):
    pool = pool_of(1)
    read(pool)
    scripted.made[0].is_alive = False
    assert read(pool, name="b.jpg").layout.still == "b.jpg"
    assert [each.is_alive for each in scripted.made] == [False, True]


def test_a_reading_that_hangs_holds_up_no_other_table_though_one_process_reads(pool_of, scripted):
    pool = pool_of(1, limit_s=3.0)
    read(pool, table=2)
    with ThreadPoolExecutor(max_workers=1) as thread:
        hung = thread.submit(read, pool, b"hangs", name="h.jpg")
        wait_for(lambda: scripted.made[0].job.data == b"hangs")
        for number in range(20):
            assert read(pool, table=2, name=f"{number}.jpg").layout.still == f"{number}.jpg"
        assert not hung.done(), "the other table waited for the one that hung"
        with pytest.raises(ReadingError) as said:
            hung.result(LONG_S)
    assert said.value.code == "reading-hung"
    assert not scripted.made[0].is_alive
    assert pool.pids() == (2,)


def test_however_much_hangs_processes_stay_few(pool_of, scripted):
    pool = pool_of(1, limit_s=0.5)
    with ThreadPoolExecutor(max_workers=6) as threads:
        hung = [
            threads.submit(read, pool, b"hangs", table=table, name=f"{table}.jpg")
            for table in range(1, 7)
        ]
        while not all(each.done() for each in hung):
            assert len(pool._seats.all()) <= 3
            time.sleep(0.01)
    assert {each.exception().code for each in hung} == {"reading-hung"}
    assert read(pool, table=9).layout.still == "a.jpg"
    wait_for(lambda: len(pool.pids()) == 1)


def test_a_slow_reading_is_taken_and_no_process_is_left_over(pool_of, scripted):
    scripted.answer = lambda self, wait_s: (
        (self.job.data == b"slow" and wait_s < 1 and time.sleep(wait_s))
        or Read(layout=Layout(still=self.job.name, surface_mm=SURFACE_MM), corrected=None)
        if self.job.data != b"slow" or wait_s > 1
        else time.sleep(wait_s)
    )
    pool = pool_of(1, limit_s=3.0)
    assert read(pool, b"slow", name="s.jpg").layout.still == "s.jpg"
    wait_for(lambda: len(pool.pids()) == 1)
    assert read(pool, table=2).layout.still == "a.jpg"


def test_a_process_that_does_not_start_is_tried_again(pool_of, scripted):
    scripted.fails_to_start = 2
    pool = pool_of(1)
    assert read(pool).layout.still == "a.jpg"
    assert [each.is_alive for each in scripted.made] == [False, False, True]


def test_where_none_starts_a_still_is_told_to_come_again(pool_of, scripted):
    scripted.fails_to_start = 100
    with pytest.raises(ReadingError) as said:
        read(pool_of(1, free_s=0.2))
    assert said.value.code == "no-reader"
    assert said.value.fields["wait_s"] > 0


def test_a_refusal_comes_as_it_is(pool_of):
    with pytest.raises(StillError) as refused:
        read(pool_of(1), b"bad")
    assert refused.value.code == "bad-still"


def test_values_that_a_process_lost_are_sent_again(pool_of, scripted):
    from service.desk.reading.job import Packed

    asked = []

    def answer(self, wait_s):
        asked.append(dict(self.job.values))
        if len(asked) == 2:
            return Missing()
        return Read(layout=Layout(still="a.jpg", surface_mm=SURFACE_MM), corrected=None)

    scripted.answer = answer
    pool = pool_of(1)
    value = Packed(name="c", data=b"value")
    for _ in range(2):
        pool.read(1, job(), {"c": value})
    assert asked == [{"c": b"value"}, {}, {"c": b"value"}]


def test_a_refusal_that_cannot_travel_keeps_its_code():
    class OddError(StillError):
        def __init__(self, one, two):
            super().__init__(f"{one}{two}", code="odd", fields={"n": 1})

    carried = as_refusal(OddError("a", "b"))
    assert (carried.detail, carried.code, carried.fields) == ("ab", "odd", {"n": 1})
    assert as_refusal(given := StillError("as it is")) is given


# -- real processes --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def samples() -> tuple[Calibration, list[bytes]]:
    empty = sample_folder(EMPTY_STILL)
    truth = read_truth(empty.parent)[empty.name].calibration
    made = watched(truth, decode_still(empty.read_bytes(), name=empty.name))
    return made, [still.read_bytes() for still in sample_stills(SHOTS_FOLDER)[:2]]


def test_processes_read_as_the_service_does_and_one_that_is_killed_is_replaced(samples):
    made, stills = samples
    reader = Reader(made)
    want = [reader.read_still(still, name="s.jpg") for still in stills]
    pool = ReaderPool(2, slow_s=LONG_S, limit_s=LONG_S, free_s=LONG_S)
    try:
        readers = PooledReaders(pool)
        for table in (1, 2):
            found = [readers.at(table)(still, made, name="s.jpg") for still in stills]
            assert [each.to_dict() for each in found] == [each.to_dict() for each in want]
        wait_for(lambda: len(pool.pids()) == 2)
        before = pool.pids()
        for pid in before:
            os.kill(pid, signal.SIGKILL)
        for table in (1, 2):
            layout = readers.at(table)(stills[0], made, name="s.jpg")
            assert layout.to_dict() == want[0].to_dict()
        assert not set(pool.pids()) & set(before)
        with pytest.raises(StillError):
            readers.at(1)(b"no picture", made)
        alive = pool.pids()
    finally:
        pool.close()
    for pid in alive:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)
    assert not [each for each in threading.enumerate() if each.name == "restmark-reader-start"]
