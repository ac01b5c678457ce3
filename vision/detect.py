"""Where balls could be: candidates from the top view, checked and thinned in the still.

Edges vote for the centre that a ball's outline of known size would have there; a place counts
by how many directions support it, so straight lines and small round things stay low. Candidates
are then fitted coarsely in the still, and the best set with balls no closer than a diameter is
kept. ``CandidateFinder`` is the seam where another detector can stand in.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, FROZEN_INSET_MM, Table

from .cloth import Cloth, Float32
from .footprint import Footprint
from .layout import BALL_IDS
from .profile import inside_cushion
from .refine import COARSE, Fit, Scene, fit
from .topview import TopView

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidates:
    """Places where balls could be, best first."""

    centre_mm: FloatArray
    """(K, 2), table frame."""
    score: FloatArray
    """(K,), 0 … 1."""


class CandidateFinder(Protocol):
    """Finds candidate balls in a top view given as its ratio to bare cloth."""

    def find(self, ratio: Float32, cloth: Cloth) -> Candidates:
        """Candidates from the ratio image (rows, columns, 3 BGR)."""
        ...


SECTORS = 8
VOTES_A_SECTOR = 16.0
"""Weight of votes near one place that fills a sector."""
VOTE_CELL = 2
"""Top-view pixels per cell of votes."""
VOTE_BLUR = 0.9
"""Sigma of a vote, cells."""
SCORE_NEEDED = 0.3
MOST_CANDIDATES = 120
BEND = 5.0
"""Sigmas of cloth noise beyond which a contrast grows only with its logarithm."""
EDGE_NEEDED = 0.5
"""Least step in sigmas per top-view pixel that votes."""
EDGE_FULL = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeVotes:
    """Fixed-radius voting in the top view of one calibration."""

    view: TopView
    allowed: NDArray[np.bool_] = field(repr=False)
    """Top-view pixels where a resting ball's centre can be."""
    radial: NDArray[np.float32] = field(repr=False)
    stretch: NDArray[np.float32] = field(repr=False)

    @classmethod
    def of(cls, camera: Camera, view: TopView) -> EdgeVotes:
        """Prepared for one calibration; keep it."""
        rows, columns = view.shape
        grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2)
        points = view.to_table(grid)
        prints = Footprint.at(camera, points)
        inside = view.seen(camera.image_size_px)
        allowed = can_rest(view.table, points).reshape(rows, columns) & inside
        return cls(
            view=view,
            allowed=allowed,
            radial=prints.radial.reshape(rows, columns, 2).astype(np.float32),
            stretch=prints.stretch.reshape(rows, columns).astype(np.float32),
        )

    def find(self, ratio: Float32, cloth: Cloth) -> Candidates:
        """Local maxima of the directional votes inside the allowed places."""
        seen = np.arcsinh(cloth.deviation(ratio) / BEND) * BEND
        step, strength = _edges(np.asarray(cv2.GaussianBlur(seen, (0, 0), 1.0), np.float32))
        noise = float(np.median(strength[self.allowed]))
        needed = max(EDGE_NEEDED, 3.0 * noise)
        rows, columns = np.nonzero(strength > needed)
        weight = np.clip(strength[rows, columns] / EDGE_FULL, 0, 1)
        normal = (step[rows, columns] / strength[rows, columns][:, None]).astype(float)
        prints = Footprint(
            radial=self.radial[rows, columns].astype(float),
            stretch=self.stretch[rows, columns].astype(float),
        )
        reach = prints.touch(normal) / self.view.scale_mm
        place = np.column_stack([columns, rows]).astype(float)
        score = self._score(place, normal, reach, weight)
        return self._peaks(score)

    def _score(
        self, place: FloatArray, normal: FloatArray, reach: FloatArray, weight: FloatArray
    ) -> Float32:
        """Share of direction sectors filled, by cells of the top view, from both sides."""
        rows, columns = (side // VOTE_CELL + 1 for side in self.view.shape)
        angle = np.arctan2(normal[:, 1], normal[:, 0])
        sector = ((angle / (2 * np.pi) * SECTORS) % SECTORS).astype(int)
        index, carried = [], []
        for sign, turned in ((1, 0), (-1, SECTORS // 2)):
            at = ((place - sign * reach + 0.5) / VOTE_CELL).astype(int)
            good = (at >= 0).all(1) & (at[:, 0] < columns) & (at[:, 1] < rows)
            layer = (sector[good] + turned) % SECTORS
            index.append((layer * rows + at[good, 1]) * columns + at[good, 0])
            carried.append(weight[good])
        flat = np.bincount(
            np.concatenate(index), np.concatenate(carried), minlength=SECTORS * rows * columns
        )
        total = np.zeros((rows, columns), np.float32)
        gathered = np.float32(2 * np.pi * VOTE_BLUR**2 / VOTES_A_SECTOR)
        for layer_votes in flat.astype(np.float32).reshape(SECTORS, rows, columns):
            near = gathered * np.asarray(cv2.GaussianBlur(layer_votes, (0, 0), VOTE_BLUR))
            # beyond full a little more still ranks higher, so that a peak has no flat top
            total += np.minimum(near, 1.0 + 0.05 * near)
        return np.asarray(total / SECTORS, dtype=np.float32)

    def _peaks(self, score: Float32) -> Candidates:
        top = cv2.dilate(score, np.ones((5, 5), np.uint8))
        rows, columns = np.nonzero((score >= top) & (score > SCORE_NEEDED))
        pixels = (np.column_stack([columns, rows]) + 0.5) * VOTE_CELL - 0.5
        whole = np.minimum(np.round(pixels).astype(int), np.array(self.view.shape)[::-1] - 1)
        good = self.allowed[whole[:, 1], whole[:, 0]]
        value = np.where(good, score[rows, columns], -1.0)
        order = np.argsort(-value)[: min(MOST_CANDIDATES, int(good.sum()))]
        return Candidates(centre_mm=self.view.to_table(pixels[order]), score=value[order])


def can_rest(table: Table, centres_mm: FloatArray, *, slack_mm: float = 5.0) -> NDArray[np.bool_]:
    """Whether resting balls' centres can be at (N, 2) mm: on the bed, or on a pocket's shelf."""
    length, width = table.surface_mm
    inset = FROZEN_INSET_MM - slack_mm
    x, y = centres_mm[:, 0], centres_mm[:, 1]
    out = (x > inset) & (x < length - inset) & (y > inset) & (y < width - inset)
    for pocket in table.pockets:
        away = centres_mm - np.array(pocket.aim_mm)
        inward = np.array(pocket.inward)
        depth = away @ inward
        across = np.abs(away @ np.array([-inward[1], inward[0]]))
        near = across < pocket.mouth_mm / 2 - BALL_RADIUS_MM + 2 * slack_mm
        out |= near & (depth > -2 * BALL_DIAMETER_MM) & (depth < pocket.shelf_mm + slack_mm)
    return np.asarray(out & ~inside_cushion(table, centres_mm))


def _edges(root: Float32) -> tuple[Float32, Float32]:
    """Strongest channel's gradient (rows, columns, 2: along column, row) and its strength."""
    along = cv2.Scharr(root, cv2.CV_32F, 1, 0) / 32.0
    down = cv2.Scharr(root, cv2.CV_32F, 0, 1) / 32.0
    power = along**2 + down**2
    which = power.argmax(axis=2)[..., None]
    step = np.concatenate(
        [np.take_along_axis(along, which, 2), np.take_along_axis(down, which, 2)], axis=2
    )
    strength = np.sqrt(np.take_along_axis(power, which, 2)[..., 0])
    return step, strength


def difference(ratio: Float32, cloth: Cloth) -> Float32:
    """How far each pixel is from cloth in any light, in sigmas: chroma, too bright, too dark."""
    brightness, red, blue = np.moveaxis(cloth.deviation(ratio), -1, 0)
    light = brightness * cloth.light_sigma
    # chroma noise shrinks with the light that falls on the cloth, but not to nothing
    scale = np.clip(light, 0.3, 1.0)
    away = (red**2 + blue**2) / scale**2
    bright = np.maximum(light - _BRIGHTEST, 0) / (0.5 * cloth.light_sigma + 0.02)
    dark = np.maximum(_DARKEST - light, 0) / 0.02
    return np.asarray(np.sqrt(away) + bright + dark, dtype=np.float32)


_BRIGHTEST = 1.25
_DARKEST = 0.3
FOREIGN_SIGMAS = 5.0
VOTES_NEEDED = 0.35
COVER_NEEDED = 0.4
SUM_NEEDED = 0.8
SHOWN_NEEDED = 0.15
OVERLAP = 0.88
"""Coarse fits of touching balls come this near to each other, in diameters."""


def choose(scene: Scene, candidates: Candidates, foreign: Float32, view: TopView) -> Fit:
    """Fit candidates coarsely, then keep the best set of balls that do not overlap.

    ``foreign`` is 1 where the top view is not cloth, else 0. What found no room gets a second
    fit that leaves out the outline beside the balls kept so far. At most 16, the best.
    """
    start = candidates.centre_mm
    first = fit(scene, start, COARSE)
    rank = _ranked(scene, first, candidates.score, foreign, view)
    kept = _thinned(first, rank, np.zeros((0, 2)))
    chosen, scores = first.taken(kept), rank[kept]
    left = _clear_of(start, chosen.centre_mm, 0.7 * BALL_DIAMETER_MM)
    if left.any():
        around = np.concatenate([chosen.centre_mm, start[left]])
        second = fit(scene, start[left], COARSE, neighbours_mm=around)
        rank = _ranked(scene, second, candidates.score[left], foreign, view)
        more = _thinned(second, rank, chosen.centre_mm)
        chosen, scores = chosen.joined(second.taken(more)), np.concatenate([scores, rank[more]])
    best = np.argsort(-scores)[: len(BALL_IDS)]
    return chosen.taken([int(k) for k in best])


def _ranked(
    scene: Scene, found: Fit, votes: FloatArray, foreign: Float32, view: TopView
) -> FloatArray:
    """Score of each fit (K,); −1 where it is no ball."""
    cover = coverage(scene.camera, found.centre_mm, foreign, view)
    score = np.minimum(votes, 1.0) + 0.5 * found.support + 0.5 * cover
    good = (votes > VOTES_NEEDED) & (cover > COVER_NEEDED) & (score > SUM_NEEDED)
    good &= (found.shown > SHOWN_NEEDED) & can_rest(scene.table, found.centre_mm)
    return np.where(good, score, -1.0)


def _thinned(found: Fit, score: FloatArray, taken_mm: FloatArray) -> list[int]:
    """Indices of the best fits that overlap neither each other nor the balls taken already."""
    kept: list[int] = []
    for k in np.argsort(-score):
        if score[k] < 0:
            break
        others = np.concatenate([found.centre_mm[kept], taken_mm])
        if _clear_of(found.centre_mm[k : k + 1], others, OVERLAP * BALL_DIAMETER_MM)[0]:
            kept.append(int(k))
    return kept


def _clear_of(
    points_mm: FloatArray, others_mm: FloatArray, distance_mm: float
) -> NDArray[np.bool_]:
    """Whether points (N, 2) are at least that far from all others (M, 2)."""
    apart = np.linalg.norm(points_mm[:, None] - others_mm[None], axis=-1)
    return np.asarray((apart >= distance_mm).all(axis=1))


_DISC = np.array(
    [(r * np.cos(a), r * np.sin(a)) for r in (0.0, 0.25, 0.5, 0.7, 0.85)
     for a in np.linspace(0, 2 * np.pi, max(1, round(r * 24)), endpoint=False)]
)  # fmt: skip


def coverage(camera: Camera, centres_mm: FloatArray, foreign: Float32, view: TopView) -> FloatArray:
    """Share of each ball's disc that is not cloth, (K,)."""
    if len(centres_mm) == 0:
        return np.zeros(0)
    prints = Footprint.at(camera, centres_mm)
    spread = BALL_RADIUS_MM * _DISC
    along = spread @ prints.radial.T  # (M, K)
    extra = along[..., None] * ((prints.stretch - 1)[:, None] * prints.radial)[None]
    points = centres_mm[None] + spread[:, None] + extra
    pixels = view.to_view(points.reshape(-1, 2)).astype(np.float32)
    value = cv2.remap(foreign, pixels[:, :1], pixels[:, 1:], cv2.INTER_LINEAR)
    return np.asarray(value.reshape(len(_DISC), -1).mean(axis=0), dtype=float)
