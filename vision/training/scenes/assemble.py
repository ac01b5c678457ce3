"""A scene's description to parts, and parts to a developed still with its truth."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from calibration.camera import Camera
from calibration.table import BALL_RADIUS_MM
from vision.training.scenes.describe.hindrance import OVER_BED
from vision.training.scenes.describe.placing import check_layout, rotation
from vision.training.scenes.describe.room import Room, Scene
from vision.training.scenes.optics.fireflies import without_fireflies
from vision.training.scenes.optics.lens_warp import FloatPicture
from vision.training.scenes.optics.render import Renderer, visible_fractions
from vision.training.scenes.over.arm import arm_parts
from vision.training.scenes.over.covered import Box, covered_boxes_px
from vision.training.scenes.over.people import person_parts
from vision.training.scenes.over.things import thing_parts
from vision.training.scenes.paint.ball_texture import atlas_uv, ball_atlas
from vision.training.scenes.paint.cloth import bed_map, cushion_tile
from vision.training.scenes.paint.hard_light import HARD_KINDS, hard_parts, sun_side
from vision.training.scenes.paint.lamps import lamp_parts, shell_parts
from vision.training.scenes.paint.surfaces import rail_wood
from vision.training.scenes.shapes.boards import board_parts
from vision.training.scenes.shapes.solids import sphere_mesh
from vision.training.scenes.shapes.table_mesh import table_parts

from .looks import BallLook, PlacedBall, SensorLook, Thing
from .optics import lens_warp, sensor
from .values import Material, Part, Sphere

FINENESS = 2.0
"""Scale of the pinhole picture against the still."""


@lru_cache(maxsize=16)
def _ball_material(look: BallLook) -> Material:
    return Material(kind="gloss", texture=ball_atlas(look), roughness=look.gloss)


@lru_cache(maxsize=8)
def room_parts(room: Room) -> tuple[Part, ...]:
    """The empty room: table, shell and lamps."""
    bed = Material(kind="cloth", texture=bed_map(room.cloth, room.table))
    cushion = Material(kind="cloth", texture=cushion_tile(room.cloth))
    wood = rail_wood(room.rails)
    parts = table_parts(room.table, room.rails, bed, cushion, wood)
    parts += shell_parts(room.table, room.walls, room.floor, open_side=sun_side(room.lamps))
    for lamp in room.lamps:
        made = hard_parts if lamp.kind in HARD_KINDS else lamp_parts
        parts += made(lamp, room.table, room.camera, room.walls)
    return tuple(parts)


def ball_part(look: BallLook, ball: PlacedBall) -> Part:
    """A ball resting on the bed, as a fine mesh whose uv lie in the set's atlas."""
    mesh = sphere_mesh(
        Sphere(
            centre_mm=(ball.x_mm, ball.y_mm, BALL_RADIUS_MM),
            radius_mm=BALL_RADIUS_MM,
            rotation=rotation(ball.turn),
        )
    )
    assert mesh.uv is not None
    placed = dataclasses.replace(mesh, uv=atlas_uv(mesh.uv, ball.id))
    return Part(name=f"ball-{ball.id}", shape=placed, material=_ball_material(look))


@lru_cache(maxsize=24)
def parts_of(thing: Thing) -> tuple[Part, ...]:
    """The parts of one thing or person."""
    makers = {"arm": arm_parts, "player": person_parts, "leaner": person_parts}
    return tuple(makers.get(thing.kind, thing_parts)(thing))


def scene_parts(scene: Scene) -> list[Part]:
    """All parts of a scene."""
    check_layout(scene.room.table, scene.balls)
    parts = list(room_parts(scene.room))
    parts += [ball_part(scene.room.balls, ball) for ball in scene.balls]
    for thing in scene.things:
        parts += parts_of(thing)
    if scene.board is not None:
        parts += board_parts(scene.board)
    return parts


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Still:
    """A scene in linear light, before its camera's faults, with what is visible of each ball."""

    scene: Scene
    linear: FloatPicture
    visible: Mapping[str, float]


@lru_cache(maxsize=2)
def _maps(camera: Camera, fineness: float) -> tuple[FloatPicture, FloatPicture]:
    return lens_warp.warp_maps(camera, lens_warp.pinhole_for(camera, fineness=fineness))


def render_pinhole(
    scene: Scene, parts: Sequence[Part], renderer: Renderer, spp: int, fineness: float = FINENESS
) -> tuple[FloatPicture, dict[str, float]]:
    """The pinhole picture, ``fineness`` × the still's scale, and the visible share of each ball."""
    pinhole = lens_warp.pinhole_for(scene.room.camera, fineness=fineness)
    built = renderer.build(parts)
    picture = renderer.render(built, scene.room.camera, pinhole, spp=spp, seed=scene.still_seed)
    centres = [(b.x_mm, b.y_mm) for b in scene.balls]
    shares = visible_fractions(renderer, built, scene.room.camera, centres, BALL_RADIUS_MM)
    return picture, {b.id: round(v, 4) for b, v in zip(scene.balls, shares, strict=True)}


def finish(
    scene: Scene,
    picture: FloatPicture,
    visible: Mapping[str, float],
    fineness: float = FINENESS,
) -> Still:
    """Lens distortion applied to the pinhole picture."""
    maps = _maps(scene.room.camera, fineness)
    return Still(
        scene=scene, linear=lens_warp.warp(without_fireflies(picture), maps), visible=visible
    )


def develop_jpeg(still: Still, *, gain: float, other: SensorLook | None = None) -> bytes:
    """The still as JPEG at an exposure of ``gain``, by its own camera or an ``other`` one."""
    room = still.scene.room
    look = other or room.sensor
    rng = np.random.default_rng((room.seed, still.scene.still_seed, 7))
    bgr = sensor.develop(still.linear, look, rng, gain=gain)
    return sensor.jpeg(bgr, look.quality)


def obstruction_px(scene: Scene) -> list[Box]:
    """Boxes (left, top, right, bottom), px, of what covers the bed of an obstructed still."""
    over = [part for t in scene.things if t.kind in OVER_BED for part in parts_of(t)]
    return covered_boxes_px(over, scene.room.camera, scene.room.table)


def truth_of(still: Still) -> dict[str, Any]:
    """The still's entry in a truth file; obstructed ones say where."""
    scene = still.scene
    where = {"obstruction_px": obstruction_px(scene)} if scene.obstructed else {}
    return {
        "camera": scene.room.camera.to_dict(),
        "table": scene.room.table.to_dict(),
        "head": scene.room.head,
        "balls": [
            {"id": b.id, "x_mm": b.x_mm, "y_mm": b.y_mm, "visible": still.visible[b.id]}
            for b in scene.balls
        ],
        "obstructed": scene.obstructed,
        **where,
        "scene": scene.to_dict(),
    }
