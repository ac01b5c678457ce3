"""Fill a data directory with a session that was read and scored already."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from calibration.kept.calibration import Calibration
from service.position import Intent, Player, Verdict
from service.practice import ShotKind
from service.store import IMPORTED, Reader, ReadingRecord, Store, StoreError
from vision.layout import Layout
from vision.name.taught import Taught

from .arriving.keeping import circumstances_of
from .arriving.upload import clean_name
from .stored import judged_by, player_now


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
    kind: ShotKind | None = None
    in_a_row: int | None = None
    """It belonged to a set of so many successes in a row."""


def load_session(
    data_dir: Path,
    calibration: Calibration,
    *,
    store_url: str | None = None,
    stills: Sequence[SessionStill],
    attempts: Sequence[SessionAttempt],
    player: Player | None = None,
    played_at: datetime | None = None,
    weights: str | None = None,
    taught: Taught | None = None,
) -> bool:
    """Put the session into ``data_dir`` in one transaction; its calibration then holds.

    ``player`` has the settings that the attempts were judged by, which then hold too; None: the
    starting values, and what held before still does. ``stills`` in the order they were taken,
    ``attempts`` as they were played, all at the one time that ``played_at`` gives (None: now); it
    tells sessions apart. ``weights`` names the networks that read the stills, ``taught`` is the set
    they were named by: readings point to it where it is the one that the table holds.
    Returns False, and changes nothing, where this very session went into ``data_dir`` before.
    """
    fingerprint = _fingerprint(stills, attempts)
    used = judged_by(player)
    store = Store(data_dir, store_url)
    try:
        with store.writing() as writer:
            if writer.receipt(fingerprint) is not None:
                return False
            holds = writer.calibration()
            if holds is None or holds.document != calibration.to_dict():
                holds = writer.add_calibration(calibration.to_dict())
            calibration_id, set_id = holds.id, _set_id(writer, taught)
            if player is not None and player != player_now(writer):
                writer.add_settings(used.settings, player_id=writer.player_at().id)
            compared = {attempt.after for attempt in attempts}
            readings = {
                each.name: writer.add_reading(
                    writer.add_still(each.data, name=clean_name(each.name), source=IMPORTED),
                    each.layout,
                    calibration_id=calibration_id,
                    took_ms=each.took_ms,
                    comparison={"made": True} if each.name in compared else None,
                    live=False,
                    set_id=set_id,
                    weights=weights,
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
                    judged_by=used,
                    offsets_mm=(attempt.verdict.offset_along_mm, attempt.verdict.offset_across_mm),
                    circumstances=circumstances_of(
                        attempt.kind, in_a_row=attempt.in_a_row, played_at=played_at
                    ),
                )
            writer.add_receipt(fingerprint, fingerprint.removeprefix("session:"), {})
    finally:
        store.close()
    return True


def _set_id(reader: Reader, taught: Taught | None) -> int | None:
    """Number of the table's set where the stills were named by that very one."""
    held = reader.ball_set()
    if held is None or taught is None or held.document != taught.to_dict():
        return None
    return held.id


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
