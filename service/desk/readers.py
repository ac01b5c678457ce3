"""One reader a table, so that its stills are read as the sequence they are."""

from __future__ import annotations

import hashlib
from abc import ABC, abstractmethod
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache, partial
from typing import Protocol, TypeVar, runtime_checkable

from calibration.kept.calibration import Calibration
from vision.find.detect import Finder
from vision.join.view import View
from vision.layout import Layout
from vision.name.taught import Taught
from vision.networks import fingerprint
from vision.read import Reader

T = TypeVar("T")
MOST_TABLES = 8
"""Readers kept at once, one a camera; each holds some megabytes of maps."""


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


class OwnReaders(ABC):
    """Readers of ours, in this process or in others of this machine."""

    is_elsewhere = False
    """Other processes read: as many stills at once as there are of those."""

    @property
    @abstractmethod
    def weights(self) -> str:
        """Which networks read: what a reading is kept with."""

    @abstractmethod
    def at(self, table_id: int) -> ReadStill:
        """What reads that table's stills."""

    @abstractmethod
    def beside(self) -> ReadStill:
        """What reads stills of other days, each by itself."""

    @abstractmethod
    def looking(self) -> ReadStill:
        """What reads pictures that are not kept, as a sequence beside the stills."""


@runtime_checkable
class Correcting(Protocol):
    """Reads stills, and knows how the rails corrected the camera then."""

    def corrected(self, calibration: Calibration) -> Calibration:
        """The calibration as the rails corrected it for the still that was read with it last."""


class TableReaders(OwnReaders):
    """Reads stills of several tables, each with the reader of its calibration.

    ``finder`` stands in for the shipped one. Corrections change the taught set between stills;
    the reader of the table stays.
    """

    def __init__(self, finder: Finder | None = None, *, afresh: bool = False) -> None:
        """``afresh``: each still by itself, with no regard to those before."""
        self.finder = finder
        self._reader_of = lru_cache(maxsize=MOST_TABLES)(partial(Reader, finder=finder))
        self._afresh = afresh

    @property
    def weights(self) -> str:
        """Which networks read: what a reading is kept with."""
        own = getattr(self.finder, "fingerprint", "")
        both = f"{fingerprint()} {own}"
        return hashlib.sha256(both.encode()).hexdigest() if own else fingerprint()

    def __call__(
        self,
        data: bytes,
        calibration: Calibration,
        *,
        name: str = "",
        previous: Layout | None = None,
        taught: Taught | None = None,
    ) -> Layout:
        """The layout in ``data``.

        Raises:
            StillError: bytes that are no whole JPEG or PNG of the calibration's size.
            CalibrationError: camera or table moved farther than can be corrected.
        """
        reader = self._reader_of(calibration)
        reader.taught = taught
        return reader.read_still(data, name=name, previous=previous, afresh=self._afresh)

    def corrected(self, calibration: Calibration) -> Calibration:
        """The calibration as the rails corrected it for the still that was read with it last."""
        return self._reader_of(calibration).last_calibration

    def at(self, table_id: int) -> ReadStill:
        """Itself: a calibration is a table's."""
        return self

    def beside(self) -> ReadStill:
        """Another one, so that what this one has in mind stays."""
        return TableReaders(self.finder, afresh=True)

    def looking(self) -> ReadStill:
        """Another one."""
        return TableReaders(self.finder)


class InReadingTurn(Protocol):
    """Has a reading done when it is its turn."""

    def __call__(self, work: Callable[[], T], /) -> T:
        """What ``work()`` returns or raises."""


class InTurn:
    """Readings in this process, one at a time, each table's first still before a second of any.

    A thread of its own reads; a table waits with one still at most, so that those that wait are
    of as many tables.
    """

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="restmark-reader")

    def run(self, work: Callable[[], T]) -> T:
        """``work()`` in its turn."""
        return self._thread.submit(work).result()

    def close(self) -> None:
        """Finish what is being read."""
        self._thread.shutdown(wait=True)


class AtOnce:
    """Readings that wait for nothing here: other processes see to their turns."""

    def run(self, work: Callable[[], T]) -> T:
        """``work()``."""
        return work()

    def close(self) -> None:
        """Nothing is left."""


def turns_of(read: object) -> InTurn | AtOnce:
    """How readings by ``read`` are to be taken."""
    return AtOnce() if isinstance(read, OwnReaders) and read.is_elsewhere else InTurn()


def at_table(read: ReadStill, table_id: int) -> ReadStill:
    """What reads that table's stills; a reader that is not ours reads those of all."""
    return read.at(table_id) if isinstance(read, OwnReaders) else read


def beside(read: ReadStill) -> ReadStill:
    """Reads stills of other days by themselves, so that what ``read`` has in mind stays."""
    return read.beside() if isinstance(read, OwnReaders) else read


def looking(read: ReadStill) -> ReadStill:
    """Reads pictures that are not kept, likewise."""
    return read.looking() if isinstance(read, OwnReaders) else read


def view_of(
    read: ReadStill,
    camera: str,
    data: bytes,
    calibration: Calibration,
    *,
    name: str,
    previous: Layout | None,
    taught: Taught | None,
) -> View:
    """What one of several cameras sees; refuses as ``read`` does."""
    known = {} if taught is None else {"taught": taught}
    layout = read(data, calibration, name=name, previous=previous, **known)
    corrected = read.corrected(calibration) if isinstance(read, Correcting) else None
    return View(camera, layout, calibration, corrected=corrected)


def weights_of(read: object) -> str | None:
    """Which networks ``read`` reads with; None for a reader that is not ours."""
    return read.weights if isinstance(read, OwnReaders) else None
