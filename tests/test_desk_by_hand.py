"""Attempts struck, restored, reopened, noted, names put right: every figure follows, and undoing
all of it brings back the very same figures."""

from __future__ import annotations

import json
from contextlib import suppress

import pytest
from api_kit import taken
from desk_kit import INTENT, PLACES, AtTheTable
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.desk import sums
from service.desk.arriving import Upload
from service.desk.changing.undoing import undo as undo_in
from service.desk.refusals import DeskError
from service.position.errors import AttemptError
from service.practice.between.outcome import EVENTS
from service.store import NotFoundError

BOTH_DATABASES = True


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    """A practice of five attempts at one layout."""
    table = AtTheTable(tmp_path_factory.mktemp("played"))
    play(table, 5)
    yield table
    table.desk.close()


def play(table: AtTheTable, shots: int) -> None:
    table.places = dict(PLACES)
    table.still()
    table.intend()
    for k in range(shots):
        table.shoot((900.0 + 70 * k, 700.0 + 40 * k), potted=k % 2 == 0)
        if k < shots - 1:
            table.set_up()


def figures(table: AtTheTable, *, known: int | None = None) -> str:
    """Everything that is worked out of attempts and readings, to the last digit.

    ``known``: what is numbered above it and does not count is left out. A shot that somebody said
    leaves its attempt, struck, where that is undone.
    """
    with table.desk.store.reading() as reader:
        attempts = [
            each
            for each in reader.attempts(struck=None)
            if known is None or each.id <= known or each.struck_at is None
        ]
        pending = reader.pending_intent()
        return json.dumps(
            {
                "summary": sums.summary_of(reader).to_dict(),
                "progress": sums.progress_of(reader).to_dict(),
                "attempts": [attempt.to_dict() for attempt in attempts],
                "readings": [r.to_dict() for r in reader.readings(limit=500)],
                "corrections": [
                    [c.to_dict() for c in reader.corrections(r.id)]
                    for r in reader.readings(limit=500)
                ],
                "pending": None if pending is None else pending.document,
                "counts": reader.counts() | {"attempts": len(attempts)},
            },
            sort_keys=True,
            default=str,
        )


def count(table: AtTheTable) -> int:
    with table.desk.store.reading() as reader:
        return sums.summary_of(reader).attempts


def code_of(work, *given_):
    with pytest.raises(DeskError) as refused:
        work(*given_)
    return refused.value.code


def test_a_struck_attempt_counts_nowhere_and_can_be_restored(at_table):
    play(at_table, 3)
    before = figures(at_table)
    struck = at_table.desk.strike(2)
    assert struck.struck_at is not None
    assert count(at_table) == 2
    assert at_table.desk.strike(2) == struck
    assert [a.id for a in at_table.attempts()] == [3, 1]
    assert at_table.desk.restore(2).struck_at is None
    assert figures(at_table) == before
    assert at_table.desk.restore(2).struck_at is None


def test_undo_takes_the_last_change_back_again_and_again(at_table):
    play(at_table, 2)
    states = [figures(at_table)]
    for work, arguments in (
        (at_table.desk.strike, (1,)),
        (at_table.desk.set_note, (1, {"spin": "draw", "rails": 2})),
        (at_table.desk.restore, (1,)),
        (at_table.desk.set_note, (1, {"spin": "follow"})),
        (at_table.desk.strike, (2,)),
    ):
        work(*arguments)
        states.append(figures(at_table))
    for kind in ("strike", "note", "restore", "note", "strike"):
        assert figures(at_table) == states.pop()
        assert at_table.desk.undo().change.kind == kind
    assert figures(at_table) == states.pop()
    assert code_of(at_table.desk.undo) == "nothing-to-undo"


def test_what_changes_nothing_is_no_change(at_table):
    play(at_table, 1)
    at_table.desk.set_note(1, {})
    at_table.desk.restore(1)
    assert code_of(at_table.desk.undo) == "nothing-to-undo"


def test_a_table_undoes_its_own_changes(at_table):
    play(at_table, 1)
    with at_table.desk.store.writing() as writer:
        writer.add_table("Table 2")
    at_table.desk.strike(1)
    assert code_of(at_table.desk.undo, 2) == "nothing-to-undo"
    assert at_table.desk.undo(1).change.attempt_id == 1
    with pytest.raises(NotFoundError):
        at_table.desk.undo(3)


# -- reopening -----------------------------------------------------------------------------


def test_the_last_attempt_reopened_waits_for_its_shot_again(at_table):
    """The still after was taken while the ball rolled on: the next one is the stop."""
    at_table.still()
    at_table.intend()
    early = at_table.shoot((1100.0, 700.0))
    attempt, intent = at_table.desk.reopen(1)
    assert attempt.struck_at is not None
    assert (intent.state, intent.document) == ("pending", INTENT)
    assert intent.before_reading_id == attempt.before.id
    at_table.places["cue"] = (1240.0, 745.0)
    body = at_table.still()
    assert body["outcome"]["event"] == "shot"
    assert body["attempt"]["before_reading_id"] == early["attempt"]["before_reading_id"]
    assert body["attempt"]["verdict"]["cue_stop_mm"] == pytest.approx([1240.0, 745.0], abs=2)
    assert [a.id for a in at_table.attempts()] == [2]


def test_a_reopened_attempts_still_may_come_again(at_table):
    at_table.still()
    at_table.intend()
    at_table.places.pop("3")
    data = taken(at_table.layout())
    upload = Upload(data=data, name="after.jpg")
    at_table.places["cue"] = (1100.0, 700.0)
    upload = Upload(data=taken(at_table.layout()), name="after.jpg")
    at_table.desk.take(upload)
    at_table.desk.reopen(1)
    again = at_table.desk.take(upload)
    assert again.is_new
    assert again.body["attempt"]["id"] == 2


def test_only_the_last_attempt_can_be_reopened(at_table):
    play(at_table, 2)
    assert code_of(at_table.desk.reopen, 1) == "not-the-last"
    at_table.desk.strike(2)
    assert code_of(at_table.desk.reopen, 2) == "not-the-last"
    at_table.desk.reopen(1)
    assert code_of(at_table.desk.reopen, 1) == "not-the-last"
    with pytest.raises(NotFoundError):
        at_table.desk.reopen(99)


def test_reopening_is_undone_with_what_came_of_it(at_table):
    play(at_table, 2)
    before = json.loads(figures(at_table))
    at_table.desk.reopen(2)
    at_table.places["cue"] = (1240.0, 745.0)
    at_table.places["3"] = (2300.0, 1000.0)
    assert at_table.still()["attempt"]["id"] == 3
    at_table.desk.undo()
    now = json.loads(figures(at_table))
    assert now["summary"] == before["summary"]
    assert now["progress"] == before["progress"]
    assert [a["id"] for a in now["attempts"] if a["struck_at"] is None] == [2, 1]


def test_undoing_a_reopening_brings_back_what_was_pending(at_table):
    play(at_table, 1)
    other = {"pot": "4", "pocket": "side-right", "next": "9"}
    held = at_table.intend(other)
    at_table.desk.reopen(1)
    assert at_table.pending().document == INTENT
    at_table.desk.undo()
    assert at_table.pending().id == held.id


# -- names ---------------------------------------------------------------------------------


def test_names_put_right_and_undone_leave_every_figure_as_it_was(at_table):
    play(at_table, 2)
    before = figures(at_table)
    places = {ball.id: ball for ball in at_table.attempts()[-1].after.layout.balls}
    said = {"names": [{"id": "12", "x_mm": places["4"].x_mm, "y_mm": places["4"].y_mm}]}
    at_table.desk.correct_names(at_table.attempts()[-1].after.id, said)
    corrected = figures(at_table)
    assert corrected != before
    number = at_table.attempts()[-1].after.id
    with at_table.desk.store.reading() as reader:
        correction = reader.corrections(number)[-1].id
    at_table.desk.take_names_back(number, correction)
    at_table.desk.undo()
    assert figures(at_table) == corrected
    at_table.desk.undo()
    assert figures(at_table) == before


CHANGES = st.one_of(
    st.tuples(st.just("strike"), st.integers(1, 5)),
    st.tuples(st.just("restore"), st.integers(1, 5)),
    st.tuples(st.just("reopen"), st.integers(1, 5)),
    st.tuples(st.just("note"), st.integers(1, 5), st.sampled_from(
        [{}, {"spin": "draw"}, {"rails": 1, "side_spin": "left"}, {"in_a_row": 3}])),
    st.tuples(st.just("names"), st.integers(1, 10), st.sampled_from(["4", "9", "cue"]),
              st.sampled_from(["12", "7", None])),
    st.tuples(st.just("say_outcome"), st.integers(1, 10), st.sampled_from([*EVENTS, None])),
    st.tuples(st.just("say_outcome"), st.integers(1, 10), st.just("set_up"), st.integers(1, 10)),
    st.tuples(st.just("undo")),
)  # fmt: skip


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(changes=st.lists(CHANGES, min_size=1, max_size=8))
def test_undoing_everything_brings_back_the_very_same_figures(played, changes):
    before = figures(played, known=5)
    for change in changes:
        make(played, *change)
    done = 0
    while held(played):
        with played.desk.store.writing() as writer:
            undo_in(writer, 1)
        done += 1
        assert done <= len(changes)
    played.desk._chains.forget(1)
    assert figures(played, known=5) == before


def held(table: AtTheTable) -> bool:
    """Whether any change by hand is left."""
    with table.desk.store.reading() as reader:
        return bool(reader.changes(limit=1))


def make(table: AtTheTable, kind: str, *arguments) -> None:
    """A change by hand; refusals are part of it."""
    desk = table.desk
    with suppress(DeskError, AttemptError):
        if kind == "names":
            number, ball, name = arguments
            with desk.store.reading() as reader:
                at = reader.reading(number).layout.ball(ball)
            if at is not None:
                said = {"names": [{"id": name, "x_mm": at.x_mm, "y_mm": at.y_mm}]}
                desk.correct_names(number, said)
        elif kind == "note":
            desk.set_note(*arguments)
        else:
            getattr(desk, kind)(*arguments)
