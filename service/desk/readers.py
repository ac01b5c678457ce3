"""One reader a table, so that its stills are read as the sequence they are."""

from __future__ import annotations

from functools import lru_cache

from calibration.kept.calibration import Calibration
from vision.layout import Layout
from vision.name.taught import Taught
from vision.read import Reader

MOST_TABLES = 4
"""Readers kept at once; each holds some megabytes of maps."""


class TableReaders:
    """Reads stills of several tables, each with the reader of its calibration.

    Corrections change the taught set between stills; the reader of the table stays.
    """

    def __init__(self) -> None:
        self._reader_of = lru_cache(maxsize=MOST_TABLES)(Reader)

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
        return reader.read_still(data, name=name, previous=previous)
