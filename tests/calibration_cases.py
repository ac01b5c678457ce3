"""Cameras, lenses and simulated landmarks with known truth, shared by the calibration tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.camera import Camera
from calibration.lens.file import Lens
from calibration.seen.edges import EDGE_SIGMA_PX, TableEdge
from calibration.seen.marks import (
    DIMENSION_EXPECTED_MM,
    DIMENSION_SIGMA_MM,
    SIDE_DIMENSIONS,
    SIDES,
    Landmark,
    Landmarks,
    nose_sigma_mm,
    sight_mark,
)
from calibration.seen.noses import back_edges, nose_edges
from calibration.seen.pocket_mouths import facing_edges
from calibration.seen.sights import BUILT_SIGMA_MM, SIGHT_SIGMA_PX
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


UP = {
    "left": (0.0, 1.0, 0.0),
    "right": (0.0, -1.0, 0.0),
    "top": (-1.0, 0.0, 0.0),
    "bottom": (1.0, 0.0, 0.0),
}
"""Table direction that points up in the picture, by the side on which the head end lies."""


def assumed_camera(
    rng: np.random.Generator, table: Table, *, head: str = "left", tilt_deg: float = 30.0
) -> Camera:
    """A camera whose lens is drawn from what the solve assumes of lenses; upright for top, bottom.

    Drawn again where the lens folds the picture over, or cannot see the whole table.
    """
    longer, shorter = 1920, 1080
    size_px = (longer, shorter) if head in ("left", "right") else (shorter, longer)
    out_mm = 130.0
    corners = [
        (x, y, table.rail_cap_height_mm)
        for x in (-out_mm, table.length_mm + out_mm)
        for y in (-out_mm, table.width_mm + out_mm)
    ]
    while True:
        height_mm = rng.uniform(2000, 3300)
        lean, way = np.radians(rng.uniform(0, tilt_deg)), rng.uniform(0, 2 * np.pi)
        away_mm = height_mm * np.tan(lean)
        target = np.array(table.surface_mm) / 2 + rng.normal(0, 30, 2)
        camera = Camera.looking(
            position_mm=(*(target + away_mm * np.array([np.cos(way), np.sin(way)])), height_mm),
            target_mm=(*target, 0.0),
            up=np.array(UP[head]) + np.array([*rng.normal(0, 0.05, 2), 0.0]),
            image_size_px=size_px,
            focal_px=rng.normal(0.85, 0.1) * longer,
            centre_px=tuple((np.array(size_px) - 1) / 2 + rng.normal(0, 0.01 * longer, 2)),
            distortion=(
                rng.normal(-0.05, 0.12),
                rng.normal(0, 0.05),
                *rng.normal(0, 5e-4, 2),
                0.0,
            ),
        )
        seen = camera.project(corners)
        back = camera.back_project(seen, table.rail_cap_height_mm)
        inside = np.all((seen > 0) & (seen < np.array(size_px) - 1))
        if inside and np.allclose(back, np.array(corners)[:, :2], rtol=0, atol=0.01):
            return camera


def assumed_table(rng: np.random.Generator, told: Table, surface_error_mm: float) -> Table:
    """A table drawn from what the solve assumes of tables, ``told`` by whoever asks.

    ``surface_error_mm``: to how many mm its length and width are known, 95 %.
    """
    sigma_mm = {
        "length_mm": surface_error_mm / 2,
        "width_mm": surface_error_mm / 2,
        **{name: sigma for name, sigma in DIMENSION_SIGMA_MM.items() if hasattr(told, name)},
    }
    return replace(
        told, **{name: getattr(told, name) + rng.normal(0, s) for name, s in sigma_mm.items()}
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
    head: str = "left",
) -> Landmarks:
    """Landmarks of ``built`` as seen by ``camera``, named after ``model``.

    Errors are as the solve expects them: building of single sights and facings, whole sides
    that look shifted, and seeing; the last is multiplied by ``noise``.
    """
    items: list[Landmark] = []
    sigmas_mm = {name: DIMENSION_SIGMA_MM[name] for name in sorted(SIDE_DIMENSIONS)}
    sigmas_mm |= {f"nose_{s}_mm": nose_sigma_mm(built, camera.position_mm, s) for s in SIDES}
    shifts = {
        name: DIMENSION_EXPECTED_MM.get(name, 0.0) + rng.normal(0, sigma_mm)
        for name, sigma_mm in sigmas_mm.items()
    }
    # near the nose a cushion's top does not rise with its cap, nor do facings there
    low = replace(
        built,
        rail_cap_height_mm=model.rail_cap_height_mm,
        cushion_width_mm=model.cushion_width_mm,
    )
    for make, real_table in ((nose_edges, built), (back_edges, built), (facing_edges, low)):
        for told, real in zip(make(model), make(real_table), strict=True):
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
    return Landmarks(items=tuple(items), head=head, image_size_px=camera.image_size_px)


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
    part = ((np.arange(count) + 0.5) / count)[:, None]
    off = shift + rng.normal(0, told.built_sigma_mm, (count, 1))
    at = start + part * (end - start) + off * across
    pixel, before, after = np.split(camera.project(np.concatenate([at, at - along, at + along])), 3)
    normal = (after - before)[:, ::-1] * (-1.0, 1.0)
    normal /= np.hypot(*normal.T)[:, None]
    seen = pixel + rng.normal(0, EDGE_SIGMA_PX, (count, 1)) * noise * normal
    ends = np.asarray(told.start_mm), np.asarray(told.end_mm)
    nominal = ends[0] + part * (ends[1] - ends[0])
    return [
        Landmark(
            name=f"{told.kind} {told.name} {block + 1}",
            kind=told.kind,
            point_mm=tuple(nominal[block].tolist()),
            seen_px=tuple(seen[block].tolist()),
            normal_px=tuple(normal[block].tolist()),
            sigma_px=EDGE_SIGMA_PX,
            moves=told.moves,
            built_sigma_mm=told.built_sigma_mm,
        )
        for block in range(count)
    ]
