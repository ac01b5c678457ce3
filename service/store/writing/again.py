"""New readings of kept stills, many at once, and readings that change places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from .. import tables as t
from ..records import JsonText
from .base import Writing

_READ = (
    "calibration_id", "read_at", "took_ms", "comparable", "layout", "set_id", "weights", "software",
)  # fmt: skip
"""What a reading found and was made with; the rest is what it means at its table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadAgain:
    """What was read in a kept still."""

    still_id: int
    layout: str
    """The layout's document as JSON."""
    comparable: bool
    took_ms: float


class WritingAgain(Writing):
    """Changes where an archive is read again."""

    def add_again(
        self,
        found: Sequence[ReadAgain],
        *,
        table_id: int,
        calibration_id: int,
        cameras: tuple[tuple[str, int], ...] = (),
        set_id: int | None,
        weights: str,
        software: str,
    ) -> int:
        """Readings beside the earlier ones, never live; how many were new.

        ``cameras`` are the calibrations of a moment of several, by camera's name. A still that was
        read with the same calibrations, set, networks and release is passed over.
        """
        ids = [each.still_id for each in found]
        same = {
            made.still_id
            for made in self.read_with(weights=weights, software=software, ids=ids)
            if (made.calibration_id, made.set_id, made.cameras) == (calibration_id, set_id, cameras)
        }
        rows = [
            {
                "still_id": each.still_id,
                "table_id": table_id,
                "live": False,
                "calibration_id": calibration_id,
                "read_at": self._now,
                "took_ms": each.took_ms,
                "comparable": each.comparable,
                "layout": JsonText(each.layout),
                "set_id": set_id,
                "weights": weights,
                "software": software,
            }
            for each in found
            if each.still_id not in same
        ]
        if rows:
            self._connection.execute(sa.insert(t.readings), rows)
        return len(rows)

    def exchange(self, one: int, other: int) -> None:
        """What two readings of a still, by number, found changes places; what each means at its
        table stays.

        So the one that the table, its intents and attempts point to tells what the other found,
        and nothing is lost.
        """
        numbers = (one, other)
        columns = [t.readings.c[name] for name in ("id", "still_id", *_READ)]
        query = sa.select(*columns).where(t.readings.c.id.in_(numbers))
        rows = {row.id: row._asdict() for row in self._connection.execute(query)}
        if rows[one]["still_id"] != rows[other]["still_id"]:
            raise ValueError("readings of one still change places, never of two")
        for number, source in (numbers, numbers[::-1]):
            values = {name: rows[source][name] for name in _READ}
            self._change(t.readings, number, **values)
