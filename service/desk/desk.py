"""The desk: what happens when a calibration, an intent or a still arrives, one at a time."""

from __future__ import annotations

import asyncio
import functools
import hashlib
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol, TypeVar

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service.api.live import Live
from service.api.problems import ApiError
from service.pages import calibration_of, landing_zone_of
from service.position import Intent, Verdict, score_shot
from service.practice import Note, ShotKind, shot_kind
from service.store import (
    AttemptRecord,
    CalibrationRecord,
    Circumstances,
    IntentRecord,
    ReadingRecord,
    Receipt,
    Store,
    Writer,
)
from vision.layout import Layout
from vision.name.taught import Taught

from .ball_set import BallSet
from .correcting import correct_reading, take_back
from .known_set import KnownSet

T = TypeVar("T")


class ReadStill(Protocol):
    """Reads a still; ``TableReaders`` do, and ``vision.read_still``, which reads afresh."""

    def __call__(
        self,
        data: bytes,
        calibration: Calibration,
        *,
        name: str = "",
        previous: Layout | None = None,
        taught: Taught | None = None,
    ) -> Layout:
        """The layout in ``data``; RestmarkError where there is none to be had."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """A still as it came over the wire."""

    data: bytes
    name: str
    key: str | None = None
    """Idempotency key."""

    @property
    def fingerprint(self) -> str:
        """Hash of all that a repeat must have in common with the first."""
        return hashlib.sha256(self.name.encode() + b"\0" + self.data).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Met:
    """What a still meets when its turn comes."""

    calibration: CalibrationRecord
    previous: ReadingRecord | None
    intent: IntentRecord | None
    before: ReadingRecord | None


class Desk:
    """Changes run in its one thread, in the order of arrival; the event loop stays free."""

    def __init__(self, store: Store, live: Live, read: ReadStill) -> None:
        self.store = store
        self.live = live
        self.ball_set = BallSet(store)
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
                raise ApiError(
                    "intent: got one before any layout; allowed: an intent after a still of the "
                    "clear table was read. Post that still first.",
                    code="no-layout",
                )
            # what the rules name is named once, on the layout that the shot is played from
            intent = intent.named_on(before.layout)
            intent.check_on(before.layout, calibration_of(calibration).table)
            landing_zone_of(reader, before, intent)
        with self.store.writing() as writer:
            record = writer.set_intent(intent.to_dict(), before_reading_id=before.id)
        self.live.tell("intent", intent_id=record.id)
        return record

    def withdraw_intent(self) -> None:
        """The pending intent no longer holds; ApiError where none was pending."""
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
        met = self._met()
        started = time.perf_counter()
        layout = self._read(
            upload.data,
            calibration_of(met.calibration),
            name=upload.name,
            previous=met.previous.layout if met.previous else None,
            **self._known_of_the_set(),
        )
        took_ms = round((time.perf_counter() - started) * 1000, 1)
        comparison, verdict = _compare(met, layout)
        with self.store.writing() as writer:
            reading = writer.add_reading(
                writer.add_still(upload.data, name=upload.name),
                layout,
                calibration_id=met.calibration.id,
                took_ms=took_ms,
                comparison=comparison,
            )
            attempt = _add_attempt(writer, met, reading, verdict)
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

    def _met(self) -> _Met:
        with self.store.reading() as reader:
            calibration = reader.calibration()
            if calibration is None:
                raise no_calibration()
            intent = reader.pending_intent()
            return _Met(
                calibration=calibration,
                previous=reader.latest_comparable(calibration.id),
                intent=intent,
                before=reader.reading(intent.before_reading_id) if intent else None,
            )

    def _receipt(self, upload: Upload) -> Receipt | None:
        if upload.key is None:
            return None
        with self.store.reading() as reader:
            receipt = reader.receipt(upload.key)
        if receipt is not None and receipt.fingerprint != upload.fingerprint:
            raise ApiError(
                f"Idempotency-Key: got {upload.key!r}, which another still came with; allowed: "
                "the same still under the same name. Use a new key.",
                code="idempotency-key-reused",
            )
        return receipt


def no_calibration() -> ApiError:
    """What is said where a calibration is needed and none was set."""
    return ApiError(
        "calibration: none is set; allowed: stills and intents once there is one. Make "
        "table.json with `restmark calibrate` and PUT it to /api/v1/calibration.",
        code="no-calibration",
    )


def no_intent() -> ApiError:
    """What is said where a pending intent is asked for and there is none."""
    return ApiError(
        "intent: none is pending; allowed: one that waits for its shot. PUT one to "
        "/api/v1/intent after the still before the shot.",
        code="no-intent",
    )


def circumstances_of(
    kind: ShotKind | None, *, in_a_row: int | None = None, played_at: datetime | None = None
) -> Circumstances:
    """What the store keeps beside a verdict."""
    known = {} if kind is None else kind.to_dict()
    return Circumstances(**known, in_a_row=in_a_row, played_at=played_at)


def _add_attempt(
    writer: Writer, met: _Met, after: ReadingRecord, verdict: Verdict | None
) -> AttemptRecord | None:
    if verdict is None or met.intent is None or met.before is None:
        return None
    table = calibration_of(met.calibration).table
    return writer.add_attempt(
        met.intent,
        before=met.before,
        after=after,
        verdict=verdict.to_dict(),
        offsets_mm=(verdict.offset_along_mm, verdict.offset_across_mm),
        circumstances=circumstances_of(shot_kind(met.before.layout, verdict, table)),
    )


def _compare(met: _Met, after: Layout) -> tuple[dict[str, Any] | None, Verdict | None]:
    """What is said of the comparison, and the verdict where there is one."""
    if met.intent is None or met.before is None:
        return None, None
    if after.obstructed or not after.settled:
        code = "obstructed" if after.obstructed else "unsettled"
        reason = "something is over the table" if after.obstructed else "balls were still moving"
        return {
            "made": False,
            "code": code,
            "detail": f"still {after.still}: {reason}; allowed: a clear table at rest. No attempt "
            "was made and the intent still holds: post the next still.",
        }, None
    try:
        verdict = score_shot(
            met.before.layout,
            after,
            Intent.from_dict(met.intent.document),
            calibration_of(met.calibration).table,
        )
    except RestmarkError as refusal:
        return {"made": False, "code": refusal.code, "detail": refusal.detail}, None
    return {"made": True}, verdict
