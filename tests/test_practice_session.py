"""Pairing stills into attempts, plans, and whole sessions with refused attempts."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from position_layouts import layout

from calibration.errors import RestmarkError
from calibration.table import Table
from service.position import IntentError
from service.practice import (
    Pair,
    Plan,
    chain_readings,
    pair_readings,
    score_session,
)
from vision.layout import Layout

NINE = Table()
START = {"cue": (1800.0, 800.0), "3": (2200.0, 1000.0), "4": (1270.0, 400.0)}
END = {"cue": (1270.0, 800.0), "4": (1270.0, 400.0)}
SHOT = {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right"}


def _named(*names: str) -> list[tuple[str, Layout]]:
    return [(name, layout(NINE, START if "before" in name else END)) for name in names]


def _names(pairs: tuple[Pair, ...]) -> list[tuple[str, str]]:
    return [(pair.before_name, pair.after_name) for pair in pairs]


def test_pairs_by_name_wherever_they_stand() -> None:
    readings = _named(
        "s/shot-02-after.jpg", "s/shot-01-before.jpg", "s/shot-02-before.jpg", "s/shot-01-after.jpg"
    )
    pairs, left_out = pair_readings(readings)
    assert _names(pairs) == [
        ("s/shot-02-before.jpg", "s/shot-02-after.jpg"),
        ("s/shot-01-before.jpg", "s/shot-01-after.jpg"),
    ]
    assert left_out == ()


def test_stills_without_partner_or_role_are_named() -> None:
    readings = _named("a-before", "b-before", "b-after", "empty", "b-after.png")
    pairs, left_out = pair_readings(readings)
    assert _names(pairs) == [("b-before", "b-after")]
    assert [(still.name, still.code) for still in left_out] == [
        ("empty", "no-pair"),
        ("b-after.png", "no-pair"),
        ("a-before", "no-pair"),
    ]
    assert left_out[2].reason == "a-before: its still after the shot is missing; it is not scored"


def test_stills_taken_while_something_went_on_are_left_out_of_a_sequence() -> None:
    arm = replace(layout(NINE, END), obstructed=True)
    rolling = replace(layout(NINE, END), settled=False)
    readings = [
        ("1", layout(NINE, START)),
        ("2", arm),
        ("3", rolling),
        ("4", layout(NINE, END)),
        ("5", layout(NINE, END)),
    ]
    chain, left_out = chain_readings(readings)
    assert [link.name for link in chain] == ["1", "4", "5"]
    assert chain[1].seen is not None
    assert (chain[1].seen.rolled, chain[1].seen.hand_over_bed) == (True, True)
    assert chain[2].seen is None
    assert [(still.name, still.code) for still in left_out] == [
        ("2", "obstructed"),
        ("3", "unsettled"),
    ]


def test_unreadable_still_spoils_both_its_attempts() -> None:
    """Its shot cannot be told from the next, so neither may be scored as one."""
    readings = [
        ("1", layout(NINE, START)),
        ("2", RestmarkError("2: not a picture", code="bad-still")),
        ("3", layout(NINE, END)),
    ]
    result = score_session(readings, {"shots": [SHOT, SHOT]}, NINE)
    assert [(a.attempt, a.refused_code) for a in result.attempts] == [
        (1, "bad-still"),
        (2, "bad-still"),
    ]


def test_session_keeps_refused_attempts_in_their_place() -> None:
    arm = replace(layout(NINE, END), obstructed=True)
    readings = [
        ("1-before", layout(NINE, START)),
        ("1-after", layout(NINE, END)),
        ("2-before", layout(NINE, START)),
        ("2-after", arm),
        ("3-before", layout(NINE, START)),
        ("3-after", RestmarkError("3-after: empty file", code="bad-still")),
        ("4-before", layout(NINE, START)),
        ("4-after", layout(NINE, END)),
        ("5-before", layout(NINE, START)),
        ("5-after", layout(NINE, END)),
    ]
    plan = {"shots": [SHOT, SHOT, SHOT, SHOT | {"next": "9"}]}
    result = score_session(readings, plan, NINE)
    lines = list(result.lines())
    assert [line.get("error", {}).get("code") for line in lines[:-1]] == [
        None,
        "obstructed",
        "bad-still",
        "bad-intent",
        None,
    ]
    assert lines[0]["attempt"] == 1
    assert (lines[0]["before"], lines[0]["after"]) == ("1-before", "1-after")
    assert lines[0]["verdict"] == "in"
    assert lines[4]["verdict"] is None
    assert lines[4]["potted"] == ["3"]
    summary = lines[-1]["summary"]
    assert (summary["attempts"], summary["refused"]) == (5, 3)
    assert [entry["attempt"] for entry in summary["refused_attempts"]] == [2, 3, 4]
    assert summary["left_out"] == []
    assert (summary["pots"]["successes"], summary["pots"]["n"]) == (1, 1)
    json.dumps(lines, allow_nan=False)


def test_session_without_a_plan_says_what_happened() -> None:
    result = score_session([("1", layout(NINE, START)), ("2", layout(NINE, END))], None, NINE)
    (attempt,) = result.attempts
    assert attempt.verdict is not None
    assert attempt.verdict.potted == ("3",)
    assert result.summary.zone.n == 0


def test_plan_round_trip_and_errors(tmp_path: Path) -> None:
    plan = Plan.from_dict({"shots": [SHOT, None]})
    assert plan.to_dict() == {"shots": [SHOT, None]}
    assert plan.intent(1) is not None
    assert plan.intent(2) is None
    assert plan.intent(3) is None
    with pytest.raises(IntentError, match=r"plan\.shots\[1\]\.next: got '99'"):
        Plan.from_dict({"shots": [SHOT, SHOT | {"next": "99"}]})
    with pytest.raises(IntentError, match=r"plan: got \[\]; allowed: an object with shots, notes"):
        Plan.from_dict([])
    with pytest.raises(IntentError, match=r"plan: got .*extra"):
        Plan.from_dict({"shots": [], "extra": 1})
    path = tmp_path / "plan.json"
    path.write_text(json.dumps({"shots": [SHOT]}), encoding="utf-8")
    assert Plan.read(path).shots == (plan.shots[0],)
    path.write_text("no", encoding="utf-8")
    with pytest.raises(IntentError, match=r"plan\.json: cannot be read as JSON"):
        Plan.read(path)


def test_layouts_made_from_stills_keep_their_places() -> None:
    """An attempt carries both layouts, so that they can be drawn."""
    result = score_session(_named("x-before", "x-after"), {"shots": [SHOT]}, NINE)
    (attempt,) = result.attempts
    assert attempt.before_layout is not None
    assert attempt.after_layout is not None
    assert attempt.after_layout.ball("3") is None
