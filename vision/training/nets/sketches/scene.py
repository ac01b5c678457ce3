"""What a sketch shows: balls, cloth, rail, lamps and the lens, drawn anew at every call."""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
from torch.nn import functional

from calibration.table import BALL_RADIUS_MM
from vision.layout import BALL_IDS

from .chance import uniform
from .sets import FACE_PX, Sets

BALLS_A_STILL, EMPTY_A_STILL = 9, 3
NEIGHBOURS = 3
LAMPS = 6
"""Discs of light a still, some of them dark."""
START_SIGMA_MM, START_LIMIT_MM = 2.9, 8.5
AWAY_MM = 1e5
"""Where a sphere that is not there lies."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """N crops in their own frames: x away from the lens's foot, z up from the balls' centres."""

    sets: Sets
    eye: torch.Tensor
    away: torch.Tensor
    across: torch.Tensor
    centres: torch.Tensor
    """Spheres, the ball of the middle first, (N, 4, 3), mm."""
    turn: torch.Tensor
    """Rotations of the spheres, (N, 4, 3, 3)."""
    paint: torch.Tensor
    """Textures of the spheres: set and ball, (N, 4, 2)."""
    rail: torch.Tensor
    """Direction to a rail's nose and its distance, (N, 3); far away where there is none."""
    lamp: torch.Tensor
    """Places of lamps, (N, 6, 3), mm."""
    lamp_radius: torch.Tensor
    lamp_light: torch.Tensor
    """What each gives a level plane beneath it, (N, 6, 3), linear RGB."""
    sky: torch.Tensor
    sky_slope: torch.Tensor
    cloth: torch.Tensor
    """(N, 3), linear RGB."""
    cloth_sheen: torch.Tensor
    grain: torch.Tensor
    """Strengths of fine and coarse marks of the cloth, (N, 2)."""
    gloss: torch.Tensor
    blinds: torch.Tensor
    """Direction, period in mm, phase and share of bars before the first lamp, (N, 5)."""
    flat: torch.Tensor
    true_mm: torch.Tensor
    kind: torch.Tensor
    name_trust: torch.Tensor

    @classmethod
    def drawn(cls, sets: Sets, stills: int) -> Scene:
        """Fresh ones."""
        dev, each = sets.device, BALLS_A_STILL + EMPTY_A_STILL
        count = stills * each
        still = torch.arange(stills, device=dev).repeat_interleave(each)
        bare = (torch.arange(each, device=dev) >= BALLS_A_STILL).repeat(stills)
        size = torch.stack([uniform(dev, 1900, 2600, stills), uniform(dev, 950, 1300, stills)], 1)
        place = torch.rand(count, 2, device=dev) * size[still]
        # most lenses hang over the bed, some look from a side
        foot = size * uniform(dev, 0.25, 0.75, stills, 2)
        beside = torch.rand(stills, device=dev) < 0.25
        foot[:, 1] -= beside * uniform(dev, 200, 1300, stills)
        high = uniform(dev, 1600, 3300, stills)
        level = place - foot[still]
        reach = level.norm(dim=1)
        axis = level / reach[:, None].clamp_min(1e-6)
        eye = torch.stack([-reach, torch.zeros_like(reach), high[still]], 1)
        sight = -eye / eye.norm(dim=1, keepdim=True)
        away = torch.stack([-sight[:, 2], torch.zeros_like(reach), sight[:, 0]], 1)
        across = torch.tensor([0.0, -1.0, 0.0], device=dev).expand(count, 3)

        def to_crop(there: torch.Tensor) -> torch.Tensor:
            """Places of stills (S, L, 3), z up from the balls' centres, in the crops' frames."""
            moved = there[still] - functional.pad(place, (0, 1))[:, None]
            x = moved[..., 0] * axis[:, None, 0] + moved[..., 1] * axis[:, None, 1]
            y = -moved[..., 0] * axis[:, None, 1] + moved[..., 1] * axis[:, None, 0]
            return torch.stack([x, y, moved[..., 2]], -1)

        middle = START_SIGMA_MM * torch.randn(count, 2, device=dev)
        middle *= (START_LIMIT_MM / middle.norm(dim=1, keepdim=True)).clamp(max=1)
        rail = _rails(dev, count, middle)
        centres = _spheres(dev, middle, bare, rail)
        kinds = torch.stack([torch.randperm(16, device=dev)[:BALLS_A_STILL] for _ in range(stills)])
        kind = functional.pad(kinds, (0, EMPTY_A_STILL), value=len(BALL_IDS)).reshape(-1)
        chosen = torch.randint(len(sets.textures), (stills,), device=dev)
        ball = torch.cat(
            [kind[:, None] % 16, torch.randint(16, (count, NEIGHBOURS), device=dev)], 1
        )
        paint = torch.stack([chosen[still][:, None].expand_as(ball), ball], -1)
        lamp, radius, light, sky = _lamps(dev, size)
        slope = uniform(dev, 0, 0.8, stills, 1) * functional.normalize(
            torch.randn(stills, 3, device=dev), dim=1
        )
        turned = to_crop(slope[:, None] + 0)  # directions: the place is taken off again
        base = to_crop(torch.zeros_like(slope)[:, None])
        bars = torch.randn(stills, 2, device=dev)
        blinds = torch.cat(
            [
                functional.normalize(bars, dim=1), uniform(dev, 15, 220, stills, 1),
                uniform(dev, 0, 2 * math.pi, stills, 1),
                torch.where(torch.rand(stills, 1, device=dev) < 0.2,
                            uniform(dev, -0.6, 0.8, stills, 1), torch.tensor(-9.0, device=dev)),
            ], 1,
        )  # fmt: skip
        return cls(
            sets=sets, eye=eye, away=away, across=across, centres=centres,
            turn=_turns(dev, count * (1 + NEIGHBOURS)).reshape(count, -1, 3, 3), paint=paint,
            rail=rail, lamp=to_crop(lamp), lamp_radius=radius[still], lamp_light=light[still],
            sky=sky[still], sky_slope=(turned - base)[:, 0],
            cloth=_cloth(sets, chosen)[still],
            cloth_sheen=(0.5 * torch.rand(stills, device=dev) ** 3)[still],
            grain=(uniform(dev, 0, 1, stills, 2) ** 2
                   * torch.tensor([0.25, 0.5], device=dev))[still],
            gloss=uniform(dev, 0.15, 1.3, stills)[still], blinds=blinds[still],
            flat=(torch.rand(stills, device=dev) < 0.12).float()[still],
            true_mm=_in_crop(centres[:, 0], eye, away, across, bare), kind=kind,
            name_trust=sets.worth[chosen][still],
        )  # fmt: skip


def _in_crop(
    centre: torch.Tensor, eye: torch.Tensor, away: torch.Tensor, across: torch.Tensor,
    bare: torch.Tensor,
) -> torch.Tensor:  # fmt: skip
    """Where the middle's ball lies in the crop plane, (N, 2); zero where there is none."""
    ray = (centre - eye).double()
    far = eye.double().norm(dim=1)
    along = -(ray * eye.double()).sum(1) / far
    on_plane = ray * (far / along)[:, None] + eye.double()
    out = torch.stack([(on_plane * away).sum(1), (on_plane * across).sum(1)], 1)
    return torch.where(bare[:, None], torch.zeros_like(out), out).float()


def _rails(dev: str, count: int, middle: torch.Tensor) -> torch.Tensor:
    """A rail beside one crop in four; half of these balls touch it."""
    turn = uniform(dev, 0, 2 * math.pi, count)
    gap = torch.where(
        torch.rand(count, device=dev) < 0.5, torch.tensor(0.0, device=dev),
        40 * torch.rand(count, device=dev),
    )  # fmt: skip
    normal = torch.stack([turn.cos(), turn.sin()], 1)
    reach = (normal * middle).sum(1) + BALL_RADIUS_MM + gap
    reach = torch.where(torch.rand(count, device=dev) < 0.25, reach, torch.full_like(reach, 1e4))
    return torch.cat([normal, reach[:, None]], 1)


def _spheres(
    dev: str, middle: torch.Tensor, bare: torch.Tensor, rail: torch.Tensor
) -> torch.Tensor:
    """Centres (N, 4, 3): the middle's ball and others about it, none within another."""
    count = len(middle)
    turn = uniform(dev, 0, 2 * math.pi, count, 1) + torch.tensor([0.0, 1.35, 3.3], device=dev)
    turn = turn + uniform(dev, -0.25, 0.25, count, NEIGHBOURS)
    touching = torch.rand(count, NEIGHBOURS, device=dev) < 0.35
    apart = uniform(dev, 0, 60, count, NEIGHBOURS) * ~touching
    reach = 2 * BALL_RADIUS_MM + apart
    # beside an empty place a ball may lie nearer to the middle
    reach = torch.where(bare[:, None], uniform(dev, 18, 75, count, NEIGHBOURS), reach)
    chance = torch.tensor([0.4, 0.2, 0.1], device=dev)
    there = torch.rand(count, NEIGHBOURS, device=dev) < chance
    there &= ~(bare[:, None] & (torch.arange(NEIGHBOURS, device=dev) > 0))
    xy = middle[:, None] + reach[..., None] * torch.stack([turn.cos(), turn.sin()], -1)
    free = (xy * rail[:, None, :2]).sum(-1) < rail[:, None, 2] - BALL_RADIUS_MM
    xy = torch.where((there & free)[..., None], xy, torch.full_like(xy, AWAY_MM))
    mine = torch.where(bare[:, None], torch.full_like(middle, AWAY_MM), middle)
    return functional.pad(torch.cat([mine[:, None], xy], 1), (0, 1))


def _turns(dev: str, count: int) -> torch.Tensor:
    """Rotations (count, 3, 3), evenly spread."""
    w, x, y, z = functional.normalize(torch.randn(count, 4, device=dev), dim=1).unbind(1)
    rows = [
        1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y),
        2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x),
        2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y),
    ]  # fmt: skip
    return torch.stack(rows, 1).reshape(count, 3, 3)


def _lamps(
    dev: str, size: torch.Tensor
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]:
    """Places (S, 6, 3), radii and light of lamps, and the light of all round (S, 3)."""
    stills, pairs = len(size), LAMPS // 2
    xy = (size[:, None] * uniform(dev, -0.4, 1.4, stills, pairs, 2)).repeat_interleave(2, 1)
    long = torch.randn(stills, pairs, 2, device=dev) * 250
    xy[:, 1::2] += long
    up = torch.exp(uniform(dev, math.log(450), math.log(3500), stills, pairs))
    place = torch.cat([xy, up.repeat_interleave(2, 1)[..., None]], -1)
    radius = torch.exp(uniform(dev, math.log(15), math.log(600), stills, pairs))
    radius = torch.minimum(radius, 0.5 * up)
    strong = torch.rand(stills, pairs, device=dev) ** 1.5
    strong[:, 1:] *= torch.rand(stills, pairs - 1, device=dev) < 0.6
    warm = uniform(dev, -0.5, 0.5, stills, pairs, 1) * torch.tensor([1.0, 0.1, -1.0], device=dev)
    coloured = 1.2 * torch.randn(stills, pairs, 3, device=dev)
    coloured *= torch.rand(stills, pairs, 1, device=dev) < 0.08
    light = strong[..., None] * torch.exp(warm + coloured)
    second = (torch.rand(stills, pairs, 1, device=dev) < 0.5).float()
    both = torch.stack([light, light * second], 2).reshape(stills, LAMPS, 3)
    around = torch.exp(uniform(dev, math.log(0.008), math.log(1.0), stills, 1))
    tint = torch.exp(0.15 * torch.randn(stills, 3, device=dev))
    return place, radius.repeat_interleave(2, 1), both, around * tint


def _cloth(sets: Sets, chosen: torch.Tensor) -> torch.Tensor:
    """Colours (S, 3); one in three is near a ball's own."""
    dev, stills = sets.device, len(chosen)
    ball = torch.randint(16, (stills,), device=dev)
    texel = sets.textures[chosen, ball, FACE_PX // 6, FACE_PX // 6].float() / 255
    alike = texel**2.2 * torch.exp(0.3 * torch.randn(stills, 1, device=dev))
    alike = alike * torch.exp(0.12 * torch.randn(stills, 3, device=dev))
    near = torch.rand(stills, 1, device=dev) < 0.35
    return torch.where(near, alike, _hue(dev, stills)).clamp(0.004, 0.95)


def _hue(device: str, *shape: int) -> torch.Tensor:
    """Colours (…, 3) RGB, linear: any hue, from grey to full, from black to white."""
    hue = torch.rand(*shape, 1, device=device)
    wheel = torch.tensor([0.0, 2 / 3, 1 / 3], device=device)
    full = ((torch.cos(2 * math.pi * (hue + wheel)) + 0.5) / 1.5).clamp(0, 1)
    grey = torch.rand(*shape, 1, device=device) ** 1.5
    light = torch.exp(uniform(device, math.log(0.012), math.log(0.9), *shape, 1))
    return (grey + (1 - grey) * full) * light
