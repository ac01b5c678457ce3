"""Jobs made of stored stills, and their results kept: one transaction a batch, twice is once."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from service.store import ReadAgain, StillToRead, Store

from .refusals import Refusals
from .values import BatchRead, Group, Job, PartJob, StillJob
from .wanted import Plan, Target
from .work import packed


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """A job, and where its results belong."""

    group: Group
    job: Job

    @property
    def stills(self) -> int:
        """How many."""
        return len(self.job.stills)

    def parts(self) -> tuple[Batch, ...]:
        """The same work still by still."""
        return tuple(
            Batch(group=self.group, job=_job(self.job, (still,))) for still in self.job.stills
        )


class Kept:
    """The store's side of reading it again; all of it in the process that opened the store."""

    def __init__(self, store: Store, target: Target, source: str) -> None:
        self._store, self._target, self._source = store, target, source
        self.refusals = Refusals(store.data_dir)
        self._documents = lru_cache(maxsize=2)(self._packed)

    def batches(self, plan: Plan, workers: int) -> Iterator[Batch]:
        """The plan's jobs for so many workers; rows are fetched when a job is due."""
        for group, ids in plan.batches(workers):
            with self._store.reading() as reader:
                unsettled = reader.unsettled(ids)
                stills = tuple(
                    _still_job(still, group, settled=still.id not in unsettled)
                    for still in reader.stills_to_read(ids=ids)
                )
            calibrations, taught = self._documents(group)
            yield Batch(
                group=group,
                job=_job(
                    Job(
                        key="", calibrations=calibrations, taught=taught,
                        weights=self._target.weights, software=self._target.software,
                        source=self._source, stills=(),
                    ),
                    stills,
                ),
            )  # fmt: skip

    def keep(self, batch: Batch, read: BatchRead) -> int:
        """Keep what came of a batch; how many readings are new."""
        weights, software = self._target.weights, self._target.software
        self.refusals.add(batch.group, read.refused, weights, software)
        if not read.found:
            return 0
        with self._store.writing() as writer:
            return writer.add_again(
                [
                    ReadAgain(
                        still_id=each.still_id,
                        layout=each.layout,
                        comparable=each.comparable,
                        took_ms=each.took_ms,
                    )
                    for each in read.found
                ],
                table_id=batch.group.table_id,
                calibration_id=batch.group.calibration_id,
                cameras=batch.group.cameras,
                set_id=batch.group.set_id,
                weights=weights,
                software=software,
            )

    def _packed(self, group: Group) -> tuple[tuple[tuple[str, bytes], ...], bytes | None]:
        wanted = group.cameras or (("", group.calibration_id),)
        with self._store.reading() as reader:
            held = {camera: reader.calibration(number) for camera, number in wanted}
        documents = []
        for camera, record in held.items():
            # the rows refer to it, and references are kept
            assert record is not None
            documents.append((camera, packed(record.document)))
        taught = self._target.sets[group.table_id].taught
        return tuple(documents), None if taught is None else packed(taught.to_dict())


def _still_job(still: StillToRead, group: Group, *, settled: bool) -> StillJob:
    used = dict(group.cameras)
    return StillJob(
        id=still.id, sha256=still.sha256, name=still.name, settled=settled, away=still.away,
        parts=tuple(
            PartJob(
                camera=part.camera, calibration_id=used[part.camera], sha256=part.sha256,
                name=part.name,
            )
            for part in still.parts
        ),
    )  # fmt: skip


def _job(like: Job, stills: tuple[StillJob, ...]) -> Job:
    """The job of those stills, with the key that its content gives."""
    whole = hashlib.sha256(b"".join(document for _, document in like.calibrations))
    whole.update(like.taught or b"")
    whole.update(f"{like.weights} {like.software} {like.source}".encode())
    for still in stills:
        whole.update(f"\0{still.id} {still.sha256} {still.settled}".encode())
        for part in still.parts:
            whole.update(f"\0{part.camera} {part.sha256} {part.calibration_id}".encode())
    return replace(like, key=f"reread-{whole.hexdigest()[:32]}", stills=stills)
