"""Sessions whose stills are a sequence: every shot found, its intent, and the printed contract."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise

import pytest
from position_layouts import layout

from calibration.errors import RestmarkError
from calibration.table import Table
from service.cli import main
from service.practice import score_session
from vision.layout import Layout

NINE = Table()
START = {"cue": (1800.0, 800.0), "3": (2200.0, 1000.0), "4": (1270.0, 400.0), "9": (300.0, 300.0)}
SHOT = {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right"}
THEN = {"pot": "4", "pocket": "side-right", "next": "9", "next_pocket": "head-right"}
LAST = {"pot": "9", "pocket": "head-right", "zone": {"circle_mm": [1270, 635, 400]}}
GONE = None


def still(name: str, **changes) -> tuple[str, Layout]:
    places = START | {key.lstrip("b"): at for key, at in changes.items()}
    there = {ball: at for ball, at in places.items() if at is not GONE}
    cov = ((0.16, 0.0), (0.0, 0.16))
    return name, replace(layout(NINE, there, cov_mm2=cov), still=name)


def lines(readings, plan=None) -> list[dict]:
    out = list(score_session(readings, plan, NINE).lines())
    json.dumps(out, allow_nan=False)
    return out


PRACTICE = [
    still("a"),
    still("b", cue=(1270, 800), b3=GONE),  # shot: 3 down
    still("c", cue=(1806, 795), b3=(2195, 1004)),  # set up again
    still("d", cue=(1500, 900), b3=(2300, 1100), b4=(1274, 403)),  # missed, 4 nudged
    still("e", cue=(1500, 900), b3=(2300, 1100), b4=(1274, 403)),  # nothing
    still("f", cue=(1803, 801), b3=(2203, 997)),  # set up again
    still("g", cue=(1300, 820), b3=GONE),  # shot
    still("h", cue=GONE, b3=GONE, b4=GONE),  # shot, scratch
    still("i", cue=(900, 300), b3=GONE, b4=GONE),  # placed
    still("j", cue=(900, 300), b3=GONE),  # spotted: 4
    still("k", cue=(900, 300), b3=GONE, b4=(1270, 500)),  # corrected
    still("l", cue=(900, 300), b3=GONE, b4=GONE),  # impossible
]
EVENTS = ["shot", "set_up", "shot", "nothing", "set_up", "shot", "shot", "placed", "spotted",
          "corrected", "impossible"]  # fmt: skip


def test_a_sequence_prints_every_shot_and_every_other_transition_in_order() -> None:
    *steps, last = lines(PRACTICE)
    assert [step["event"] for step in steps] == EVENTS
    names = [name for name, _ in PRACTICE]
    assert [(step["before"], step["after"]) for step in steps] == list(pairwise(names))
    shots = [step for step in steps if step["event"] == "shot"]
    assert [shot["attempt"] for shot in shots] == [1, 2, 3, 4]
    assert all(shot["intent"] is None and shot["verdict"] is None for shot in shots)
    assert [shot["potted"] for shot in shots] == [["3"], [], ["3"], ["4"]]
    assert [shot["nudged"] for shot in shots] == [[], ["3", "4"], [], []]
    assert [shot["scratch"] for shot in shots] == [False, False, False, True]
    assert shots[0]["pockets"][0]["pocket"] == "foot-left"
    others = [step for step in steps if step["event"] != "shot"]
    for other in others:
        assert {"before", "after", "event", "balls", "detail"} <= set(other)
        assert "attempt" not in other
    assert others[0]["repeats"] == "a"
    assert [other["balls"] for other in others[3:]] == [["cue"], ["4"], ["4"], ["4"]]
    assert list(last) == ["summary"]
    assert last["summary"]["events"] == {
        "shot": 4, "corrected": 1, "impossible": 1, "nothing": 1, "placed": 1, "set_up": 2,
        "spotted": 1,
    }  # fmt: skip


def test_a_layout_set_up_again_repeats_its_intent_and_the_plan_goes_on_after_it() -> None:
    *steps, last = lines(PRACTICE, {"shots": [SHOT, THEN, LAST]})
    shots = [step for step in steps if step["event"] == "shot"]
    assert [shot["intent"]["pot"] for shot in shots] == ["3", "3", "3", "4"]
    # the set-up's own error stays with the attempt that was played from it
    assert [shot.get("repeats") for shot in shots] == [None, "a", "a", None]
    assert shots[1]["set_up_off_mm"]["cue"] == pytest.approx(7.8, abs=0.05)
    assert shots[0]["verdict"] == "in"
    apart = last["summary"]["apart"]
    assert (apart["pot"]["successes"], apart["pot"]["n"]) == (2, 4), "a scratch spoils the pot"
    assert apart["position"]["n"] == apart["both"]["n"]
    assert (
        apart["position_when_potted"]["n"] + apart["position_when_missed"]["n"]
        == (apart["both"]["n"])
    )


def test_a_touch_of_what_was_set_up_keeps_its_intent_and_a_new_place_does_not() -> None:
    after_set_up = [*PRACTICE[:3], still("c2", cue=(1806, 795), b3=(2205, 1000))]
    near = [*after_set_up, still("d", cue=(1300, 800), b3=GONE)]
    far = [*PRACTICE[:3], still("c2", cue=(1806, 795), b3=(2195, 700)), still("d", b3=GONE)]
    plan = {"shots": [SHOT, SHOT | {"pocket": "foot-right"}]}
    for readings, pocket in ((near, "foot-left"), (far, "foot-right")):
        steps = lines(readings, plan)[:-1]
        assert [step["event"] for step in steps] == ["shot", "set_up", "corrected", "shot"]
        assert steps[-1]["intent"]["pocket"] == pocket


def test_a_still_with_balls_moving_tells_that_a_shot_was_played() -> None:
    """Alone it is no layout; between two others it says that the cue ball rolled."""
    name, moving = still("x", cue=(1500, 600))
    alone = [still("a"), still("b", cue=(900, 600))]
    assert [step["event"] for step in lines(alone)[:-1]] == ["placed"]
    rolled = [alone[0], (name, replace(moving, settled=False)), alone[1]]
    steps = lines(rolled)
    assert [step["event"] for step in steps[:-1]] == ["shot"]
    assert steps[-1]["summary"]["left_out"][0]["code"] == "unsettled"


def test_an_unreadable_still_between_equal_tables_spoils_nothing() -> None:
    broken = RestmarkError("not a picture", code="bad-still")
    result = score_session([still("a"), ("x", broken), still("b")], None, NINE)
    assert result.attempts == ()
    assert [step.outcome.event for step in result.transitions] == ["nothing"]
    assert [(left.name, left.code) for left in result.left_out] == [("x", "bad-still")]


def test_a_refused_shot_keeps_its_place_and_says_what_happened() -> None:
    steps = lines(PRACTICE[:2], {"shots": [SHOT | {"next": "12"}]})[:-1]
    assert steps[0]["error"]["code"] == "bad-intent"
    assert (steps[0]["event"], steps[0]["attempt"]) == ("shot", 1)


@pytest.mark.parametrize("count", [0, 1])
def test_too_few_stills_are_no_attempt(count) -> None:
    (last,) = lines(PRACTICE[:count])
    assert last["summary"]["attempts"] == 0


def test_many_stills_without_names_of_their_own_are_told_apart() -> None:
    """Layouts made by another program may all carry the same name."""
    readings = [("", replace(reading, still="")) for _, reading in PRACTICE]
    steps = lines(readings, {"shots": [SHOT, THEN]})[:-1]
    assert [step["event"] for step in steps] == EVENTS
    assert [s["intent"]["pot"] for s in steps if s["event"] == "shot"] == ["3", "3", "3", "4"]


def test_pairs_by_name_may_follow_another_way_too() -> None:
    after = {"cue": (1270, 800), "b3": GONE}
    pairs = [
        still(f"{number}-{role}", **more)
        for number in (1, 2)
        for role, more in (("before", {}), ("after", after))
    ]
    steps = lines(pairs, {"shots": [SHOT], "mode": "same again"})[:-1]
    assert [step["verdict"] for step in steps] == ["in", "in"]
    assert all("event" not in step for step in steps)


# -- the command line ---------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "evening"
    made.mkdir()
    for name, reading in PRACTICE:
        (made / f"{name}.json").write_text(json.dumps(reading.to_dict()))
    return made


def test_session_prints_a_sequence_as_designed(capsys, folder) -> None:
    assert main(["session", str(folder), "--json"]) == 0
    *steps, last = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [step["event"] for step in steps] == EVENTS
    assert list(last) == ["summary"]


def test_session_tells_people_what_happened_between_shots(capsys, folder) -> None:
    assert main(["session", str(folder)]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "b to c: set up again as a, the farthest ball 8 mm off" in text


def test_session_takes_another_way_to_practise_from_the_plan(capsys, folder) -> None:
    (folder / "plan.json").write_text(json.dumps({"mode": "rotation"}))
    assert main(["session", str(folder), "--json"]) == 0
    *steps, last = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    shots = [step for step in steps if step["event"] == "shot"]
    assert [(s["intent"]["pot"], s["intent"]["next"]) for s in shots[:4]] == [
        ("3", "4"), ("3", "4"), ("3", "4"), ("4", "9"),
    ]  # fmt: skip
    assert last["summary"]["way"] == {"mode": "rotation", "potted": 2, "longest_run": 1}


@pytest.mark.parametrize(
    ("plan", "figures"),
    [
        ({"mode": "rotation"}, {"potted": 2, "longest_run": 1}),
        (
            {"mode": "progressive", "shots": [SHOT], "start_mm": 600, "step_mm": 150,
             "counts": "pot"},
            {"reached_mm": 750.0, "farthest_success_mm": 600.0},
        ),
        (
            {"mode": "pressure", "shots": [SHOT], "in_a_row": 2, "counts": "pot"},
            {"in_a_row": 2, "completions": 0, "longest_run": 1, "attempts": 3},
        ),
        ({"mode": "same again", "shots": [SHOT], "each": 5}, {"played": 3, "of": 5}),
    ],
    ids=lambda value: value.get("mode"),
)  # fmt: skip
def test_every_way_reports_its_own_score(capsys, folder, plan, figures) -> None:
    """Ball 3 potted, missed, potted; rotation goes on to ball 4 and scratches."""
    for name in "hijkl" if plan["mode"] != "rotation" else "":
        (folder / f"{name}.json").unlink()
    (folder / "plan.json").write_text(json.dumps(plan))
    assert main(["session", str(folder), "--json"]) == 0
    last = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert last["summary"]["way"] == {"mode": plan["mode"]} | figures
    assert main(["session", str(folder)]) == 0
    text = capsys.readouterr().out
    figures = {name: figure for name, figure in figures.items() if name != "attempts"}
    for figure in figures.values():
        assert f"{figure:.0f}" in text.splitlines()[-1]
