"""What people put on the rails: towel, jacket, bag, phone, sheet of paper."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from vision.training.scenes.looks import Thing
from vision.training.scenes.noise import layered_noise
from vision.training.scenes.shapes.meshes import box, loft
from vision.training.scenes.shapes.nets import Limb, body_mesh
from vision.training.scenes.values import FloatArray, Material, Mesh, Part, Rgb

SHEET_STEPS = 56
STRIPED_ROWS = (5, 7, 40, 42)
DROP_FROM_MM = 12.0
"""From here outward a jacket hangs down the rail's outer side."""


def _set_down(points: FloatArray, thing: Thing) -> FloatArray:
    """Local points (…, 3) turned about z and put at the thing's place."""
    turn = math.radians(thing.turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    x, y, z = points[..., 0], points[..., 1], points[..., 2]
    return np.stack([thing.x_mm + c * x - s * y, thing.y_mm + s * x + c * y, thing.z_mm + z], -1)


def _sheet(
    rng: np.random.Generator, half_mm: tuple[float, float], high_mm: tuple[float, float]
) -> FloatArray:
    """A thick soft sheet (N, N, 3): half sizes; mean height and its waves."""
    n = SHEET_STEPS
    u, v = np.meshgrid(np.linspace(-1, 1, n), np.linspace(-1, 1, n), indexing="ij")
    bump = layered_noise(rng, (n, n), 14, 3)
    edge = np.clip(1 - np.maximum(np.abs(u), np.abs(v)) ** 8, 0, 1)
    x = u * half_mm[0] + 5 * layered_noise(rng, (n, n), 20, 2)
    y = v * half_mm[1] + 5 * layered_noise(rng, (n, n), 20, 2)
    return np.stack([x, y, (high_mm[0] + high_mm[1] * bump) * edge], -1)


def _draped(sheet: FloatArray, thing: Thing, colours: FloatArray) -> Mesh:
    mesh = loft(_set_down(sheet, thing), closed=False)
    return Mesh(
        vertices_mm=mesh.vertices_mm, faces=mesh.faces, normals=mesh.normals,
        colours=np.clip(colours, 0, 1).reshape(-1, 3),
    )  # fmt: skip


def towel(thing: Thing) -> list[Part]:
    """A folded towel with soft edges and a few waves."""
    rng = np.random.default_rng(thing.seed)
    sheet = _sheet(rng, (150.0, 95.0), (15.0, 4.5))
    colour = np.asarray(rng.choice([[0.75, 0.74, 0.70], [0.20, 0.22, 0.30], [0.55, 0.16, 0.15]]))
    shade = 1 + 0.05 * rng.standard_normal((SHEET_STEPS, SHEET_STEPS, 1))
    for row in STRIPED_ROWS:
        shade[row] *= 0.62
    return [Part(name="towel", shape=_draped(sheet, thing, colour * shade))]


def jacket(thing: Thing) -> list[Part]:
    """A jacket over the rail: folded on the cap, hanging down outside (local +y)."""
    rng = np.random.default_rng(thing.seed)
    sheet = _sheet(rng, (float(rng.uniform(170, 260)), 100.0), (22.0, 9.0))
    below = np.maximum(sheet[..., 1] - DROP_FROM_MM, 0)
    sheet[..., 1] -= 0.55 * below
    sheet[..., 2] -= 3.4 * below
    colour = np.asarray(
        rng.choice([[0.10, 0.11, 0.14], [0.28, 0.33, 0.42], [0.36, 0.24, 0.15], [0.40, 0.10, 0.10],
                    [0.55, 0.55, 0.53]])
    )  # fmt: skip
    shade = 1 + 0.04 * rng.standard_normal((SHEET_STEPS, SHEET_STEPS, 1))
    return [Part(name="jacket", shape=_draped(sheet, thing, colour * shade))]


def bag(thing: Thing) -> list[Part]:
    """A soft bag with a strap."""
    rng = np.random.default_rng(thing.seed)
    half, high = float(rng.uniform(85, 150)), float(rng.uniform(70, 150))
    deep = float(rng.uniform(42, 58))
    low = 0.8 * deep
    body = [
        Limb(from_mm=(-half + deep, 0, low), to_mm=(half - deep, 0, low),
             from_radius_mm=deep, to_radius_mm=deep),
        Limb(from_mm=(-half + deep, 0, high), to_mm=(half - deep, 0, high),
             from_radius_mm=0.8 * deep, to_radius_mm=0.75 * deep),
    ]  # fmt: skip
    ends = [(-0.6 * half, 8.0, high), (0.0, 18.0, high + deep + 25.0), (0.6 * half, 8.0, high)]
    strap = [
        Limb(from_mm=a, to_mm=b, from_radius_mm=9.0, to_radius_mm=9.0) for a, b in pairwise(ends)
    ]
    colour = Material(colour=_shade(rng, ((0.07, 0.07, 0.08), (0.25, 0.16, 0.09),
                                          (0.14, 0.20, 0.34), (0.45, 0.44, 0.40))))  # fmt: skip
    dark = Material(colour=(0.05, 0.05, 0.05))
    return [
        Part(name=name, material=material, shape=_turned(body_mesh(
            limbs, step_mm=step, soft_mm=soft, ripple_mm=ripple, seed=thing.seed), thing))
        for name, limbs, material, step, soft, ripple in (
            ("bag", body, colour, 7.0, 40.0, 2.5), ("bag-strap", strap, dark, 5.0, 8.0, 0.0),
        )
    ]  # fmt: skip


def phone(thing: Thing) -> list[Part]:
    """A dark glossy phone lying on its back."""
    centre = (thing.x_mm, thing.y_mm, thing.z_mm + 4.5)
    body = box(centre, (150.0, 72.0, 8.0), thing.turn_deg)
    glass = Material(kind="gloss", colour=(0.03, 0.03, 0.035), roughness=0.03)
    return [Part(name="phone", shape=body, material=glass)]


def paper(thing: Thing) -> list[Part]:
    """A sheet of paper with lines of writing, and a pencil."""
    rng = np.random.default_rng(thing.seed)
    centre = (thing.x_mm, thing.y_mm, thing.z_mm + 2.0)
    parts = [
        Part(name="paper", shape=box(centre, (148.0, 105.0, 1.0), thing.turn_deg),
             material=Material(colour=(0.90, 0.90, 0.87))),
    ]  # fmt: skip
    for k in range(int(rng.integers(3, 7))):
        reach = float(rng.uniform(60, 120))
        place = _set_down(np.array([-60.0 + reach / 2, -38.0 + 13.0 * k, 2.7]), thing)
        line = box(place, (reach, 2.2, 0.3), thing.turn_deg)
        parts.append(Part(name=f"line-{k}", shape=line, material=Material(colour=(0.2, 0.2, 0.3))))
    pencil = box(_set_down(np.array([20.0, 22.0, 6.0]), thing), (120.0, 7.0, 7.0),
                 thing.turn_deg + float(rng.normal(0, 25)))  # fmt: skip
    return [*parts, Part(name="pencil", shape=pencil, material=Material(colour=(0.75, 0.45, 0.1)))]


def _shade(rng: np.random.Generator, options: tuple[Rgb, ...]) -> Rgb:
    return options[int(rng.integers(len(options)))]


def _turned(mesh: Mesh, thing: Thing) -> Mesh:
    """A local mesh set down at the thing's place."""
    assert mesh.normals is not None
    still = Thing(kind=thing.kind, x_mm=0.0, y_mm=0.0, turn_deg=thing.turn_deg)
    return Mesh(
        vertices_mm=_set_down(mesh.vertices_mm, thing),
        faces=mesh.faces, normals=_set_down(mesh.normals, still),
    )  # fmt: skip
