"""How well a moved camera or table is noticed: known moves of stills with known cameras.

``python -m service.bench.drift.noticed FOLDER`` prints the figures; ``restmark bench`` may too.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
from numpy.typing import NDArray
from rich.console import Console

from calibration.camera import Camera
from calibration.errors import CalibrationError, FileFormatError, RestmarkError
from calibration.from_still import watched
from calibration.watch.drift import DriftWatch
from service.bench.practice import machine
from service.demo.trial import Track, untracked
from vision.still import decode_still
from vision.truth.file import TRUTH_FILE, TruthStill, read_truth

from .moved_stills import LIGHTS, MOVES, Light, Mover, bed_points_mm, misread_xy_mm, with_people
from .printed import print_drift

ImageArray = NDArray[np.uint8]

AS_TAKEN = "as taken"
SIZES: Mapping[str, int] = {
    "0 px": 6, "0.15 px": 3, "0.3 px": 6,
    "0.5 mm": 1, "1 mm": 1,
    "2 mm": 12, "3 mm": 2, "5 mm": 2, "8 mm": 2, "12 mm": 2, "14 mm": 2,
    "16 mm": 2, "18 mm": 2, "22 mm": 4, "25 mm": 4, "30 mm": 4, "40 mm": 4, "60 mm": 4,
    "100 mm": 4, "150 mm": 4, "200 mm": 4, "250 mm": 4, "300 mm": 4,
}  # fmt: skip
"""Size of a move at the bed's worst place → how often it is tried."""
UNMOVED = (AS_TAKEN, "0 px", "0.15 px", "0.3 px")
"""A camera that stands or trembles: nothing may be raised."""
TOLD = "2 mm"
WRONG_MM = 1.0
"""Misreading left at the bed's worst place above which a reading is called wrong."""
PEOPLE_SHARE = 0.5
MOST_ODD = 40
DEFAULT_CASES = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftScene:
    """One camera over one table: its empty still and the later ones."""

    truth: TruthStill
    empty: Path
    later: tuple[Path, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One still as made, and what the check said."""

    still: str
    size: str
    move: str = ""
    light: str = ""
    people: bool = False
    outcome: str
    """A state of Drift, never ``unchecked``, or ``refused``."""
    told_mm: float | None = None
    left_mm: float | None = None
    """Misreading at the bed's worst place that is left in a still that may be read."""
    sum_mm2: float = field(default=0.0, repr=False)
    """Sum over the bed's places of the misreading squared, and of what is stated for it."""
    stated_mm2: float = field(default=0.0, repr=False)
    cpu_ms: float = field(default=0.0, repr=False)
    words: str = ""
    """Of a refusal."""


def drift_scenes(folder: Path) -> list[DriftScene]:
    """Scenes of all truth files in a folder and below: stills named ``…empty``, with the later
    ones of the same camera and table; without any the empty still stands for them.

    Raises:
        FileFormatError: no still named ``…empty`` has its truth there.
    """
    stills: dict[Path, TruthStill] = {}
    for path in sorted(folder.rglob(TRUTH_FILE)):
        stills |= {path.parent / name: still for name, still in read_truth(path.parent).items()}
    scenes = [
        DriftScene(truth=still, empty=path, later=_later(still, stills) or (path,))
        for path, still in stills.items()
        if path.stem.endswith("empty")
    ]
    if not scenes:
        raise FileFormatError(
            f"{folder}: got no still named …empty with its truth; allowed: a folder of rendered "
            f"stills with {TRUTH_FILE}. Give the folder of sample_frames/practice, or render one."
        )
    return scenes


def _later(still: TruthStill, stills: Mapping[Path, TruthStill]) -> tuple[Path, ...]:
    """Those with balls: what a lens board covers is no still of a game."""
    return tuple(
        path
        for path, other in stills.items()
        if other.balls and (other.camera, other.table) == (still.camera, still.table)
    )


def drift_figures(
    folder: Path, *, cases: int = DEFAULT_CASES, seed: int = 1, track: Track = untracked
) -> dict[str, Any]:
    """Figures of ``cases`` moved stills made of the folder's scenes; a plain JSON object.

    Moves, light and people are drawn from ``seed``. The later stills as they were taken are
    checked beside them.
    """
    scenes = drift_scenes(folder)
    done: list[Case] = []
    bare = 0
    for number in track(list(range(len(scenes))), "moving cameras"):
        told = scene_cases(scenes[number], range(number, cases, len(scenes)), seed)
        bare += not told
        done += told
    return {
        "machine": machine(),
        "seed": seed,
        "scenes": len(scenes),
        "scenes_without_marks": bare,
        **summary_of(done),
    }


def scene_cases(scene: DriftScene, numbers: Iterable[int], seed: int) -> list[Case]:
    """The scene's later stills as taken, then the numbered cases.

    None where the empty still shows no marks: calibrating says so, and every reading does.
    """
    truth = scene.truth
    watch = DriftWatch(watched(truth.calibration, _picture(scene.empty)))
    if not watch.calibration.rail_marks:
        return []
    out = [
        _checked(
            watch, _picture(path), truth.camera, Case(still=_label(path), size=AS_TAKEN, outcome="")
        )
        for path in scene.later
        if path != scene.empty
    ]
    sizes = [size for size, times in SIZES.items() for _ in range(times)]
    order = np.random.default_rng(seed).permutation(len(sizes))
    for number in numbers:
        rng = np.random.default_rng([seed, number])
        path = scene.later[int(rng.integers(len(scene.later)))]
        planned = Case(
            still=_label(path),
            size=sizes[order[number % len(sizes)]],
            move=str(rng.choice(MOVES)),
            light=str(rng.choice(LIGHTS)),
            people=bool(rng.random() < PEOPLE_SHARE),
            outcome="",
        )
        real = _moved_camera(truth, planned, rng)
        still = _made(_picture(path), truth, planned, real, rng)
        out.append(_checked(watch, still, real, planned))
    return out


@lru_cache(maxsize=32)
def _picture(path: Path) -> ImageArray:
    return decode_still(path.read_bytes(), name=path.name)


def _label(path: Path) -> str:
    return f"{path.parent.name}/{path.name}"


def _moved_camera(truth: TruthStill, planned: Case, rng: np.random.Generator) -> Camera:
    amount, unit = planned.size.split()
    if float(amount) == 0:
        return truth.camera
    mover = Mover(camera=truth.camera, table=truth.table)
    by = mover.by_px if unit == "px" else mover.by_mm
    return by(rng, float(amount), planned.move)


def _made(
    still: ImageArray, truth: TruthStill, planned: Case, real: Camera, rng: np.random.Generator
) -> ImageArray:
    if real != truth.camera:
        still = Mover(camera=truth.camera, table=truth.table).retaken(still, real)
    if planned.people:
        still = with_people(still, real, truth.table, rng)
    return Light.drawn(rng, planned.light).on(still, rng)


def _checked(watch: DriftWatch, still: ImageArray, real: Camera, planned: Case) -> Case:
    started = time.process_time()
    try:
        drift = watch.check(still, name=planned.still)
    except CalibrationError as refused:
        cpu_ms = (time.process_time() - started) * 1e3
        return replace(planned, outcome="refused", words=refused.detail, cpu_ms=cpu_ms)
    cpu_ms = (time.process_time() - started) * 1e3
    table = watch.calibration.table
    used = drift.calibration
    off_mm = misread_xy_mm(used.camera, real, table)
    stated = used.own_covariance_mm2(bed_points_mm(table)[:, :2])
    return replace(
        planned,
        outcome=drift.state,
        told_mm=drift.worst_mm,
        left_mm=float(np.hypot(*off_mm.T).max()),
        sum_mm2=float(np.sum(off_mm**2)),
        stated_mm2=float(np.trace(stated, axis1=1, axis2=2).sum()),
        cpu_ms=cpu_ms,
    )


# -- figures ---------------------------------------------------------------------------------


def summary_of(cases: Sequence[Case]) -> dict[str, Any]:
    """Counts and errors over cases; shares are None where no case tells of them."""
    unmoved = [case for case in cases if case.size in UNMOVED]
    shifted = [case for case in cases if case.size == TOLD]
    wrong = [case for case in cases if case.left_mm is not None and case.left_mm > WRONG_MM]
    times = [case.cpu_ms for case in cases]
    return {
        "cases": len(cases),
        "told": TOLD,
        "told_share": _share(shifted, ("moved", "refused")),
        "told_or_doubted_share": _share(shifted, ("moved", "refused", "cannot tell")),
        "false_alarm_share": _share(unmoved, ("moved", "refused")),
        "needless_doubt_share": _share(unmoved, ("cannot tell",)),
        "wrong_mm": WRONG_MM,
        "wrong": sum(case.outcome in ("still", "moved") for case in wrong),
        "wrong_in_doubt": sum(case.outcome == "cannot tell" for case in wrong),
        "cpu_ms": {
            "median": float(np.median(times)) if times else None,
            "p99": float(np.percentile(times, 99)) if times else None,
        },
        "sizes": _rows(cases, "size", (AS_TAKEN, *SIZES)),
        "unmoved_by_light": _rows(unmoved, "light", LIGHTS),
        "moves_of_2_mm": _rows(shifted, "move", MOVES),
        "odd": [
            {key: value for key, value in asdict(case).items() if value not in (None, "")}
            for case in cases
            if _odd(case)
        ][:MOST_ODD],
    }


def _share(cases: Sequence[Case], outcomes: Sequence[str]) -> float | None:
    return sum(case.outcome in outcomes for case in cases) / len(cases) if cases else None


def _odd(case: Case) -> bool:
    """What should not have happened, and is worth making again."""
    if case.size in UNMOVED:
        return case.outcome != "still"
    wrong = case.left_mm is not None and case.left_mm > WRONG_MM
    return wrong or (case.size == TOLD and case.outcome != "moved")


def _rows(cases: Sequence[Case], key: str, values: Sequence[str]) -> list[dict[str, Any]]:
    groups = ((value, [c for c in cases if getattr(c, key) == value]) for value in values)
    return [{key: value, **_row(group)} for value, group in groups if group]


def _row(cases: Sequence[Case]) -> dict[str, Any]:
    left = [case.left_mm for case in cases if case.left_mm is not None]
    stated = sum(case.stated_mm2 for case in cases)
    return {
        "cases": len(cases),
        **{
            name: sum(case.outcome == name for case in cases)
            for name in ("still", "moved", "cannot tell", "refused")
        },
        "left_median_mm": float(np.median(left)) if left else None,
        "left_p99_mm": float(np.percentile(left, 99)) if left else None,
        "left_worst_mm": max(left, default=None),
        "rms_over_stated": (
            float(np.sqrt(sum(case.sum_mm2 for case in cases) / stated)) if stated else None
        ),
    }


def main(
    folder: Annotated[Path, typer.Argument(help="Rendered stills with their truth.")],
    cases: Annotated[int, typer.Option("--cases", min=0, help="Moved stills.")] = DEFAULT_CASES,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of what is drawn.")] = 1,
    as_json: Annotated[bool, typer.Option("--json", help="Print the figures as JSON.")] = False,
) -> None:
    """Measure how well moves of camera and table are noticed."""
    try:
        figures = drift_figures(folder, cases=cases, seed=seed)
    except RestmarkError as wrong:
        typer.echo(wrong.detail, err=True)
        raise typer.Exit(1) from None
    if as_json:
        typer.echo(json.dumps(figures, indent=2))
    else:
        print_drift(figures, Console(width=140))


if __name__ == "__main__":
    typer.run(main)
