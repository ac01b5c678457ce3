"""Sketched crops: balls on a cloth shaded by formula on the training's own device, none alike.

A path tracer gives some thousand stills of lamps and materials that its recipe knows. Here every
step of a training draws its own cloths, lamps, lenses and sensors: spheres and a plane are met by
rays, lamps are discs whose shadows and mirror images have closed forms. Pictures are less true
than rendered ones but far more various, and the places are as exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray

from .sketches.light import traced
from .sketches.scene import BALLS_A_STILL, EMPTY_A_STILL, Scene
from .sketches.sensor import sensed
from .sketches.sets import Sets


@dataclass(frozen=True, slots=True, kw_only=True)
class Sketch:
    """Crops (N, 3, 56, 56) BGR 0 … 1 of several stills, in their order, with the truth."""

    seen: torch.Tensor
    true_mm: torch.Tensor
    """Ball centres in the crop plane, (N, 2)."""
    kind: torch.Tensor
    """Place of the name in ``BALL_IDS``; their number where no ball lies in the middle."""
    visible: torch.Tensor
    """Share of the ball that nothing hides, (N,)."""
    name_trust: torch.Tensor
    stills: int
    each: int
    """Crops a still."""


class Sketcher:
    """Draws stills' crops on one device, other ones at every call."""

    def __init__(
        self, textures: NDArray[np.uint8], worth: NDArray[np.float32], device: str
    ) -> None:
        self.sets = Sets(
            textures=torch.from_numpy(textures).to(device),
            worth=torch.from_numpy(worth).to(device),
        )

    @torch.no_grad()
    def draw(self, stills: int) -> Sketch:
        """Crops of so many stills."""
        scene = Scene.drawn(self.sets, stills)
        light, visible = traced(scene)
        return Sketch(
            seen=sensed(light, stills), true_mm=scene.true_mm, kind=scene.kind, visible=visible,
            name_trust=scene.name_trust, stills=stills, each=BALLS_A_STILL + EMPTY_A_STILL,
        )  # fmt: skip
