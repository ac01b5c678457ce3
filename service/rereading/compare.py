"""What was read again against what was read before: places, names, and the verdicts on them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

import numpy as np

from calibration.chi_square import PLANE_95
from calibration.errors import RestmarkError
from calibration.table import Table
from service.desk.changing.correcting import verdict_on
from service.desk.stored import calibration_behind
from service.store import AttemptRecord, Reader, ReadingRecord, StillToRead, Store
from vision.layout import Ball, Layout
from vision.truth.measure import MATCH_WITHIN_MM, nearest_pairs

from .wanted import Target

_AT_ONCE = 200
NO_VERDICT = "no verdict"


@dataclass(frozen=True, slots=True, kw_only=True)
class Both:
    """A still's reading that the table goes by, and the one made now."""

    old: ReadingRecord
    new: ReadingRecord
    spoken: bool
    """A person spoke of the old one's names: it stays as it is."""


@dataclass(slots=True, kw_only=True)
class Compared:
    """How readings made now differ from those that the tables go by, counted."""

    stills: int = 0
    balls: int = 0
    """Balls at the same place in both, within a third of a ball."""
    moved: int = 0
    """Of those the ones whose places differ by more than both errors together, 95 %."""
    farthest_mm: float = 0.0
    moved_mm: list[float] = field(default_factory=list)
    renamed: int = 0
    """Balls at the same place under another name."""
    renamed_sure: int = 0
    """Of those the ones that neither reading doubted."""
    against_a_person: int = 0
    """Of the renamed ones those in stills whose names a person spoke of."""
    appeared: int = 0
    gone: int = 0
    obstructed: Counter[str] = field(default_factory=Counter)
    """Stills refused as obstructed by one of both: ``now`` or ``before``."""
    spoken: int = 0
    """Stills whose names a person spoke of: they are not adopted."""
    attempts: int = 0
    """Attempts that start or end with one of those stills."""
    verdicts: Counter[tuple[str, str]] = field(default_factory=Counter)
    """Attempts by their verdict before and now."""
    examples: list[dict[str, Any]] = field(default_factory=list)
    """The first stills with a ball renamed or far moved, to be looked at."""

    @property
    def changed(self) -> int:
        """Attempts whose verdict is another now."""
        return sum(count for (old, new), count in self.verdicts.items() if old != new)

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "stills": self.stills,
            "balls": self.balls,
            "moved": self.moved,
            "median_moved_mm": float(np.median(self.moved_mm)) if self.moved_mm else None,
            "farthest_mm": self.farthest_mm,
            "renamed": self.renamed,
            "renamed_sure": self.renamed_sure,
            "against_a_person": self.against_a_person,
            "appeared": self.appeared,
            "gone": self.gone,
            "obstructed_now": self.obstructed["now"],
            "obstructed_before": self.obstructed["before"],
            "spoken_of": self.spoken,
            "attempts": self.attempts,
            "verdicts_changed": self.changed,
            "verdicts": [
                {"before": old, "now": new, "attempts": count}
                for (old, new), count in sorted(self.verdicts.items())
            ],
            "examples": self.examples,
        }


def compare(store: Store, target: Target) -> Compared:
    """Every still that has a reading made as ``target`` says beside the one its table goes by."""
    out = Compared()
    judged: set[int] = set()
    with store.reading() as reader:
        now = _Now(reader, target)
        for both in pairs(reader, target):
            _layouts(both, out)
            for attempt in reader.attempts_with(both.old.id):
                if attempt.id not in judged:
                    judged.add(attempt.id)
                    _verdict(attempt, now, out)
    return out


def pairs(reader: Reader, target: Target) -> Iterator[Both]:
    """The stills that were read so beside their first reading, oldest first."""
    wanted = target.wanted
    stills = reader.stills_to_read(table_id=wanted.table_id, since=wanted.since)
    while some := list(islice(stills, _AT_ONCE)):
        yield from _pairs(reader, target, some)


def _pairs(reader: Reader, target: Target, stills: Sequence[StillToRead]) -> Iterator[Both]:
    readings = reader.readings_of([still.id for still in stills])
    spoken = reader.spoken_of([found[0].id for found in readings.values()])
    for still in stills:
        first, *later = readings[still.id]
        group = target.group(still)
        made = [
            each
            for each in later
            if (each.calibration_id, each.read_by.set_id) == (group.calibration_id, group.set_id)
            and each.layout.calibration_ids == group.cameras
            and (each.read_by.weights, each.read_by.software) == (target.weights, target.software)
        ]
        if made:
            # names that stayed with unmoved balls since a person said them count as said
            said = first.id in spoken or any(ball.said for ball in first.layout.balls)
            yield Both(old=first, new=made[-1], spoken=said)


class _Now:
    """What a reading would be once all is adopted."""

    def __init__(self, reader: Reader, target: Target) -> None:
        self._reader, self._target = reader, target

    def of(self, old: ReadingRecord) -> ReadingRecord:
        """The reading made now in its place; itself where it would stay."""
        stills = list(self._reader.stills_to_read(ids=[old.still.id]))
        for both in _pairs(self._reader, self._target, stills):
            if both.old.id == old.id and not both.spoken:
                return both.new
        return old

    def table(self, reading: ReadingRecord) -> Table:
        """The table that it was read on."""
        return calibration_behind(self._reader, reading).table


def _layouts(both: Both, out: Compared) -> None:
    old, new = both.old.layout, both.new.layout
    out.stills += 1
    out.spoken += both.spoken
    if old.obstructed != new.obstructed:
        out.obstructed["now" if new.obstructed else "before"] += 1
    near = nearest_pairs(_places(old), _places(new), within_mm=MATCH_WITHIN_MM)
    out.balls += len(near)
    out.gone += len(old.balls) - len(near)
    out.appeared += len(new.balls) - len(near)
    said = []
    for i, j in near:
        before, now = old.balls[i], new.balls[j]
        distance_mm, beyond = moved_beyond(before, now)
        if beyond:
            out.moved += 1
            out.moved_mm.append(distance_mm)
        out.farthest_mm = max(out.farthest_mm, distance_mm)
        if before.id != now.id:
            out.renamed += 1
            out.renamed_sure += not (before.doubtful or now.doubtful)
            out.against_a_person += both.spoken
            said.append({"before": before.id, "now": now.id})
    if said and len(out.examples) < 10:
        out.examples.append(
            {"still_id": both.old.still.id, "still": both.old.still.name, "renamed": said}
        )


def moved_beyond(before: Ball, now: Ball) -> tuple[float, bool]:
    """Distance of two places of a ball, mm, and whether both errors together do not explain it."""
    off = np.array(now.centre_mm) - np.array(before.centre_mm)
    cov = np.array(before.cov_mm2) + np.array(now.cov_mm2)
    distance_mm = float(np.hypot(*off))
    if not np.linalg.det(cov) > 0:
        return distance_mm, distance_mm > 0
    return distance_mm, bool(off @ np.linalg.solve(cov, off) > PLANE_95)


def _places(layout: Layout) -> np.ndarray:
    return np.array([ball.centre_mm for ball in layout.balls]).reshape(-1, 2)


def _verdict(attempt: AttemptRecord, now: _Now, out: Compared) -> None:
    """The verdict on what was read now, against the one that was given."""
    before, after = now.of(attempt.before), now.of(attempt.after)
    try:
        verdict = verdict_on(attempt, before.layout, after.layout, now.table(after))
        said = verdict.verdict or NO_VERDICT
    except RestmarkError:
        said = NO_VERDICT
    out.attempts += 1
    out.verdicts[(attempt.verdict.get("verdict") or NO_VERDICT, said)] += 1
