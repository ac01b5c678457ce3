"""The desk: what happens when a calibration, an intent or a still arrives, a table at a time."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, TypeVar

from calibration.kept.calibration import Calibration
from service import clock, log
from service.position.meant.player_file import player_document, player_from
from service.store import (
    FIRST,
    OVERHEAD,
    WATCHED,
    CalibrationRecord,
    ReadingRecord,
    SettingsRecord,
    Store,
)
from vision.join.view import check_same_table
from vision.sources.opening import open_source

from .arriving.gathering import WAIT_S, Gathering
from .arriving.rereading import Rereading
from .arriving.taking import Taken, Taking
from .arriving.upload import Moment, Upload, clean_name
from .by_hand import ByHand
from .live import Live
from .names.known_set import KnownSet
from .places.places import Places
from .playing import Playing
from .readers import ReadStill, beside, turns_of
from .refusals import first_camera_stays, no_calibration, table_busy, unknown_camera
from .stored import calibration_of
from .turns.lines import Turns
from .turns.where import Where
from .watching.kept import KeptWatches
from .watching.state import LastStill
from .watching.watch import Opened, Rest
from .watching.watches import Watches

T = TypeVar("T")
MOST_WAITING = 40
"""So many stills and changes of a table may wait for their turn."""


class Desk(Playing, ByHand):
    """Changes of a table run one at a time, in the order of arrival; tables do not wait for each
    other, and the event loop stays free."""

    def __init__(
        self,
        store: Store,
        live: Live,
        read: ReadStill,
        *,
        opened: Opened = open_source,
        wait_s: float = WAIT_S,
    ) -> None:
        """``opened`` opens the sources that are watched; a still waits ``wait_s`` at most for
        those of the table's other cameras."""
        super().__init__(store, live)
        self.places = Places(store)
        store.check_stills()
        self.watches = Watches(
            opened,
            calibration=self._calibration_at,
            take=self._take_rest,
            changed=self._watch_changed,
        )
        self.kept_watches = KeptWatches(store, self.watches)
        self._reading = turns_of(read)
        in_turn = self._reading.run
        self._taking = Taking(store, read, self._chains, self._known, in_turn=in_turn)
        self._rereading = Rereading(store, beside(read), self._known, in_turn=in_turn)
        self._turns = Turns()
        self._gathering = Gathering(
            lambda moment: self._turns.submit(moment.main.table_id, self._taking.take, moment),
            self._cameras_at,
            answered=self._is_answered,
            unchanged=self._unchanged_since,
            wait_s=wait_s,
        )

    async def run(
        self, work: Callable[..., T], *arguments: object, at: int | Where | None = None
    ) -> T:
        """``work(*arguments)`` in the turn of the table ``at``, or of what belongs to none; a
        caller that leaves does not stop it.

        Raises:
            NotFoundError: ``at`` looks a record's table up, and there is no such record.
        """
        line = await asyncio.to_thread(self._looked_up, at) if callable(at) else at
        turn = self._turns.submit(line, work, *arguments)
        return await asyncio.shield(asyncio.wrap_future(turn))

    def close(self) -> None:
        """Finish what is on the desk, then the store."""
        self.watches.close()
        self._gathering.close()
        self._turns.close()
        self._reading.close()
        self.store.close()

    # -- stills ----------------------------------------------------------------------------

    def take_still(self, upload: Upload) -> tuple[Mapping[str, Any], bool]:
        """As ``take``: the body of the answer, and whether it was given before."""
        taken = self.take(upload)
        return taken.body, taken.is_replay

    def take(self, upload: Upload) -> Taken:
        """Read a still by itself, say what happened before it; keep all or nothing."""
        return self._taking.take(Moment(uploads=(upload,)))

    async def hand_in(self, upload: Upload) -> Taken:
        """The same in the desk's turn, with the stills of the table's other cameras; a caller
        that leaves does not stop it.

        Raises:
            DeskError: the table has no such camera; code "table-busy": too much waits there.
        """
        if self._turns.waiting(upload.table_id) >= MOST_WAITING:
            raise table_busy(upload.table_id, MOST_WAITING)
        answer = await asyncio.to_thread(self._gathering.hand_in, upload)
        return await asyncio.shield(asyncio.wrap_future(answer))

    def reread(self, still_id: int, calibration_id: int | None = None) -> ReadingRecord:
        """Read a kept still again; what was read before stays, and so does the table."""
        return self._rereading.reread(still_id, calibration_id)

    def _take_rest(self, table_id: int, camera: str, rest: Rest) -> LastStill:
        """A watch's still, taken in the desk's turn; the watch waits for it."""
        upload = replace(_upload(table_id, camera, rest), seen=rest.seen)
        reading = self._gathering.hand_in(upload).result().body["reading"]
        return LastStill(reading_id=reading["id"], name=reading["still"]["name"], at=clock.now())

    def _unchanged_since(self, table_id: int, camera: str, moment_s: float) -> Upload | None:
        rest = self.watches.unchanged_since(table_id, camera, moment_s)
        return None if rest is None else _upload(table_id, camera, rest)

    def _watch_changed(self, table_id: int, camera: str) -> None:
        self.live.tell("watch", table_id=table_id)
        state = self.watches.state(table_id, camera)
        log.event("watch", table_id=table_id, camera=camera, state=state.state, source=state.source)

    # -- what holds at a table -------------------------------------------------------------

    def set_calibration(
        self, document: Mapping[str, Any], table_id: int = FIRST, camera: str = OVERHEAD
    ) -> CalibrationRecord:
        """A calibration that holds from now on; a pending intent is withdrawn with the old."""
        calibration = Calibration.from_dict(document, path="calibration")
        if camera != OVERHEAD:
            self._check_second(calibration, table_id, camera)
        with self._changing(table_id) as writer:
            record = writer.add_calibration(calibration.to_dict(), table_id=table_id, camera=camera)
            writer.tell("calibration", table_id=table_id, calibration_id=record.id)
        self.watches.renew(table_id, camera)
        return record

    def end_camera(self, table_id: int, camera: str) -> None:
        """A further camera hangs there no longer: its stills are not waited for.

        Its calibration stays as readings name it; another one brings the camera back.

        Raises:
            DeskError: it is the first camera, or not one of the table's.
        """
        if camera == OVERHEAD:
            raise first_camera_stays(table_id)
        with self._changing(table_id) as writer:
            cameras = writer.calibrations_held(table_id)
            if camera not in cameras:
                raise unknown_camera(camera, tuple(cameras) or (OVERHEAD,), table_id)
            writer.end_calibration(cameras[camera].id)
            writer.tell("calibration", table_id=table_id, calibration_id=cameras[camera].id)

    def set_player(
        self, document: Mapping[str, Any], player_id: int | None = None
    ) -> SettingsRecord:
        """A player's settings that hold from now on; the same ones as before change nothing.

        None: whoever plays at table 1. Attempts keep the settings they were judged by.
        """
        given = player_document(player_from(document, path="player"))
        with self.store.writing() as writer:
            number = writer.player_at().id if player_id is None else player_id
            held = writer.settings(number)
            if held is not None and held.document == given:
                return held
            record = writer.add_settings(given, player_id=number)
            writer.tell("player", player_id=number)
        return record

    async def known_set(self, table_id: int = FIRST) -> KnownSet:
        """What is known of the ball set; waits for the desk only where it must be learned."""
        ball_set = self.ball_set_at(table_id)
        known = ball_set.current
        return await self.run(ball_set.known, at=table_id) if known is None else known

    def _looked_up(self, where: Where) -> int:
        with self.store.reading() as reader:
            return where(reader)

    def _check_second(self, made: Calibration, table_id: int, camera: str) -> None:
        """Another camera looks at the table that the overhead one was calibrated on."""
        first = self._calibration_at(table_id)
        if first is None:
            raise no_calibration(table_id)
        check_same_table({OVERHEAD: first, camera: made})

    def _is_answered(self, upload: Upload) -> bool:
        if upload.key is None:
            return False
        with self.store.reading() as reader:
            return reader.receipt(upload.key) is not None

    def _cameras_at(self, table_id: int) -> tuple[str, ...]:
        with self.store.reading() as reader:
            return tuple(reader.calibrations_held(table_id))

    def _calibration_at(self, table_id: int, camera: str = OVERHEAD) -> Calibration | None:
        with self.store.reading() as reader:
            record = reader.calibration(table_id=table_id, camera=camera)
        return None if record is None else calibration_of(record)


def _upload(table_id: int, camera: str, rest: Rest) -> Upload:
    """A watch's still, without what went before it."""
    return Upload(
        data=rest.data, name=clean_name(rest.name), table_id=table_id, camera=camera,
        source=WATCHED,
    )  # fmt: skip
