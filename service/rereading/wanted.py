"""Which stills are to be read again, with which calibration, in which batches."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from importlib.metadata import version

from service.desk.names.ball_set import BallSet
from service.desk.names.known_set import KnownSet
from service.store import Reader, Store
from vision.networks import fingerprint

from .refusals import Refusals
from .values import Group

BATCH = 24
"""Stills a job at most: about a second of work, and no more is read in vain where a worker dies."""
_JOBS_A_WORKER = 4
"""A small archive is cut finer, so that all workers end together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which stills."""

    table_id: int | None = None
    since: datetime | None = None
    """Those that came from then on."""
    newest: bool = False
    """With the table's newest calibration; else each with that of its first reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What stills are to be read with: networks, release, and each table's calibration and set."""

    wanted: Wanted
    weights: str
    software: str
    newest: dict[int, int]
    """Each table's newest calibration."""
    sets: dict[int, KnownSet]

    def group(self, table_id: int, own_calibration_id: int) -> Group:
        """What a still of that table and first calibration is read with."""
        held = self.newest.get(table_id, own_calibration_id)
        return Group(
            table_id=table_id,
            calibration_id=held if self.wanted.newest else own_calibration_id,
            set_id=self.sets[table_id].set_id,
        )

    def made_with(self, reader: Reader, ids: list[int] | None = None) -> set[tuple[int, int, int]]:
        """Still, calibration and set (0: none) of the readings that were made so already."""
        return {
            (still_id, calibration_id, set_id or 0)
            for still_id, calibration_id, set_id in reader.read_with(
                weights=self.weights, software=self.software, table_id=self.wanted.table_id, ids=ids
            )
        }


@dataclass(slots=True, kw_only=True)
class Plan:
    """What is to be done, and what was done before."""

    groups: dict[Group, list[int]] = field(default_factory=dict)
    """Numbers of the stills that are to be read."""
    read: int = 0
    """Stills that were read so already."""
    refused: Counter[str] = field(default_factory=Counter)
    """Stills that were refused so before, by the code."""
    size_bytes: int = 0
    """Of what is to be read."""

    @property
    def stills(self) -> int:
        """How many are to be read."""
        return sum(len(ids) for ids in self.groups.values())

    def batches(self, workers: int) -> Iterator[tuple[Group, list[int]]]:
        """Group after group, so that a worker's maps serve many batches."""
        size = min(BATCH, max(1, self.stills // (_JOBS_A_WORKER * max(workers, 1))))
        for group, ids in self.groups.items():
            for start in range(0, len(ids), size):
                yield group, ids[start : start + size]


def target_of(store: Store, wanted: Wanted) -> Target:
    """Today's networks and release, and what holds at each table."""
    with store.reading() as reader:
        tables = list(reader.tables_calibrated())
        held = {number: reader.calibration(table_id=number) for number in tables}
    return Target(
        wanted=wanted,
        weights=fingerprint(),
        software=version("restmark"),
        newest={number: found.id for number, found in held.items() if found is not None},
        sets={number: BallSet(store, table_id=number).known() for number in tables},
    )


def plan(store: Store, target: Target, refusals: Refusals) -> Plan:
    """What is missing: stills without a reading made so, but for those refused so before."""
    out = Plan()
    known = refusals.known(target.weights, target.software)
    with store.reading() as reader:
        made = target.made_with(reader)
        for still in reader.stills_to_read(
            table_id=target.wanted.table_id, since=target.wanted.since
        ):
            group = target.group(still.table_id, still.calibration_id)
            mine = (still.id, group.calibration_id, group.set_id or 0)
            if mine in made:
                out.read += 1
            elif mine in known:
                out.refused[known[mine]] += 1
            else:
                out.groups.setdefault(group, []).append(still.id)
                out.size_bytes += still.size_bytes
    return out
