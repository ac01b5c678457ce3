"""What the page costs after a shot: it does not work out again what it knew before the shot."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa
from api_kit import CALIBRATION, FAR, INTENT, after, layout, still

from service.desk import sums
from service.desk.known_set import KnownSet
from service.desk.session import SessionAttempt, SessionStill, load_session
from service.pages.view import page_view
from service.position import Intent, score_shot
from service.practice.statistics import progress
from service.store import Circumstances, Store

STARTED = datetime(2026, 10, 1, 19, tzinfo=UTC)


def play(data, sessions, *, first=0, shots=4):
    """Sessions of some shots, a day apart."""
    intent = Intent.from_dict(INTENT)
    for session in range(first, first + sessions):
        stills, attempts = [], []
        for shot in range(shots):
            stop = (FAR[0] - 11 * session - shot, FAR[1] + 7 * shot)
            names = [f"{session}-{shot}-{when}.jpg" for when in ("before", "after")]
            layouts = [layout(still=names[0]), after(stop, still=names[1])]
            stills += [
                SessionStill(name=name, data=still(found), layout=found)
                for name, found in zip(names, layouts, strict=True)
            ]
            verdict = score_shot(*layouts, intent, CALIBRATION.table)
            attempts.append(
                SessionAttempt(before=names[0], after=names[1], intent=intent, verdict=verdict)
            )
        load_session(
            data, CALIBRATION, stills=stills, attempts=attempts,
            played_at=STARTED + timedelta(days=session),
        )  # fmt: skip


@pytest.fixture
def store(tmp_path):
    play(tmp_path, 5)
    opened = Store(tmp_path)
    yield opened
    opened.close()


def page(store):
    with store.reading() as reader:
        return page_view(reader, KnownSet())


def counted(monkeypatch, place, name):
    """How often that function is called from now on."""
    calls = []
    function = getattr(place, name)
    monkeypatch.setattr(place, name, lambda *given: (calls.append(given), function(*given))[1])
    return calls


def test_after_a_shot_only_that_shot_and_its_session_are_worked_out(store, monkeypatch):
    page(store)
    read = counted(monkeypatch, sums, "scored_verdict")
    summed = counted(monkeypatch, progress, "summarise")
    shown = page(store)
    assert (len(read), len(summed)) == (0, 0)
    play(store.data_dir, 1, first=5, shots=1)
    more = page(store)
    assert (len(read), len(summed)) == (1, 1)
    assert len(more.progress.rows) == len(shown.progress.rows) + 1


def test_a_verdict_that_changed_is_worked_out_again(store):
    was = page(store).summary
    with store.writing() as writer:
        attempt = writer.attempt(3)
        verdict = dict(attempt.verdict) | {"verdict": "in", "miss_mm": 0.0, "p_in": 1.0}
        writer.judge_again(attempt, verdict, offsets_mm=(0.0, 0.0), circumstances=Circumstances())
    assert page(store).summary != was


def test_the_number_of_questions_to_the_database_does_not_grow(store):
    asked = []
    sa.event.listen(
        store._engine, "before_cursor_execute", lambda *given: asked.append(given[2])
    )  # the driver's statement
    page(store)
    few = len(asked)
    play(store.data_dir, 5, first=5)
    asked.clear()
    page(store)
    assert len(asked) == few
