"""What the readings of many stills come to: finds, names, places, honesty, refusals, time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from calibration.chi_square import PLANE_95
from calibration.errors import FileFormatError
from service.bench.practice import distribution, machine, median_steps
from service.demo.trial import Track, untracked
from vision.truth.measure import Pair

from .circles import circle_figures
from .readings import BenchStill, LoadFinder, StillResult, bench_stills, read_stills

STILLS_FORMAT = "restmark-bench-stills"
STILLS_VERSION = 1
PLAIN = 0.8
"""Balls at least this visible are held to the stated accuracy."""
FAR_MM = 5.0
MOST_ODD = 60
NOISE_GROUPS = 3
REGION_ROWS = ("left", "middle", "right")
REGION_COLUMNS = ("head", "centre", "foot")


def run_bench_stills(
    folder: Path,
    *,
    fitted: bool = False,
    workers: int | None = None,
    track: Track = untracked,
    finder: LoadFinder | None = None,
) -> dict[str, Any]:
    """Read every still of ``folder``, and find circles in it for comparison; plain JSON.

    ``finder`` loads one that stands in for the shipped one, once a process.

    Raises FileFormatError where there is nothing to read.
    """
    stills = bench_stills(folder)
    if fitted and not any(still.empty for still in stills):
        raise FileFormatError(
            f"{folder}: got no still named …empty of the same camera and table as the others; "
            "allowed with --fitted: one or more, to calibrate from. Leave --fitted out."
        )
    read = {"true calibration": read_stills(stills, workers=workers, track=track, finder=finder)}
    if fitted:
        read["fitted calibration"] = read_stills(
            stills, fitted=True, workers=workers, track=track, finder=finder
        )
    return {
        "format": STILLS_FORMAT,
        "version": STILLS_VERSION,
        "machine": machine(),
        "folder": folder.name,
        "stills": len(stills),
        "rooms": rooms_of(stills),
        "truth": truth_of(stills),
        "read": {name: figures_of(results) for name, results in read.items() if results},
        "circles": circle_figures(stills, workers=workers, track=track),
    }


def rooms_of(stills: Iterable[BenchStill]) -> int:
    """How many different cameras and tables took them."""
    return len({(still.truth.camera, still.truth.table) for still in stills})


def truth_of(stills: Iterable[BenchStill]) -> dict[str, Any]:
    """How the places of the stills and the names of their balls are known, counted."""
    told = [still.truth for still in stills]
    return {
        "places": dict(Counter(still.places for still in told)),
        "names": dict(Counter(ball.named for still in told for ball in still.balls)),
    }


def figures_of(results: Sequence[StillResult]) -> dict[str, Any]:
    """Figures over stills read one way.

    Finds, names and places are those of clear stills, refused ones among them too.
    """
    clear = [result for result in results if not result.obstructed]
    pairs = [pair for result in clear for pair in result.matched.pairs]
    plain = [pair for pair in pairs if pair.truth.visible >= PLAIN]
    return {
        "stills": len(results),
        "clear": len(clear),
        **find_figures(clear),
        **name_figures(clear),
        "places": {"plain": place_figures(plain), "all": place_figures(pairs)},
        "variance": {
            "regions": honesty_by(_by_region(clear)),
            "noise": honesty_by(_by_noise(clear)),
        },
        **refusal_figures(results),
        "step_ms": median_steps([result.step_ms for result in results if result.step_ms]),
        "odd": odd_ones(results),
    }


def find_figures(clear: Sequence[StillResult]) -> dict[str, Any]:
    """Found, missed and invented balls."""
    found = sum(len(result.matched.pairs) for result in clear)
    missed = sum(len(result.matched.missed) for result in clear)
    invented = sum(len(result.matched.invented) for result in clear)
    return {
        "balls": found + missed,
        "found": found,
        "missed": missed,
        "invented": invented,
        "found_share": _share(found, found + missed),
        "invented_a_still": _share(invented, len(clear)),
    }


def name_figures(clear: Sequence[StillResult]) -> dict[str, Any]:
    """Names of found balls; the cue ball's are wrong where it is missed, misnamed or invented."""
    pairs = [pair for result in clear for pair in result.matched.pairs]
    wrong = [pair for pair in pairs if not pair.name_right]
    undoubted = [pair for pair in pairs if not pair.found.doubtful]
    undoubted_wrong = sum(not pair.name_right for pair in undoubted)
    cue = sum(pair.truth.id == "cue" for pair in pairs)
    cue += sum(ball.id == "cue" for result in clear for ball in result.matched.missed)
    cue_right = sum(pair.truth.id == "cue" and pair.name_right for pair in pairs)
    cue_told = sum(pair.found.id == "cue" for pair in pairs)
    cue_told += sum(ball.id == "cue" for result in clear for ball in result.matched.invented)
    return {
        "wrong_names": len(wrong),
        "names_right": _share(len(pairs) - len(wrong), len(pairs)),
        "doubtful": len(pairs) - len(undoubted),
        "doubtful_share": _share(len(pairs) - len(undoubted), len(pairs)),
        "undoubted_wrong": undoubted_wrong,
        "undoubted_wrong_share": _share(undoubted_wrong, len(undoubted)),
        "cue_balls": cue,
        "cue_right": cue_right,
        "cue_told_wrongly": cue_told - cue_right,
    }


def place_figures(pairs: Sequence[Pair]) -> dict[str, Any] | None:
    """Errors of places in mm, and the share inside the stated 95 % ellipse."""
    if not pairs:
        return None
    sigmas = np.array([pair.squared_sigmas for pair in pairs])
    stated = sigmas[np.isfinite(sigmas)]
    return {
        "balls": len(pairs),
        **{
            f"{name}_mm": value
            for name, value in distribution(np.array([pair.distance_mm for pair in pairs])).items()
        },
        "coverage_95": float(np.mean(stated <= PLANE_95)) if len(stated) else None,
    }


def honesty_by(groups: Mapping[str, Sequence[Pair]]) -> dict[str, dict[str, Any]]:
    """Measured against predicted variance of balls plainly seen, group by group.

    ``variance``: sum of squared errors over the sum of stated variances; ``typical``: the same with
    each error over its own covariance, so that the worst balls do not speak for all.
    """
    out = {}
    for name, group in groups.items():
        plain = [pair for pair in group if pair.truth.visible >= PLAIN]
        if not plain:
            continue
        stated = sum(float(np.trace(np.asarray(pair.found.cov_mm2))) for pair in plain)
        sigmas = np.array([pair.squared_sigmas for pair in plain])
        out[name] = {
            "balls": len(plain),
            "variance": sum(pair.distance_mm**2 for pair in plain) / stated if stated else None,
            "typical": float(np.mean(sigmas) / 2) if np.isfinite(sigmas).all() else None,
            "coverage_95": float(np.mean(sigmas <= PLANE_95)),
        }
    return out


def _by_region(clear: Sequence[StillResult]) -> dict[str, list[Pair]]:
    """By ninths of the bed, head end on the left."""
    groups: dict[str, list[Pair]] = {
        f"{row} {column}": [] for row in REGION_ROWS for column in REGION_COLUMNS
    }
    for result in clear:
        length, width = result.surface_mm
        for pair in result.matched.pairs:
            column = int(np.clip(3 * pair.truth.x_mm / length, 0, 2))
            row = 2 - int(np.clip(3 * pair.truth.y_mm / width, 0, 2))
            groups[f"{REGION_ROWS[row]} {REGION_COLUMNS[column]}"].append(pair)
    return groups


def _by_noise(clear: Sequence[StillResult]) -> dict[str, list[Pair]]:
    """By thirds of the stills in the order of their rendered noise."""
    told = sorted(
        ((result.noise, result) for result in clear if result.noise is not None),
        key=lambda item: item[0],
    )
    groups: dict[str, list[Pair]] = {}
    for part in np.array_split(np.arange(len(told)), NOISE_GROUPS):
        if len(part):
            low, high = told[part[0]][0], told[part[-1]][0]
            group = groups.setdefault(f"noise {100 * low:.2f}–{100 * high:.2f} %", [])
            group += [pair for k in part for pair in told[k][1].matched.pairs]
    return groups


def refusal_figures(results: Sequence[StillResult]) -> dict[str, Any]:
    """Stills refused as obstructed, rightly and wrongly, and those not read at all."""
    counts = {
        "obstructed": sum(r.obstructed for r in results),
        "obstructed_refused": sum(r.obstructed and (r.refused or bool(r.failed)) for r in results),
        "clear_refused": sum(not r.obstructed and r.refused for r in results),
        "failed": sum(bool(r.failed) for r in results),
    }
    return {
        **counts,
        "obstructed_refused_share": _share(counts["obstructed_refused"], counts["obstructed"]),
        "clear_refused_share": _share(counts["clear_refused"], len(results) - counts["obstructed"]),
    }


def odd_ones(results: Sequence[StillResult]) -> list[str]:
    """What went wrong where, worth looking at; the first ``MOST_ODD``."""
    return [words for result in results for words in _odd(result)][:MOST_ODD]


def _odd(result: StillResult) -> list[str]:
    if result.failed:
        return [f"{result.still}: not read: {result.failed}"]
    if result.obstructed:
        return [] if result.refused else [f"{result.still}: obstructed, not refused"]
    matched = result.matched
    out = [f"{result.still}: clear, refused"] if result.refused else []
    for ball in matched.missed:
        out.append(
            f"{result.still}: {ball.id} missed at {ball.x_mm:.0f}, {ball.y_mm:.0f} mm, "
            f"{100 * ball.visible:.0f} % visible"
        )
    for found in matched.invented:
        out.append(f"{result.still}: {found.id} invented at {found.x_mm:.0f}, {found.y_mm:.0f} mm")
    for pair in matched.pairs:
        if not pair.name_right and not pair.found.doubtful:
            out.append(f"{result.still}: {pair.truth.id} called {pair.found.id} without doubt")
        if pair.distance_mm > FAR_MM and pair.truth.visible >= PLAIN:
            out.append(f"{result.still}: {pair.truth.id} {pair.distance_mm:.1f} mm off")
    return out


def _share(part: int, whole: int) -> float | None:
    return part / whole if whole else None
