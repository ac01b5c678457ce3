"""The desk: what happens when a calibration, an intent or a still arrives, one at a time."""

from __future__ import annotations

import asyncio
import functools
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any, TypeVar

from calibration.kept.calibration import Calibration
from service.position import Intent
from service.position.meant.player_file import player_document, player_from
from service.practice import Note
from service.store import (
    AttemptRecord,
    CalibrationRecord,
    Circumstances,
    IntentRecord,
    PlayerRecord,
    Receipt,
    Store,
)
from vision.name.taught import Taught

from .arriving import Met, ReadStill, Upload, compare, keep
from .ball_set import BallSet
from .correcting import correct_reading, take_back
from .known_set import KnownSet
from .live import Live
from .refusals import key_reused, no_calibration, no_intent, no_layout
from .scene import landing_zone_of
from .stored import calibration_of

T = TypeVar("T")


class Desk:
    """Changes run in its one thread, in the order of arrival; the event loop stays free."""

    def __init__(self, store: Store, live: Live, read: ReadStill) -> None:
        self.store = store
        self.live = live
        self.ball_set = BallSet(store)
        self.stills_check = store.check_stills()
        """How whole the stills' files were at the start."""
        self._read = read
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="restmark-desk")

    async def run(self, work: Callable[..., T], *arguments: object) -> T:
        """``work(*arguments)`` in the desk's thread; a caller that leaves does not stop it."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._thread, functools.partial(work, *arguments))

    def close(self) -> None:
        """Finish what is on the desk, then the store."""
        self._thread.shutdown(wait=True)
        self.store.close()

    # -- what may arrive -------------------------------------------------------------------

    def set_calibration(self, document: Mapping[str, Any]) -> CalibrationRecord:
        """A calibration that holds from now on; a pending intent is withdrawn with the old."""
        calibration = Calibration.from_dict(document, path="calibration")
        with self.store.writing() as writer:
            record = writer.add_calibration(calibration.to_dict())
        self.live.tell("calibration", calibration_id=record.id)
        return record

    def set_intent(self, document: Mapping[str, Any]) -> IntentRecord:
        """An intent from the newest comparable layout; it replaces one that was pending."""
        intent = Intent.from_dict(document)
        with self.store.reading() as reader:
            calibration = reader.calibration()
            if calibration is None:
                raise no_calibration()
            before = reader.latest_comparable(calibration.id)
            if before is None:
                raise no_layout()
            # what the rules name is named once, on the layout that the shot is played from
            intent = intent.named_on(before.layout)
            intent.check_on(before.layout, calibration_of(calibration).table)
            landing_zone_of(reader, before, intent)
        with self.store.writing() as writer:
            record = writer.set_intent(intent.to_dict(), before_reading_id=before.id)
        self.live.tell("intent", intent_id=record.id)
        return record

    def set_player(self, document: Mapping[str, Any]) -> PlayerRecord:
        """The player's settings that hold from now on; the same ones as before change nothing.

        Attempts keep the settings they were judged by.
        """
        given = player_document(player_from(document, path="player"))
        with self.store.writing() as writer:
            held = writer.player()
            if held is not None and held.document == given:
                return held
            record = writer.add_player(given)
        self.live.tell("player", player_id=record.id)
        return record

    def withdraw_intent(self) -> None:
        """The pending intent no longer holds; DeskError where none was pending."""
        with self.store.writing() as writer:
            was_pending = writer.withdraw_intent()
        if not was_pending:
            raise no_intent()
        self.live.tell("intent", intent_id=None)

    def set_note(self, number: int, document: Mapping[str, Any]) -> AttemptRecord:
        """What the player notes on an attempt, in place of an earlier note."""
        note = Note.from_dict(document)
        noted = Circumstances(
            spin=note.spin, side_spin=note.side_spin, rails=note.rails, in_a_row=note.in_a_row
        )
        with self.store.writing() as writer:
            attempt = writer.set_note(number, noted)
        self.live.tell("note", attempt_id=number)
        return attempt

    def take_still(self, upload: Upload) -> tuple[Mapping[str, Any], bool]:
        """Read a still, compare it with the pending intent, keep all of it or nothing.

        Returns the body of the answer and whether it was given before under the same key.
        """
        receipt = self._receipt(upload)
        if receipt is not None:
            return receipt.body, True
        with self.store.reading() as reader:
            met = Met.now(reader)
        started = time.perf_counter()
        layout = self._read(
            upload.data,
            calibration_of(met.calibration),
            name=upload.name,
            previous=met.previous.layout if met.previous else None,
            **self._known_of_the_set(),
        )
        layout = replace(layout, settled=layout.settled and upload.settled)
        took_ms = round((time.perf_counter() - started) * 1000, 1)
        compared = compare(met, layout)
        with self.store.writing() as writer:
            reading, attempt = keep(writer, upload, met, layout, compared, took_ms=took_ms)
            body = {
                "reading": reading.to_dict(),
                "attempt": attempt.to_dict() if attempt else None,
            }
            if upload.key is not None:
                writer.add_receipt(upload.key, upload.fingerprint, body)
        self.live.tell(
            "attempt" if attempt else "reading",
            reading_id=reading.id,
            attempt_id=attempt.id if attempt else None,
        )
        return body, False

    def set_ball_set(self, document: Mapping[str, Any]) -> None:
        """A taught set that holds from now on; the same one as before changes nothing."""
        given = Taught.from_dict(document, path="set").to_dict()
        with self.store.writing() as writer:
            held = writer.ball_set()
            if held is None or held.document != given:
                writer.add_set(given)
        self.ball_set.changed()

    def correct_names(self, number: int, document: Mapping[str, Any]) -> dict[str, Any]:
        """Put names of a reading right, judge its attempts again, and learn from its still.

        Returns the body of the answer.
        """
        with self.store.writing() as writer:
            body = correct_reading(writer, number, document)
        known = self._learn_anew(number)
        why_not = known.why_not(number)
        return {
            **body,
            "taught": list(known.taught.ids) if known.taught else [],
            "learned": {"made": why_not is None, "detail": why_not},
        }

    def take_names_back(self, number: int, correction: int) -> dict[str, Any]:
        """Have the reading as it was before its last correction; the set forgets it too.

        Returns the body of the answer.
        """
        with self.store.writing() as writer:
            body = take_back(writer, number, correction)
        known = self._learn_anew(number)
        return {**body, "taught": list(known.taught.ids) if known.taught else []}

    async def known_set(self) -> KnownSet:
        """What is known of the ball set; waits for the desk only where it must be learned."""
        known = self.ball_set.current
        return await self.run(self.ball_set.known) if known is None else known

    def _learn_anew(self, number: int) -> KnownSet:
        """The set after the names of that reading changed; whoever listens is told."""
        self.ball_set.changed()
        known = self.ball_set.known()
        self.live.tell("reading", reading_id=number, attempt_id=None)
        return known

    def _known_of_the_set(self) -> dict[str, Taught]:
        taught = self.ball_set.known().taught
        return {} if taught is None else {"taught": taught}

    def _receipt(self, upload: Upload) -> Receipt | None:
        if upload.key is None:
            return None
        with self.store.reading() as reader:
            receipt = reader.receipt(upload.key)
        if receipt is not None and receipt.fingerprint != upload.fingerprint:
            raise key_reused(upload.key)
        return receipt
