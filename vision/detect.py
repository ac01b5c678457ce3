"""Where balls could be: candidates from the top view.

Edges vote for the centre that a ball's outline of known size would have there; a place counts
by how many directions support it, so straight lines and small round things stay low.
``CandidateFinder`` is the seam where another detector can stand in.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, FROZEN_INSET_MM, Table

from .cloth import Float32
from .evidence import Evidence
from .footprint import Footprint
from .profile import inside_cushion
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
    """Finds candidate balls in a still's top view."""

    def find(self, evidence: Evidence) -> Candidates:
        """Candidates in the table frame, best first."""
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
BEND = 20.0
"""Sigmas of cloth noise towards which contrasts are bent, so that strong ones do not rule."""
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

    def find(self, evidence: Evidence) -> Candidates:
        """Local maxima of the directional votes inside the allowed places."""
        seen = evidence.deviation / (1 + np.abs(evidence.deviation) * np.float32(1 / BEND))
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


def _edges(seen: Float32) -> tuple[Float32, Float32]:
    """Strongest channel's gradient (rows, columns, 2: along column, row) and its strength."""
    step: Float32 | None = None
    best: Float32 | None = None
    for channel in cv2.split(seen):
        along = np.asarray(cv2.Scharr(channel, cv2.CV_32F, 1, 0, scale=1 / 32), np.float32)
        down = np.asarray(cv2.Scharr(channel, cv2.CV_32F, 0, 1, scale=1 / 32), np.float32)
        power = along * along + down * down
        if step is None or best is None:
            step, best = np.stack([along, down], axis=2), power
            continue
        stronger = power > best
        np.copyto(best, power, where=stronger)
        np.copyto(step[..., 0], along, where=stronger)
        np.copyto(step[..., 1], down, where=stronger)
    assert step is not None
    assert best is not None
    return step, np.asarray(np.sqrt(best), dtype=np.float32)
