"""Plans keep to their shots: struck ones come again, own ones take no turn, the next is skipped."""

from __future__ import annotations

import pytest
from api_kit import Client, assert_problem, running
from desk_kit import INTENT, AtTheTable
from store_kit import change_past_the_store

from service.client import Client as Caller
from service.desk.refusals import DeskError

BOTH_DATABASES = True
ZONES = [{"zone": {"circle_mm": [300 * k, 600, 90]}} for k in (1, 2, 3, 4)]
OWN = {"zone": {"circle_mm": [2000, 200, 50]}}


@pytest.fixture
def at_table(at_table):
    at_table.still()
    return at_table


def begin(table: AtTheTable, shots=ZONES) -> int:
    return table.desk.begin_practice({"way": {"kind": "plan", "shots": shots}})["id"]


def play(table: AtTheTable, shots: int = 1) -> None:
    """Shots that each leave another layout."""
    for _ in range(shots):
        stop = table.rng.uniform((300, 300), (2200, 1000))
        table.places["4"] = tuple(table.rng.uniform((300, 300), (2200, 1000)))
        assert table.shoot(tuple(stop), potted=False)["attempt"] is not None


def due(table: AtTheTable) -> tuple[int | None, dict | None]:
    """The place of the intent that waits, and the intent."""
    pending = table.pending()
    return (None, None) if pending is None else (pending.place, pending.document)


def report(table: AtTheTable, number: int = 1) -> tuple[int, int, int]:
    told = table.desk.practice(number)["report"]
    return told["played"], told["of"], told["skipped"]


@pytest.mark.parametrize("struck", [1, 2, 3])
def test_a_struck_shot_comes_again_and_then_the_plan_goes_on(at_table, struck):
    begin(at_table)
    play(at_table, 3)
    assert due(at_table) == (4, ZONES[3])
    at_table.desk.strike(struck)
    assert due(at_table) == (struck, ZONES[struck - 1])
    assert report(at_table) == (2, 4, 0)
    play(at_table)
    assert due(at_table) == (4, ZONES[3])
    at_table.desk.restore(struck)
    assert due(at_table) == (4, ZONES[3])
    play(at_table)
    assert due(at_table) == (None, None)
    assert at_table.desk.practice(1)["next"]["finished"]


def test_two_struck_shots_come_in_the_order_of_the_plan(at_table):
    begin(at_table)
    play(at_table, 3)
    at_table.desk.strike(3)
    at_table.desk.strike(1)
    for place in (1, 3, 4):
        assert due(at_table)[0] == place
        play(at_table)
    assert report(at_table) == (4, 4, 0)


def test_a_reopened_shot_keeps_its_place(at_table):
    begin(at_table)
    play(at_table, 2)
    _, intent = at_table.desk.reopen(2)
    assert intent.place == 2
    play(at_table)
    assert due(at_table)[0] == 3


def test_an_own_intent_takes_no_turn(at_table):
    begin(at_table)
    at_table.intend(OWN)
    play(at_table)
    assert report(at_table) == (0, 4, 0)
    assert due(at_table) == (1, ZONES[0])
    play(at_table)
    at_table.intend(OWN)
    play(at_table)
    assert (due(at_table)[0], report(at_table)) == (2, (1, 4, 0))


def test_a_layout_from_which_an_own_shot_was_played_is_one_for_the_plan(at_table):
    begin(at_table, [INTENT, *ZONES])
    at_table.intend(OWN)
    at_table.shoot((700.0, 600.0))
    at_table.set_up()
    assert due(at_table) == (1, INTENT)
    at_table.shoot((700.0, 600.0))
    # from now on it is the plan's own layout, and repeats of it are the same shot
    at_table.set_up()
    assert due(at_table) == (1, INTENT)
    at_table.shoot((720.0, 610.0))
    assert (due(at_table)[0], report(at_table)) == (2, (1, 5, 0))


def test_the_next_shot_is_skipped_and_that_is_undone(at_table):
    number = begin(at_table)
    play(at_table)
    body = at_table.desk.skip(number)
    assert (body["skipped"], body["next"]["turn"]["place"]) == ([2], 3)
    assert due(at_table) == (3, ZONES[2])
    assert report(at_table) == (1, 4, 1)
    assert at_table.desk.undo().change.kind == "skip"
    assert due(at_table) == (2, ZONES[1])
    for _ in range(3):
        at_table.desk.skip(number)
    assert due(at_table) == (None, None)
    # a struck shot is free again, the skipped ones are not
    at_table.desk.strike(1)
    assert due(at_table) == (1, ZONES[0])


def test_a_shot_that_cannot_be_played_is_skipped_too(at_table):
    """A ball that is not there keeps it from waiting by itself; that is when it is skipped."""
    number = begin(at_table, [{"pot": "12", "next": "9"}, *ZONES])
    assert due(at_table) == (None, None)
    at_table.desk.skip(number, 1)
    assert due(at_table) == (2, ZONES[0])


def test_a_second_tap_skips_no_other_shot(at_table):
    number = begin(at_table)
    at_table.desk.skip(number, 1)
    with pytest.raises(DeskError, match="skip: got place 1; allowed: the next one, 2") as refused:
        at_table.desk.skip(number, 1)
    assert (refused.value.code, refused.value.fields) == ("no-skip", {"next": 2})
    assert due(at_table)[0] == 2


def test_an_own_intent_that_waits_stays_where_a_shot_is_skipped(at_table):
    number = begin(at_table)
    at_table.intend(OWN)
    at_table.desk.skip(number)
    assert due(at_table) == (None, OWN)


def test_what_has_no_next_shot_is_not_skipped(at_table):
    number = begin(at_table, ZONES[:1])
    at_table.desk.skip(number)
    free = at_table.desk.begin_practice({})["id"]
    for which in (number, free):
        with pytest.raises(DeskError) as refused:
            at_table.desk.skip(which)
        assert refused.value.code == "no-skip"


def test_a_plan_goes_on_over_an_upgrade_that_keeps_places(at_table, data):
    """Attempts of old say no place: their order tells."""
    begin(at_table)
    play(at_table, 2)
    at_table.desk.close()
    change_past_the_store(data, "UPDATE intents SET place = NULL WHERE state = 'scored'")
    at_table._open(data)
    assert report(at_table) == (2, 4, 0)
    play(at_table)
    assert (due(at_table)[0], report(at_table)) == (4, (3, 4, 0))


def test_a_program_skips(data):
    with running(data) as address, Client(address) as client, Caller(address) as caller:
        client.calibrate()
        number = caller.begin_practice(way={"kind": "plan", "shots": ZONES}, title="Four")["id"]
        assert caller.skip(number, place=1)["skipped"] == [1]
        assert caller.skip(number)["skipped"] == [1, 2]
        answer = client.post(f"/practices/{number}/skip", json={"place": 1})
        assert assert_problem(answer, 409, "no-skip")["fields"] == {"next": 3}
        assert client.post(f"/practices/{number}/skip").json()["skipped"] == [1, 2, 3]
        assert caller.practice(number)["report"]["skipped"] == 3
        assert caller.finish_practice(number)["finished_at"] is not None
        assert_problem(client.post("/practices/9/skip"), 404, "not-found")
