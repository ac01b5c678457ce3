"""Turns at the desk: in order at one table, side by side at several."""

from __future__ import annotations

import threading

import pytest

from service.desk.turns.lines import Turns

LONG_S = 30


def test_what_is_asked_at_one_table_is_done_in_order_one_at_a_time():
    turns, done, at_work = Turns(), [], threading.Lock()

    def work(number):
        assert at_work.acquire(blocking=False)
        done.append(number)
        at_work.release()

    for asked in [turns.submit(1, work, number) for number in range(200)]:
        asked.result(LONG_S)
    assert done == list(range(200))
    turns.close()


def test_a_table_that_is_held_up_holds_up_no_other():
    turns, go_on = Turns(), threading.Event()
    held = turns.submit(1, go_on.wait, LONG_S)
    behind = turns.submit(1, str, "behind")
    assert turns.submit(2, str, "beside").result(LONG_S) == "beside"
    assert turns.submit(None, str, "of none").result(LONG_S) == "of none"
    assert not behind.done()
    assert turns.waiting(1) == 2
    go_on.set()
    assert held.result(LONG_S) is True
    assert behind.result(LONG_S) == "behind"
    turns.close()


def test_lines_come_round_in_turn_where_threads_are_few():
    turns, go_on, done = Turns(most=1), threading.Event(), []
    turns.submit(1, go_on.wait, LONG_S)
    asked = [turns.submit(line, done.append, line) for line in (1, 1, 1, 1, 2, 2, 3)]
    go_on.set()
    for each in asked:
        each.result(LONG_S)
    assert done == [2, 3, 1, 2, 1, 1, 1]
    turns.close()


def test_a_fault_is_told_to_whoever_asked_and_the_next_is_done():
    turns = Turns()
    wrong = turns.submit(1, int, "x")
    after = turns.submit(1, int, "7")
    with pytest.raises(ValueError, match="invalid literal"):
        wrong.result(LONG_S)
    assert after.result(LONG_S) == 7
    turns.close()


def test_closing_finishes_what_was_asked_for_and_takes_no_more():
    turns, go_on, done = Turns(), threading.Event(), []
    turns.submit(1, go_on.wait, LONG_S)
    for number in range(5):
        turns.submit(1, done.append, number)
    threading.Timer(0.05, go_on.set).start()
    turns.close()
    assert done == list(range(5))
    with pytest.raises(RuntimeError):
        turns.submit(1, done.append, 9)
