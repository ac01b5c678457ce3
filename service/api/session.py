"""Fill a data directory with a session that was read and scored already."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.files import Calibration
from service.position import Intent, Verdict
from service.store import ReadingRecord, Store, StoreError
from vision.layout import Layout

from .upload import clean_name


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionStill:
    """A still that was read: its bytes and what was found in them."""

    name: str
    data: bytes
    layout: Layout
    took_ms: float = 0.0
    """Time the reading took; 0 where it was not measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionAttempt:
    """A shot that was scored; ``before`` and ``after`` are names of the session's stills."""

    before: str
    after: str
    intent: Intent
    verdict: Verdict


def load_session(
    data_dir: Path,
    calibration: Calibration,
    *,
    stills: Sequence[SessionStill],
    attempts: Sequence[SessionAttempt],
) -> bool:
    """Put the session into ``data_dir`` in one transaction; its calibration then holds.

    ``stills`` in the order they were taken, ``attempts`` as they were played. Returns False,
    and changes nothing, where this very session went into ``data_dir`` before.
    """
    fingerprint = _fingerprint(stills, attempts)
    store = Store(data_dir)
    try:
        with store.writing() as writer:
            if writer.receipt(fingerprint) is not None:
                return False
            calibration_id = writer.add_calibration(calibration.to_dict()).id
            compared = {attempt.after for attempt in attempts}
            readings = {
                each.name: writer.add_reading(
                    writer.add_still(each.data, name=clean_name(each.name)),
                    each.layout,
                    calibration_id=calibration_id,
                    took_ms=each.took_ms,
                    comparison={"made": True} if each.name in compared else None,
                )
                for each in stills
            }
            for attempt in attempts:
                before = _named(readings, attempt.before)
                intent = writer.set_intent(
                    attempt.intent.to_dict(), before_reading_id=before.id, state="scored"
                )
                writer.add_attempt(
                    intent,
                    before=before,
                    after=_named(readings, attempt.after),
                    verdict=attempt.verdict.to_dict(),
                    offsets_mm=(attempt.verdict.offset_along_mm, attempt.verdict.offset_across_mm),
                )
            writer.add_receipt(fingerprint, fingerprint.removeprefix("session:"), {})
    finally:
        store.close()
    return True


def _named(readings: dict[str, ReadingRecord], name: str) -> ReadingRecord:
    if name not in readings:
        raise StoreError(
            f"attempt: got still {name!r}; allowed: one of the session's stills "
            f"({', '.join(readings)}). Name one of those."
        )
    return readings[name]


def _fingerprint(stills: Sequence[SessionStill], attempts: Sequence[SessionAttempt]) -> str:
    whole = hashlib.sha256()
    for still in stills:
        whole.update(still.name.encode() + b"\0" + hashlib.sha256(still.data).digest())
    for attempt in attempts:
        whole.update(f"\0{attempt.before}\0{attempt.after}\0{attempt.intent.to_dict()}".encode())
    return f"session:{whole.hexdigest()}"
