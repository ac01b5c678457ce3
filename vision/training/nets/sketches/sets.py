"""Textures of ball sets that sketches are painted with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray

from vision.layout import BALL_IDS
from vision.training.scenes.looks import BallLook
from vision.training.scenes.paint.ball_texture import SCHEMES, ball_texture

FACE_PX = 80
LEAST_SETS = 2
"""Sets of balls to draw from at least, so that not all are strange."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sets:
    """Ball sets on one device."""

    textures: torch.Tensor
    """(sets, 16, 160, 240, 3) RGB, uint8."""
    worth: torch.Tensor
    """What their names are worth, (sets,)."""

    @property
    def device(self) -> str:
        """Where they are."""
        return str(self.textures.device)


def draw_sets(count: int, seed: int) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Textures (count, 16, 160, 240, 3) RGB of ball sets, and what their names are worth (count,).

    Sets of strange paint teach places alone.
    """
    rng = np.random.default_rng(seed)
    textures = np.empty((count, len(BALL_IDS), 2 * FACE_PX, 3 * FACE_PX, 3), np.uint8)
    worth = np.ones(count, np.float32)
    for k in range(count):
        strange = rng.random() < 0.35
        look = BallLook(
            scheme=str(rng.choice(list(SCHEMES))), shade=float(rng.uniform(-1, 1)),
            hue=float(rng.uniform(-1, 1)), ivory=float(rng.uniform(0, 1.4)),
            band_mm=float(rng.uniform(24, 36)), disc_mm=float(rng.uniform(13, 21)),
            spotted_cue=bool(rng.random() < 0.2), dust=float(rng.uniform(0, 0.6)),
            recolour=float(rng.uniform(0.4, 1.0)) if strange else 0.0,
            strange=int(rng.integers(0, 6)) if strange else 0,
            faded=float(rng.uniform(0, 0.8) * (rng.random() < 0.4)),
            seed=int(rng.integers(1 << 30)),
        )  # fmt: skip
        worth[k] = 0.0 if strange else 1.0
        for n, name in enumerate(BALL_IDS):
            textures[k, n] = np.asarray(ball_texture(look, name))[::2, ::2]
    return textures, worth
