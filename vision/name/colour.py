"""Whether a still has the colours that names are told by: a grey one cannot tell a 10 from a 14."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.arrays import FloatArray
from calibration.notices import Notice
from vision.still import Picture

from .identify import Name

SAMPLED_PX = 12_000
"""Pixels looked at, evenly over the picture: 0.8 ms."""
LEAST_COLOUR = 3.5
"""Spread (root mean square, of 0 … 255) of blue and red beside green that green does not tell. Of
19 sample stills and four rooms of another renderer, one of them grey all over, all have 5.6 and
more; made grey 0, tinted grey 2 at most."""
FEWEST_COLOURS = 600
"""Different colours among the sampled pixels: the same stills show 1,500 and more, palettes 256."""
UNTOLD = 0.5
"""Confidence of a name that colour does not bear out, at most."""


def colour_lack(picture: Picture) -> Notice | None:
    """A notice where ``picture`` (H, W, 3) BGR has no colour or too few; None where it has."""
    step = max(1, int((picture.shape[0] * picture.shape[1] / SAMPLED_PX) ** 0.5))
    pixels = picture[::step, ::step].reshape(-1, 3)
    spread = _beside_green(pixels)
    if spread >= LEAST_COLOUR:
        codes = pixels.astype(np.uint32) @ np.array([1, 256, 65536], np.uint32)
        # a part of them mostly shows enough already
        if any(len(np.unique(some)) >= FEWEST_COLOURS for some in (codes[::4], codes)):
            return None
        what = "only a few colours"
    else:
        what = "no colour"
    return Notice(
        code="no-colour",
        text=f"The still has {what}, and balls are told apart by it: every name is in doubt. Send "
        "stills as the camera takes them, in full colour.",
        fields={"spread": spread},
    )


def doubted(names: tuple[Name, ...]) -> tuple[Name, ...]:
    """The names, none surer than a guess."""
    return tuple(replace(name, confidence=min(name.confidence, UNTOLD)) for name in names)


def _beside_green(pixels: Picture) -> float:
    """Spread of blue and red among pixels (N, 3) of one green, over all greens."""
    green = pixels[:, 1]
    count = np.maximum(np.bincount(green, minlength=256), 1)
    off: FloatArray = pixels[:, [0, 2]].astype(float) - green[:, None].astype(float)
    left = sum(
        float(np.sum(own**2) - np.sum(np.bincount(green, own, 256) ** 2 / count)) for own in off.T
    )
    return float(np.sqrt(max(left, 0.0) / len(green)))
