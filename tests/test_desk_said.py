"""What was understood wrongly is put right: attempts, intents and every figure follow, and back."""

from __future__ import annotations

import pytest
from api_kit import Client, after, assert_problem, running, taken
from desk_kit import INTENT, PLACES, AtTheTable
from test_desk_by_hand import code_of, count, figures

from service.client import Client as Caller
from service.desk.arriving import Upload
from service.desk.changing.repeated import repeats_at
from service.desk.scene import why_waiting
from service.position.errors import AttemptError
from service.store import NotFoundError

BOTH_DATABASES = True
ZONE = {"zone": {"circle_mm": [600, 600, 100]}}
OTHER = {"pot": "4", "pocket": "side-right", "next": "9"}


@pytest.fixture
def at_table(at_table):
    at_table.still()
    return at_table


def waits(table: AtTheTable) -> str | None:
    with table.desk.store.reading() as reader:
        return why_waiting(reader, reader.pending_intent(table.table_id))


def reading(table: AtTheTable, number: int):
    with table.desk.store.reading() as reader:
        return reader.reading(number)


def lifted(table: AtTheTable, to=(700.0, 900.0)) -> int:
    """The cue ball lifted where a shot that needs no ball was due: taken for that shot."""
    table.intend(ZONE)
    table.lay(cue=to)
    body = table.still()
    assert (body["outcome"]["event"], body["attempt"] is not None) == ("shot", True)
    return body["reading"]["id"]


def missed(table: AtTheTable) -> int:
    """A shot that ends near where it began, taken for its layout set up again."""
    table.intend()
    for ball in ("cue", "3"):
        x, y = table.places[ball]
        table.places[ball] = (x + 20.0, y)
    body = table.still()
    assert (body["outcome"]["event"], body["attempt"]) == ("set_up", None)
    return body["reading"]["id"]


def test_a_lifted_cue_ball_taken_for_a_shot_counts_no_longer(at_table):
    number = lifted(at_table)
    assert count(at_table) == 1
    body = at_table.desk.say_outcome(number, "placed")
    assert (body["attempt"], body["struck"]) == (None, [1])
    assert count(at_table) == 0
    held = reading(at_table, number)
    assert (held.outcome["event"], held.outcome["said"]) == ("placed", True)
    assert held.outcome["understood"]["event"] == "shot"
    assert held.comparison is None
    # its intent waits again, from the layout that a hand made
    assert (body["intent"]["intent"], body["intent"]["before_reading_id"]) == (ZONE, number)
    assert waits(at_table) is None
    at_table.lay(cue=(620.0, 600.0))
    attempt = at_table.still()["attempt"]
    assert (attempt["before_reading_id"], attempt["verdict"]["verdict"]) == (number, "in")
    assert count(at_table) == 1


def test_a_missed_shot_taken_for_a_set_up_is_judged(at_table):
    number = missed(at_table)
    body = at_table.desk.say_outcome(number, "shot")
    attempt = body["attempt"]
    assert (attempt["before_reading_id"], attempt["after_reading_id"]) == (1, number)
    assert attempt["verdict"]["potted"] == []
    assert attempt["intent"] == INTENT
    assert attempt["made_at"] == reading(at_table, number).read_at.isoformat()
    assert body["reading"]["outcome"]["nudged"] == ["3"]
    assert body["reading"]["comparison"] == {"made": True}
    assert (body["intent"], at_table.pending()) == (None, None)
    assert count(at_table) == 1


@pytest.mark.parametrize("back", ["taken back", "said as it was understood", "undone"])
def test_what_was_understood_comes_back(at_table, back):
    number = lifted(at_table)
    before = figures(at_table)
    at_table.desk.say_outcome(number, "placed")
    assert figures(at_table) != before
    if back == "undone":
        assert at_table.desk.undo().change.kind == "outcome"
    else:
        event = None if back == "taken back" else "shot"
        body = at_table.desk.say_outcome(number, event)
        assert body["attempt"]["id"] == 1
    assert figures(at_table) == before
    assert at_table.pending() is None


def test_an_attempt_that_was_made_so_goes_with_it_and_comes_with_it(at_table):
    number = missed(at_table)
    at_table.desk.say_outcome(number, "shot")
    body = at_table.desk.say_outcome(number, None)
    assert (body["struck"], count(at_table)) == ([1], 0)
    assert "said" not in body["reading"]["outcome"]
    assert body["intent"]["intent"] == INTENT
    assert waits(at_table) is None
    assert at_table.desk.say_outcome(number, "shot")["attempt"]["id"] == 1
    assert (count(at_table), at_table.pending()) == (1, None)
    for kind in ("outcome", "outcome-back", "outcome"):
        assert at_table.desk.undo().change.kind == kind
    assert (count(at_table), at_table.pending().document) == (0, INTENT)
    assert "said" not in reading(at_table, number).outcome


def test_what_was_said_twice_comes_back_at_once(at_table):
    number = lifted(at_table)
    before = figures(at_table)
    at_table.desk.say_outcome(number, "placed")
    at_table.desk.say_outcome(number, "corrected")
    assert at_table.desk.say_outcome(number, None)["attempt"]["id"] == 1
    assert figures(at_table) == before


def test_an_attempt_struck_by_hand_stays_struck(at_table):
    number = lifted(at_table)
    at_table.desk.strike(1)
    at_table.desk.say_outcome(number, "placed")
    assert at_table.desk.say_outcome(number, None)["attempt"] is None
    assert count(at_table) == 0


def test_where_more_happened_since_only_its_own_attempt_follows(at_table):
    number = lifted(at_table)
    at_table.intend(ZONE)
    at_table.lay(cue=(900.0, 300.0))
    assert at_table.still()["attempt"]["id"] == 2
    pending = at_table.intend(ZONE)
    body = at_table.desk.say_outcome(number, "placed")
    assert body["struck"] == [1]
    assert [each.id for each in at_table.attempts()] == [2]
    assert at_table.pending().id == pending.id
    # the last attempt is still that of the newest still, also where another is made meanwhile
    at_table.desk.say_outcome(number, "shot")
    assert at_table.desk.reopen(2)[0].struck_at is not None


def test_an_older_missed_shot_becomes_an_attempt_of_its_time(at_table):
    number = missed(at_table)
    at_table.shoot((900.0, 800.0))
    body = at_table.desk.say_outcome(number, "shot")
    assert (body["attempt"]["id"], body["attempt"]["before_reading_id"]) == (2, 1)
    with at_table.desk.store.reading() as reader:
        played = [row["attempt"] for row in reader.attempt_rows()]
    assert played == [2, 1], "by the time at which it was played"
    at_table.desk.undo()
    assert [each.id for each in at_table.attempts()] == [1]


def test_an_intent_that_a_person_set_since_stays(at_table):
    number = lifted(at_table)
    at_table.intend(OTHER)
    body = at_table.desk.say_outcome(number, "placed")
    assert (body["struck"], body["intent"]["intent"]) == ([1], OTHER)
    at_table.desk.undo()
    assert (count(at_table), at_table.pending().document) == (1, OTHER)


def test_what_nothing_explains_has_its_intent_wait(at_table):
    number = lifted(at_table)
    body = at_table.desk.say_outcome(number, "impossible")
    assert body["reading"]["comparison"]["code"] == "impossible"
    assert body["intent"]["waits_for"]["still"] == "still.jpg"
    assert "cue lies" in waits(at_table)
    # and a hand that explains it has it go on
    body = at_table.desk.say_outcome(number, "corrected")
    assert (body["intent"]["waits_for"], waits(at_table)) == (None, None)


def test_balls_laid_again_far_off_are_set_up_where_a_person_says_so(at_table):
    at_table.intend()
    at_table.shoot()
    at_table.places = {name: (x + 90.0, y) for name, (x, y) in PLACES.items()}
    number = at_table.still()["reading"]["id"]
    assert reading(at_table, number).outcome["event"] != "set_up"
    body = at_table.desk.say_outcome(number, "set_up")
    outcome = body["reading"]["outcome"]
    assert (outcome["repeats_reading_id"], outcome["repeats"]) == (1, "still.jpg")
    assert (
        outcome["detail"] == "set up again as in still 1 (still.jpg), the farthest ball 90 mm off"
    )
    assert "lies 90 mm off" in why_of_own(at_table)
    # over a restart too, and an attempt from there says how far off it was
    at_table.intend()
    at_table.shoot((900.0, 700.0))
    assert at_table.attempts()[0].set_up["set_up_off_mm"]["3"] == pytest.approx(90, abs=3)


ELSEWHERE = {
    "cue": (600.0, 600.0),
    "3": (300.0, 1000.0),
    "4": (2000.0, 500.0),
    "9": (1200.0, 200.0),
}
THERE = {"pot": "3", "pocket": "head-left", "next": "4", "next_pocket": "foot-right"}


def two_layouts_and_one_between(table: AtTheTable) -> tuple[int, int, int]:
    """Readings of two layouts, a shot played from each, and of one set up nearer to the second."""
    first = 1
    table.intend()
    table.shoot()
    table.places = dict(ELSEWHERE)
    second = table.still()["reading"]["id"]
    table.intend(THERE)
    table.shoot((900.0, 700.0))
    table.places = {
        name: (0.45 * PLACES[name][0] + 0.55 * x, 0.45 * PLACES[name][1] + 0.55 * y)
        for name, (x, y) in ELSEWHERE.items()
    }
    return first, second, table.still()["reading"]["id"]


def test_which_layout_was_set_up_is_said_too(at_table):
    first, second, number = two_layouts_and_one_between(at_table)
    with at_table.desk.store.reading() as reader:
        offered = repeats_at(reader, number)
    assert [each["repeats_reading_id"] for each in offered] == [second, first]
    assert offered[1]["set_up_off_mm"]["cue"] > offered[0]["set_up_off_mm"]["cue"] > 200
    body = at_table.desk.say_outcome(number, "set_up")
    assert body["reading"]["outcome"]["repeats_reading_id"] == second
    body = at_table.desk.say_outcome(number, "set_up", first)
    outcome = body["reading"]["outcome"]
    assert (outcome["repeats_reading_id"], outcome["set_up_off_mm"]) == (
        first,
        offered[1]["set_up_off_mm"],
    )
    assert f"as in still {first} " in outcome["detail"]
    # it is an attempt at that one
    at_table.intend()
    at_table.shoot((900.0, 700.0))
    assert at_table.attempts()[0].set_up["repeats_reading_id"] == first
    at_table.desk.say_outcome(number, "set_up", second)
    assert at_table.attempts()[0].set_up["repeats_reading_id"] == second
    at_table.desk.undo()
    assert at_table.attempts()[0].set_up["repeats_reading_id"] == first


def test_a_layout_taken_for_another_one_gets_its_own_intent(at_table):
    """Seen as set up, and as the wrong one of two: the intent that waits follows."""
    first = 1
    at_table.intend()
    at_table.shoot()
    at_table.places = {name: (x + 100.0, y) for name, (x, y) in PLACES.items()}
    second = at_table.still()["reading"]["id"]
    at_table.intend({**INTENT, "pocket": "foot-right"})
    at_table.shoot((900.0, 700.0))
    body = at_table.set_up({name: (x + 45.0, y) for name, (x, y) in PLACES.items()}, off_mm=1.0)
    number = body["reading"]["id"]
    assert body["outcome"]["repeats_reading_id"] == first
    assert body["intent"]["intent"] == INTENT
    body = at_table.desk.say_outcome(number, "set_up", second)
    assert body["reading"]["outcome"]["repeats_reading_id"] == second
    assert body["intent"]["intent"]["pocket"] == "foot-right"
    assert body["reading"]["outcome"]["understood"]["repeats_reading_id"] == first
    # what was understood comes back, by its name or by taking back what was said
    at_table.desk.say_outcome(number, "set_up", first)
    assert "understood" not in reading(at_table, number).outcome
    at_table.desk.say_outcome(number, "set_up", second)
    body = at_table.desk.say_outcome(number, None)
    assert body["reading"]["outcome"]["repeats_reading_id"] == first
    assert body["intent"]["intent"] == INTENT


def test_a_layout_that_cannot_be_it_is_refused(at_table):
    first, second, number = two_layouts_and_one_between(at_table)
    with pytest.raises(AttemptError, match="got 99, in which no layout lay first") as refused:
        at_table.desk.say_outcome(number, "set_up", 99)
    assert refused.value.code == "bad-outcome"
    with pytest.raises(AttemptError, match="allowed: with 'set_up'"):
        at_table.desk.say_outcome(number, "corrected", first)
    at_table.lay(b11=(1905.0, 635.0))
    came = at_table.still()["reading"]["id"]
    with pytest.raises(AttemptError, match="not one that is named"):
        at_table.desk.say_outcome(came, "set_up", second)


def why_of_own(table: AtTheTable) -> str:
    """Why a layout's own intent is not pending at once, though it lies there as was said."""
    table.desk.set_again()
    return waits(table)


def test_an_older_set_up_tells_the_attempt_that_was_played_from_it(at_table):
    at_table.intend()
    at_table.shoot()
    body = at_table.set_up()
    at_table.shoot((900.0, 700.0))
    assert at_table.attempts()[0].set_up["repeats_reading_id"] == 1
    at_table.desk.say_outcome(body["reading"]["id"], "corrected")
    assert "repeats_reading_id" not in (at_table.attempts()[0].set_up or {})
    at_table.desk.undo()
    assert at_table.attempts()[0].set_up["repeats_reading_id"] == 1


def test_a_plan_has_its_turn_back(at_table):
    zones = [{"zone": {"circle_mm": [300 * k, 600, 90]}} for k in (1, 2, 3)]
    at_table.desk.begin_practice({"way": {"kind": "plan", "shots": zones}})
    at_table.lay(cue=(700.0, 900.0))
    number = at_table.still()["reading"]["id"]
    assert at_table.pending().place == 2
    at_table.desk.say_outcome(number, "placed")
    assert (at_table.pending().place, at_table.pending().before_reading_id) == (1, number)
    at_table.desk.say_outcome(number, None)
    assert at_table.pending().place == 2


def test_a_shot_without_an_intent_is_said_without_an_attempt(at_table):
    at_table.lay(b9=(500.0, 900.0))
    number = at_table.still()["reading"]["id"]
    body = at_table.desk.say_outcome(number, "shot")
    assert (body["attempt"], body["reading"]["outcome"]["event"]) == (None, "shot")


def test_it_holds_over_a_restart(at_table, data):
    number = lifted(at_table)
    at_table.desk.say_outcome(number, "placed")
    at_table.desk.close()
    at_table._open(data)
    assert waits(at_table) is None
    at_table.lay(cue=(620.0, 600.0))
    assert at_table.still()["attempt"]["before_reading_id"] == number
    assert at_table.desk.say_outcome(number, None)["attempt"]["id"] == 1


def test_what_changes_nothing_is_no_change(at_table):
    number = lifted(at_table)
    before = figures(at_table)
    assert at_table.desk.say_outcome(number, "shot")["struck"] == []
    at_table.desk.say_outcome(number, None)
    assert figures(at_table) == before
    assert code_of(at_table.desk.undo) == "nothing-to-undo"


def test_what_cannot_be_put_right_is_refused(at_table):
    assert code_of(at_table.desk.say_outcome, 1, "shot") == "no-outcome"
    number = lifted(at_table)
    at_table.lay(b11=(1905.0, 635.0))
    came = at_table.still()["reading"]["id"]
    with pytest.raises(AttemptError, match="no layout before it has these balls") as refused:
        at_table.desk.say_outcome(came, "set_up")
    assert refused.value.code == "bad-outcome"
    with pytest.raises(AttemptError, match="event: got 'played'"):
        at_table.desk.say_outcome(came, "played")
    with pytest.raises(NotFoundError):
        at_table.desk.say_outcome(99, "shot")
    at_table.desk.reopen(1)
    assert code_of(at_table.desk.say_outcome, number, "placed") == "no-outcome"
    blurred = at_table.desk.take(
        Upload(data=taken(at_table.layout()), name="rolling.jpg", settled=False)
    )
    assert code_of(at_table.desk.say_outcome, blurred.body["reading"]["id"], "shot") == "no-outcome"


def test_over_http(data):
    with running(data) as address, Client(address) as client, Caller(address) as caller:
        client.calibrate()
        attempt = client.round(after()).json()["attempt"]
        number = attempt["after_reading_id"]
        body = caller.say_outcome(number, "corrected")
        assert (body["struck"], body["attempt"]) == ([attempt["id"]], None)
        assert client.get(f"/readings/{number}").json()["outcome"] == body["reading"]["outcome"]
        assert client.get("/statistics").json()["statistics"]["attempts"] == 0
        assert caller.repeats(number) == []
        again = client.put(
            f"/readings/{number}/outcome", json={"event": "set_up", "repeats_reading_id": 1}
        )
        assert_problem(again, 422, "bad-outcome", text="has these balls")
        back = caller.take_outcome_back(number)
        assert back["attempt"]["id"] == attempt["id"]
        assert client.get("/statistics").json()["statistics"]["attempts"] == 1
        wrong = client.put(f"/readings/{number}/outcome", json={"event": "played"})
        assert_problem(wrong, 422, "invalid-request", text="'shot', 'placed', 'set_up'")
        assert_problem(client.put("/readings/1/outcome", json={"event": "shot"}), 409, "no-outcome")
        assert_problem(client.delete("/readings/99/outcome"), 404, "not-found")
        assert_problem(client.get("/readings/99/repeats"), 404, "not-found")
        assert_problem(client.get("/readings/1/repeats"), 409, "no-outcome")
