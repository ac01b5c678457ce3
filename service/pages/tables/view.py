"""What each table is doing, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from service import clock
from service.desk.desk import Desk
from service.desk.stored import calibration_of
from service.desk.verdicts import verdict_of
from service.position import Intent
from service.store import OVERHEAD, CalibrationRecord, Reader, TableRecord
from service.words.intents import intent_words
from service.words.lengths import Lengths
from service.words.plain import counted
from service.words.verdicts import TONES, headline, subline

from ..frame import Shown
from ..frame.strip import State, camera_states, clock_words, last_state

TABLES_SHOWN = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Last:
    """The last verdict at a table."""

    words: str
    tone: str
    aside: str
    at: str
    attempt: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One table."""

    number: int
    name: str
    player: str
    states: tuple[State, ...]
    """Its cameras, its calibration where there is none, and the last still."""
    last: Last | None
    """None where no attempt was made there."""
    today: str
    wanted: str
    """The shot that is waited for; empty where there is none."""
    practice: str
    """Address of its practice."""


def tables_view(reader: Reader, desk: Desk, shown: Shown) -> tuple[Card, ...]:
    """Every table, in the order in which they were made."""
    midnight = clock.now().astimezone().replace(hour=0, minute=0, second=0, microsecond=0)
    today = reader.attempts_by_table(since=midnight)
    return tuple(
        _card(reader, desk, shown, table, today.get(table.id, (0, 0)))
        for table in reader.tables(limit=TABLES_SHOWN)[::-1]
    )


def _card(
    reader: Reader, desk: Desk, shown: Shown, table: TableRecord, today: tuple[int, int]
) -> Card:
    at_table = replace(shown, table=table.id)
    calibration = reader.calibration(table_id=table.id)
    pending = reader.pending_intent(table.id)
    lengths = _lengths(calibration, shown)
    return Card(
        number=table.id,
        name=table.name,
        player=reader.player(table.player_id).name,
        states=tuple(_states(reader, desk, table.id, calibration)),
        last=_last(reader, table.id, lengths),
        today=_today(*today),
        wanted="" if pending is None else intent_words(Intent.from_dict(pending.document), lengths),
        practice=at_table.to("/"),
    )


def _states(
    reader: Reader, desk: Desk, table_id: int, calibration: CalibrationRecord | None
) -> Iterator[State]:
    last = reader.latest_live(table_id)
    names = tuple(reader.calibrations_held(table_id))
    for state, name in zip(
        camera_states(desk, names, last, table_id), names or (OVERHEAD,), strict=False
    ):
        said = desk.watches.state(table_id, name).said
        yield replace(state, words=f"{state.words}: {said}", level="care") if said else state
    if calibration is None:
        yield State(name="calibration", label="Calibration", words="none yet", level="bad")
    yield last_state(last or reader.latest_shown(table_id))


def _last(reader: Reader, table_id: int, lengths: Lengths) -> Last | None:
    newest = reader.attempts(limit=1, table_id=table_id)
    if not newest:
        return None
    verdict = verdict_of(newest[0])
    return Last(
        words=headline(verdict, lengths),
        tone="out" if verdict.scratch else TONES.get(verdict.verdict or "", ""),
        aside=subline(verdict, lengths),
        at=clock_words(newest[0].made_at),
        attempt=newest[0].id,
    )


def _today(made: int, inside: int) -> str:
    return f"{counted(made, 'attempt')} today, {inside} in the zone" if made else "None today"


def _lengths(calibration: CalibrationRecord | None, shown: Shown) -> Lengths:
    if calibration is None:
        return Lengths(units=shown.units)
    return Lengths.on(calibration_of(calibration).table, shown.units)
