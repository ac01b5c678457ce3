"""The sample practice read as a sequence: its stills without their pairs' names."""

from __future__ import annotations

import pytest
from sample_trial import finished_demo

from service.practice import score_session

NOT_A_SHOT = ["nothing", "placed", "impossible"]
"""Between its shots the table lies still, is laid anew with other balls, or the cue ball is placed
after a scratch."""


@pytest.fixture(scope="module")
def trial():
    return finished_demo().trial


def test_every_shot_of_the_stills_is_found_and_none_invented(trial):
    readings = [
        (f"still-{number:02}", reading) for number, (_, reading) in enumerate(trial.readings)
    ]
    found = score_session(readings, trial.plan, trial.calibration.table)
    paired = trial.result.attempts
    assert [(a.before, a.after) for a in found.attempts] == [
        (f"still-{number:02}", f"still-{number + 1:02}") for number in range(0, len(readings), 2)
    ]
    assert {step.outcome.event for step in found.transitions} <= set(NOT_A_SHOT)
    for alone, pair in zip(found.attempts, paired, strict=True):
        assert alone.verdict is not None, alone.refused_why
        assert pair.verdict is not None
        assert alone.verdict.intent == pair.verdict.intent
        assert alone.verdict.verdict == pair.verdict.verdict
        assert set(alone.verdict.potted) == set(pair.verdict.potted)
        intent = alone.verdict.intent
        assert alone.outcome is not None
        for ball in alone.outcome.potted:
            assert intent is None or ball.ball != intent.pot or ball.pocket == intent.pocket
