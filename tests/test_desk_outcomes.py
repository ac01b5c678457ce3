"""What each live still means at the desk: outcome, attempt, and the intent that waits."""

from __future__ import annotations

import pytest
from api_kit import CALIBRATION, taken
from desk_kit import INTENT, PLACES, AtTheTable

from service.desk.arriving import Upload
from service.desk.scene import why_waiting
from service.desk.session import SessionStill, load_session


def waits(table: AtTheTable) -> str | None:
    with table.desk.store.reading() as reader:
        return why_waiting(reader, reader.pending_intent(table.table_id))


def test_the_first_still_of_a_table_follows_nothing(at_table):
    body = at_table.still()
    assert body["outcome"] is None
    assert body["attempt"] is None
    assert body["intent"] is None


def test_a_shot_ends_the_intent(at_table):
    at_table.still()
    at_table.intend()
    body = at_table.shoot()
    assert body["outcome"]["event"] == "shot"
    assert body["outcome"]["potted"] == ["3"]
    assert body["reading"]["comparison"] == {"made": True}
    assert body["attempt"]["verdict"]["potted"] == ["3"]
    assert body["intent"] is None
    assert at_table.pending() is None


def test_a_shot_without_an_intent_is_said_and_no_attempt(at_table):
    at_table.still()
    body = at_table.shoot()
    assert (body["outcome"]["event"], body["attempt"]) == ("shot", None)
    assert body["reading"]["comparison"] is None


def test_the_same_table_again_is_nothing_and_no_missed_shot(at_table):
    at_table.still()
    at_table.intend()
    for _ in range(3):
        body = at_table.still()
        assert body["outcome"]["event"] == "nothing"
        assert body["attempt"] is None
        assert body["reading"]["comparison"] is None
    assert waits(at_table) is None
    assert at_table.shoot()["attempt"]["before_reading_id"] == 1


def test_an_intent_set_after_the_same_table_again_is_one_for_the_table(at_table):
    at_table.still()
    at_table.still()
    at_table.intend()
    assert waits(at_table) is None
    assert at_table.shoot()["attempt"]["before_reading_id"] == 2


def test_a_cue_ball_placed_moves_the_layout_that_is_played_from(at_table):
    at_table.still()
    at_table.intend()
    at_table.lay(cue=(1600.0, 300.0))
    body = at_table.still()
    assert body["outcome"]["event"] == "placed"
    assert body["attempt"] is None
    assert body["intent"]["before_reading_id"] == body["reading"]["id"]
    assert at_table.shoot()["attempt"]["before_reading_id"] == body["reading"]["id"]


def test_a_cue_ball_lifted_and_put_down_keeps_the_intent(at_table):
    at_table.still()
    at_table.intend()
    cue = at_table.places.pop("cue")
    body = at_table.still()
    assert body["outcome"]["event"] == "placed"
    assert body["reading"]["comparison"]["code"] == "intent-waits"
    assert "cue ball is not on the table" in body["reading"]["comparison"]["detail"]
    assert "cue ball is not on the table" in waits(at_table)
    at_table.lay(cue=(cue[0] + 90.0, cue[1]))
    body = at_table.still()
    assert (body["outcome"]["event"], body["reading"]["comparison"]) == ("placed", None)
    assert waits(at_table) is None
    assert at_table.shoot()["attempt"] is not None


def test_a_ball_moved_by_hand_is_a_correction_and_the_intent_goes_on(at_table):
    at_table.still()
    at_table.intend()
    at_table.lay(b9=(500.0, 900.0))
    body = at_table.still()
    assert (body["outcome"]["event"], body["outcome"]["balls"]) == ("corrected", ["9"])
    assert body["intent"]["before_reading_id"] == body["reading"]["id"]


def test_a_ball_spotted_goes_on_too(at_table):
    at_table.still()
    at_table.intend()
    at_table.lay(b11=(1905.0, 635.0))
    body = at_table.still()
    assert (body["outcome"]["event"], body["outcome"]["balls"]) == ("spotted", ["11"])
    assert body["intent"]["before_reading_id"] == body["reading"]["id"]


def test_what_nothing_explains_is_flagged_and_never_scored(at_table):
    at_table.still()
    at_table.intend()
    del at_table.places["9"]  # the cue ball did not move
    body = at_table.still()
    assert body["outcome"]["event"] == "impossible"
    assert body["attempt"] is None
    assert body["reading"]["comparison"]["code"] == "impossible"
    assert "not scored" in body["reading"]["comparison"]["detail"]
    assert "9 is missing" in waits(at_table)
    # a shot from there is no attempt: the intent is for another layout
    body = at_table.shoot()
    assert (body["outcome"]["event"], body["attempt"]) == ("shot", None)
    assert body["reading"]["comparison"]["code"] == "intent-waits"
    # its layout set up again has it hold again
    at_table.set_up()
    assert waits(at_table) is None
    assert at_table.shoot()["attempt"] is not None


def test_balls_set_up_again_have_their_intent_pending_at_once(at_table):
    first = at_table.still()["reading"]["id"]
    at_table.intend()
    at_table.shoot()
    body = at_table.set_up()
    assert body["outcome"]["event"] == "set_up"
    assert body["outcome"]["repeats_reading_id"] == first
    assert body["intent"]["intent"] == INTENT
    assert body["intent"]["given_by"] == "layout"
    attempt = at_table.shoot((900.0, 800.0))["attempt"]
    assert attempt["intent"] == INTENT
    assert attempt["set_up"]["repeats_reading_id"] == first
    assert set(attempt["set_up"]["set_up_off_mm"]) == {"cue", "3", "4", "9"}
    # and again, and again
    for _ in range(3):
        assert at_table.set_up()["intent"]["intent"] == INTENT
        assert at_table.shoot((800.0, 700.0))["attempt"] is not None
    assert len(at_table.attempts()) == 5


def test_each_layout_of_several_has_its_own_intent(at_table):
    other = {
        "cue": (600.0, 600.0),
        "3": (300.0, 1000.0),
        "4": (2000.0, 500.0),
        "9": (1200.0, 200.0),
    }
    other_intent = {"pot": "3", "pocket": "head-left", "next": "4", "next_pocket": "foot-right"}
    at_table.still()
    at_table.intend()
    at_table.shoot()
    at_table.places = dict(other)
    at_table.still()
    at_table.intend(other_intent)
    at_table.shoot((900.0, 700.0))
    assert at_table.set_up()["intent"]["intent"] == INTENT
    assert at_table.set_up(other)["intent"]["intent"] == other_intent
    assert at_table.shoot((900.0, 650.0))["attempt"]["intent"] == other_intent


def test_an_intent_that_a_person_set_goes_before_a_layouts_own(at_table):
    at_table.still()
    at_table.intend()
    at_table.shoot()
    other = {"pot": "4", "pocket": "side-right", "next": "9"}
    at_table.intend(other)
    body = at_table.set_up()
    assert body["outcome"]["event"] == "set_up"
    assert body["intent"]["intent"] == other


def test_a_restart_forgets_nothing(tmp_path):
    """Stills, what was laid and what was played are made anew from the store."""
    table = AtTheTable(tmp_path)
    table.still()
    table.intend()
    for step in (table.still, table.shoot, table.set_up):
        step()
        table.again(tmp_path)
    assert waits(table) is None
    assert table.shoot((900.0, 800.0))["attempt"]["set_up"]["repeats_reading_id"] == 1
    table.again(tmp_path)
    assert table.set_up()["intent"]["intent"] == INTENT
    table.again(tmp_path)
    assert table.still()["outcome"]["event"] == "nothing"
    table.desk.close()


def test_names_carry_over_from_what_lay_in_the_same_place(at_table):
    at_table.still()
    at_table.intend()
    body = at_table.still(balls={})
    nine = at_table.places.pop("9")
    at_table.places["13"] = nine
    body = at_table.shoot()
    read = {ball["id"]: ball for ball in body["reading"]["layout"]["balls"]}
    assert set(read) == {"cue", "4", "9"}
    assert read["9"]["doubtful"]
    assert read["9"]["runners_up"][0]["id"] == "13"
    assert "reads as 9 before and 13 after" in " ".join(body["outcome"]["warnings"])


# -- live and not live ---------------------------------------------------------------------


@pytest.mark.parametrize("keys", [(None, None), ("a", "b"), ("a", None), (None, "b")])
def test_the_very_same_still_twice_counts_once(at_table, keys):
    at_table.still()
    at_table.intend()
    at_table.places.pop("3")
    at_table.places["cue"] = (1100.0, 700.0)
    data = taken(at_table.layout())
    first, second = (
        at_table.desk.take(Upload(data=data, name=f"{k}.jpg", key=key))
        for k, key in enumerate(keys)
    )
    assert first.is_new
    assert not second.is_new
    assert second.body["same_as"] == first.body["reading"]["id"]
    assert second.body["attempt"] == first.body["attempt"]
    assert len(at_table.attempts()) == 1
    with at_table.desk.store.reading() as reader:
        assert reader.counts() == {"stills": 2, "readings": 2, "attempts": 1}


def test_the_same_still_counts_at_another_table(at_table):
    with at_table.desk.store.writing() as writer:
        writer.add_table("Table 2")
    at_table.desk.set_calibration(CALIBRATION.to_dict(), 2)
    data = taken(at_table.layout())
    for table_id in (1, 2):
        taken_in = at_table.desk.take(Upload(data=data, name="a.jpg", table_id=table_id))
        assert taken_in.is_new
        assert taken_in.body["reading"]["table_id"] == table_id


def test_tables_are_followed_each_by_itself(at_table):
    with at_table.desk.store.writing() as writer:
        writer.add_table("Table 2")
    at_table.desk.set_calibration(CALIBRATION.to_dict(), 2)
    at_table.still()
    at_table.intend()
    at_table.table_id = 2
    at_table.lay(b9=None, cue=(700.0, 700.0))
    assert at_table.still()["outcome"] is None
    at_table.table_id, at_table.places = 1, dict(PLACES)
    assert at_table.still()["outcome"]["event"] == "nothing"
    assert at_table.shoot()["attempt"]["table_id"] == 1


def test_a_loaded_session_is_never_the_still_before(tmp_path):
    table = AtTheTable(tmp_path)
    table.still()
    table.intend()
    table.desk.close()
    places = dict(table.places)
    table.places = {"cue": (300.0, 300.0), "1": (1200.0, 600.0)}
    load_session(
        tmp_path,
        CALIBRATION,
        stills=[SessionStill(name="old.jpg", data=taken(table.layout()), layout=table.layout())],
        attempts=[],
    )
    table.places = places
    table.again(tmp_path)
    assert waits(table) is None
    with table.desk.store.reading() as reader:
        assert reader.latest_live().id == 1
        assert reader.latest_reading().id == 2
    assert table.still()["outcome"]["event"] == "nothing"
    assert table.shoot()["attempt"]["before_reading_id"] == 1
    table.desk.close()
