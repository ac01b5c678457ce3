"""Things that lie about: cue, chalk, rack, bridge, towel, drink, stool."""

from __future__ import annotations

import math

import numpy as np
from shapely.geometry import Polygon

from vision.training.scenes.looks import Thing
from vision.training.scenes.shapes.meshes import box, disc, flat, lathe, merge, shifted, wall
from vision.training.scenes.values import FloatArray, Material, Mesh, Part, Rgb, SceneError

from .belongings import bag, jacket, paper, phone, towel

CUE_LENGTH_MM = 1470.0
CHALK_MM = 22.0
MAPLE: Rgb = (0.80, 0.66, 0.46)


def thing_parts(thing: Thing) -> list[Part]:
    """The parts of one thing.

    Raises:
        SceneError: its kind is unknown.
    """
    makers = {
        "cue": _cue, "chalk": _chalk, "rack": _rack, "bridge": _bridge,
        "towel": towel, "drink": _drink, "stool": _stool,
        "bag": bag, "jacket": jacket, "phone": phone, "paper": paper,
    }  # fmt: skip
    if thing.kind not in makers:
        raise SceneError(
            f"thing.kind: got {thing.kind!r}; allowed: {', '.join(makers)}. Choose one of them."
        )
    return makers[thing.kind](thing)


def _place(thing: Thing) -> FloatArray:
    return np.array([thing.x_mm, thing.y_mm, thing.z_mm])


def _heading(thing: Thing) -> FloatArray:
    turn, lean = math.radians(thing.turn_deg), math.radians(thing.lean_deg)
    return np.array(
        [math.cos(turn) * math.cos(lean), math.sin(turn) * math.cos(lean), math.sin(lean)]
    )


def cue_parts(butt_mm: FloatArray, heading: FloatArray, seed: int) -> list[Part]:
    """A cue from the butt's end along ``heading``: butt, wrap, joint, shaft, ferrule, tip."""
    rng = np.random.default_rng(seed)
    butt = tuple(float(v) for v in rng.uniform([0.10, 0.04, 0.02], [0.40, 0.20, 0.12]))
    wrap = (0.06, 0.06, 0.07) if rng.random() < 0.6 else (0.30, 0.30, 0.32)
    pieces: list[tuple[float, float, Rgb | None, float]] = [
        (0.0, 0.015, (0.03, 0.03, 0.03), 0.5),
        (0.015, 0.18, (butt[0], butt[1], butt[2]), 0.06),
        (0.18, 0.38, wrap, 0.5),
        (0.38, 0.495, (butt[0], butt[1], butt[2]), 0.06),
        (0.495, 0.505, (0.75, 0.75, 0.74), 0.1),
        (0.505, 0.978, MAPLE, 0.12),
        (0.978, 0.994, (0.93, 0.92, 0.88), 0.1),
        (0.994, 1.0, (0.16, 0.36, 0.52), 0.6),
    ]

    def radius(t: float) -> float:
        return 14.7 - 8.2 * min(t / 0.9, 1.0) if t < 0.9 else 6.5

    parts = []
    for k, (start, end, colour, rough) in enumerate(pieces):
        a = butt_mm + heading * CUE_LENGTH_MM * start
        b = butt_mm + heading * CUE_LENGTH_MM * end
        mesh = lathe(a, b, ((0.0, radius(start)), (0.5, radius((start + end) / 2)),
                            (1.0, radius(end))), 20)  # fmt: skip
        material = Material(kind="gloss", colour=colour or MAPLE, roughness=rough)
        parts.append(Part(name=f"cue-{k}", shape=mesh, material=material))
    tip = butt_mm + heading * CUE_LENGTH_MM
    caps = [disc(butt_mm, radius(0.0), -heading), disc(tip, radius(1.0), heading)]
    parts.append(
        Part(name="cue-ends", shape=merge(caps), material=Material(colour=(0.05, 0.06, 0.08)))
    )
    return parts


def _cue(thing: Thing) -> list[Part]:
    return cue_parts(_place(thing), _heading(thing), thing.seed)


def _chalk(thing: Thing) -> list[Part]:
    """A cube of chalk in its paper, the top worn hollow and dusty."""
    rng = np.random.default_rng(thing.seed)
    blue: Rgb = (0.12, 0.36, 0.62) if rng.random() < 0.75 else (0.10, 0.42, 0.28)
    paper: Rgb = (0.08, 0.18, 0.34) if rng.random() < 0.6 else (0.62, 0.62, 0.58)
    centre = shifted(_place(thing), 0, 0, CHALK_MM / 2)
    top = disc(shifted(centre, 0, 0, CHALK_MM / 2 + 0.4), CHALK_MM * 0.40, [0, 0, 1.0])
    rim = box(
        shifted(centre, 0, 0, CHALK_MM / 2), (CHALK_MM - 1, CHALK_MM - 1, 0.5), thing.turn_deg
    )
    body = box(centre, (CHALK_MM, CHALK_MM, CHALK_MM - 0.4), thing.turn_deg)
    dark: Rgb = (blue[0] * 0.7, blue[1] * 0.7, blue[2] * 0.75)
    return [
        Part(name="chalk-body", shape=body, material=Material(colour=paper)),
        Part(name="chalk-top", shape=rim, material=Material(colour=blue)),
        Part(name="chalk-hollow", shape=top, material=Material(colour=dark)),
    ]


def _rack(thing: Thing) -> list[Part]:
    """A triangle with rounded corners."""
    side = 2 * (2 * 57.15 + 57.15 / 2 * math.sqrt(3)) * 1.01
    turn = math.radians(thing.turn_deg)
    corners = [
        (math.cos(turn + k * 2 * math.pi / 3), math.sin(turn + k * 2 * math.pi / 3))
        for k in range(3)
    ]
    inner = Polygon([(side / math.sqrt(3) * c, side / math.sqrt(3) * s) for c, s in corners])
    inner = inner.buffer(-28.0).buffer(28.0, quad_segs=8)
    outer = inner.buffer(13.0, quad_segs=8)
    ring = outer.difference(inner)
    rng = np.random.default_rng(thing.seed)
    colour: Rgb = (0.05, 0.05, 0.05) if rng.random() < 0.5 else (0.45, 0.25, 0.12)
    base, top = thing.z_mm, thing.z_mm + 52.0
    meshes = [flat(ring, top)]
    for edge in (outer.exterior, inner.exterior):
        meshes.append(wall(np.asarray(edge.coords), top, base))
    shape = merge([Mesh(vertices_mm=m.vertices_mm, faces=m.faces) for m in meshes])
    moved = Mesh(
        vertices_mm=shifted(shape.vertices_mm, thing.x_mm, thing.y_mm, 0), faces=shape.faces
    )
    return [
        Part(
            name="rack", shape=moved, material=Material(kind="gloss", colour=colour, roughness=0.2)
        )
    ]


def _bridge(thing: Thing) -> list[Part]:
    """A mechanical bridge: a stick with a notched metal head."""
    heading = _heading(thing)
    start = _place(thing)
    end = start + heading * 1400
    stick = lathe(start, end, ((0.0, 14.0), (1.0, 9.5)), 18)
    head = box(shifted(end, 0, 0, 12.0), (14.0, 130.0, 38.0), thing.turn_deg)
    return [
        Part(name="bridge-stick", shape=stick,
             material=Material(kind="gloss", colour=(0.55, 0.36, 0.18), roughness=0.15)),
        Part(name="bridge-head", shape=head,
             material=Material(kind="metal", colour=(0.75, 0.62, 0.35), roughness=0.3)),
    ]  # fmt: skip


def _drink(thing: Thing) -> list[Part]:
    """A small round table with a tumbler on it."""
    top = _place(thing)
    plate = lathe(shifted(top, 0, 0, -18), top, ((0.0, 240.0), (0.3, 250.0), (1.0, 247.0)), 48)
    face = disc(top, 247.0, [0, 0, 1.0], 48)
    cup = shifted(top, 70, -40, 0)
    glass = lathe(cup, shifted(cup, 0, 0, 110), ((0.0, 30.0), (1.0, 38.0)), 32)
    liquid = disc(shifted(cup, 0, 0, 78), 35.0, [0, 0, 1.0], 32)
    leg = lathe(shifted(top, 0, 0, -700), shifted(top, 0, 0, -18), ((0.0, 30.0), (1.0, 30.0)), 20)
    mat = disc(shifted(cup, 0, 0, 1), 48.0, [0, 0, 1.0], 32)
    return [
        Part(name="side-table", shape=merge([_bare(plate), _bare(face)]),
             material=Material(kind="gloss", colour=(0.16, 0.10, 0.07), roughness=0.2)),
        Part(name="side-leg", shape=leg, material=Material(colour=(0.05, 0.05, 0.05))),
        Part(name="tumbler", shape=glass,
             material=Material(kind="gloss", colour=(0.62, 0.66, 0.68), roughness=0.03)),
        Part(name="drink", shape=liquid,
             material=Material(kind="gloss", colour=(0.30, 0.10, 0.04), roughness=0.02)),
        Part(name="mat", shape=mat, material=Material(colour=(0.7, 0.66, 0.55))),
    ]  # fmt: skip


def _bare(mesh: Mesh) -> Mesh:
    return Mesh(vertices_mm=mesh.vertices_mm, faces=mesh.faces)


def _stool(thing: Thing) -> list[Part]:
    """A round stool with a padded seat."""
    rng = np.random.default_rng(thing.seed)
    top = _place(thing)
    seat = lathe(
        shifted(top, 0, 0, -55), top,
        ((0.0, 168.0), (0.4, 180.0), (0.75, 174.0), (0.93, 155.0), (1.0, 120.0), (1.0, 0.5)), 40,
    )  # fmt: skip
    colour: Rgb = (0.07, 0.07, 0.07) if rng.random() < 0.5 else (0.28, 0.10, 0.07)
    parts = [
        Part(name="seat", shape=seat, material=Material(kind="gloss", colour=colour, roughness=0.3))
    ]
    for k in range(4):
        angle = math.pi / 4 + k * math.pi / 2
        foot = shifted(top, 220 * math.cos(angle), 220 * math.sin(angle), -700)
        knee = shifted(top, 120 * math.cos(angle), 120 * math.sin(angle), -55)
        leg = lathe(foot, knee, ((0.0, 16.0), (1.0, 20.0)), 14)
        parts.append(Part(name=f"leg-{k}", shape=leg, material=Material(colour=(0.4, 0.26, 0.15))))
    return parts
