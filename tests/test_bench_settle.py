"""The bench of watching a table: every rest of its show is found, within what watching may cost."""

from __future__ import annotations

import json

import pytest

from service.bench.settle import main

SHOTS = 2
MOST_SHARE = 0.15
"""Of one core, by processor time, at ten full-HD frames a second; 0.05 measured."""
MOST_S = 0.6


def test_watching_is_cheap_and_misses_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--shots", str(SHOTS), "--json"]) == 0
    figures = json.loads(capsys.readouterr().out)
    assert figures["handed_on"] == SHOTS + 1
    assert 0.4 < figures["rest_to_frame_s"]["worst"] < MOST_S
    assert 0 < figures["core_share_watching"] < MOST_SHARE
    assert main(["--shots", "1"]) == 0
    assert "of one core" in " ".join(capsys.readouterr().out.split())
