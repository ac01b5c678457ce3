"""Damage inside a JPEG that decoders pass over: what they warn of, and steps between blocks.

A flipped bit or a piece cut out moves or tints all that follows it. The decoder then meets codes
that cannot be, and says so on the process's error output alone; or it meets none, and from one
block on every brightness or colour is off by as much: a step where rows of blocks meet.
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
BLOCK_ROW_PX = 16
"""Height of a row of blocks where colour is stored at half the picture's fineness, as is usual."""
STEP_LEVELS = np.array([3.0, 2.0, 2.0])
"""Grey levels of luma and both chromas: the least step that counts."""
TIMES_USUAL = 3.0
"""So many times the picture's usual step: noise and coarse coding step at every border."""
SHARP = np.array([0.7, 0.9, 0.9])
"""A step between lines at a border is so much of the change over eleven lines; an edge of a real
thing is drawn out over several lines by the lens."""
SHARES = np.array([0.5, 0.65, 0.65])
"""Of the picture's width that steps the same way. Damaged stills that read wrongly reach 0.77 and
more in one of luma and chromas, healthy ones that step at both sides 0.53 in chroma."""
SEGMENTS = 30
LEAST_SEGMENT_PX = 20
"""Width of a segment whose mean is compared; 30 of 64 pixels in a picture of 1920."""
OUTER = 3
"""Segments at each side of the picture: damage steps there too, a table's edge mostly not."""
OUTER_SHARE = 0.6
_LINES = (-6, -2, -1, 0, 1, 5)
_TO_LUMA_CHROMA = np.array(
    [[0.114, 0.5, -0.0813], [0.587, -0.3313, -0.4187], [0.299, -0.1687, 0.5]], np.float32
)
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


def steps_between_blocks(picture: Picture, row_px: int = BLOCK_ROW_PX) -> bool:
    """Whether somewhere all that follows a block is brighter, darker or of another colour.

    ``row_px`` is the height of a row of blocks. From the damaged block on the step lies above its
    row, before it below: the two parts together cross the picture from side to side.
    """
    height, width = picture.shape[:2]
    borders = np.arange(row_px, height - max(_LINES), row_px)
    count = min(SEGMENTS, width // LEAST_SEGMENT_PX)
    if not len(borders) or count < 2 * OUTER:
        return False
    lines = picture[(borders[:, None] + np.array(_LINES)).ravel()]
    means = cv2.resize(lines, (count, len(lines)), interpolation=cv2.INTER_AREA)
    colours = means.astype(np.float32) @ _TO_LUMA_CHROMA
    far_above, above, last, first, below, far_below = np.moveaxis(
        colours.reshape(len(borders), len(_LINES), count, 3), 1, 0
    )
    # colour that is stored coarser is drawn out over two lines on each side
    step = np.concatenate([(first - last)[..., :1], (below - above)[..., 1:]], axis=-1)
    change = far_below - far_above
    # noise and coarse coding step a little at every border, damage at one
    least = np.maximum(STEP_LEVELS, TIMES_USUAL * np.median(np.abs(step), axis=(0, 1)))
    return any(
        _crosses(
            (sign * step >= least) & (sign * step >= SHARP * sign * change) & (sign * change > 0)
        )
        for sign in (1.0, -1.0)
    )


def _crosses(steps: NDArray[np.bool_]) -> bool:
    """Whether steps (borders, segments, 3) cross the picture, before some segment one row lower."""
    count = steps.shape[1]
    lower = np.concatenate([steps[1:], np.zeros_like(steps[:1])])
    # no place between can have more than the better of both at each segment
    hopeful = np.argwhere((steps | lower).mean(axis=1) >= SHARES)
    for border, part in hopeful:
        here, under = steps[border, :, part], lower[border, :, part]
        for split in range(count + 1):
            line = np.concatenate([under[:split], here[split:]])
            ends = min(line[:OUTER].mean(), line[-OUTER:].mean())
            if line.mean() >= SHARES[part] and ends >= OUTER_SHARE:
                return True
    return False


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
