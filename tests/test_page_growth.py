"""What the page costs after a shot: it does not work out again what it knew before the shot."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa
from api_kit import CALIBRATION, FAR, INTENT, after, layout, running, still
from page_kit import Tab
from playwright.sync_api import expect

from service.desk import sums
from service.desk.names.known_set import KnownSet
from service.desk.session import SessionAttempt, SessionStill, load_session
from service.pages.frame import Shown
from service.pages.practice.so_far import so_far_view
from service.pages.practice.view import practice_view
from service.pages.progress.standing import progress_page_view
from service.pages.progress.weeks import progress_view
from service.position import Intent, score_shot
from service.practice.statistics import summary
from service.store import Circumstances, Store
from service.words.lengths import MILLIMETRES

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


def progress_parts(store, **asked):
    with store.reading() as reader:
        return progress_page_view(reader, Shown(), before=None, **asked)


def page(store):
    with store.reading() as reader:
        return practice_view(reader, KnownSet(), Shown())


def so_far(store):
    with store.reading() as reader:
        return so_far_view(reader, Shown())


def weeks(store):
    with store.reading() as reader:
        return progress_view(sums.lately_of(reader), MILLIMETRES)


def counted(monkeypatch, place, name):
    """How often that function is called from now on."""
    calls = []
    function = getattr(place, name)

    def call(*given, **named):
        calls.append(given)
        return function(*given, **named)

    monkeypatch.setattr(place, name, call)
    return calls


def test_what_a_page_says_is_worked_out_again_only_after_a_shot(store, monkeypatch):
    so_far(store)
    shown = weeks(store)
    summed = [counted(monkeypatch, sums, name) for name in ("sum_up", "over_sessions")]
    page(store)
    so_far(store)
    weeks(store)
    assert [len(calls) for calls in summed] == [0, 0]
    play(store.data_dir, 1, first=5, shots=1)
    page(store)
    more = so_far(store)
    # sessions are only Progress's
    assert [len(calls) for calls in summed] == [1, 0]
    assert len(weeks(store).rows) == len(shown.rows) + 1
    assert [len(calls) for calls in summed] == [1, 1]
    assert more.aside == "1 attempt of this session"


def test_what_is_folded_is_worked_out_once_it_is_opened(store, monkeypatch):
    for remembered in (sums._standing, sums._over_sessions):
        remembered.cache_clear()
    kinds = counted(monkeypatch, summary, "by_kind")
    over = counted(monkeypatch, sums, "over_sessions")
    answer = progress_parts(store)
    assert (len(kinds), len(over)) == (0, 0)
    assert answer.headline
    assert answer.first
    assert answer.folded == {"all-figures", "by-kind", "weeks"}
    opened = progress_parts(store, opened=["by-kind", "weeks", "none such"])
    assert (len(kinds) > 0, len(over) > 0) == (True, True)
    assert opened.opened == {"by-kind", "weeks"}
    assert len(opened.weeks.rows) == 5
    assert (opened.headline, opened.first) == (answer.headline, answer.first)


def test_folded_figures_come_when_they_are_opened(browser, tmp_path):
    play(tmp_path, 3)
    with running(tmp_path) as address, Tab(browser, address) as tab:
        tab.goto(f"{address}progress")
        expect(tab.locator("#link")).to_have_text("Live")
        expect(tab.locator("#weeks svg")).to_have_count(0)
        for part, within in (("weeks", "svg"), ("by-kind", "td, .soft"), ("all-figures", "dd")):
            tab.locator(f"#{part} summary").click()
            expect(tab.locator(f"#{part}").locator(within).first).to_be_visible()
        expect(tab.locator("#weeks svg")).to_be_visible()
        # without a script each is a link
        assert "Rate in the zone by session" in tab.request.get(
            f"{address}progress?open=weeks").text()  # fmt: skip


def test_however_many_attempts_there_are_only_the_last_are_looked_at(store, monkeypatch):
    """Ten attempts are two whole sessions of four and a part of one, which is left out."""
    whole, facts = weeks(store), so_far(store).facts
    assert (len(whole.rows), whole.older) == (5, False)
    monkeypatch.setattr(sums, "_ATTEMPTS_LATELY", 10)
    cut = weeks(store)
    assert [row.day for row in cut.rows] == [row.day for row in whole.rows[:2]]
    assert cut.older is True
    assert so_far(store).facts == facts


def test_an_open_practice_is_summed_up_by_itself(store):
    with store.writing() as writer:
        practice = writer.begin_practice({"kind": "free"}, title="Cuts")
        last = writer.attempts(limit=1)[0]
        intent = writer.set_intent(
            INTENT, before_reading_id=last.before.id, practice_id=practice.id
        )
        writer.add_attempt(
            intent, before=last.before, after=last.after, verdict=last.verdict,
            judged_by=last.judged_by,
        )  # fmt: skip
    assert so_far(store).aside == "1 attempt of this practice"
    with store.writing() as writer:
        writer.strike_attempt(writer.attempts(limit=1)[0].id)
    assert so_far(store).aside == "4 attempts of this session"


def test_a_verdict_that_changed_is_worked_out_again(store):
    was = so_far(store).facts
    with store.writing() as writer:
        (attempt,) = writer.attempts(limit=1)
        verdict = dict(attempt.verdict) | {"verdict": "in", "miss_mm": 0.0, "p_in": 1.0}
        writer.judge_again(attempt, verdict, offsets_mm=(0.0, 0.0), circumstances=Circumstances())
    assert so_far(store).facts != was


def test_the_number_of_questions_to_the_database_does_not_grow(store):
    asked = []
    page(store)  # fetches the calibration
    sa.event.listen(
        store._database.engine, "before_cursor_execute", lambda *given: asked.append(given[2])
    )  # the driver's statement
    page(store)
    few = len(asked)
    play(store.data_dir, 5, first=5)
    asked.clear()
    page(store)
    assert len(asked) == few
