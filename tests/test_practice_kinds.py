"""Kinds of shots, notes on them, and whether kinds differ."""

from __future__ import annotations

import math

import numpy as np
import pytest
from position_layouts import layout
from scipy import stats

from calibration.table import Table
from service.position import Intent, Verdict, score_shot
from service.practice import (
    Note,
    NoteError,
    Plan,
    ShotKind,
    score_session,
    shot_kind,
    summarise,
)
from service.practice.columns import Columns
from service.practice.statistics import by_kind as kinds_apart
from service.practice.statistics.by_kind import Split, holm

NINE = Table()
START = {"cue": (1800.0, 800.0), "3": (2200.0, 1000.0), "4": (1270.0, 400.0)}
END = {"cue": (1270.0, 800.0), "4": (1270.0, 400.0)}
SHOT = {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right"}
PLACE = 1e-9
"""Degrees or mm; only rounding lies between two ways to the same figure."""


def test_kind_by_hand() -> None:
    """Ghost ball: 57.15 mm behind ball 3 on its line to the foot-left pocket's aim point. The
    planned way runs straight from there to the zone's wanted spot."""
    before = layout(NINE, START)
    verdict = score_shot(before, layout(NINE, END), Intent.from_dict(SHOT), NINE)
    kind = shot_kind(before, verdict, NINE)
    ball, aim = np.array(START["3"]), np.array(NINE.pocket("foot-left").aim_mm)
    u = (aim - ball) / math.dist(aim, ball)
    ghost = ball - 57.15 * u
    way = ghost - START["cue"]
    assert verdict.zone is not None
    assert kind.cut_deg == pytest.approx(
        math.degrees(math.acos(way @ u / np.hypot(*way))), abs=PLACE
    )
    assert kind.travel_mm == pytest.approx(math.dist(ghost, verdict.zone.wanted_mm), abs=PLACE)
    assert (kind.rails, kind.spin, kind.side_spin) == (None, None, None)


def test_kind_goes_by_the_plan_not_by_the_stop() -> None:
    before, intent = layout(NINE, START), Intent.from_dict(SHOT)
    kinds = [
        shot_kind(before, score_shot(before, layout(NINE, END | {"cue": stop}), intent, NINE), NINE)
        for stop in ((1270.0, 800.0), (400.0, 900.0))
    ]
    assert kinds[0] == kinds[1]


def test_kind_of_an_attempt_without_a_plan_is_not_known() -> None:
    before = layout(NINE, START)
    verdict = score_shot(before, layout(NINE, END), None, NINE)
    assert shot_kind(before, verdict, NINE) == ShotKind()


def test_a_drawn_route_tells_travel_and_rails() -> None:
    """Legs 3-4-5: 300 by 400 mm, then 600 by 800 mm: 500 + 1000 mm over one rail."""
    before = layout(NINE, START)
    route = [[2100.0, 427.5], [1800.0, 27.5], [1200.0, 827.5]]
    intent = Intent.from_dict(SHOT | {"route_mm": route})
    kind = shot_kind(before, score_shot(before, layout(NINE, END), intent, NINE), NINE)
    assert kind.travel_mm == pytest.approx(1500.0, abs=PLACE)
    assert kind.rails == 1
    found = bands(kind)
    assert (found["cue-ball travel"], found["rails"]) == ("1000 to 2000 mm", "1 rail")


def bands(kind: ShotKind) -> dict[str, str]:
    """The band that one attempt of that kind falls into, by what it is told apart."""
    found = summarise([Verdict()], kinds=[kind]).by_kind
    return {split.by: group.label for split in found for group in split.groups}


@pytest.mark.parametrize(
    ("kind", "travel", "cut", "rails"),
    [
        (ShotKind(), None, None, None),
        (ShotKind(travel_mm=500.0, cut_deg=0.0, rails=0), "up to 500 mm", "up to 14.5°", "no rail"),
        (
            ShotKind(travel_mm=500.1, cut_deg=30.0, rails=1),
            "500 to 1000 mm",
            "14.5 to 30°",
            "1 rail",
        ),
        (
            ShotKind(travel_mm=2000.1, cut_deg=60.0, rails=5),
            "over 2000 mm",
            "over 48.6°",
            "3 rails or more",
        ),
    ],
)
def test_bands(kind: ShotKind, travel: str | None, cut: str | None, rails: str | None) -> None:
    found = bands(kind)
    wanted = {"cue-ball travel": travel, "cut played": cut, "rails": rails}
    assert found == {by: label for by, label in wanted.items() if label is not None}


def test_note_round_trip_and_errors() -> None:
    note = Note(spin="draw", side_spin="left", rails=2, in_a_row=5)
    assert Note.from_dict(note.to_dict()) == note
    assert Note.from_dict({}) == Note()
    with pytest.raises(NoteError, match=r"note\.side_spin: got 'top'; allowed: none, left, right"):
        Note.from_dict({"side_spin": "top"})
    with pytest.raises(NoteError, match=r"in_a_row: got 1; allowed: a whole number from 2 to 100"):
        Note(in_a_row=1)
    with pytest.raises(NoteError, match=r"rails: got True; allowed: a whole number"):
        Note(rails=True)
    with pytest.raises(NoteError, match=r"note: got \[\]; allowed: an object with spin"):
        Note.from_dict([])


def test_note_goes_before_a_drawn_way() -> None:
    kind = ShotKind(travel_mm=900.0, rails=1)
    assert kind.noted(None) is kind
    assert kind.noted(Note(spin="stun")) == ShotKind(travel_mm=900.0, rails=1, spin="stun")
    assert kind.noted(Note(rails=2)).rails == 2


def test_plan_carries_notes_and_sets() -> None:
    data = {"shots": [SHOT, SHOT], "notes": [{"spin": "draw"}], "in_a_row": 2}
    plan = Plan.from_dict(data)
    assert Plan.from_dict(plan.to_dict()) == plan
    assert plan.note(1) == Note(spin="draw", in_a_row=2)
    assert plan.note(2) == Note(in_a_row=2)
    with pytest.raises(NoteError, match=r"plan\.notes\[0\]\.spin: got 'x'"):
        Plan.from_dict(data | {"notes": [{"spin": "x"}]})
    with pytest.raises(NoteError, match=r"plan\.in_a_row: got 0; allowed: a whole number"):
        Plan.from_dict(data | {"in_a_row": 0})
    with pytest.raises(ValueError, match="shots: got 1001; allowed: up to 1000 in a plan"):
        Plan.from_dict({"shots": [None] * 1001})
    with pytest.raises(ValueError, match=r"plan\.notes: got .* at most one a shot"):
        Plan.from_dict(data | {"notes": [None] * 3})


def test_session_counts_sets_and_kinds() -> None:
    readings = []
    for i in range(3):
        readings += [
            (f"{i}-before", layout(NINE, START)),
            (f"{i}-after", layout(NINE, END if i < 2 else END | {"cue": (200.0, 200.0)})),
        ]
    plan = {"shots": [SHOT] * 3, "notes": [{"spin": "draw"}] * 3, "in_a_row": 2}
    result = score_session(readings, plan, NINE)
    assert result.summary.sets is not None
    assert (result.summary.sets.completions, result.summary.sets.longest_run) == (1, 2)
    (spin,) = [split for split in result.summary.by_kind if split.by == "spin"]
    assert [(g.label, g.zone.successes, g.zone.n) for g in spin.groups] == [("draw", 2, 3)]
    assert spin.p_value is None
    assert result.attempts[0].kind is not None
    assert bands(result.attempts[0].kind)["spin"] == "draw"


# -- differences between kinds -------------------------------------------------------------


def by_kind(verdicts: list[Verdict], kinds: list[ShotKind | None]) -> tuple[Split, ...]:
    """Attempts as values, told apart by kind."""
    return kinds_apart.by_kind(Columns.of_verdicts(verdicts, kinds=kinds))


def _verdicts(hits: int, misses: int) -> list[Verdict]:
    words = ["in"] * hits + ["out"] * misses
    return [Verdict(verdict=word, zone_empty=False) for word in words]


def _by_spin(*counts: tuple[str, int, int]) -> tuple[list[Verdict], list[ShotKind]]:
    verdicts, kinds = [], []
    for spin, hits, misses in counts:
        verdicts += _verdicts(hits, misses)
        kinds += [ShotKind(spin=spin)] * (hits + misses)
    return verdicts, kinds


def test_two_kinds_are_compared_exactly() -> None:
    """Fisher: 9 of 10 against 2 of 10. Tables with these sums and follow hits 9 … 11 (draw 2 … 0)
    or as unlikely: p = 2·(C(10,9)·C(10,2) + C(10,10)·C(10,1))/C(20,11) = 2·460/167960."""
    (split,) = by_kind(*_by_spin(("follow", 9, 1), ("draw", 2, 8)))
    assert [group.label for group in split.groups] == ["follow", "draw"]
    assert split.p_value == pytest.approx(2 * 460 / 167960, rel=1e-9)
    assert split.differs is True


def test_three_kinds_are_compared_by_random_tables() -> None:
    counts = (("follow", 12, 8), ("stun", 9, 11), ("draw", 4, 16))
    (split,) = by_kind(*_by_spin(*counts))
    rough = stats.chi2_contingency([list(c[1:]) for c in counts], correction=False).pvalue
    assert split.p_value == pytest.approx(rough, abs=0.015)
    again = by_kind(*_by_spin(*counts))[0]
    assert again.p_value == split.p_value, "the random tables are seeded"


def test_kinds_that_do_not_differ_are_claimed_to_one_time_in_twenty_or_less() -> None:
    rng = np.random.default_rng(31)
    wolf = 0
    for _ in range(300):
        counts = [(spin, k := int(rng.binomial(12, 0.6)), 12 - k) for spin in ("follow", "draw")]
        wolf += by_kind(*_by_spin(*counts))[0].differs
    assert wolf / 300 <= 0.05 + 0.02


def test_looking_at_several_splits_costs() -> None:
    """Holm: smallest of three times 3, next times 2, never below one before, at most 1."""
    assert holm([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.06, 0.06])
    assert holm([0.9, 0.5]) == [1.0, 1.0]
    assert holm([]) == []
    verdicts, kinds = _by_spin(("follow", 9, 3), ("draw", 3, 9))
    both = [ShotKind(spin=kind.spin, side_spin="left" if i % 2 else "none")
            for i, kind in enumerate(kinds)]  # fmt: skip
    spin, side = by_kind(verdicts, both)
    assert spin.p_value is not None
    assert spin.p_adjusted == pytest.approx(2 * spin.p_value)
    assert side.differs is False


def test_unknown_kinds_are_counted_not_guessed() -> None:
    verdicts, kinds = _by_spin(("follow", 2, 1))
    (split,) = by_kind([*verdicts, *_verdicts(1, 1)], [*kinds, None, ShotKind()])
    assert (split.by, split.not_known) == ("spin", 2)
    assert by_kind(_verdicts(2, 2), [None] * 4) == ()
