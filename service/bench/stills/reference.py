"""What the empty table adds to the finder where something lies over the bed, measured.

``python -m service.bench.stills.reference FOLDER`` reads the folder's stills that have an empty one
of their room, and prints what both witnesses of ``vision.bed.obstruction`` said: its limits can be
set again by that when the finder changes.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from calibration.kept.bed_picture import BedPicture
from calibration.kept.calibration import Calibration
from service.bench.pool import spread
from service.demo.trial import Track, untracked
from vision.bed.obstruction import over_bed
from vision.bed.patches import Patch
from vision.find.detect import Thing, candidates
from vision.read import Reader
from vision.still import decode_still

from .readings import BenchStill, bench_stills

MOST_TOLD = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What both witnesses say of one still."""

    still: str
    obstructed: bool
    """By truth."""
    things: tuple[Thing, ...]
    unexplained: tuple[Patch, ...] | None
    compare_ms: float
    surface_mm: tuple[float, float]

    @property
    def refused_alone(self) -> bool:
        """Whether the finder alone refuses it."""
        return bool(over_bed(self.things, None, self.surface_mm).living)

    @property
    def refused(self) -> bool:
        """Whether it is refused with the empty table's word."""
        return bool(over_bed(self.things, self.unexplained, self.surface_mm).living)

    @property
    def score(self) -> float:
        """The finder's surest thing."""
        return max((thing.score for thing in self.things), default=0.0)

    def weight_cm2(self, *, from_edge: bool) -> float:
        """The weightiest difference that is no light, from the edge inward, or elsewhere."""
        return max(
            (
                patch.weight_cm2
                for patch in self.unexplained or ()
                if patch.from_edge == from_edge and not patch.light
            ),
            default=0.0,
        )


def hear(still: BenchStill) -> Heard:
    """One still read with its true calibration and its room's empty table."""
    assert still.empty is not None
    empty = decode_still(still.empty.read_bytes(), name=still.empty.name)
    truth = still.truth
    bed = BedPicture.of(empty, truth.camera, truth.table)
    made: Calibration = replace(still.calibration, bed_picture=bed)
    reader = Reader(made)
    picture = decode_still(still.path.read_bytes(), name=still.path.name)
    layout = reader.read_image(picture)
    assert reader.reference is not None
    seen = reader.view.warp(picture)
    boxes = reader.search.finder.boxes(seen)
    centres = np.array([ball.centre_mm for ball in layout.balls]).reshape(-1, 2)
    return Heard(
        still=still.path.name,
        obstructed=truth.obstructed,
        things=candidates(boxes, reader.view, truth.table).things,
        unexplained=reader.reference.unexplained(reader.search.cells(seen), centres),
        compare_ms=reader.last_timings_ms["compare"],
        surface_mm=truth.table.surface_mm,
    )


def hear_all(
    folder: Path, *, workers: int | None = None, track: Track = untracked
) -> tuple[Heard, ...]:
    """All stills of a folder, and below, that have an empty one of their camera and table."""
    stills = bench_stills(folder)
    paired = [still for still in stills if still.empty is not None and still.empty.exists()]
    return tuple(spread(hear, paired, workers=workers, track=track, words="comparing"))


def lines(heard: Sequence[Heard]) -> list[str]:
    """Counts, and the stills nearest to the limits."""
    out = []
    for obstructed, word in ((True, "obstructed"), (False, "clear")):
        group = [one for one in heard if one.obstructed == obstructed]
        alone = sum(one.refused_alone for one in group)
        both = sum(one.refused for one in group)
        out.append(
            f"{len(group)} {word}: refused {alone} by the finder alone, {both} with the empty table"
        )
        wrong = [one for one in group if one.refused != obstructed]
        near = sorted(group, key=_weight_cm2, reverse=not obstructed)
        out += [_line(one, "wrong") for one in wrong]
        out += [_line(one, "near") for one in near[:MOST_TOLD] if one not in wrong]
    unused = sum(one.unexplained is None for one in heard)
    times = [one.compare_ms for one in heard]
    out.append(f"empty table of no use: {unused}; comparing takes {np.median(times):.2f} ms")
    return out


def _weight_cm2(one: Heard) -> float:
    return max(one.weight_cm2(from_edge=True), one.weight_cm2(from_edge=False))


def _line(one: Heard, word: str) -> str:
    return (
        f"  {word} {one.still}: thing {one.score:.3f}, "
        f"differs {one.weight_cm2(from_edge=True):.1f} cm² from the edge, "
        f"{one.weight_cm2(from_edge=False):.1f} elsewhere"
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """Print what a folder's stills say."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="folder of rendered stills and empty tables")
    parser.add_argument("--workers", type=int, default=None, help="processes; default: two")
    given = parser.parse_args(arguments)
    heard = hear_all(given.folder, workers=given.workers)
    if not heard:
        parser.error(f"{given.folder}: no still has an empty one of its room")
    print("\n".join(lines(heard)))


if __name__ == "__main__":
    main()
