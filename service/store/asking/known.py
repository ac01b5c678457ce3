"""Calibrations that were fetched before: each is kept as it was given, and large."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Any

from ..records import CalibrationRecord

MOST = 64


class KnownCalibrations:
    """Those asked for last of one open store. Safe to share between threads.

    A calibration's document never changes. All the rest of its row names it: a number that is
    given twice, after a write that was taken back, has another moment.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._records: OrderedDict[tuple[Any, ...], CalibrationRecord] = OrderedDict()

    def record(
        self, named: tuple[Any, ...], fetch: Callable[[], CalibrationRecord]
    ) -> CalibrationRecord:
        """The one of that name, fetched where it isn't known."""
        with self._lock:
            known = self._records.get(named)
            if known is not None:
                self._records.move_to_end(named)
                return known
        record = fetch()
        with self._lock:
            # whoever fetched it first: one document is parsed once
            record = self._records.setdefault(named, record)
            if len(self._records) > MOST:
                self._records.popitem(last=False)
        return record
