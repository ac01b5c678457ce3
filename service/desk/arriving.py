"""A still that arrives: what it meets, what it is compared with, and what is kept of it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePosixPath
from typing import Any, Protocol

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service.position import Intent, Player, Verdict, score_shot
from service.practice import ShotKind, shot_kind
from service.store import (
    AttemptRecord,
    CalibrationRecord,
    Circumstances,
    IntentRecord,
    Reader,
    ReadingRecord,
    Writer,
)
from vision.layout import Layout
from vision.name.taught import Taught

from .refusals import no_calibration
from .stored import calibration_of, judged_by, player_now

_NAME_LIMIT = 200


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
    """A still as whoever sends it hands it over."""

    data: bytes
    name: str
    key: str | None = None
    """Idempotency key: the same still under the same key is taken once only."""
    settled: bool = True
    """What the sender says: False while balls roll. Such a still is read, never scored."""

    @property
    def fingerprint(self) -> str:
        """Hash of all that a repeat must have in common with the first."""
        rolling = b"" if self.settled else b"rolling\0"
        return hashlib.sha256(rolling + self.name.encode() + b"\0" + self.data).hexdigest()


def clean_name(name: str) -> str:
    """The last part of a sender's file name, without what cannot be shown; never a path."""
    last = PurePosixPath(name.replace("\\", "/")).name
    shown = "".join(char for char in last if char.isprintable()).strip()
    return shown[:_NAME_LIMIT] or "still"


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """What a still meets when its turn comes."""

    calibration: CalibrationRecord
    previous: ReadingRecord | None
    intent: IntentRecord | None
    before: ReadingRecord | None
    player: Player | None
    """None: nobody gave settings, and the starting values hold."""

    @classmethod
    def now(cls, reader: Reader) -> Met:
        """As things stand; DeskError where no calibration is set."""
        calibration = reader.calibration()
        if calibration is None:
            raise no_calibration()
        intent = reader.pending_intent()
        return cls(
            calibration=calibration,
            previous=reader.latest_comparable(calibration.id),
            intent=intent,
            before=reader.reading(intent.before_reading_id) if intent else None,
            player=player_now(reader),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """What came of comparing a layout with the intent that was pending."""

    said: Mapping[str, Any] | None = None
    """What the reading says of it; None where no intent was pending."""
    verdict: Verdict | None = None


def compare(met: Met, after: Layout) -> Compared:
    """Compare the new layout with the pending intent."""
    if met.intent is None or met.before is None:
        return Compared()
    if after.obstructed or not after.settled:
        code = "obstructed" if after.obstructed else "unsettled"
        reason = "something is over the table" if after.obstructed else "balls were still moving"
        return _not_made(
            code,
            f"still {after.still}: {reason}; allowed: a clear table at rest. No attempt "
            "was made and the intent still holds: post the next still.",
        )
    try:
        verdict = score_shot(
            met.before.layout,
            after,
            Intent.from_dict(met.intent.document),
            calibration_of(met.calibration).table,
            player=met.player,
        )
    except RestmarkError as refusal:
        return _not_made(refusal.code, refusal.detail)
    return Compared(said={"made": True}, verdict=verdict)


def keep(
    writer: Writer, upload: Upload, met: Met, layout: Layout, compared: Compared, *, took_ms: float
) -> tuple[ReadingRecord, AttemptRecord | None]:
    """Keep the still, its reading and the attempt that it ended, if it ended one."""
    reading = writer.add_reading(
        writer.add_still(upload.data, name=upload.name),
        layout,
        calibration_id=met.calibration.id,
        took_ms=took_ms,
        comparison=compared.said,
    )
    return reading, _add_attempt(writer, met, reading, compared.verdict)


def circumstances_of(
    kind: ShotKind | None, *, in_a_row: int | None = None, played_at: datetime | None = None
) -> Circumstances:
    """What the store keeps beside a verdict."""
    known = {} if kind is None else kind.to_dict()
    return Circumstances(**known, in_a_row=in_a_row, played_at=played_at)


def _not_made(code: str, detail: str) -> Compared:
    return Compared(said={"made": False, "code": code, "detail": detail})


def _add_attempt(
    writer: Writer, met: Met, after: ReadingRecord, verdict: Verdict | None
) -> AttemptRecord | None:
    if verdict is None or met.intent is None or met.before is None:
        return None
    table = calibration_of(met.calibration).table
    return writer.add_attempt(
        met.intent,
        before=met.before,
        after=after,
        verdict=verdict.to_dict(),
        judged_by=judged_by(met.player),
        offsets_mm=(verdict.offset_along_mm, verdict.offset_across_mm),
        circumstances=circumstances_of(shot_kind(met.before.layout, verdict, table)),
    )
