"""Damage inside a JPEG that decoders pass over: what they warn of, and steps between blocks.

A flipped bit or a piece cut out moves or tints all that follows it. The decoder then meets codes
that cannot be, and says so on the process's error output alone; or it meets none, and from one
block on every brightness is off by as much: a step between two picture lines where blocks meet.
"""

from __future__ import annotations

import os
import re
import tempfile
import threading
from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
BLOCK_PX = 16
"""Blocks of a JPEG are 8 or 16 lines high: every 16th line is a border between them."""
STEP_LEVELS = 3.0
"""Grey levels: the least step that counts; noise and coding leave less in a mean of 64 pixels."""
SHARP_SHARE = 0.7
"""A step between two neighbouring lines is so much of the change over eleven lines; an edge of a
real thing is drawn out over several lines by the lens."""
WHOLE_SHARE = 0.42
"""Of the line's length that steps the same way. The sample stills reach 0.27, damaged ones that
read wrongly 0.53 and more."""
STANDS_OUT = 0.2
"""So much more of the line's length than of the picture's median border: noise and coarse coding
step a little at every border, damage at one."""
LEAST_SEGMENTS = 8
"""Fewer segments that step the same way may do so by chance, in a small and noisy picture."""
_SEGMENT_PX = 64
_LINES = (-6, -1, 0, 5)
_SAID = re.compile(
    rb"^(Corrupt JPEG data|Premature end of JPEG|Inconsistent progression|Invalid SOS|"
    rb"Unsupported marker|Invalid component).*$",
    re.MULTILINE,
)
_one_at_a_time = threading.Lock()
_kept: list[int] = []
"""The one file, by its descriptor, that holds what decoders say."""


def warned_of(decode: Callable[[], Picture | None]) -> tuple[Picture | None, str]:
    """What ``decode`` returns, and what the JPEG decoder said of damage meanwhile, "" if nothing.

    The decoder writes to the process's error output and nowhere else, so that is held while it
    works; what others wrote there meanwhile is passed on.
    """
    with _one_at_a_time:
        if not _kept:
            with tempfile.TemporaryFile() as made:
                _kept.append(os.dup(made.fileno()))
        file = _kept[0]
        try:
            shown = os.dup(2)
        except OSError:  # a process without an error output
            shown = -1
        os.dup2(file, 2)
        try:
            picture = decode()
        finally:
            if shown >= 0:
                os.dup2(shown, 2)
                os.close(shown)
            else:
                os.close(2)
        said = _taken(file)
    found = _SAID.search(said)
    others = _SAID.sub(b"", said).strip()
    if others and shown >= 0:
        os.write(2, others + b"\n")
    return picture, found.group().decode(errors="replace") if found else ""


def steps_between_blocks(picture: Picture) -> bool:
    """Whether somewhere a great part of a line steps sharply where two rows of blocks meet."""
    height, width = picture.shape[:2]
    borders = np.arange(BLOCK_PX, height - BLOCK_PX // 2, BLOCK_PX)
    if not len(borders) or width < _SEGMENT_PX:
        return False
    lines = picture[(borders[:, None] + np.array(_LINES)).ravel()]
    means = cv2.resize(lines, (width // _SEGMENT_PX, len(lines)), interpolation=cv2.INTER_AREA)
    above, last, first, below = np.moveaxis(
        means.reshape(len(borders), len(_LINES), -1, 3).astype(np.float32), 1, 0
    )
    step, change = first - last, below - above
    counts = (np.abs(step) >= STEP_LEVELS) & (np.abs(step) >= SHARP_SHARE * np.abs(change))
    up = (counts & (step > 0) & (change > 0)).mean(axis=1)
    down = (counts & (step < 0) & (change < 0)).mean(axis=1)
    share = np.maximum(up, down)
    least = max(WHOLE_SHARE, LEAST_SEGMENTS / means.shape[1], float(np.median(share)) + STANDS_OUT)
    return bool(share.max() >= least)


def _taken(file: int) -> bytes:
    """All that was written to the file, which is empty afterwards."""
    length = os.lseek(file, 0, os.SEEK_END)
    if not length:
        return b""
    os.lseek(file, 0, os.SEEK_SET)
    said = os.read(file, length)
    os.ftruncate(file, 0)
    os.lseek(file, 0, os.SEEK_SET)
    return said
