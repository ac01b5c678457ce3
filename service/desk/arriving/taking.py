"""A still taken in: looked up, read, understood and kept, in this order."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from service.desk.names.known_set import KnownSet
from service.desk.practising.pending import tell_change
from service.desk.readers import InReadingTurn, ReadStill, at_table, weights_of
from service.desk.refusals import key_reused
from service.desk.stored import calibration_of
from service.store import CalibrationRecord, ReadBy, Reader, ReadingRecord, Store, Writer
from vision.layout import Layout
from vision.name.taught import Taught

from .chains import Chains
from .joining import joined
from .keeping import Kept, keep
from .met import Met
from .understanding import understand
from .upload import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """The answer to a still."""

    body: Mapping[str, Any]
    is_replay: bool = False
    """It was given before under the same key."""
    is_new: bool = True
    """A reading was kept; else this very still came before."""
    kept: Kept | None = None


class Taking:
    """Takes stills, those of a table one after the other, in its turn."""

    def __init__(
        self,
        store: Store,
        read: ReadStill,
        chains: Chains,
        known: Callable[[int], KnownSet],
        *,
        in_turn: InReadingTurn,
    ) -> None:
        """``known`` gives what is known of a table's ball set; readings go by ``in_turn``."""
        self._store = store
        self._read = read
        self._chains = chains
        self._known = known
        self._in_turn = in_turn

    def take(self, moment: Moment) -> Taken:
        """Read a moment's stills, say what happened before, keep all of it or nothing."""
        upload = moment.main
        with self._store.reading() as reader:
            answered = _answered(reader, moment)
            if answered is not None:
                return Taken(body=answered, is_replay=True, is_new=False)
            met = Met.now(reader, self._chains, upload.table_id)
            same = _came_before(reader, moment, met)
            body = None if same is None else _same_body(reader, same)
            held = reader.calibrations_held(upload.table_id) if moment.is_joint else {}
        if body is not None:
            for each in moment.uploads:
                self._store.mend_still(each.data)
            with self._store.writing() as writer:
                _add_receipts(writer, moment, body)
            return Taken(body=body, is_new=False)
        started = time.perf_counter()
        known = self._known(upload.table_id)
        layout = self._in_turn(partial(self._layout, moment, met, held, known.taught))
        settled = all(each.settled for each in moment.uploads)
        layout = replace(layout, settled=layout.settled and settled)
        took_ms = round((time.perf_counter() - started) * 1000, 1)
        understood = understand(met, layout, moment.seen)
        read_by = ReadBy(set_id=known.set_id, weights=weights_of(self._read))
        try:
            with self._store.writing() as writer:
                # under the same key another table's still may have come meanwhile
                _answered(writer, moment)
                kept = keep(writer, moment, met, understood, took_ms=took_ms, read_by=read_by)
                for each in moment.uploads:
                    if each is not upload:
                        writer.add_still(
                            each.data, name=each.name, table_id=each.table_id, source=each.source
                        )
                body = kept.body()
                attempt = kept.attempt
                writer.tell(
                    "attempt" if attempt else "reading",
                    table_id=upload.table_id,
                    reading_id=kept.reading.id,
                    attempt_id=attempt.id if attempt else None,
                )
                tell_change(writer, upload.table_id, met.intent)
                _add_receipts(writer, moment, body)
        except BaseException:
            # the chain may have gone on to what was not kept
            self._chains.forget(upload.table_id)
            raise
        return Taken(body=body, kept=kept)

    def _layout(
        self,
        moment: Moment,
        met: Met,
        held: Mapping[str, CalibrationRecord],
        taught: Taught | None,
    ) -> Layout:
        upload = moment.main
        read = at_table(self._read, upload.table_id)
        previous = met.previous.layout if met.previous else None
        if moment.is_joint:
            return joined(read, moment, held, previous=previous, taught=taught)
        return read(
            upload.data,
            calibration_of(met.calibration),
            name=upload.name,
            previous=previous,
            **({} if taught is None else {"taught": taught}),
        )


def _answered(reader: Reader, moment: Moment) -> Mapping[str, Any] | None:
    """What was answered under an upload's key; DeskError where another still came with it."""
    for upload in moment.uploads:
        receipt = None if upload.key is None else reader.receipt(upload.key)
        if receipt is None:
            continue
        if upload.key is not None and receipt.fingerprint != upload.fingerprint:
            raise key_reused(upload.key)
        return receipt.body
    return None


def _add_receipts(writer: Writer, moment: Moment, body: Mapping[str, Any]) -> None:
    for upload in moment.uploads:
        if upload.key is not None:
            writer.add_receipt(upload.key, upload.fingerprint, body)


def _came_before(reader: Reader, moment: Moment, met: Met) -> ReadingRecord | None:
    """The live reading of these very stills at this table, said to be as settled; it counts
    once."""
    upload = moment.main
    same = reader.live_reading_of(upload.sha256, upload.table_id)
    if same is None or same.calibration_id != met.calibration.id:
        return None
    if moment.is_joint:
        seen = {part.sha256 for part in same.layout.cameras if part.sha256}
        if seen != {each.sha256 for each in moment.uploads}:
            return None
    settled = all(each.settled for each in moment.uploads)
    return same if same.layout.settled == settled else None


def _same_body(reader: Reader, same: ReadingRecord) -> dict[str, Any]:
    attempt = reader.attempt_after(same.id)
    intent = reader.pending_intent(same.table_id)
    return Kept(reading=same, attempt=attempt, intent=intent).body() | {"same_as": same.id}
