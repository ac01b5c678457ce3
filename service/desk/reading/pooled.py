"""Readers of a table that read in the pool's processes."""

from __future__ import annotations

from calibration.kept.calibration import Calibration
from service.desk.readers import OwnReaders, ReadStill
from service.store import FIRST
from vision.layout import Layout
from vision.name.taught import Taught
from vision.networks import fingerprint

from .job import Job, packed
from .pool import ReaderPool


class PooledReaders(OwnReaders):
    """What reads stills of each table, in the processes of ``pool``."""

    is_elsewhere = True

    def __init__(self, pool: ReaderPool, *, kind: str = "", afresh: bool = False) -> None:
        """``kind`` tells these sequences from the tables' own; ``afresh``: each still by itself."""
        self.pool = pool
        self._kind = kind
        self._afresh = afresh
        self._at: dict[int, TableSequence] = {}

    @property
    def weights(self) -> str:
        """Which networks read."""
        return fingerprint()

    def at(self, table_id: int) -> TableSequence:
        """What reads that table's stills."""
        sequence = f"{self._kind} {table_id}".strip()
        made = TableSequence(self.pool, table_id, sequence, afresh=self._afresh)
        return self._at.setdefault(table_id, made)

    def beside(self) -> ReadStill:
        """What reads stills of other days, each by itself."""
        return PooledReaders(self.pool, kind="again", afresh=True)

    def looking(self) -> ReadStill:
        """What reads pictures that are not kept."""
        return PooledReaders(self.pool, kind="look")

    def __call__(
        self,
        data: bytes,
        calibration: Calibration,
        *,
        name: str = "",
        previous: Layout | None = None,
        taught: Taught | None = None,
    ) -> Layout:
        """The layout in ``data``, as of the first table."""
        return self.at(FIRST)(data, calibration, name=name, previous=previous, taught=taught)


class TableSequence:
    """Reads one table's stills, as one sequence a camera."""

    def __init__(self, pool: ReaderPool, table_id: int, sequence: str, *, afresh: bool) -> None:
        self._pool = pool
        self._table_id = table_id
        self._sequence = sequence
        self._afresh = afresh
        self._corrected: dict[Calibration, Calibration] = {}

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
            StillError, CalibrationError: as a reader of this process.
            ReadingError: its process died or hung over it, or none was free.
        """
        made = packed(calibration)
        known = None if taught is None else packed(taught)
        found = self._pool.read(
            self._table_id,
            Job(
                sequence=self._sequence,
                data=data,
                name=name,
                calibration=made.name,
                taught=None if known is None else known.name,
                previous=previous,
                afresh=self._afresh,
                values={},
            ),
            {each.name: each for each in (made, known) if each is not None},
        )
        self._corrected = {calibration: found.corrected, **self._others(calibration)}
        return found.layout

    def corrected(self, calibration: Calibration) -> Calibration:
        """The calibration as the rails corrected it for the still that was read with it last."""
        return self._corrected.get(calibration, calibration)

    def _others(self, calibration: Calibration) -> dict[Calibration, Calibration]:
        """Those of the table's other cameras; of old calibrations few are kept."""
        others = [each for each in self._corrected.items() if each[0] != calibration]
        return dict(others[:3])
