"""Figures from plain columns are those of the documents, whatever was changed by hand."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import attempt_by_attempt as defined
import numpy as np
import pytest
from api_kit import layout
from store_kit import open_store
from test_practice_columns import assert_same, told

from service.desk.sums import progress_of, statistics_of, summary_of
from service.desk.verdicts import verdict_of
from service.practice import Played, ShotKind
from service.store import Circumstances, JudgedBy, Store

BOTH_DATABASES = True
DOCUMENT = {"format": "restmark-table", "version": 1}
BY = JudgedBy(settings={"format": "restmark-player", "version": 1}, source="given")
STARTED = datetime(2026, 3, 1, 18, tzinfo=UTC)


BOTH_DATABASES = True


@pytest.fixture
def store(data):
    opened = open_store(data)
    yield opened
    opened.close()


class Hand:
    """Adds attempts and changes them by hand, each change at random."""

    def __init__(self, store: Store, seed: int) -> None:
        self.store = store
        self.random = random.Random(seed)
        self.played = iter(defined.attempts(1000, seed=seed, a_session=8))
        with store.writing() as writer:
            writer.add_calibration(DOCUMENT)
            writer.add_player("Other")
            writer.add_table("Second")
            stills = [
                writer.add_still(bytes([255, 216, 255, n]), name=f"{n}.jpg", table_id=n)
                for n in (1, 2)
            ]
            self.readings = [
                writer.add_reading(still, layout(), calibration_id=1, took_ms=1.0)
                for still in stills
            ]

    def change(self) -> None:
        """One change."""
        many = ["add"] * 4 + ["strike", "restore", "reopen", "correct", "note", "swap"]
        getattr(self, self.random.choice(many))()

    def add(self) -> None:
        """An attempt at one of two tables, by whoever plays there."""
        played = next(p for p in self.played if p.verdict.intent is not None)
        reading = self.random.choice(self.readings)
        offsets = (played.verdict.offset_along_mm, played.verdict.offset_across_mm)
        kind = played.kind or ShotKind()
        with self.store.writing() as writer:
            intent = writer.set_intent(
                played.verdict.intent.to_dict(), before_reading_id=reading.id, state="scored"
            )
            writer.add_attempt(
                intent, before=reading, after=reading, verdict=played.verdict.to_dict(),
                judged_by=BY, offsets_mm=offsets,
                circumstances=Circumstances(
                    played_at=played.at, in_a_row=played.in_a_row, **kind.to_dict()
                ),
            )  # fmt: skip

    def strike(self) -> None:
        """One attempt counts no longer."""
        with self.store.writing() as writer:
            if found := writer.attempts():
                writer.strike_attempt(self.random.choice(found).id)

    def restore(self) -> None:
        """One struck attempt counts again."""
        with self.store.writing() as writer:
            if found := writer.attempts(struck=True):
                writer.restore_attempt(self.random.choice(found).id)

    def reopen(self) -> None:
        """One attempt is put aside and its intent waits again."""
        with self.store.writing() as writer:
            if found := writer.attempts():
                attempt = self.random.choice(found)
                writer.strike_attempt(attempt.id)
                writer.set_intent(attempt.intent.document, before_reading_id=attempt.before.id)

    def correct(self) -> None:
        """A layout is corrected, and its attempt gets another verdict."""
        verdict = next(p.verdict for p in self.played if p.verdict.intent is not None)
        with self.store.writing() as writer:
            if found := writer.attempts(struck=None):
                writer.judge_again(
                    self.random.choice(found), verdict.to_dict(),
                    offsets_mm=(verdict.offset_along_mm, verdict.offset_across_mm),
                    circumstances=Circumstances(travel_mm=self.random.uniform(100, 3000)),
                )  # fmt: skip

    def note(self) -> None:
        """A note on an attempt, which may put it into a set of a row."""
        noted = Circumstances(
            spin=self.random.choice([None, *defined.SPINS]),
            side_spin=self.random.choice([None, *defined.SIDES]),
            rails=self.random.choice([None, 0, 2]),
            in_a_row=self.random.choice([None, None, 3]),
        )
        with self.store.writing() as writer:
            if found := writer.attempts(struck=None):
                writer.set_note(self.random.choice(found).id, noted)

    def swap(self) -> None:
        """Somebody else plays at the first table from now on."""
        with self.store.writing() as writer:
            writer.change_table(1, player_id=self.random.choice([1, 2]))


def of_documents(store: Store, **which: int | None) -> list[Played]:
    """The attempts that count as their documents have them, in the order played."""
    with store.reading() as reader:
        found = reader.attempts(**which)
    played = [
        Played(at=a.made_at, verdict=verdict_of(a), kind=ShotKind(**a.kind), in_a_row=a.in_a_row)
        for a in sorted(found, key=lambda a: (a.made_at, a.id))
    ]
    return played


def assert_kept(store: Store, **which: int | None) -> None:
    """Every figure is the one that the documents give."""
    played = of_documents(store, **which)
    repeats = [p for p in played if p.in_a_row is None]
    verdicts, kinds = [p.verdict for p in repeats], [p.kind for p in repeats]
    with store.reading() as reader:
        summary = summary_of(reader, **which).to_dict()
        progress = progress_of(reader, **which).to_dict()
        standing = statistics_of(reader, **which).to_dict()
    assert_same(told(summary), defined.summary(verdicts, kinds))
    assert_same(told(progress), defined.progress(played))
    assert (standing["attempts"], standing["in_sets"]) == (len(repeats), len(played) - len(repeats))
    assert standing["summary"] == summary
    assert standing["weak_side"] == progress["weak_side"]
    assert_same(standing["apart"], defined.apart(verdicts))


@pytest.mark.parametrize("seed", range(6))
def test_after_any_changes_by_hand_figures_are_those_of_the_documents(store, seed):
    hand = Hand(store, seed)
    for step in range(60):
        hand.change()
        if step % 20 == 19:
            assert_kept(store)
            for player_id in (1, 2):
                assert_kept(store, player_id=player_id)
            assert_kept(store, table_id=2)


def test_nothing_stored_has_figures_too(store):
    assert_kept(store)
    assert_kept(store, practice_id=5)


def test_times_and_newest_choose_attempts(store):
    hand = Hand(store, 11)
    for _ in range(12):
        hand.add()
    with store.reading() as reader:
        times = reader.figures()["at"]
        middle = of_documents(store)[6].at
        assert reader.figures(since=middle)["at"] == times[6:]
        assert reader.figures(until=middle)["at"] == times[:6]
        assert reader.figures(newest=5)["at"] == times[-5:]
        assert reader.figures(newest=500)["at"] == times
        assert statistics_of(reader, until=STARTED - timedelta(days=9999)).attempts == 0


@pytest.mark.parametrize(
    ("printed", "route", "source"),
    [
        ({"arrival": "planned"}, None, None),
        ({"arrival": "planned"}, [[900, 300], [600, 500]], "route"),
        ({"arrival": "seen"}, None, "video"),
        ({"arrival": None, "arrival_from": "cut"}, None, "cut"),
    ],
)
def test_stored_verdicts_of_old_are_not_split_by_a_straight_line(store, printed, route, source):
    """A verdict kept from before arrivals were told apart: planned without a route was a straight
    line to the wanted spot, and no longer counts for speed against line."""
    intent = {"zone": {"circle_mm": [600, 500, 80]}} | ({"route_mm": route} if route else {})
    reading = Hand(store, 1).readings[0]
    with store.writing() as writer:
        attempt = writer.add_attempt(
            writer.set_intent(intent, before_reading_id=reading.id), before=reading, after=reading,
            verdict={"verdict": "out", "miss_mm": 5.0, **printed}, judged_by=BY,
            offsets_mm=(30.0, -40.0),
        )  # fmt: skip
    found = verdict_of(attempt)
    assert found.arrival_from == source
    assert found.offset_along_mm == (None if source is None else 30.0)
    with store.reading() as reader:
        assert summary_of(reader).landing.n == (0 if source is None else 1)
        given = reader.figures()
    assert np.array_equal(given["arrival"], [source])
