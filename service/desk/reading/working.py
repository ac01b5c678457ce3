"""What a reader process does: loads the networks, then reads one still after another."""

from __future__ import annotations

import pickle
import signal
import traceback
from collections import OrderedDict
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from calibration.errors import RestmarkError

from .job import READY, Answer, Failed, Job, Missing, Read, Refused, as_refusal

MOST_READERS = 16
"""Sequences whose maps are kept; each holds about 15 MB."""


def read_for(connection: Connection) -> None:
    """Answer every job on ``connection`` until it is closed."""
    # Ctrl+C reaches every process of a terminal: the service ends its readers itself
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import cv2

    from vision.networks import loaded

    # as many processes as there are cores share the machine
    cv2.setNumThreads(1)
    working = Working(networks=loaded(1))
    connection.send(READY)
    while True:
        try:
            job = connection.recv()
        except (EOFError, OSError):
            return
        if job is None:
            return
        connection.send(working.answer(job))


@dataclass(slots=True, kw_only=True)
class Working:
    """The readers of a process."""

    networks: Any
    _readers: OrderedDict[tuple[str, str], Any] = field(default_factory=OrderedDict)
    _taught: OrderedDict[str, Any] = field(default_factory=OrderedDict)

    def answer(self, job: Job) -> Answer:
        """The still's layout, or why there is none."""
        try:
            reader = self._reader(job)
            taught = self._set(job)
            if reader is None or (job.taught is not None and taught is None):
                return Missing()
            reader.taught = taught
            layout = reader.read_still(
                job.data, name=job.name, previous=job.previous, afresh=job.afresh
            )
        except RestmarkError as refused:
            return Refused(refusal=as_refusal(refused))
        except Exception:
            return Failed(told=traceback.format_exc())
        return Read(layout=layout, corrected=reader.last_calibration)

    def _reader(self, job: Job) -> Any:
        from vision.read import Reader

        key = (job.sequence, job.calibration)
        reader = self._readers.get(key)
        if reader is None and job.calibration in job.values:
            calibration = pickle.loads(job.values[job.calibration])
            reader = self._readers[key] = Reader(calibration, networks=self.networks)
            if len(self._readers) > MOST_READERS:
                self._readers.popitem(last=False)
        if reader is not None:
            self._readers.move_to_end(key)
        return reader

    def _set(self, job: Job) -> Any:
        if job.taught is None:
            return None
        if job.taught in job.values:
            self._taught[job.taught] = pickle.loads(job.values[job.taught])
            if len(self._taught) > MOST_READERS:
                self._taught.popitem(last=False)
        return self._taught.get(job.taught)
