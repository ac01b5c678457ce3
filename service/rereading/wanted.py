"""Which stills are to be read again, with which calibration, in which batches."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from importlib.metadata import version

from service.desk.names.ball_set import BallSet
from service.desk.names.known_set import KnownSet
from service.store import OVERHEAD, Reader, StillToRead, Store
from vision.networks import fingerprint

from .refusals import Refusals
from .values import Group, Key

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
    newest: dict[int, dict[str, int]]
    """Each table's newest calibrations, by camera."""
    sets: dict[int, KnownSet]

    def group(self, still: StillToRead) -> Group:
        """What a still is read with."""
        held = self.newest.get(still.table_id, {}) if self.wanted.newest else {}
        return Group(
            table_id=still.table_id,
            calibration_id=held.get(OVERHEAD, still.calibration_id),
            set_id=self.sets[still.table_id].set_id,
            cameras=tuple(
                sorted(
                    (part.camera, held.get(part.camera, part.calibration_id))
                    for part in still.parts
                )
            ),
        )

    def made_with(self, reader: Reader, ids: list[int] | None = None) -> set[Key]:
        """The readings that were made so already."""
        return {
            (made.still_id, made.calibration_id, made.set_id or 0, made.cameras)
            for made in reader.read_with(
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
        held = {number: reader.calibrations_held(number) for number in tables}
    return Target(
        wanted=wanted,
        weights=fingerprint(),
        software=version("restmark"),
        newest={
            number: {camera: record.id for camera, record in found.items()}
            for number, found in held.items()
        },
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
            group = target.group(still)
            mine = group.key(still.id)
            if mine in made:
                out.read += 1
            elif mine in known:
                out.refused[known[mine]] += 1
            else:
                out.groups.setdefault(group, []).append(still.id)
                out.size_bytes += sum(each.size_bytes for each in still.parts or (still,))
    return out
