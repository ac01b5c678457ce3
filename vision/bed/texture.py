"""Whether the cloth of the empty table is seen at a place: light keeps its texture, things hide it.

Chalk, wear and weave make every cloth a little uneven. What of it a still shows where nothing
lies tells what it would show under any light; where it is missing, something else is seen.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.float32]
Mask = NDArray[np.bool_]
FINE_CELLS = 2.0
"""Sigma of the mean that is taken away: what is coarser is light."""
MOST_TIMES = 3.0
"""Texture beyond so many of its common sizes is an edge of light or a mark, and left out."""
LEAST_CELLS = 12
MOST_ODDS = 50.0
_LEAST = 1e-8


@dataclass(frozen=True, slots=True, kw_only=True)
class Texture:
    """Blue, green and red of the empty bed and of a still, logarithms, (3, rows, columns)."""

    empty: Grey = field(repr=False)
    now: Grey = field(repr=False)
    quiet: Mask = field(repr=False)
    """Where nothing lies."""
    _usual: list[tuple[float, float] | None] = field(default_factory=list, repr=False)

    def odds(self, cells: Mask) -> float:
        """Logarithm of the odds that the cloth is seen at ``cells``, by how it shows elsewhere.

        0 where neither can be told: too few cells, or a still that shows no texture anywhere.
        """
        if not self._usual:
            self._usual.append(self._shown())
        usual = self._usual[0]
        if usual is None:
            return 0.0
        shown, most = usual
        pair = self._pair(cells, most)
        if pair is None:
            return 0.0
        there, here, _ = pair
        left = np.abs(here - shown * there)
        left = np.minimum(left, MOST_TIMES * 1.48 * float(np.median(left)) + 1e-4)
        found = shown * float(there @ (2 * here - shown * there))
        odds = found / (2 * max(float(np.mean(left**2)), _LEAST))
        return float(np.clip(odds, -MOST_ODDS, MOST_ODDS))

    def _shown(self) -> tuple[float, float] | None:
        """The share of the texture that this still shows, and the most that counts as texture."""
        pair = self._pair(self.quiet)
        if pair is None:
            return None
        there, here, most = pair
        shown = float(there @ here / (there @ there))
        return (shown, most) if shown > 0 else None

    def _pair(self, cells: Mask, most: float | None = None) -> tuple[Grey, Grey, float] | None:
        """Texture of both at those cells that no edge of light is near, and the most of it."""
        box = cv2.boundingRect(cells.astype(np.uint8))
        part = (slice(box[1], box[1] + box[3]), slice(box[0], box[0] + box[2]))
        inside = cells[part]
        if np.count_nonzero(inside) < LEAST_CELLS:
            return None
        weight = inside.astype(np.float32)
        there, here = (
            _fine(planes[(slice(None), *part)].mean(axis=0), weight)
            for planes in (self.empty, self.now)
        )
        if most is None:
            most = MOST_TIMES * _common(there[inside])
        limit = MOST_TIMES * _common(here[inside]) + 1e-4
        edges = inside & ((np.abs(there) > most) | (np.abs(here) > limit))
        even = inside & ~_near(edges)
        there, here = there[even], here[even]
        if len(there) < LEAST_CELLS or not there.any():
            return None
        return there, here, most


def _common(values: Grey) -> float:
    return 1.48 * float(np.median(np.abs(values)))


def _near(cells: Mask) -> Mask:
    square = np.ones((3, 3), np.uint8)
    return np.asarray(cv2.dilate(cells.astype(np.uint8), square) > 0)


def _fine(plane: Grey, weight: Grey) -> Grey:
    """What of a plane is finer than its mean over the weighted cells."""
    size = (0, 0)
    mean = cv2.GaussianBlur(plane * weight, size, FINE_CELLS, borderType=cv2.BORDER_CONSTANT)
    over = cv2.GaussianBlur(weight, size, FINE_CELLS, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(plane - mean / np.maximum(over, 1e-3), np.float32)
