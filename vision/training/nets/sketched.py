"""Sketched crops: balls on a cloth shaded by formula on the training's own device, none alike.

A path tracer gives some thousand stills of lamps and materials that its recipe knows. Here every
step of a training draws its own cloths, lamps, lenses and sensors: spheres and a plane are met by
rays, lamps are discs whose shadows and mirror images have closed forms. Pictures are less true
than rendered ones but far more various, and the places are as exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM
from vision.layout import BALL_IDS
from vision.place.crops import CROP_SIDE, CROP_STEP_MM
from vision.training.scenes.looks import BallLook
from vision.training.scenes.paint.ball_texture import SCHEMES, ball_texture

FINER = 2
"""Rays per crop pixel and axis."""
SIDE = CROP_SIDE * FINER
BALLS_A_STILL, EMPTY_A_STILL = 9, 3
NEIGHBOURS = 3
LAMPS = 6
"""Discs of light a still, some of them dark."""
FACE_PX = 80
LEAST_SETS = 2
"""Sets of balls to draw from at least, so that not all are strange."""
NOSE_MM = 36.5
START_SIGMA_MM, START_LIMIT_MM = 2.9, 8.5
AWAY_MM = 1e5
"""Where a sphere that is not there lies."""


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
        self.device = device
        self.textures = torch.from_numpy(textures).to(device)
        self.worth = torch.from_numpy(worth).to(device)

    @torch.no_grad()
    def draw(self, stills: int) -> Sketch:
        """Crops of so many stills."""
        scene = _Scene.drawn(self, stills)
        light, visible = _traced(scene)
        return Sketch(
            seen=_sensed(light, stills), true_mm=scene.true_mm, kind=scene.kind, visible=visible,
            name_trust=scene.name_trust, stills=stills, each=BALLS_A_STILL + EMPTY_A_STILL,
        )  # fmt: skip


def _uniform(device: str, low: float, high: float, *shape: int) -> torch.Tensor:
    return low + (high - low) * torch.rand(*shape, device=device)


def _hue(device: str, *shape: int) -> torch.Tensor:
    """Colours (…, 3) RGB, linear: any hue, from grey to full, from black to white."""
    hue = torch.rand(*shape, 1, device=device)
    wheel = torch.tensor([0.0, 2 / 3, 1 / 3], device=device)
    full = ((torch.cos(2 * math.pi * (hue + wheel)) + 0.5) / 1.5).clamp(0, 1)
    grey = torch.rand(*shape, 1, device=device) ** 1.5
    light = torch.exp(_uniform(device, math.log(0.012), math.log(0.9), *shape, 1))
    return (grey + (1 - grey) * full) * light


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """N crops in their own frames: x away from the lens's foot, z up from the balls' centres."""

    sketcher: Sketcher
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
    def drawn(cls, sketcher: Sketcher, stills: int) -> _Scene:
        """Fresh ones."""
        dev, each = sketcher.device, BALLS_A_STILL + EMPTY_A_STILL
        count = stills * each
        still = torch.arange(stills, device=dev).repeat_interleave(each)
        bare = (torch.arange(each, device=dev) >= BALLS_A_STILL).repeat(stills)
        size = torch.stack([_uniform(dev, 1900, 2600, stills), _uniform(dev, 950, 1300, stills)], 1)
        place = torch.rand(count, 2, device=dev) * size[still]
        # most lenses hang over the bed, some look from a side
        foot = size * _uniform(dev, 0.25, 0.75, stills, 2)
        beside = torch.rand(stills, device=dev) < 0.25
        foot[:, 1] -= beside * _uniform(dev, 200, 1300, stills)
        high = _uniform(dev, 1600, 3300, stills)
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
        chosen = torch.randint(len(sketcher.textures), (stills,), device=dev)
        ball = torch.cat(
            [kind[:, None] % 16, torch.randint(16, (count, NEIGHBOURS), device=dev)], 1
        )
        paint = torch.stack([chosen[still][:, None].expand_as(ball), ball], -1)
        lamp, radius, light, sky = _lamps(dev, size)
        slope = _uniform(dev, 0, 0.8, stills, 1) * functional.normalize(
            torch.randn(stills, 3, device=dev), dim=1
        )
        turned = to_crop(slope[:, None] + 0)  # directions: the place is taken off again
        base = to_crop(torch.zeros_like(slope)[:, None])
        bars = torch.randn(stills, 2, device=dev)
        blinds = torch.cat(
            [
                functional.normalize(bars, dim=1), _uniform(dev, 15, 220, stills, 1),
                _uniform(dev, 0, 2 * math.pi, stills, 1),
                torch.where(torch.rand(stills, 1, device=dev) < 0.2,
                            _uniform(dev, -0.6, 0.8, stills, 1), torch.tensor(-9.0, device=dev)),
            ], 1,
        )  # fmt: skip
        return cls(
            sketcher=sketcher, eye=eye, away=away, across=across, centres=centres,
            turn=_turns(dev, count * (1 + NEIGHBOURS)).reshape(count, -1, 3, 3), paint=paint,
            rail=rail, lamp=to_crop(lamp), lamp_radius=radius[still], lamp_light=light[still],
            sky=sky[still], sky_slope=(turned - base)[:, 0],
            cloth=_cloth(sketcher, chosen)[still],
            cloth_sheen=(0.5 * torch.rand(stills, device=dev) ** 3)[still],
            grain=(_uniform(dev, 0, 1, stills, 2) ** 2
                   * torch.tensor([0.25, 0.5], device=dev))[still],
            gloss=_uniform(dev, 0.15, 1.3, stills)[still], blinds=blinds[still],
            flat=(torch.rand(stills, device=dev) < 0.12).float()[still],
            true_mm=_in_crop(centres[:, 0], eye, away, across, bare), kind=kind,
            name_trust=sketcher.worth[chosen][still],
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
    turn = _uniform(dev, 0, 2 * math.pi, count)
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
    turn = _uniform(dev, 0, 2 * math.pi, count, 1) + torch.tensor([0.0, 1.35, 3.3], device=dev)
    turn = turn + _uniform(dev, -0.25, 0.25, count, NEIGHBOURS)
    touching = torch.rand(count, NEIGHBOURS, device=dev) < 0.35
    apart = _uniform(dev, 0, 60, count, NEIGHBOURS) * ~touching
    reach = 2 * BALL_RADIUS_MM + apart
    # beside an empty place a ball may lie nearer to the middle
    reach = torch.where(bare[:, None], _uniform(dev, 18, 75, count, NEIGHBOURS), reach)
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
    xy = (size[:, None] * _uniform(dev, -0.4, 1.4, stills, pairs, 2)).repeat_interleave(2, 1)
    long = torch.randn(stills, pairs, 2, device=dev) * 250
    xy[:, 1::2] += long
    up = torch.exp(_uniform(dev, math.log(450), math.log(3500), stills, pairs))
    place = torch.cat([xy, up.repeat_interleave(2, 1)[..., None]], -1)
    radius = torch.exp(_uniform(dev, math.log(15), math.log(600), stills, pairs))
    radius = torch.minimum(radius, 0.5 * up)
    strong = torch.rand(stills, pairs, device=dev) ** 1.5
    strong[:, 1:] *= torch.rand(stills, pairs - 1, device=dev) < 0.6
    warm = _uniform(dev, -0.5, 0.5, stills, pairs, 1) * torch.tensor([1.0, 0.1, -1.0], device=dev)
    coloured = 1.2 * torch.randn(stills, pairs, 3, device=dev)
    coloured *= torch.rand(stills, pairs, 1, device=dev) < 0.08
    light = strong[..., None] * torch.exp(warm + coloured)
    second = (torch.rand(stills, pairs, 1, device=dev) < 0.5).float()
    both = torch.stack([light, light * second], 2).reshape(stills, LAMPS, 3)
    around = torch.exp(_uniform(dev, math.log(0.008), math.log(1.0), stills, 1))
    tint = torch.exp(0.15 * torch.randn(stills, 3, device=dev))
    return place, radius.repeat_interleave(2, 1), both, around * tint


def _cloth(sketcher: Sketcher, chosen: torch.Tensor) -> torch.Tensor:
    """Colours (S, 3); one in three is near a ball's own."""
    dev, stills = sketcher.device, len(chosen)
    ball = torch.randint(16, (stills,), device=dev)
    texel = sketcher.textures[chosen, ball, FACE_PX // 6, FACE_PX // 6].float() / 255
    alike = texel**2.2 * torch.exp(0.3 * torch.randn(stills, 1, device=dev))
    alike = alike * torch.exp(0.12 * torch.randn(stills, 3, device=dev))
    near = torch.rand(stills, 1, device=dev) < 0.35
    return torch.where(near, alike, _hue(dev, stills)).clamp(0.004, 0.95)


def _rays(scene: _Scene) -> torch.Tensor:
    """Unit directions (N, P, 3), rows across, columns away."""
    dev = scene.eye.device
    at = (torch.arange(SIDE, device=dev) - (SIDE - 1) / 2) * CROP_STEP_MM / FINER
    across, away = torch.meshgrid(at, at, indexing="ij")
    point = (
        away.reshape(1, -1, 1) * scene.away[:, None]
        + across.reshape(1, -1, 1) * scene.across[:, None]
    )
    return functional.normalize(point - scene.eye[:, None], dim=2)


def _traced(scene: _Scene) -> tuple[torch.Tensor, torch.Tensor]:
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
    scene: _Scene, ray: torch.Tensor
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


def _painted(scene: _Scene, normal: torch.Tensor, which: torch.Tensor) -> torch.Tensor:
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
    texels = scene.sketcher.textures.reshape(-1, 3)
    u0, v0 = u.floor().clamp(0, FACE_PX - 2), v.floor().clamp(0, FACE_PX - 2)
    fu, fv = (u - u0)[..., None], (v - v0)[..., None]
    start = base + (v0 * (3 * FACE_PX) + u0).long()
    one = texels[start] * (1 - fu) + texels[start + 1] * fu
    two = texels[start + 3 * FACE_PX] * (1 - fu) + texels[start + 3 * FACE_PX + 1] * fu
    return ((one * (1 - fv) + two * fv) / 255) ** 2.2


def _woven(scene: _Scene, point: torch.Tensor, on_rail: torch.Tensor) -> torch.Tensor:
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
    turn = _uniform(dev, 0, 2 * math.pi, count, 1)
    line = (point[..., 0] * turn.cos() + point[..., 1] * turn.sin()) - _uniform(
        dev, -40, 40, count, 1
    )
    line = torch.sigmoid(2 * (_uniform(dev, 0.5, 4, count, 1) - line.abs()))
    line = line * (torch.rand(count, 1, device=dev) < 0.1)
    tone = torch.where(torch.rand(count, 1, device=dev) < 0.5, 0.05, 0.8)[..., None]
    out = scene.cloth[:, None] * torch.exp(value)[..., None]
    out = out + 0.35 * blotch[..., None] * (0.6 - out)
    out = out + (line * ~on_rail)[..., None] * (tone - out) * 0.8
    return out.clamp(0, 1)


def _lit(
    scene: _Scene, point: torch.Tensor, normal: torch.Tensor, which: torch.Tensor,
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
    scene: _Scene, others: list[torch.Tensor], far: list[torch.Tensor], own: list[torch.Tensor],
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


def _between_bars(scene: _Scene, point: torch.Tensor, toward: torch.Tensor) -> torch.Tensor:
    """Share (N, P) of the first lamp that bars before a window let pass."""
    cast = point[..., :2] - toward[..., :2] / toward[..., 2:].clamp_min(0.2) * point[..., 2:]
    x, y, period, phase, share = (part[:, None] for part in scene.blinds.unbind(1))
    wave = torch.cos(2 * math.pi * (cast[..., 0] * x + cast[..., 1] * y) / period + phase)
    return torch.sigmoid((wave - share) * period / 4)


def _mirrored(
    scene: _Scene, ray: torch.Tensor, point: torch.Tensor, normal: torch.Tensor,
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


def _plain_shadow(scene: _Scene, point: torch.Tensor, on_ball: torch.Tensor) -> torch.Tensor:
    """Factor (N, P, 1) of a soft disc beside each ball, as plain drawings have it."""
    lamp = functional.normalize(scene.lamp[:, 0, :2], dim=1)
    shift = -8.0 * lamp
    dark = torch.zeros_like(point[..., 0])
    for m in range(scene.centres.shape[1]):
        apart = (point[..., :2] - scene.centres[:, None, m, :2] - shift[:, None]).norm(dim=-1)
        dark = torch.maximum(dark, torch.sigmoid((BALL_RADIUS_MM - apart) / 3))
    return (1 - 0.45 * torch.where(on_ball, torch.zeros_like(dark), dark))[..., None]


def _sensed(light: torch.Tensor, stills: int) -> torch.Tensor:
    """What cameras make of it: crops (N, 3, 56, 56), BGR 0 … 1."""
    dev, count = light.device, len(light)
    each = count // stills
    still = torch.arange(stills, device=dev).repeat_interleave(each)
    shot = light.reshape(stills, -1, 3)
    level = shot.mean(2)[:, ::37].quantile(0.9, dim=1)
    expose = torch.exp(_uniform(str(dev), math.log(0.1), math.log(1.1), stills)) / level.clamp_min(
        1e-4
    )
    tint = shot[:, ::37].mean(1)
    tint = (tint / tint.mean(1, keepdim=True)) ** -_uniform(str(dev), -0.1, 0.5, stills, 1)
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

    pitch = float(torch.exp(_uniform(dev, math.log(0.8), math.log(3.2), 1)))
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
