"""Events are kept with the changes that they tell of, and tell of every intent that waits."""

from __future__ import annotations

from contextlib import contextmanager

import pytest
from api_kit import CALIBRATION, layout
from desk_kit import INTENT, AtTheTable

from service.desk.laying.library import Library
from service.desk.laying.plans import Plans

BOTH_DATABASES = True
OTHER = {"pot": "4", "pocket": "side-right", "next": "9"}


def told(table: AtTheTable, after: int = 0) -> list[tuple[str, int | None]]:
    """Kinds of the events behind that number, each with the intent that it names."""
    with table.desk.store.reading() as reader:
        found = reader.events(after=after, limit=500)
    return [(each.kind, each.ids.get("intent_id")) for each in found]


def newest(table: AtTheTable) -> int:
    with table.desk.store.reading() as reader:
        return reader.event_numbers()[1]


def kinds_of(table: AtTheTable, work, *given) -> list[tuple[str, int | None]]:
    before = newest(table)
    work(*given)
    return told(table, before)


@contextmanager
def one_transaction(table: AtTheTable, monkeypatch):
    """The store takes a single change and then fails, as where the service dies after it."""
    store, writing, begun = table.desk.store, table.desk.store.writing, []

    @contextmanager
    def once():
        assert not begun, "a second transaction"
        begun.append(True)
        with writing() as writer:
            yield writer

    monkeypatch.setattr(store, "writing", once)
    yield
    monkeypatch.undo()
    assert begun


def test_every_change_is_one_with_its_event(at_table, monkeypatch):
    desk = at_table.desk
    at_table.still()
    at_table.intend()
    at_table.shoot()
    names = {"names": [{"id": "12", "x_mm": 900.0, "y_mm": 300.0}]}
    library, plans = Library(desk.store), Plans(desk.store)
    kept = {"title": "Side", "layout": layout(still="side.jpg").to_dict()}
    for work, kind in (
        (lambda: desk.strike(1), "attempt"),
        (lambda: desk.restore(1), "attempt"),
        (lambda: desk.set_note(1, {"spin": "draw"}), "note"),
        (lambda: desk.undo(), "undo"),
        (lambda: desk.correct_names(1, names), "reading"),
        (lambda: desk.take_names_back(1, 1), "reading"),
        (lambda: desk.say_outcome(2, "placed"), "reading"),
        (lambda: desk.say_outcome(2, None), "reading"),
        (lambda: desk.reopen(1), "attempt"),
        (lambda: desk.withdraw_intent(), "intent"),
        (lambda: at_table.intend(), "intent"),
        (lambda: desk.begin_practice({"title": "Evening"}), "practice"),
        (lambda: desk.change_practice(1, {"finished": True}), "practice"),
        (lambda: desk.places.add_table("Two"), "table"),
        (lambda: desk.places.add_player("Bo"), "player"),
        (lambda: desk.set_player({"format": "restmark-player", "version": 1}), "player"),
        (lambda: library.record(kept), "layout"),
        (lambda: plans.add({"plan": {"shots": [INTENT]}}), "plan"),
        (lambda: desk.set_calibration(CALIBRATION.to_dict()), "calibration"),
        (lambda: at_table.still(), "reading"),
    ):
        before = newest(at_table)
        with one_transaction(at_table, monkeypatch):
            work()
        assert told(at_table, before)[0][0] == kind


def test_a_change_that_fails_at_the_last_moment_is_not_told(at_table, monkeypatch):
    at_table.still()
    at_table.intend()
    at_table.shoot()
    before = newest(at_table)

    def fails(*_):
        raise RuntimeError("the disk is gone")

    monkeypatch.setattr("service.store.writer.Writer.check_files", fails)
    for work in (lambda: at_table.desk.strike(1), lambda: at_table.desk.reopen(1)):
        with pytest.raises(RuntimeError, match="the disk is gone"):
            work()
    monkeypatch.undo()
    assert told(at_table, before) == []
    assert at_table.attempts()[0].struck_at is None


def test_every_intent_that_waits_is_told_whoever_gave_it(at_table):
    at_table.still()
    way = {"kind": "plan", "shots": [INTENT, OTHER]}
    begun = kinds_of(at_table, at_table.desk.begin_practice, {"way": way})
    assert begun == [("practice", None), ("intent", 1)]
    shot = kinds_of(at_table, lambda: at_table.shoot((700.0, 600.0)))
    assert shot == [("attempt", None), ("intent", 2)]
    # the first shot is due again then, and has no ball to pot
    struck = kinds_of(at_table, at_table.desk.strike, 1)
    assert struck == [("attempt", None), ("intent", None)]
    restored = kinds_of(at_table, at_table.desk.restore, 1)
    assert restored == [("attempt", None), ("intent", 3)]
    ended = kinds_of(at_table, at_table.desk.change_practice, 1, {"finished": True})
    assert ended == [("practice", None), ("intent", None)]


def test_a_layouts_own_intent_is_told_with_its_still(at_table):
    at_table.still()
    at_table.intend()
    assert kinds_of(at_table, at_table.shoot) == [("attempt", None)]
    assert kinds_of(at_table, at_table.set_up) == [("reading", None), ("intent", 2)]
