"""The intent that waits for its shot: what becomes of it when the table lies another way.

A hand moves the layout that it is played from; where it does not fit there, or where its own
layout has to lie there first, it waits with words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from calibration.table import Table
from service.desk.following.chain import Chain, reading_of
from service.position import Intent, Player
from service.practice.between.repeats import repeat_of
from service.store import IntentRecord, Writer
from vision.layout import Layout

from .fitting import why_not

PERSON, WAY, LAYOUT = "person", "way", "layout"
"""Who gave an intent: a person, the way of a practice, a layout that was set up again."""
SCORED = "scored"
"""State of an intent that an attempt was made with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class At:
    """A table as it lies."""

    table_id: int
    table: Table
    newest: Layout | None
    """The layout that lies there; None before the first."""
    newest_id: int | None
    """Its reading."""
    player: Player | None = None
    chain: Chain | None = None
    """How it came to lie there; None where nobody asks."""

    @classmethod
    def of(cls, table_id: int, chain: Chain, player: Player | None) -> At:
        """The table whose stills the chain holds."""
        return cls(
            table_id=table_id,
            table=chain.table,
            newest=chain.newest,
            newest_id=chain.newest_id,
            player=player,
            chain=chain,
        )

    def now(self) -> At:
        """The same after its chain went on."""
        if self.chain is None:
            return self
        return replace(self, newest=self.chain.newest, newest_id=self.chain.newest_id)


def wanted_of(intent: IntentRecord) -> Layout | None:
    """The layout that must lie there for an intent; None where the table lies as it was given."""
    if intent.waits_for is None:
        return None
    return Layout.from_dict(intent.waits_for, path=f"intents[{intent.id}].waits_for")


def is_playable(intent: IntentRecord, at: At) -> bool:
    """Whether the intent is one for the layout that lies there."""
    if at.newest is None or at.newest_id is None or intent.before_reading_id < at.newest_id:
        return False
    wanted = wanted_of(intent)
    return wanted is None or repeat_of(at.newest, wanted) is not None


def waits_said(intent: IntentRecord, at: At) -> str | None:
    """Why a pending intent waits, as a sentence; None where its shot can be played."""
    if at.newest is None or is_playable(intent, at):
        return None
    return _why(intent, at) or (
        "The table lies otherwise than when it was set. Set it again, or set up its layout."
    )


def go_on(writer: Writer, intent: IntentRecord, at: At) -> str | None:
    """A hand changed the table: the intent holds from the new layout; else why it waits."""
    why = _why(intent, at)
    if why is None and at.newest_id is not None:
        writer.move_intent(intent.id, before_reading_id=at.newest_id)
    return why


def keep_waiting(writer: Writer, intent: IntentRecord, before: Layout) -> None:
    """The table was changed by what the intent cannot follow: its layout has to lie there."""
    if intent.waits_for is None:
        writer.let_wait(intent.id, _document(writer, before))


def give_own(writer: Writer, at: At, document: Mapping[str, Any]) -> IntentRecord | None:
    """The intent of a layout that lies there again, at once; None where it cannot be played."""
    assert at.chain is not None
    if at.newest is None or at.newest_id is None:
        return None
    if why_not(Intent.from_dict(document), at.newest, at.table, at.player) is not None:
        return None
    wanted = at.chain.set_up
    practice = writer.open_practice(at.table_id)
    return writer.set_intent(
        document,
        before_reading_id=at.newest_id,
        practice_id=None if practice is None else practice.id,
        waits_for=None if wanted is None else _document(writer, wanted.layout),
        given_by=LAYOUT,
    )


def set_waiting(
    writer: Writer, at: At, intent: Intent, wanted: Layout, *, before_id: int
) -> IntentRecord:
    """A person's intent for a layout that must lie there; from now on where it does already."""
    lies = at.newest is not None and repeat_of(at.newest, wanted) is not None
    practice = writer.open_practice(at.table_id)
    return writer.set_intent(
        intent.to_dict(),
        before_reading_id=at.newest_id if lies and at.newest_id is not None else before_id,
        practice_id=None if practice is None else practice.id,
        waits_for=wanted.without_cameras().to_dict(),
        given_by=PERSON,
    )


def tell_change(writer: Writer, table_id: int, was: IntentRecord | None) -> None:
    """Tell that another intent waits than ``was``, or none; an attempt that spent it says so."""
    now = writer.pending_intent(table_id)
    if now is not None and (was is None or now.id != was.id):
        writer.tell("intent", table_id=table_id, intent_id=now.id)
    elif now is None and was is not None and writer.intent(was.id).state != SCORED:
        writer.tell("intent", table_id=table_id, intent_id=None)


def _document(writer: Writer, layout: Layout) -> dict[str, Any]:
    """A layout of the chain under the name of its still."""
    still = writer.reading(reading_of(layout)).still.name
    return replace(layout.without_cameras(), still=still).to_dict()


def _why(intent: IntentRecord, at: At) -> str | None:
    assert at.newest is not None
    meant = Intent.from_dict(intent.document)
    return why_not(meant, at.newest, at.table, at.player, wanted=wanted_of(intent))
