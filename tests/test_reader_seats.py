"""Who reads next: fair between tables, where the table is known, never behind a queue."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from service.desk.reading.seats import ClosedError, Seats

LONG_S = 30.0


@pytest.fixture
def threads():
    with ThreadPoolExecutor(max_workers=40) as made:
        yield made


def seats_of(count, **settings):
    seats = Seats(**settings)
    made = [seats.add() for _ in range(count)]
    for seat in made:
        seats.ready(seat)
    return seats, made


def wait_for(is_so):
    give_up = time.monotonic() + LONG_S
    while not is_so():
        assert time.monotonic() < give_up
        time.sleep(0.005)


def test_a_table_that_sends_much_has_its_turn_as_often_as_the_others(threads):
    seats, (seat,) = seats_of(1)
    served = []

    def read(table):
        taken = seats.take(table, str(table), wait_s=LONG_S)
        served.append(table)
        seats.give_back(taken)

    held = seats.take(9, "9", wait_s=LONG_S)
    asked = []
    for table in [1] * 10 + [2] * 3 + [3] * 3:
        count = len(asked) + 1
        asked.append(threads.submit(read, table))
        wait_for(lambda count=count: len(seats._waiting) == count)
    seats.give_back(held)
    for each in asked:
        each.result(LONG_S)
    assert served == [1, 2, 3] * 3 + [1] * 7
    assert held is seat


def test_a_table_goes_back_to_the_process_that_knows_it():
    seats, _ = seats_of(3)
    homes = {table: seats.take(table, str(table), wait_s=LONG_S) for table in (1, 2, 3)}
    assert len(set(map(id, homes.values()))) == 3
    for seat in homes.values():
        seats.give_back(seat)
    for table in (3, 1, 2, 2, 1, 3):
        again = seats.take(table, str(table), wait_s=LONG_S)
        assert again is homes[table]
        seats.give_back(again)


def test_tables_spread_over_the_processes():
    seats, made = seats_of(2)
    homes = []
    for table in range(1, 7):
        seat = seats.take(table, str(table), wait_s=LONG_S)
        homes.append(seat)
        seats.give_back(seat)
    assert [homes.count(seat) for seat in made] == [3, 3]


def test_a_table_does_not_wait_for_its_busy_process_where_another_is_free():
    seats, (first, second) = seats_of(2, patience_s=0.05)
    home = seats.take(1, "1", wait_s=LONG_S)
    seats.give_back(home)
    other = first if home is second else second
    assert seats.take(2, "2", wait_s=LONG_S) is other
    seats.give_back(other)
    # the process that knows table 1 is at work for long
    assert seats.take(3, "1", wait_s=LONG_S) is home
    began = time.monotonic()
    assert seats.take(1, "1", wait_s=LONG_S) is other
    assert time.monotonic() - began >= 0.05
    # and that one knows it from now on
    seats.give_back(other)
    seats.give_back(home)
    assert seats.take(1, "1", wait_s=LONG_S) is other


def test_what_ended_a_process_is_tried_again_where_the_next_one_starts(threads):
    seats, (first, second) = seats_of(2, patience_s=0.01)
    lost = seats.take(1, "1", wait_s=LONG_S)
    seats.empty(lost)
    again = threads.submit(seats.take, 1, "1", wait_s=LONG_S, only=lost)
    wait_for(lambda: seats._waiting)
    time.sleep(0.1)
    assert not again.done()
    other = second if lost is first else first
    assert seats.take(2, "2", wait_s=LONG_S) is other
    seats.ready(lost)
    assert again.result(LONG_S) is lost


def test_nobody_waits_for_ever(threads):
    seats, _ = seats_of(1)
    seats.take(1, "1", wait_s=LONG_S)
    with pytest.raises(TimeoutError):
        seats.take(2, "2", wait_s=0.05)
    waiting = threads.submit(seats.take, 2, "2", wait_s=LONG_S)
    threading.Timer(0.05, seats.close).start()
    with pytest.raises(ClosedError):
        waiting.result(LONG_S)
