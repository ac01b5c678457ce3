"""How a player stands: the weak side first, pots and position apart, and what is still missing."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import attempt_by_attempt as defined
import numpy as np
import pytest

from service.position import Verdict
from service.practice.columns import Columns
from service.practice.standing import Standing, standing
from service.words.lengths import Lengths, Units
from service.words.progress import standing_headline, standing_lines

STARTED = datetime(2026, 5, 1, 18, tzinfo=UTC)
INTENT = defined.INTENTS[0]


def stops(n: int, *, speed_mm: float, line_mm: float, made: bool = True) -> Standing:
    """Stops that scatter so, two a minute; every second one in the zone."""
    rng = np.random.default_rng(1)
    verdicts = [
        Verdict(
            verdict="in" if i % 2 else "out", intent=INTENT, zone_empty=False, arrival_from="cut",
            potted=("3",) if made else (), miss_mm=0.0 if i % 2 else 40.0,
            offset_along_mm=float(rng.normal(0, speed_mm)),
            offset_across_mm=float(rng.normal(0, line_mm)),
        )
        for i in range(n)
    ]  # fmt: skip
    at = [STARTED + timedelta(seconds=30 * i) for i in range(n)]
    return standing(Columns.of_verdicts(verdicts, at=at))


@pytest.mark.parametrize(
    ("n", "speed_mm", "line_mm", "headline"),
    [
        (60, 90.0, 30.0, "Weak side: speed, long or short"),
        (60, 30.0, 90.0, "Weak side: line, left or right"),
        (0, 1.0, 1.0, "Weak side not yet known: 5 more attempts with a known arrival line"),
        (4, 90.0, 30.0, "Weak side not yet known: 1 more attempt with a known arrival line"),
    ],
)
def test_the_headline_is_the_weak_side(n, speed_mm, line_mm, headline):
    assert standing_headline(stops(n, speed_mm=speed_mm, line_mm=line_mm)) == headline


def test_a_weak_side_that_does_not_show_says_how_many_attempts_are_missing():
    found = stops(12, speed_mm=60.0, line_mm=40.0)
    assert found.weak_side.side is None
    missing = found.weak_side.attempts_missing
    assert missing
    assert standing_headline(found) == f"Weak side not yet known: about {missing} more attempts"


def test_pots_and_position_are_told_apart_with_intervals_first():
    lines = standing_lines(stops(40, speed_mm=90.0, line_mm=30.0))
    assert lines[0] == "Weak side: speed, long or short."
    assert lines[1].startswith("Pots made: 40 of 40, 100 % (95 % interval 91 to 100 %")
    assert lines[2].startswith("In position: 20 of 40, 50 % (95 % interval 35 to 65 %")
    few = standing_lines(stops(4, speed_mm=90.0, line_mm=30.0))
    assert few[1] == "Pots made: 4 of 4 (95 % interval 51 to 100 %; known after 16 more attempts)."


def test_lengths_are_said_in_the_unit_that_was_chosen():
    found = stops(40, speed_mm=90.0, line_mm=30.0)
    inches = " ".join(standing_lines(found, Lengths(units=Units.INCHES)))
    assert "Average miss: 0.79 in " in inches


def test_sets_are_counted_and_left_out():
    played = defined.attempts(300, seed=2)
    shots = Columns.of_verdicts(
        [p.verdict for p in played], kinds=[p.kind for p in played], at=[p.at for p in played],
        in_a_row=[p.in_a_row for p in played],
    )  # fmt: skip
    found = standing(shots)
    sets = sum(p.in_a_row is not None for p in played)
    assert 0 < sets == found.in_sets
    assert found.attempts == 300 - sets
    assert standing_lines(found)[-1] == f"{sets} attempts in sets of a row are not among these."
    assert found.since == min(p.at for p in played if p.in_a_row is None)


def test_it_is_json_with_times_and_no_nan():
    for found in (stops(0, speed_mm=1.0, line_mm=1.0), stops(9, speed_mm=90.0, line_mm=30.0)):
        body = json.loads(json.dumps(found.to_dict(), allow_nan=False))
        assert set(body) == {
            "attempts", "in_sets", "sessions", "since", "until", "weak_side", "apart", "summary",
        }  # fmt: skip
