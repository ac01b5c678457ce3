"""Whether rows of a JPEG's blocks stand beside where they belong, told by where they meet.

Where coded data are lost, doubled or swapped and the decoder finds its way again, all that follows
stands some blocks too far left or right, and the colours may fit. Upright edges then break off
between two rows of blocks, and go on as soon as the lower row is pushed back.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Floats = NDArray[np.float64]
BLOCK_PX = 8
COLUMN_PX = 4
"""Columns are taken together so wide: noise goes, a block's push stays a whole number of them."""
FARTHEST_PX = 128
"""Farther than that what stands there differs in most columns: ``SHARE_BROKEN`` sees it."""
SEGMENTS = 12
MOST_LEVELS = 60
"""A column's difference counts for no more: one bright edge is not all."""
GAIN = 0.25
"""Pushed back, so much more than the difference that remains must be gone. Edges that lean left
out, one of 450 healthy stills reaches 0.2; two with parts that moved by 8 px reached 0.3 and 0.8.
"""
USUAL_LEVELS = 1.0
"""Grey levels of difference that noise and coding leave in any column."""
SHARE_BROKEN = 0.08
"""Columns of a border that step up, and as many that step down, by more than twice what they
change beside it; an edge that lies along the border steps one way."""
BROKEN_LEVELS = 8


def stand_beside(picture: Picture, row_px: int) -> bool:
    """Whether from some row of blocks, ``row_px`` high, on all is moved sideways."""
    height, width = picture.shape[:2]
    borders = np.arange(row_px, height - 2, row_px)
    if len(borders) < 2 or width < 4 * FARTHEST_PX:
        return False
    lines = [np.ascontiguousarray(picture[borders + at, :, 1]) for at in (-2, -1, 0, 1)]
    if _broken(lines):
        return True
    size = (width // COLUMN_PX, len(borders))
    return _moved(
        [
            np.asarray(
                cv2.resize(each[:, : size[0] * COLUMN_PX], size, interpolation=cv2.INTER_AREA),
                np.uint8,
            )
            for each in lines
        ]
    )


def _broken(lines: list[Picture]) -> bool:
    """Whether far more columns step at one border than elsewhere."""
    above, last, first, below = lines
    beside = cv2.max(cv2.absdiff(above, last), cv2.absdiff(below, first))
    limit = cv2.add(cv2.add(beside, beside), np.full_like(beside, BROKEN_LEVELS))
    shares = [
        (cv2.subtract(one, other) > limit).mean(axis=1)
        for one, other in ((first, last), (last, first))
    ]
    # coarse coding steps a little at every border
    usual = sum(float(np.median(each)) for each in shares)
    return bool(np.minimum(*shares).max() > SHARE_BROKEN + 2 * usual)


def _moved(lines: list[Picture]) -> bool:
    above, last, first, below = lines
    step, farthest = BLOCK_PX // COLUMN_PX, FARTHEST_PX // COLUMN_PX
    pushes = [far * way for far in range(step, farthest + 1, step) for way in (1, -1)]
    every = _differing(last, first, [0, *pushes])
    stay, left = every[0], every[1:]
    usual = USUAL_LEVELS * last.shape[1]
    gains = _crossing(stay - left) / (_crossing(left) + usual)
    found = np.argwhere((gains > GAIN).any(axis=2))
    for which, border in found:
        pair = slice(border, border + 2)
        # an edge that leans is met again some pixels on, inside the blocks, too
        inside = [
            np.subtract(*_differing(one[pair], other[pair], [0, pushes[which]]))
            for one, other in ((above, last), (first, below))
        ]
        pushed = left[which][pair]
        more = (stay[pair] - pushed) - np.maximum(0, np.maximum(*inside))
        if (_crossing(more) / (_crossing(pushed) + usual)).max() > GAIN:
            return True
    return False


def _differing(upper: Picture, lower: Picture, pushes: list[int]) -> Floats:
    """(pushes, borders, SEGMENTS): sum of the columns' differences, the lower line so far on."""
    farthest = FARTHEST_PX // COLUMN_PX
    count = upper.shape[1] - 2 * farthest
    middle = np.ascontiguousarray(upper[:, farthest : farthest + count])
    off = np.empty((len(pushes), *middle.shape), np.uint8)
    for each, push in zip(off, pushes, strict=True):
        start = farthest + push
        cv2.absdiff(middle, lower[:, start : start + count], dst=each)
    flat = off.reshape(-1, count)
    _, capped = cv2.threshold(flat, MOST_LEVELS, MOST_LEVELS, cv2.THRESH_TRUNC)
    sums = capped.astype(np.float32) @ _segments(count)
    return np.asarray(sums.reshape(len(pushes), -1, SEGMENTS), np.float64)


@lru_cache(maxsize=4)
def _segments(count: int) -> NDArray[np.float32]:
    """(count, SEGMENTS): the share of each column that lies in each of the equal segments."""
    ends = np.linspace(0, count, SEGMENTS + 1)
    at = np.arange(count)[:, None]
    share = np.minimum(at + 1, ends[1:]) - np.maximum(at, ends[:-1])
    return np.asarray(np.maximum(share, 0), np.float32)


def _crossing(values: Floats) -> Floats:
    """(…, borders - 1, SEGMENTS + 1): sums right of each segment, and left of it one border lower.

    What follows a block in the middle of a row meets the row above it to the right of that block,
    and the row below to the left.
    """
    left = np.zeros((*values.shape[:-1], values.shape[-1] + 1))
    np.cumsum(values, axis=-1, out=left[..., 1:])
    right = left[..., -1:] - left
    return np.asarray(right[..., :-1, :] + left[..., 1:, :], np.float64)
