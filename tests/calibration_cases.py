"""Cameras, lenses and simulated landmarks with known truth, shared by the calibration tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.camera import Camera
from calibration.edges import EDGE_SIGMA_PX, TableEdge
from calibration.lens_file import Lens
from calibration.marks import (
    DIMENSION_EXPECTED_MM,
    DIMENSION_SIGMA_MM,
    Landmark,
    Landmarks,
    sight_mark,
)
from calibration.noses import back_edges, nose_edges
from calibration.pocket_mouths import facing_edges
from calibration.sights import BUILT_SIGMA_MM, SIGHT_SIGMA_PX
from calibration.table import Table


def random_camera(
    rng: np.random.Generator,
    table: Table,
    *,
    tilt_deg: float = 15.0,
    size_px: tuple[int, int] = (1920, 1080),
) -> Camera:
    """A camera 2.3 to 3.3 m above the bed that sees the whole table, head on the left."""
    height_mm = rng.uniform(2300, 3300)
    target = (
        table.length_mm / 2 + rng.normal(0, 30),
        table.width_mm / 2 + rng.normal(0, 30),
    )
    lean, way = np.radians(rng.uniform(0, tilt_deg)), rng.uniform(0, 2 * np.pi)
    position = (
        target[0] + height_mm * np.tan(lean) * np.cos(way),
        target[1] + height_mm * np.tan(lean) * np.sin(way),
        height_mm,
    )
    turn = rng.normal(0, 0.05)
    focal_px = 0.83 * size_px[0] / (table.length_mm + 280) * height_mm / np.cos(lean)
    return Camera.looking(
        position_mm=position,
        target_mm=(*target, 0),
        up=(np.sin(turn), np.cos(turn), 0),
        image_size_px=size_px,
        focal_px=focal_px,
        centre_px=(
            (size_px[0] - 1) / 2 + rng.normal(0, 0.004) * size_px[0],
            (size_px[1] - 1) / 2 + rng.normal(0, 0.004) * size_px[0],
        ),
        distortion=(
            rng.uniform(-0.2, 0.03),
            rng.normal(0, 0.02),
            rng.normal(0, 3e-4),
            rng.normal(0, 3e-4),
            0.0,
        ),
    )


def built_table(rng: np.random.Generator, table: Table) -> Table:
    """A table as a workshop might build it: fittings within the trade's tolerances."""
    return replace(
        table,
        rail_cap_height_mm=rng.uniform(40, 48),
        sight_offset_mm=table.sight_offset_mm + rng.normal(0, 1.0),
        cushion_width_mm=rng.uniform(48, 51),
        corner_mouth_mm=rng.uniform(114, 118),
        side_mouth_mm=rng.uniform(127, 131),
    )


def exact_lens(camera: Camera) -> Lens:
    """A lens file that knows the camera's intrinsics exactly."""
    return Lens(
        image_size_px=camera.image_size_px,
        fx_px=camera.fx_px,
        fy_px=camera.fy_px,
        cx_px=camera.cx_px,
        cy_px=camera.cy_px,
        distortion=camera.distortion,
        parameter_cov=tuple((0.0,) * 9 for _ in range(9)),
        fit_rms_px=0.0,
        held_out_rms_px=0.0,
        coverage=1.0,
    )


def simulated_landmarks(
    rng: np.random.Generator,
    camera: Camera,
    model: Table,
    built: Table,
    *,
    noise: float = 1.0,
) -> Landmarks:
    """Landmarks of ``built`` as seen by ``camera``, named after ``model``.

    Errors are as the solve expects them: building of single sights and facings, whole sides
    that look shifted, and seeing; the last is multiplied by ``noise``.
    """
    items: list[Landmark] = []
    shifts = {
        name: DIMENSION_EXPECTED_MM.get(name, 0.0) + rng.normal(0, sigma_mm)
        for name, sigma_mm in DIMENSION_SIGMA_MM.items()
        if name.startswith(("nose_", "back_"))
    }
    for make in (nose_edges, back_edges, facing_edges):
        for told, real in zip(make(model), make(built), strict=True):
            items += _edge_landmarks(rng, camera, told, real, shifts, noise)
    for name, place in built.sights_mm.items():
        off = rng.normal(0, BUILT_SIGMA_MM, 2)
        point = (place[0] + off[0], place[1] + off[1], built.rail_cap_height_mm)
        items.append(
            sight_mark(
                model,
                name,
                seen_px=camera.project([point])[0] + rng.normal(0, SIGHT_SIGMA_PX * noise, 2),
                sigma_px=SIGHT_SIGMA_PX,
                built_sigma_mm=BUILT_SIGMA_MM,
            )
        )
    return Landmarks(items=tuple(items), head="left", image_size_px=camera.image_size_px)


def _edge_landmarks(
    rng: np.random.Generator,
    camera: Camera,
    told: TableEdge,
    real: TableEdge,
    shifts: dict[str, float],
    noise: float,
) -> list[Landmark]:
    start, end = np.asarray(real.start_mm), np.asarray(real.end_mm)
    across = np.asarray(real.across_mm)
    shift = sum(shifts.get(name, 0.0) for name, _ in real.moves)
    along = (end - start) / np.linalg.norm(end - start)
    count = 1 if real.whole else max(2, round(float(np.linalg.norm(end - start)) / real.block_mm))
    out = []
    for block in range(count):
        part = (block + 0.5) / count
        off = shift + rng.normal(0, told.built_sigma_mm)
        at = start + part * (end - start) + off * across
        pixel, before, after = camera.project(np.stack([at, at - along, at + along]))
        tangent = (after - before) / np.hypot(*(after - before))
        normal = np.array([-tangent[1], tangent[0]])
        nominal = np.asarray(told.start_mm) + part * (
            np.asarray(told.end_mm) - np.asarray(told.start_mm)
        )
        seen = pixel + rng.normal(0, EDGE_SIGMA_PX) * noise * normal
        out.append(
            Landmark(
                name=f"{told.kind} {told.name} {block + 1}",
                kind=told.kind,
                point_mm=tuple(float(v) for v in nominal),
                seen_px=tuple(float(v) for v in seen),
                normal_px=tuple(float(v) for v in normal),
                sigma_px=EDGE_SIGMA_PX,
                moves=told.moves,
                built_sigma_mm=told.built_sigma_mm,
            )
        )
    return out
