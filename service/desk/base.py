"""What all parts of the desk share: the store, who listens, and how each table lies."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from service.store import Reader, Store, Writer

from .arriving.chains import Chains
from .live import Live
from .practising.pending import At, tell_change
from .refusals import no_calibration
from .stored import player_now


class DeskBase:
    """Whatever here is of a table belongs to that table's turn."""

    def __init__(self, store: Store, live: Live) -> None:
        self.store = store
        self.live = live
        self._chains = Chains()

    @contextmanager
    def _changing(self, table_id: int) -> Iterator[Writer]:
        """A writer; where another intent waits at that table in the end, that is told with it."""
        with self.store.writing() as writer:
            was = writer.pending_intent(table_id)
            yield writer
            tell_change(writer, table_id, was)

    def _at(self, reader: Reader, table_id: int) -> At | None:
        """A table as it lies; None before its calibration. NotFoundError without such a table."""
        reader.table(table_id)
        calibration = reader.calibration(table_id=table_id)
        if calibration is None:
            return None
        chain = self._chains.at(reader, calibration)
        return At.of(table_id, chain, player_now(reader, table_id))

    def _at_calibrated(self, reader: Reader, table_id: int) -> At:
        """The same; DeskError before its calibration."""
        at = self._at(reader, table_id)
        if at is None:
            raise no_calibration(table_id)
        return at
