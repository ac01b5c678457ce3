"""Practices and their ways: the next intent is pending by itself when its layout lies there."""

from __future__ import annotations

import pytest
from desk_kit import INTENT, PLACES, AtTheTable

from service.desk.refusals import DeskError
from service.desk.scene import why_waiting
from service.position import IntentError

ZONE = {"zone": {"circle_mm": [600, 600, 100]}}
IN_ZONE, OUT_OF_ZONE = (600.0, 600.0), (1300.0, 900.0)


def begin(table: AtTheTable, way=None, **more) -> dict:
    return table.desk.begin_practice({"way": way, **more} if way else more, table.table_id)


def waits(table: AtTheTable) -> str | None:
    with table.desk.store.reading() as reader:
        return why_waiting(reader, reader.pending_intent(table.table_id))


def pot_of(table: AtTheTable) -> str | None:
    pending = table.pending()
    return None if pending is None else pending.document.get("pot")


def test_attempts_belong_to_the_practice_that_is_open(at_table):
    at_table.still()
    at_table.intend()
    at_table.shoot()
    number = begin(at_table, title="Evening")["id"]
    at_table.set_up()
    at_table.shoot((900.0, 800.0))
    body = at_table.desk.change_practice(number, {"finished": True})
    assert body["finished_at"] is not None
    assert body["attempts"] == 1
    at_table.set_up()
    at_table.shoot((900.0, 700.0))
    with at_table.desk.store.reading() as reader:
        assert [a.practice_id for a in reader.attempts()] == [None, number, None]
        assert reader.open_practice() is None


def test_another_practice_finishes_the_one_before(at_table):
    first, second = begin(at_table)["id"], begin(at_table)["id"]
    with at_table.desk.store.reading() as reader:
        assert reader.practice(first).finished_at is not None
        assert reader.open_practice().id == second


def test_a_plan_has_its_next_intent_pending_by_itself(at_table):
    at_table.still()
    shots = [INTENT, {"pot": "4", "pocket": "side-right", "next": "9"}, ZONE]
    body = begin(at_table, {"kind": "plan", "shots": shots})
    assert body["next"]["turn"]["intent"]["pot"] == "3"
    assert pot_of(at_table) == "3"
    body = at_table.shoot((700.0, 600.0))
    assert body["intent"]["intent"]["pot"] == "4"
    assert body["intent"]["given_by"] == "way"
    # the layout of the first shot again is played with its own intent and takes no turn
    assert at_table.set_up()["intent"]["intent"]["pot"] == "3"
    body = at_table.shoot((700.0, 600.0))
    assert body["attempt"]["set_up"]["repeats_reading_id"] == 1
    assert pot_of(at_table) == "4"
    told = at_table.desk.practice(1)
    assert told["report"] == {"played": 1, "of": 3, "skipped": 0}
    assert (told["apart"]["pot"]["successes"], told["apart"]["pot"]["n"]) == (2, 2)


def test_a_plan_goes_on_from_a_layout_that_was_played_before_it_began(at_table):
    at_table.still()
    at_table.intend()
    at_table.shoot((700.0, 600.0))
    at_table.set_up()
    begin(at_table, {"kind": "plan", "shots": [INTENT, {"pot": "4", "next": "9"}]})
    assert at_table.pending().given_by == "way"
    body = at_table.shoot((700.0, 600.0))
    assert body["intent"]["intent"]["pot"] == "4"
    assert at_table.desk.practice(1)["report"] == {"played": 1, "of": 2, "skipped": 0}
    # its first layout again is one of its own now
    at_table.set_up()
    at_table.shoot((700.0, 600.0))
    assert pot_of(at_table) == "4"
    assert at_table.desk.practice(1)["report"] == {"played": 1, "of": 2, "skipped": 0}


def test_a_layout_from_before_a_plan_brings_no_shot_that_the_plan_has_not(at_table):
    at_table.still()
    at_table.intend()
    at_table.shoot((700.0, 600.0))
    begin(at_table, {"kind": "plan", "shots": [{"pot": "12", "next": "9"}]})
    body = at_table.set_up()
    assert (body["outcome"]["event"], body["intent"]) == ("set_up", None)
    assert at_table.shoot((700.0, 600.0))["attempt"] is None
    assert at_table.desk.practice(1)["report"] == {"played": 0, "of": 1, "skipped": 0}


def test_same_again_waits_for_its_layout_and_says_what_is_missing(at_table):
    at_table.still()
    begin(at_table, {"kind": "same again"})
    at_table.intend()
    body = at_table.shoot()
    assert body["intent"]["intent"] == INTENT
    assert "3 is missing" in waits(at_table)
    body = at_table.set_up()
    assert waits(at_table) is None
    assert body["intent"]["before_reading_id"] == body["reading"]["id"]
    assert at_table.shoot((900.0, 800.0))["attempt"]["set_up"]["set_up_off_mm"]["3"] < 30
    assert at_table.desk.practice(1)["report"] == {"played": 2}


def test_a_shot_from_another_layout_is_no_attempt_of_same_again(at_table):
    at_table.still()
    begin(at_table, {"kind": "same again", "shots": [INTENT]})
    at_table.shoot((1100.0, 700.0), potted=False)
    body = at_table.shoot((800.0, 500.0))
    assert body["outcome"]["event"] == "shot"
    assert body["attempt"] is None
    assert body["reading"]["comparison"]["code"] == "intent-waits"


def test_pressure_starts_again_after_a_failure(at_table):
    way = {"kind": "pressure", "shots": [ZONE], "in_a_row": 2, "counts": "position"}
    at_table.places = {"cue": PLACES["cue"]}
    at_table.still()
    begin(at_table, way)
    places = {"cue": PLACES["cue"]}
    for stop, run in ((IN_ZONE, None), (OUT_OF_ZONE, None), (IN_ZONE, None), (IN_ZONE, None)):
        assert waits(at_table) is None
        at_table.places["cue"] = stop
        assert at_table.still()["attempt"] is not None, run
        at_table.set_up(places)
    report = at_table.desk.practice(1)["report"]
    assert (report["completions"], report["longest_run"]) == (1, 2)
    # a struck failure makes a run of what was played around it
    at_table.desk.strike(2)
    assert at_table.desk.practice(1)["report"]["longest_run"] >= 2
    assert at_table.desk.practice(1)["attempts"] == 3


def test_progressive_asks_for_a_layout_laid_anew(at_table):
    way = {"kind": "progressive", "shots": [INTENT], "counts": "pot", "start_mm": 600.0}
    at_table.still()
    begin(at_table, way)
    assert pot_of(at_table) == "3"
    at_table.shoot((1000.0, 650.0), potted=False)
    told = at_table.desk.practice(1)
    assert told["next"]["turn"]["distance_mm"] == 450.0
    assert "laid anew" in told["next"]["waits"]
    assert at_table.pending() is None
    at_table.lay(cue=(1700.0, 500.0), b3=(2100.0, 800.0))
    at_table.still()
    assert pot_of(at_table) == "3"
    assert at_table.shoot((1000.0, 600.0))["attempt"] is not None
    assert at_table.desk.practice(1)["report"]["reached_mm"] == 600.0


def test_rotation_names_the_ball_after_every_shot(at_table):
    at_table.still()
    begin(at_table, {"kind": "rotation"})
    assert pot_of(at_table) == "3"
    at_table.shoot((700.0, 600.0))
    assert pot_of(at_table) == "4"
    assert at_table.pending().document["next"] == "9"


def test_an_intent_that_a_person_sets_goes_before_the_ways(at_table):
    at_table.still()
    begin(at_table, {"kind": "plan", "shots": [INTENT]})
    other = {"pot": "4", "pocket": "side-right", "next": "9"}
    at_table.intend(other)
    at_table.lay(b9=(500.0, 900.0))
    assert at_table.still()["intent"]["intent"] == other


def test_what_the_way_had_pending_goes_with_the_practice(at_table):
    at_table.still()
    begin(at_table, {"kind": "plan", "shots": [INTENT]})
    at_table.desk.change_practice(1, {"finished": True})
    assert at_table.pending() is None
    begin(at_table)
    at_table.intend()
    at_table.desk.change_practice(2, {"finished": True})
    assert pot_of(at_table) == "3"


def test_striking_gives_a_plan_its_turn_back(at_table):
    at_table.still()
    begin(at_table, {"kind": "plan", "shots": [ZONE, {"zone": {"circle_mm": [900, 900, 90]}}]})
    at_table.shoot((700.0, 600.0))
    assert at_table.pending().document["zone"]["circle_mm"][0] == 900
    at_table.desk.strike(1)
    assert at_table.pending().document["zone"]["circle_mm"][0] == 600
    at_table.desk.undo()
    assert at_table.pending().document["zone"]["circle_mm"][0] == 900


def test_a_kept_plan_is_played(at_table):
    with at_table.desk.store.writing() as writer:
        number = writer.add_plan("Two", {"shots": [INTENT], "mode": "same again", "each": 2}).id
    at_table.still()
    body = begin(at_table, None, plan_id=number)
    assert body["way"] == {"kind": "same again", "shots": [INTENT], "each": 2}
    assert body["plan_id"] == number
    assert pot_of(at_table) == "3"


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        ({"way": {"kind": "running"}}, "way.kind: got 'running'"),
        ({"way": []}, "way: got"),
        ({"way": {"kind": "pressure", "shots": [ZONE]}}, "in_a_row: missing"),
        ({"way": {"kind": "free", "shots": []}}, "way.shots"),
        ({"way": {"kind": "plan", "shots": [{"pot": "17"}]}}, "shots"),
        ({"named": "x"}, "named: unknown"),
        ({"title": 5}, "title: got 5"),
    ],
)
def test_a_practice_that_cannot_be_is_refused(at_table, asked, text):
    with pytest.raises(IntentError, match=text.replace("(", r"\(")):
        at_table.desk.begin_practice(asked)
    with at_table.desk.store.reading() as reader:
        assert reader.open_practice() is None


# -- again and mirrored --------------------------------------------------------------------


def test_the_same_shot_again_waits_until_its_layout_lies_there(at_table):
    at_table.still()
    at_table.intend()
    at_table.shoot()
    record = at_table.desk.set_again()
    assert (record.document, record.given_by) == (INTENT, "person")
    assert "3 is missing" in waits(at_table)
    at_table.set_up()
    assert waits(at_table) is None
    assert at_table.shoot((900.0, 700.0))["attempt"] is not None


def test_the_mirrored_shot_is_pending_when_the_mirrored_layout_lies_there(at_table):
    at_table.still()
    at_table.intend({**INTENT, "side": "left"})
    at_table.shoot()
    record = at_table.desk.set_mirrored({"mirror": "across"})
    assert record.document["pocket"] == "foot-right"
    assert record.document["next_pocket"] == "side-left"
    assert record.document["side"] == "right"
    assert waits(at_table) is not None
    at_table.set_up({name: (x, 1270.0 - y) for name, (x, y) in PLACES.items()})
    assert waits(at_table) is None
    attempt = at_table.shoot((900.0, 600.0))["attempt"]
    assert attempt["intent"]["pocket"] == "foot-right"
    assert set(attempt["set_up"]["set_up_off_mm"]) == set(PLACES)


def test_the_mirror_of_a_pending_shot_holds_at_once_where_it_lies_there(at_table):
    at_table.places = {"cue": (1270.0, 300.0), "3": (1270.0, 900.0), "9": (300.0, 635.0)}
    at_table.still()
    at_table.intend({"pot": "3", "pocket": "side-left", "next": "9"})
    # this layout is its own mirror image but for the nine, which is then laid over
    at_table.desk.set_mirrored({"mirror": "along"})
    assert "9 lies" in waits(at_table)
    at_table.lay(b9=(2240.0, 635.0))
    at_table.still()
    assert waits(at_table) is None


def test_again_and_mirror_need_something_to_go_by(at_table):
    at_table.still()
    for work, arguments in ((at_table.desk.set_again, ()), (at_table.desk.set_mirrored,
                                                            ({"mirror": "across"},))):  # fmt: skip
        with pytest.raises(DeskError) as refused:
            work(*arguments)
        assert refused.value.code == "no-attempt"
    at_table.intend()
    with pytest.raises(IntentError, match="mirror: got none"):
        at_table.desk.set_mirrored({})
