"""One reader a table, so that its stills are read as the sequence they are."""

from __future__ import annotations

import hashlib
from functools import lru_cache, partial
from typing import Protocol

from calibration.kept.calibration import Calibration
from vision.find.detect import Finder
from vision.join.view import View
from vision.layout import Layout
from vision.name.taught import Taught
from vision.networks import fingerprint
from vision.read import Reader

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


class TableReaders:
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


def beside(read: ReadStill) -> ReadStill:
    """Reads stills of other days by themselves, so that what ``read`` has in mind stays."""
    return TableReaders(read.finder, afresh=True) if isinstance(read, TableReaders) else read


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
    corrected = read.corrected(calibration) if isinstance(read, TableReaders) else None
    return View(camera, layout, calibration, corrected=corrected)


def weights_of(read: object) -> str | None:
    """Which networks ``read`` reads with; None for a reader that is not ours."""
    return read.weights if isinstance(read, TableReaders) else None
