"""The obvious way to find balls, for comparison: circles by Hough vote, one homography.

Circles are looked for in the whole still by ``cv2.HoughCircles`` within the radii that balls can
have there, and laid on the table by a homography from four true corners: where the nose lines meet,
as a person sees and clicks them, and for comparison those of the bed beneath. The way of voting and
its thresholds are the best of a sweep over every few stills of the very set: kind to it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from rich.console import Console

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.solve.baseline import corner_homography
from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM, Table
from service.bench.pool import spread
from service.demo.trial import Track, untracked
from vision.still import decode_still
from vision.truth.measure import COUNTED_FROM, nearest_pairs

from .readings import BenchStill

WITHIN_MM = 40.0
"""A circle farther from every ball is no find of it; wide, for a homography's sake."""
SWEPT_STILLS = 40
RADIUS_SLACK = 0.15
_CENTRE_STEP_PX = 0.8
"""Least distance of circles, in the smallest ball's diameters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Voting:
    """Settings of one search for circles."""

    method: int
    blur_px: int
    edge: float
    """Upper threshold of the edge detector."""
    votes: float
    """Votes that a circle needs, or its perfectness, by method."""

    @property
    def words(self) -> str:
        """What was set, for people."""
        kind = "gradient" if self.method == cv2.HOUGH_GRADIENT else "gradient, alternative"
        return (
            f"{kind}, median blur {self.blur_px} px, edge threshold {self.edge:g}, "
            f"votes {self.votes:g}"
        )


SWEEP = (
    *(
        Voting(method=cv2.HOUGH_GRADIENT, blur_px=blur_px, edge=edge, votes=votes)
        for blur_px in (3, 5)
        for edge in (60.0, 120.0)
        for votes in (12.0, 16.0, 20.0, 26.0)
    ),
    *(
        Voting(method=cv2.HOUGH_GRADIENT_ALT, blur_px=3, edge=edge, votes=votes)
        for edge in (150.0, 300.0)
        for votes in (0.5, 0.7, 0.85)
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Circled:
    """What one search found in one still."""

    off_mm: tuple[float, ...]
    """Distances of the circles that stand for a ball, by corners of the noses."""
    bed_off_mm: tuple[float, ...]
    """Of the same circles by corners of the bed."""
    missed: int
    invented: int


def circle_figures(
    stills: Sequence[BenchStill], *, workers: int | None = None, track: Track = untracked
) -> dict[str, Any] | None:
    """Figures of the best search over all clear stills; None where all are obstructed."""
    clear = [still for still in stills if not still.truth.obstructed]
    if not clear:
        return None
    some = clear[:: max(1, len(clear) // SWEPT_STILLS)]
    run = partial(spread, workers=workers, track=track)
    swept = list(run(partial(circled, votings=SWEEP), some, words="sweeping circles"))
    best = max(range(len(SWEEP)), key=lambda k: agreement([found[k] for found in swept]))
    every = [
        found[0]
        for found in run(partial(circled, votings=(SWEEP[best],)), clear, words="finding circles")
    ]
    found, missed = sum(len(c.off_mm) for c in every), sum(c.missed for c in every)
    return {
        "settings": SWEEP[best].words,
        "swept": len(SWEEP),
        "swept_stills": len(some),
        "stills": len(clear),
        "balls": found + missed,
        "found_share": found / (found + missed) if found + missed else None,
        "invented_a_still": sum(c.invented for c in every) / len(clear),
        **_distances([off for c in every for off in c.off_mm], "noses"),
        **_distances([off for c in every for off in c.bed_off_mm], "bed"),
    }


def _distances(off_mm: Sequence[float], corners: str) -> dict[str, float | None]:
    return {
        f"{corners}_median_mm": float(np.median(off_mm)) if off_mm else None,
        f"{corners}_p95_mm": float(np.percentile(off_mm, 95)) if off_mm else None,
    }


def agreement(found: Sequence[Circled]) -> float:
    """F score of finds: 1 where every ball is found and nothing invented."""
    right = sum(len(c.off_mm) for c in found)
    wrong = sum(c.missed + c.invented for c in found)
    return 2 * right / (2 * right + wrong) if right else 0.0


def circled(still: BenchStill, *, votings: Sequence[Voting]) -> tuple[Circled, ...]:
    """What each search finds in one still, against its truth."""
    truth = still.truth
    picture = decode_still(still.path.read_bytes(), name=still.path.name)
    grey = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
    by_noses, by_bed = (
        corner_homography(truth.camera, truth.table, height_mm)
        for height_mm in (truth.table.nose_height_mm, 0.0)
    )
    balls = np.array([(ball.x_mm, ball.y_mm) for ball in truth.balls]).reshape(-1, 2)
    seen = np.array([ball.visible >= COUNTED_FROM for ball in truth.balls], dtype=bool)
    out = []
    for voting in votings:
        centres_px = circles_px(grey, radii_px(truth.camera, truth.table), voting)
        places = _laid(centres_px, by_noses)
        inside = ((places > 0) & (places < np.asarray(truth.table.surface_mm))).all(axis=1)
        places, beneath = places[inside], _laid(centres_px[inside], by_bed)
        pairs = nearest_pairs(balls, places, within_mm=WITHIN_MM)
        taken = [i for i, _ in pairs]
        out.append(
            Circled(
                off_mm=tuple(float(np.hypot(*(balls[i] - places[j]))) for i, j in pairs),
                bed_off_mm=tuple(float(np.hypot(*(balls[i] - beneath[j]))) for i, j in pairs),
                missed=int(np.delete(seen, taken).sum()),
                invented=len(places) - len(pairs),
            )
        )
    return tuple(out)


def radii_px(camera: Camera, table: Table) -> tuple[float, float]:
    """Least and greatest radius of balls on the bed, in pixels."""
    x, y = np.meshgrid(*(np.linspace(0, side, 5) for side in table.surface_mm))
    places = np.stack([x.ravel(), y.ravel(), np.full(x.size, BALL_CENTRE_HEIGHT_MM)], axis=1)
    far_mm = np.linalg.norm(places - camera.position_mm, axis=1)
    radii = camera.fx_px * BALL_RADIUS_MM / far_mm
    return float(radii.min()), float(radii.max())


def circles_px(
    grey: NDArray[np.uint8], radius_px: tuple[float, float], voting: Voting
) -> FloatArray:
    """Centres of circles (N, 2) in a grey picture."""
    low, high = radius_px
    found = cv2.HoughCircles(
        cv2.medianBlur(grey, voting.blur_px),
        voting.method,
        1.5 if voting.method == cv2.HOUGH_GRADIENT_ALT else 1.0,
        2 * low * _CENTRE_STEP_PX,
        param1=voting.edge,
        param2=voting.votes,
        minRadius=int(low * (1 - RADIUS_SLACK)),
        maxRadius=int(np.ceil(high * (1 + RADIUS_SLACK))),
    )
    if found is None:
        return np.zeros((0, 2))
    return np.asarray(found, dtype=float).reshape(-1, found.shape[-1])[:, :2]


def _laid(places_px: FloatArray, to_table: FloatArray) -> FloatArray:
    """Pixels (N, 2) on the table by a homography, mm (N, 2)."""
    if not len(places_px):
        return np.zeros((0, 2))
    return np.asarray(cv2.perspectiveTransform(places_px[:, None], to_table)[:, 0], dtype=float)


# -- print -----------------------------------------------------------------------------------


def print_circles(figures: Mapping[str, Any], console: Console) -> None:
    """The comparison in two lines."""
    console.print(
        f"for comparison, cv2.HoughCircles in {figures['stills']} clear stills: "
        f"{_percent(figures['found_share'])} of {figures['balls']} balls found, "
        f"{figures['invented_a_still']:.2f} invented a still; by a homography from four clicked "
        f"corners median {_mm(figures['noses_median_mm'])}, 95 % {_mm(figures['noses_p95_mm'])} mm "
        f"off (by corners of the bed {_mm(figures['bed_median_mm'])}, "
        f"{_mm(figures['bed_p95_mm'])} mm)"
    )
    console.print(
        f"  best of {figures['swept']} settings over {figures['swept_stills']} of the stills: "
        f"{figures['settings']}"
    )


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.1f} %"


def _mm(value: float | None) -> str:
    return "–" if value is None else f"{value:.1f}"
