"""Readings of many rooms' stills against truth: a folder of rendered stills with ``truth.json``.

Every still is read by a reader of its own, with its true calibration or with one fitted to an
empty still of its room, and without the layout before.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache, partial
from pathlib import Path

from calibration.errors import FileFormatError, RestmarkError
from calibration.from_still import calibrate
from calibration.kept.calibration import Calibration
from calibration.lens.file import Lens
from calibration.solve.known import NAMED_ERROR_MM, Known
from calibration.table import nearest_named
from service.bench.pool import spread
from service.demo.trial import Track, untracked
from vision.find.detect import Finder
from vision.layout import Layout
from vision.read import Reader
from vision.still import decode_still
from vision.truth.file import TRUTH_FILE, TruthStill, read_truth
from vision.truth.measure import Matched, match_layout

KEPT = "python -m vision.training.dataset --set measure --rooms 64 --each 5 --seed 710000"
"""The stills kept for this bench: nothing may be tuned on them."""
LoadFinder = Callable[[], Finder]
MAPS = "maps (once a calibration)"


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchStill:
    """A still of the folder, with the empty one of its camera and table where there is one."""

    path: Path
    truth: TruthStill
    empty: Path | None = None

    @property
    def calibration(self) -> Calibration:
        """The true one."""
        return self.truth.calibration


@dataclass(frozen=True, slots=True, kw_only=True)
class StillResult:
    """What came of reading one still."""

    still: str
    surface_mm: tuple[float, float]
    obstructed: bool
    """Whether something lies over the bed, by truth."""
    refused: bool
    """Whether the reading says so."""
    noise: float | None
    """Noise that was rendered, as a share of white in linear light; None where not told."""
    failed: str = ""
    """Why it was not read at all."""
    matched: Matched
    """Against all true balls; of little meaning where obstructed."""
    step_ms: Mapping[str, float] = field(default_factory=dict)


def bench_stills(folder: Path) -> tuple[BenchStill, ...]:
    """The stills with balls of all truth files in a folder and below.

    Raises FileFormatError where there are none.
    """
    every: dict[Path, TruthStill] = {}
    for path in sorted(folder.rglob(TRUTH_FILE)):
        every |= {path.parent / name: still for name, still in read_truth(path.parent).items()}
    empties = [(p, s) for p, s in every.items() if p.stem.endswith("empty") and not s.balls]
    found = tuple(
        BenchStill(path=path, truth=still, empty=_empty_of(still, empties))
        for path, still in every.items()
        if still.balls
    )
    if not found:
        raise FileFormatError(
            f"{folder}: got no still with balls and its truth; allowed: a folder of rendered "
            f"stills with {TRUTH_FILE}. Make some: `{KEPT} --out DIR`."
        )
    return found


def _empty_of(still: TruthStill, empties: Sequence[tuple[Path, TruthStill]]) -> Path | None:
    seen = (still.camera, still.table)
    return next((path for path, other in empties if (other.camera, other.table) == seen), None)


def read_stills(
    stills: Sequence[BenchStill],
    *,
    fitted: bool = False,
    workers: int | None = None,
    track: Track = untracked,
    finder: LoadFinder | None = None,
) -> tuple[StillResult, ...]:
    """Every still read, in two processes unless told, in the order given.

    ``fitted``: with a calibration from the room's empty still, as the owner of a lens file has it;
    stills of rooms without one are left out.
    """
    if fitted:
        jobs = [still for still in stills if still.empty is not None]
        return tuple(
            spread(
                partial(read_fitted, finder=finder),
                jobs,
                workers=workers,
                track=track,
                words="reading, fitted",
            )
        )
    return tuple(
        spread(
            partial(read_true, finder=finder),
            stills,
            workers=workers,
            track=track,
            words="reading",
        )
    )


def read_true(still: BenchStill, finder: LoadFinder | None = None) -> StillResult:
    """One still with its true calibration."""
    return read_with(still, still.calibration, finder)


def read_fitted(still: BenchStill, finder: LoadFinder | None = None) -> StillResult:
    """One still with the calibration of its room's empty still; ``failed`` where that fails."""
    assert still.empty is not None
    try:
        made = fitted_calibration(still.empty)
    except RestmarkError as refused:
        return _result(still, _nothing(still), failed=refused.detail)
    return read_with(still, made, finder)


@lru_cache(maxsize=4)
def fitted_calibration(empty: Path) -> Calibration:
    """What ``calibrate`` makes of an empty still, its lens known and its nearest name told."""
    still = read_truth(empty.parent)[empty.name]
    return calibrate(
        decode_still(empty.read_bytes(), name=empty.name),
        nearest_named(still.table)[1],
        still.head,
        Known(lens=Lens.exact(still.camera), surface_error_mm=NAMED_ERROR_MM),
    )


def read_with(
    still: BenchStill, made: Calibration, finder: LoadFinder | None = None
) -> StillResult:
    """One still read by a new reader of a calibration."""
    started = time.perf_counter()
    reader = Reader(made, finder=None if finder is None else finder())
    maps_ms = (time.perf_counter() - started) * 1e3
    try:
        layout = reader.read_still(still.path.read_bytes(), name=still.path.name)
    except RestmarkError as refused:
        return _result(still, _nothing(still), failed=refused.detail)
    return _result(still, layout, step_ms={MAPS: maps_ms, **reader.last_timings_ms})


def _nothing(still: BenchStill) -> Layout:
    return Layout(still=still.path.name, surface_mm=still.truth.table.surface_mm)


def _result(
    still: BenchStill,
    layout: Layout,
    *,
    failed: str = "",
    step_ms: Mapping[str, float] | None = None,
) -> StillResult:
    noise = (still.truth.scene.get("sensor") or {}).get("noise")
    return StillResult(
        still=still.path.name,
        surface_mm=still.truth.table.surface_mm,
        obstructed=still.truth.obstructed,
        refused=layout.obstructed,
        noise=None if noise is None else float(noise),
        failed=failed,
        matched=match_layout(layout, still.truth.balls),
        step_ms=step_ms or {},
    )
