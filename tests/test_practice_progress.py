"""Sessions over weeks: what belongs together, what is kept apart, what may be claimed."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from service.drawing.charts.sessions import SessionPoint, sessions_svg
from service.position import Intent, Verdict
from service.practice import Played, ShotKind, progress
from service.words.progress import progress_lines, session_rows

FIRST = datetime(2026, 9, 1, 19, 0, tzinfo=UTC)
POT = Intent.from_dict(
    {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right"}
)
OTHER = Intent.from_dict(
    {"pot": "5", "pocket": "foot-left", "next": "4", "next_pocket": "side-right"}
)


def _attempt(at: datetime, *, hit: bool, intent: Intent = POT, **more: object) -> Played:
    values = {"offset_along_mm": 0.0, "offset_across_mm": 0.0} | {
        key: more.pop(key) for key in ("offset_along_mm", "offset_across_mm") if key in more
    }
    verdict = Verdict(
        verdict="in" if hit else "out",
        intent=intent,
        potted=(str(intent.pot),),
        zone_empty=False,
        miss_mm=0.0 if hit else 80.0,
        **values,
    )
    return Played(at=at, verdict=verdict, **more)


def _weeks(shares: list[float], *, attempts: int = 20, seed: int = 1) -> list[Played]:
    """A session a week; speed spread 80 mm, line spread 30 mm, 25 mm long."""
    rng = np.random.default_rng(seed)
    out = []
    for week, share in enumerate(shares):
        for i in range(attempts):
            at = FIRST + timedelta(weeks=week, minutes=2 * i)
            out.append(
                _attempt(
                    at, hit=bool(i < share * attempts),
                    offset_along_mm=float(rng.normal(25, 80)),
                    offset_across_mm=float(rng.normal(0, 30)), kind=ShotKind(spin="draw"),
                )
            )  # fmt: skip
    return out


def test_a_pause_of_three_hours_starts_another_session() -> None:
    minutes = [0, 5, 180, 362, 363, 20000]
    played = [_attempt(FIRST + timedelta(minutes=m), hit=True) for m in minutes]
    found = progress(played[::-1])
    assert [s.summary.attempts for s in found.sessions] == [3, 2, 1]
    assert [s.number for s in found.sessions] == [1, 2, 3]
    assert found.sessions[0].started_at == FIRST


def test_a_rise_is_claimed_when_it_can_be() -> None:
    found = progress(_weeks([0.3, 0.4, 0.4, 0.55, 0.6, 0.7, 0.7, 0.8], seed=2))
    assert found.zone_trend.claimed is True
    assert found.zone_trend.low is not None
    assert found.zone_trend.low > 1
    assert found.weak_side.side == "speed"
    text = " ".join(progress_lines(found))
    assert "That is a trend" in text
    assert "Weak side: speed, long or short" in text
    assert "8 sessions, 2026-09-01 to 2026-10-20, 160 attempts of one shot" in text
    run = found.long_run
    assert run.long_short.low_mm is not None
    assert run.long_short.high_mm is not None
    assert run.long_short.low_mm < 25 < run.long_short.high_mm


def test_until_five_sessions_nothing_is_claimed() -> None:
    found = progress(_weeks([0.1, 0.5, 0.9]))
    text = " ".join(progress_lines(found))
    assert "Sessions until a trend can be claimed: at least 2 more (five are needed)." in text
    assert "That is a trend" not in text
    assert "In the zone 30 of 60 in all." in text
    assert "(too few sessions for an interval)" in text
    assert all(not named.claimed for named in found.trends)


def test_no_rise_is_said_with_what_is_missing() -> None:
    found = progress(_weeks([0.5, 0.55, 0.45, 0.6, 0.5, 0.55]))
    assert found.zone_trend.claimed is False
    text = " ".join(progress_lines(found))
    assert "No trend can be claimed" in text
    assert "more session" in text or "none is in sight" in text


def test_trends_of_nothing_are_claimed_for_one_player_in_twenty_or_less() -> None:
    """Six figures are looked at; Holm's correction keeps the chance of any false claim down."""
    rng = np.random.default_rng(3)
    wolf = 0
    for seed in range(60):
        shares = rng.choice([0.4, 0.5, 0.6], size=6).tolist()
        found = progress(_weeks(shares, attempts=10, seed=seed))
        wolf += any(named.claimed for named in found.trends)
    assert wolf / 60 <= 0.05 + 0.06


def test_different_shots_are_said_and_can_be_left_out() -> None:
    played = _weeks([0.5, 0.5], attempts=4)
    played.append(_attempt(FIRST + timedelta(minutes=30), hit=True, intent=OTHER))
    found = progress(played)
    assert (found.attempts, found.different_shots, found.shots_vary) == (9, 2, True)
    assert "The shots were not the same in every session" in " ".join(progress_lines(found))
    same = progress(played, same_shots=True)
    assert (same.attempts, same.left_out, same.different_shots) == (8, 1, 1)
    assert same.shots_vary is False
    assert "; 1 of other shots left out" in progress_lines(same)[0]


def test_sets_are_kept_apart() -> None:
    played = _weeks([0.5], attempts=4)
    at = FIRST + timedelta(minutes=40)
    played += [
        _attempt(at + timedelta(minutes=i), hit=hit, in_a_row=2)
        for i, hit in enumerate([True, True, False, True, True])
    ]
    found = progress(played)
    assert found.attempts == 4
    assert [(s.sets.in_a_row, s.sets.completions) for s in found.sets] == [(2, 2)]
    assert "sets of 2 in a row, 2 completions, longest run 2" in progress_lines(found)[-1]


def test_nothing_stored_yet() -> None:
    found = progress([])
    assert progress_lines(found) == ["No plain attempts are stored yet."]
    assert found.sessions == ()
    assert progress([], same_shots=True).attempts == 0


def test_it_is_json_with_times_and_no_nan() -> None:
    found = progress(_weeks([0.2, 0.6], attempts=3))
    text = json.dumps(found.to_dict(), allow_nan=False)
    assert json.loads(text)["sessions"][0]["started_at"] == FIRST.isoformat()


def test_rows_of_sessions() -> None:
    first, _ = session_rows(progress(_weeks([0.5, 0.25])).sessions)
    assert (first.day, first.figures.attempts, first.figures.zone, first.pots) == (
        "2026-09-01",
        20,
        "10 of 20",
        "20 of 20",
    )
    assert first.figures.interval == "30 to 70 %"
    assert first.figures.speed != "–"


@pytest.mark.parametrize("fitted", [None, (0.2, 0.7)])
def test_drawing_says_every_session(fitted: tuple[float, float] | None) -> None:
    points = [
        SessionPoint(label=f"2026-09-0{i}", successes=i, n=10, low=i / 10 - 0.1, high=i / 10 + 0.1)
        for i in range(1, 6)
    ]
    svg = sessions_svg(points, fitted=fitted)
    assert svg.count("<circle") == 5
    assert "2026-09-03: 3 of 10, 95 % interval 20 to 40 %" in svg
    assert svg.count("<polyline") == (fitted is not None)
    assert "<circle" not in sessions_svg([])
