"""What a camera makes of a sketch's light: its pixels, noise, curves, colour and edges."""

from __future__ import annotations

import math

import torch
from torch.nn import functional

from vision.place.crops import CROP_SIDE, CROP_STEP_MM

from .chance import uniform
from .light import SIDE


def sensed(light: torch.Tensor, stills: int) -> torch.Tensor:
    """What cameras make of it: crops (N, 3, 56, 56), BGR 0 … 1."""
    dev, count = light.device, len(light)
    each = count // stills
    still = torch.arange(stills, device=dev).repeat_interleave(each)
    shot = light.reshape(stills, -1, 3)
    level = shot.mean(2)[:, ::37].quantile(0.9, dim=1)
    expose = torch.exp(uniform(str(dev), math.log(0.1), math.log(1.1), stills)) / level.clamp_min(
        1e-4
    )
    tint = shot[:, ::37].mean(1)
    tint = (tint / tint.mean(1, keepdim=True)) ** -uniform(str(dev), -0.1, 0.5, stills, 1)
    gain = (expose[:, None] * tint)[still][:, :, None, None]
    seen = light.permute(0, 3, 1, 2) * gain
    veil = (0.08 * torch.rand(stills, 1, device=dev) ** 3 * torch.ones(1, 3, device=dev))[still]
    seen = seen + veil[:, :, None, None]
    parts, grouped = [], torch.arange(stills, device=dev).chunk(min(stills, 6))
    for group in grouped:
        rows = (group[:, None] * each + torch.arange(each, device=dev)).reshape(-1)
        parts.append(_pixels(seen[rows], len(group)))
    return torch.cat(parts).flip(1)


def _pixels(light: torch.Tensor, stills: int) -> torch.Tensor:
    """The same at one camera's pixels, spread, noisy, bent and brought back to the crop's."""
    dev = str(light.device)
    count = len(light)
    still = torch.arange(stills, device=dev).repeat_interleave(count // stills)

    def of_still(low: float, high: float, power: float = 1.0) -> torch.Tensor:
        drawn = low + (high - low) * torch.rand(stills, device=dev) ** power
        return drawn[still][:, None, None, None]

    pitch = float(torch.exp(uniform(dev, math.log(0.8), math.log(3.2), 1)))
    side = max(24, round(CROP_SIDE * CROP_STEP_MM / pitch))
    out = (
        functional.interpolate(
            light.clamp(0, 4),
            size=(side, side),
            mode="bilinear",
            antialias=True,
            align_corners=False,
        )
        if side < SIDE
        else functional.interpolate(light.clamp(0, 4), size=(side, side), mode="bilinear")
    )
    out = _spread(out, of_still(0.0, 1.0, 1.5))
    noise = of_still(0.0, 0.08, 2.5)
    out = out + noise * (out.clamp_min(0) + 0.02).sqrt() * torch.randn_like(out)
    curve = of_still(1.7, 2.6)
    out = out.clamp(1e-5, 1.0) ** (1 / curve)
    bend = of_still(-0.5, 0.8)
    out = (out + bend * out * (1 - out) * (out - 0.5)).clamp(0, 1)
    # what cameras do to colour: less of it, drawn wider
    grey = out.mean(1, keepdim=True)
    colour = _spread(_spread(out - grey, of_still(0, 1)), of_still(0, 1))
    out = grey + colour * of_still(0.5, 1.5)
    sharp = of_still(-0.3, 0.9)
    out = out + sharp * (out - _spread(out, torch.ones_like(sharp)))
    return functional.interpolate(
        out.clamp(0, 1), size=(CROP_SIDE, CROP_SIDE), mode="bilinear", align_corners=False,
        antialias=side > CROP_SIDE,
    )  # fmt: skip


def _spread(seen: torch.Tensor, amount: torch.Tensor) -> torch.Tensor:
    """Mixed by ``amount`` 0 … 1 (N, 1, 1, 1) with what a 3 × 3 blur gives."""
    kernel = torch.tensor([0.25, 0.5, 0.25], device=seen.device)
    weight = (kernel[:, None] * kernel).expand(3, 1, 3, 3)
    blurred = functional.conv2d(functional.pad(seen, (1, 1, 1, 1), "replicate"), weight, groups=3)
    return seen + amount * (blurred - seen)
