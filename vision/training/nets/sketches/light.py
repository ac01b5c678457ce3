"""Light that reaches the lens from a scene: rays, paint, lamps' shadows and mirror images."""

from __future__ import annotations

import math

import torch
from torch.nn import functional

from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM
from vision.place.crops import CROP_SIDE, CROP_STEP_MM

from .chance import uniform
from .scene import LAMPS, Scene
from .sets import FACE_PX

FINER = 2
"""Rays per crop pixel and axis."""
SIDE = CROP_SIDE * FINER
NOSE_MM = 36.5


def _rays(scene: Scene) -> torch.Tensor:
    """Unit directions (N, P, 3), rows across, columns away."""
    dev = scene.eye.device
    at = (torch.arange(SIDE, device=dev) - (SIDE - 1) / 2) * CROP_STEP_MM / FINER
    across, away = torch.meshgrid(at, at, indexing="ij")
    point = (
        away.reshape(1, -1, 1) * scene.away[:, None]
        + across.reshape(1, -1, 1) * scene.across[:, None]
    )
    return functional.normalize(point - scene.eye[:, None], dim=2)


def traced(scene: Scene) -> tuple[torch.Tensor, torch.Tensor]:
    """Light (N, SIDE, SIDE, 3), linear RGB, and what share (N,) of the middle's ball is seen."""
    ray = _rays(scene)
    count = len(ray)
    from_eye = scene.centres - scene.eye[:, None]
    along = torch.einsum("npi,nmi->npm", ray, from_eye)
    square = (from_eye**2).sum(-1)[:, None] - along**2
    hit = BALL_RADIUS_MM**2 - square
    reach = torch.where(hit > 0, along - hit.clamp_min(0).sqrt(), torch.full_like(hit, 1e9))
    nearest, which = reach.min(-1)
    eye = scene.eye[:, None]
    floor, on_rail, face, rail_normal = _floor(scene, ray)
    on_ball = nearest < floor
    distance = torch.where(on_ball, nearest, floor)
    point = eye + distance[..., None] * ray
    pick = which[..., None].expand(-1, -1, 3)
    normal = (point - scene.centres.gather(1, pick)) / BALL_RADIUS_MM
    level = torch.zeros_like(normal)
    level[..., 2] = 1
    level = torch.where(face[..., None], rail_normal, level)
    normal = torch.where(on_ball[..., None], normal, level)
    paint = torch.where(
        on_ball[..., None], _painted(scene, normal, which), _woven(scene, point, on_rail)
    )
    lit, ground = _lit(scene, point, normal, which, on_ball)
    diffuse = paint * lit
    mirrored = _mirrored(scene, ray, point, normal, ground)
    out = diffuse + torch.where(on_ball[..., None], mirrored, torch.zeros_like(mirrored))
    plain = paint * (0.7 + 0.3 * normal[..., 2:]) * _plain_shadow(scene, point, on_ball)
    flat = scene.flat[:, None, None]
    light = flat * plain * ground.mean(2, keepdim=True) + (1 - flat) * out
    mine = (hit[..., 0] > 0).sum(1)
    share = (on_ball & (which == 0)).sum(1) / mine.clamp_min(1)
    return light.reshape(count, SIDE, SIDE, 3), share


def _floor(
    scene: Scene, ray: torch.Tensor
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]:
    """Distances (N, P) to cloth or rail, whether it is the rail, or its face, and its normal."""
    eye = scene.eye[:, None]

    def at_height(high: float) -> torch.Tensor:
        return (high - eye[..., 2]) / ray[..., 2]

    def beyond(reach: torch.Tensor) -> torch.Tensor:
        xy = eye[..., :2] + reach[..., None] * ray[..., :2]
        return (xy * scene.rail[:, None, :2]).sum(-1) - scene.rail[:, None, 2]

    cloth, top = at_height(-BALL_CENTRE_HEIGHT_MM), at_height(NOSE_MM - BALL_CENTRE_HEIGHT_MM)
    on_top = beyond(top) > 0
    face = ~on_top & (beyond(cloth) > 0)
    toward = (ray[..., :2] * scene.rail[:, None, :2]).sum(-1)
    before = scene.rail[:, None, 2] - (eye[..., :2] * scene.rail[:, None, :2]).sum(-1)
    on_face = before / torch.where(toward.abs() < 1e-6, torch.full_like(toward, 1e-6), toward)
    reach = torch.where(on_top, top, torch.where(face, on_face, cloth))
    normal = functional.pad(-scene.rail[:, None, :2], (0, 1)).expand_as(ray)
    return reach, on_top | face, face, normal


def _painted(scene: Scene, normal: torch.Tensor, which: torch.Tensor) -> torch.Tensor:
    """Paint (N, P, 3), linear, of the spheres that are met."""
    count = len(normal)
    row = torch.arange(count, device=normal.device)[:, None]
    turned = torch.einsum("npij,npj->npi", scene.turn[row, which], normal)
    size, axis = turned.abs().max(-1)
    main = turned.gather(-1, axis[..., None])[..., 0]
    sign = main.sign()
    column = sign * turned.gather(-1, ((axis + 1) % 3)[..., None])[..., 0] / size.clamp_min(1e-6)
    line = turned.gather(-1, ((axis + 2) % 3)[..., None])[..., 0] / size.clamp_min(1e-6)
    u, v = (
        ((torch.atan(part.clamp(-1, 1)) * 4 / math.pi + 1) / 2 * (FACE_PX - 1))
        for part in (column, line)
    )
    face = 2 * axis + (sign < 0)
    set_, ball = scene.paint[row, which].unbind(-1)
    # a flat index: the textures' faces lie three beside each other in two rows
    base = (set_ * 16 + ball) * (6 * FACE_PX * FACE_PX)
    base = base + (face // 3) * (3 * FACE_PX * FACE_PX) + (face % 3) * FACE_PX
    texels = scene.sets.textures.reshape(-1, 3)
    u0, v0 = u.floor().clamp(0, FACE_PX - 2), v.floor().clamp(0, FACE_PX - 2)
    fu, fv = (u - u0)[..., None], (v - v0)[..., None]
    start = base + (v0 * (3 * FACE_PX) + u0).long()
    one = texels[start] * (1 - fu) + texels[start + 1] * fu
    two = texels[start + 3 * FACE_PX] * (1 - fu) + texels[start + 3 * FACE_PX + 1] * fu
    return ((one * (1 - fv) + two * fv) / 255) ** 2.2


def _woven(scene: Scene, point: torch.Tensor, on_rail: torch.Tensor) -> torch.Tensor:
    """The cloth's colour (N, P, 3) with its grain, marks and, at times, a drawn line."""
    count, dev = len(point), point.device
    marks = torch.randn(count, 1, 48, 48, device=dev)
    broad = torch.randn(count, 1, 7, 7, device=dev)
    where = (point[..., :2] / 80.0).reshape(count, SIDE, SIDE, 2)
    fine = functional.grid_sample(marks, where, padding_mode="reflection", align_corners=False)
    wide = functional.grid_sample(broad, where, padding_mode="reflection", align_corners=False)
    value = scene.grain[:, :1] * fine.reshape(count, -1) + 0.3 * scene.grain[:, 1:] * wide.reshape(
        count, -1
    )
    # chalk: blotches lighter than the cloth; a line: lighter or darker
    blotch = torch.sigmoid(12 * (wide.reshape(count, -1) - 1.4))
    blotch = blotch * (torch.rand(count, 1, device=dev) < 0.12)
    turn = uniform(dev, 0, 2 * math.pi, count, 1)
    line = (point[..., 0] * turn.cos() + point[..., 1] * turn.sin()) - uniform(
        dev, -40, 40, count, 1
    )
    line = torch.sigmoid(2 * (uniform(dev, 0.5, 4, count, 1) - line.abs()))
    line = line * (torch.rand(count, 1, device=dev) < 0.1)
    tone = torch.where(torch.rand(count, 1, device=dev) < 0.5, 0.05, 0.8)[..., None]
    out = scene.cloth[:, None] * torch.exp(value)[..., None]
    out = out + 0.35 * blotch[..., None] * (0.6 - out)
    out = out + (line * ~on_rail)[..., None] * (tone - out) * 0.8
    return out.clamp(0, 1)


def _lit(
    scene: Scene, point: torch.Tensor, normal: torch.Tensor, which: torch.Tensor,
    on_ball: torch.Tensor,
) -> tuple[torch.Tensor, torch.Tensor]:  # fmt: skip
    """Light (N, P, 3) that falls on each point, and what a bare level cloth gets (N, 1, 3)."""
    out = torch.zeros_like(point)
    ground = scene.sky[:, None].clone()
    others = [scene.centres[:, None, m] - point for m in range(scene.centres.shape[1])]
    far = [part.norm(dim=-1).clamp_min(1e-3) for part in others]
    own = [on_ball & (which == m) for m in range(len(others))]
    for k in range(LAMPS):
        to_lamp = scene.lamp[:, None, k] - point
        distance = to_lamp.norm(dim=-1, keepdim=True)
        toward = to_lamp / distance
        above = scene.lamp[:, None, k, 2:].clamp_min(1)
        # beneath the lamp it gives what was drawn; farther off less
        strength = (
            scene.lamp_light[:, None, k] * (above / distance) ** 2 * toward[..., 2:].clamp_min(0)
        )
        facing = (normal * toward).sum(-1, keepdim=True).clamp_min(0)
        seen = _unshadowed(
            scene, others, far, own, toward, scene.lamp_radius[:, None, k] / distance[..., 0]
        )
        if k == 0:
            seen = seen * _between_bars(scene, point, toward)
        light = strength / toward[..., 2:].clamp_min(0.2)
        half = functional.normalize(
            toward + functional.normalize(scene.eye, dim=1)[:, None], dim=-1
        )
        sheen = scene.cloth_sheen[:, None, None] * half[..., 2:].clamp_min(0) ** 18
        sheen = sheen * ~on_ball[..., None] / scene.cloth.mean(1)[:, None, None].clamp_min(0.03)
        out = out + light * seen[..., None] * (facing + 0.3 * sheen)
        ground = ground + strength.mean(1, keepdim=True)
    open_ = torch.ones_like(far[0])
    for part, distance, mine in zip(others, far, own, strict=True):
        lean = ((part * normal).sum(-1) / distance + 0.15).clamp_min(0) / 1.15
        share = lean * (BALL_RADIUS_MM / distance).clamp(max=1) ** 2
        open_ = open_ * (1 - torch.where(mine, torch.zeros_like(share), 0.9 * share))
    wall = (scene.rail[:, None, 2] - (point[..., :2] * scene.rail[:, None, :2]).sum(-1)).abs()
    open_ = open_ * (1 - 0.4 * torch.exp(-wall / 22))
    up = normal[..., 2:]
    sky = scene.sky[:, None] * (1 + (normal * scene.sky_slope[:, None]).sum(-1, keepdim=True))
    below = 0.5 * scene.cloth[:, None] * ground * (0.5 - 0.5 * up) * (1 + up * 0.5)
    out = out + open_[..., None] * sky.clamp_min(0) * (0.5 + 0.5 * up)
    return out + torch.where(on_ball[..., None], below, torch.zeros_like(below)), ground


def _unshadowed(
    scene: Scene, others: list[torch.Tensor], far: list[torch.Tensor], own: list[torch.Tensor],
    toward: torch.Tensor, lamp_size: torch.Tensor,
) -> torch.Tensor:  # fmt: skip
    """Share (N, P) of a lamp's disc that no sphere hides, discs and spheres taken as small."""
    seen = torch.ones_like(far[0])
    lamp = torch.atan(lamp_size)
    for part, distance, mine in zip(others, far, own, strict=True):
        along = (part * toward).sum(-1) / distance
        between = torch.acos(along.clamp(-0.9999, 0.9999))
        ball = torch.asin((BALL_RADIUS_MM / distance).clamp(max=0.9999))
        inner = (lamp - ball).abs()
        t = ((between - inner) / (lamp + ball - inner).clamp_min(1e-5)).clamp(0, 1)
        most = (ball / lamp.clamp_min(1e-4)).clamp(max=1) ** 2
        hidden = (1 - t * t * (3 - 2 * t)) * most
        seen = seen * (1 - torch.where(mine, torch.zeros_like(hidden), hidden))
    return seen


def _between_bars(scene: Scene, point: torch.Tensor, toward: torch.Tensor) -> torch.Tensor:
    """Share (N, P) of the first lamp that bars before a window let pass."""
    cast = point[..., :2] - toward[..., :2] / toward[..., 2:].clamp_min(0.2) * point[..., 2:]
    x, y, period, phase, share = (part[:, None] for part in scene.blinds.unbind(1))
    wave = torch.cos(2 * math.pi * (cast[..., 0] * x + cast[..., 1] * y) / period + phase)
    return torch.sigmoid((wave - share) * period / 4)


def _mirrored(
    scene: Scene, ray: torch.Tensor, point: torch.Tensor, normal: torch.Tensor,
    ground: torch.Tensor,
) -> torch.Tensor:  # fmt: skip
    """Light (N, P, 3) that a lacquered sphere mirrors."""
    facing = -(ray * normal).sum(-1, keepdim=True)
    back = ray + 2 * facing * normal
    share = scene.gloss[:, None, None] * (0.04 + 0.96 * (1 - facing.clamp(0, 1)) ** 5)
    sky = scene.sky[:, None] * (1 + (back * scene.sky_slope[:, None]).sum(-1, keepdim=True))
    floor = scene.cloth[:, None] * ground * 0.7
    shown = torch.where(back[..., 2:] > 0, 0.8 * sky.clamp_min(0), floor)
    for k in range(LAMPS):
        to_lamp = scene.lamp[:, None, k] - point
        distance = to_lamp.norm(dim=-1)
        angle = torch.acos(((to_lamp * back).sum(-1) / distance).clamp(-0.9999, 0.9999))
        size = torch.atan(scene.lamp_radius[:, None, k] / distance)
        disc = torch.sigmoid((size - angle) * 60)
        bright = scene.lamp_light[:, None, k] / (3.14 * size[..., None] ** 2)
        shown = shown + disc[..., None] * bright.clamp(max=80)
    return share * shown


def _plain_shadow(scene: Scene, point: torch.Tensor, on_ball: torch.Tensor) -> torch.Tensor:
    """Factor (N, P, 1) of a soft disc beside each ball, as plain drawings have it."""
    lamp = functional.normalize(scene.lamp[:, 0, :2], dim=1)
    shift = -8.0 * lamp
    dark = torch.zeros_like(point[..., 0])
    for m in range(scene.centres.shape[1]):
        apart = (point[..., :2] - scene.centres[:, None, m, :2] - shift[:, None]).norm(dim=-1)
        dark = torch.maximum(dark, torch.sigmoid((BALL_RADIUS_MM - apart) / 3))
    return (1 - 0.45 * torch.where(on_ball, torch.zeros_like(dark), dark))[..., None]
