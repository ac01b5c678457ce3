"""Whether a JPEG's quantisation tables are the ones it was coded with, told by its picture alone.

A damaged table multiplies one coefficient of every block by one factor f. In a sound picture what
the coefficients do where two blocks meet cancels, because things go on there. What is multiplied
is left over: the slope b of the step between blocks upon that coefficient's own part of it becomes
1 - (1 - b)/f. Thousands of borders tell it well. Noise does not cancel either (b nears 1), so it
grows with frequency, and only coefficients that stand out of it are looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Floats = NDArray[np.float32]
BLOCK_PX = 8
MOST_ROWS = 24
"""So many rows of blocks, spread over the picture, are looked at."""
LEAST_BLOCKS = 1500
"""Below, chance makes slopes too wide."""
FINEST = (5, 3, 3)
"""Of luma and both chromas: down plus across, up to which coefficients are looked at."""
STEPS_WIDE = 1.0
"""A coefficient whose spread is less than so many steps of its table is mostly rounded away."""
DIVIDED = -0.05
"""Sound slopes are positive (0.002 and more in 123 stills of six encoders); f = 0.8 makes -0.2."""
PULLED = -0.3
"""Of the three coarsest, at one of both kinds of border."""
RISE = 0.3
"""Log of a factor above the next finer coefficients, whose slopes are higher in sound ones."""
SPIKES = ((0.9, -0.2, 0.1, 0.3, 0.4, 0.5), (0.95, 0.05, 0.3, 0.3))
"""Log of the spread above all its neighbours', by down plus across; spreads fall with frequency."""
SPIKE_SLOPES = ((0.15, 0.35, 0.55, 0.7, 0.8, 0.85), (0.6, 0.7, 0.75, 0.8))
"""A spike counts where the slope is as high as that, too."""
ALONE = 0.6
"""So much farther above, a spread counts by itself."""
HIGH = ((0.3, 0.5), (0.5, 0.6))
"""Slope of the two coarsest, and twice what noise explains, that no sound picture has."""


def _waves() -> Floats:
    place, wave = np.arange(8), np.arange(8)[:, None]
    waves = 0.5 * np.cos(np.pi * (2 * place + 1) * wave / 16)
    waves[0] /= np.sqrt(2)
    return np.asarray(waves, np.float32)


_WAVES = _waves()
"""(8, 8): each row is a wave of the cosine transform."""
_AFTER = 1.5 * _WAVES[:, 0] - 0.5 * _WAVES[:, 1]
_BEFORE = 0.5 * _WAVES[:, 6] - 1.5 * _WAVES[:, 7]
"""What a wave does to the step between two blocks beyond the mean of the changes beside it."""
_PART = np.sqrt(_AFTER**2 + _BEFORE**2)


@dataclass(frozen=True, slots=True)
class _Seen:
    """Of one part, (8, 8) by down and across: slopes at both kinds of border, and spreads."""

    least: Floats
    most: Floats
    spreads: tuple[Floats, Floats]
    level: Floats


def multiplied(
    picture: Picture, tables: Sequence[NDArray[np.int64]], coarser: tuple[int, int]
) -> str:
    """Which coefficient was multiplied by a wrong table; "" where none seems to be.

    ``tables`` holds the (64,) values, row by row, for luma and both chromas (or luma alone),
    ``coarser`` how many pixels across and down share a colour.
    """
    parts = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2YCrCb), np.uint8)
    for part, table in enumerate(tables):
        # the file holds blue before red
        plane: Picture = np.ascontiguousarray(parts[..., (0, 2, 1)[part]])
        if part and coarser != (1, 1):
            size = (plane.shape[1] // coarser[0], plane.shape[0] // coarser[1])
            plane = np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), np.uint8)
        seen = _seen(plane)
        if seen is None:
            continue
        found = _wrong(seen, part, table.reshape(8, 8))
        if found is not None:
            return (
                ("brightness", "blueness", "redness")[part]
                + f", wave {found[0]} down and "
                + (f"{found[1]} across")
            )
    return ""


def _seen(plane: Picture) -> _Seen | None:
    rows, columns = plane.shape[0] // BLOCK_PX, plane.shape[1] // BLOCK_PX
    if rows * columns < LEAST_BLOCKS:
        return None
    # pairs of rows that lie under one another, spread over the picture
    first = np.unique(np.linspace(0, rows - 2, min(rows - 1, MOST_ROWS // 2)).astype(int))
    lines = (first[:, None] * BLOCK_PX + np.arange(2 * BLOCK_PX)).ravel()
    taken = plane[lines, : columns * BLOCK_PX].astype(np.float32)
    blocks = taken.reshape(len(first), 2, BLOCK_PX, columns, BLOCK_PX)
    across = blocks @ _WAVES.T
    # (pairs, 2, columns, down, across)
    waves = np.matmul(_WAVES, across.transpose(0, 1, 3, 2, 4))
    beside = _AFTER * waves[:, :, 1:] + _BEFORE * waves[:, :, :-1]
    under = _AFTER[:, None] * waves[:, 1] + _BEFORE[:, None] * waves[:, 0]
    one, wide = _slopes(beside.reshape(-1, 8, 8), axis=2)
    other, high = _slopes(under.reshape(-1, 8, 8), axis=1)
    wide, high = wide / _PART, high / _PART[:, None]
    return _Seen(
        least=np.minimum(one, other),
        most=np.maximum(one, other),
        spreads=(wide, high),
        level=np.sqrt((wide**2 + high**2) / 2),
    )


def _slopes(parts: Floats, axis: int) -> tuple[Floats, Floats]:
    """(8, 8) slopes of the whole step upon each part of it, and the parts' spreads."""
    whole = parts.sum(axis=axis, keepdims=True)
    square = np.maximum((parts * parts).mean(axis=0), 1e-9)
    return (whole * parts).mean(axis=0) / square, np.sqrt(square)


def _wrong(seen: _Seen, part: int, table: NDArray[np.int64]) -> tuple[int, int] | None:
    noise = float(np.median(seen.level[5:, 5:])) ** 2
    kind = min(part, 1)
    for down in range(FINEST[part] + 1):
        for across in range(FINEST[part] + 1 - down):
            at = (down, across)
            if seen.level[at] < STEPS_WIDE * table[at]:
                continue
            is_high = False
            fine = down + across
            if fine < len(HIGH[kind]):
                share = (noise + float(table[at]) ** 2 / 12) / float(seen.level[at]) ** 2
                is_high = bool(seen.least[at] > HIGH[kind][fine] + 2 * share)
            finer = max(seen.most[down + 1, across], seen.most[down, across + 1])
            rise = np.log((1 - min(finer, 0.95)) / (1 - min(seen.least[at], 0.95)))
            over = _spike(seen.spreads, at) - SPIKES[kind][fine]
            is_spike = over > ALONE or (over > 0 and seen.least[at] > SPIKE_SLOPES[kind][fine])
            # what is multiplied pulls its neighbours' slopes down at one kind of border
            is_divided = seen.most[at] < DIVIDED or (fine < 2 and seen.least[at] < PULLED)
            if is_high or is_divided or rise > RISE or is_spike:
                return at
    return None


def _spike(spreads: tuple[Floats, Floats], at: tuple[int, int]) -> float:
    """Log of how far a spread stands above the greatest of its neighbours'."""
    down, across = at
    around = [(down + 1, across), (down, across + 1), (down - 1, across), (down, across - 1)]
    return min(
        float(np.log(each[at] / max(each[v, u] for v, u in around if v >= 0 and u >= 0)))
        for each in spreads
    )
