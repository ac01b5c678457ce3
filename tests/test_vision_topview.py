"""Top view and footprint: the geometry the detector works in."""

import cv2
import numpy as np
import pytest
from drawn_stills import overhead

from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from vision.footprint import Footprint
from vision.topview import TopView

VIEW_TOLERANCE_PX = 1e-9
"""Both maps are the same affine formula."""
BLOB_TOLERANCE_MM = 0.25
"""A drawn blob's centroid after one bilinear warp, an eighth of a top-view pixel."""
FOOTPRINT_TOLERANCE_MM = 0.35
"""The ellipse leaves out that an outline's middle lies a little beyond the ball's centre."""

TABLES = {
    "9ft": Table(),
    "7ft": Table.from_surface("7ft"),
    "odd": Table.from_surface("2100x1050"),
}


@pytest.mark.parametrize("name", TABLES)
def test_view_and_table_maps_are_inverse(name: str) -> None:
    view = TopView.of(overhead(TABLES[name]), TABLES[name])
    points = np.random.default_rng(1).uniform(-60, 1200, (50, 2))
    back = view.to_table(view.to_view(points))
    np.testing.assert_allclose(back, points, rtol=0, atol=VIEW_TOLERANCE_PX)


def test_shape_covers_surface_and_margin() -> None:
    table = TABLES["9ft"]
    view = TopView.of(overhead(table), table)
    rows, columns = view.shape
    assert columns * view.scale_mm >= table.length_mm + 2 * view.margin_mm
    assert rows * view.scale_mm >= table.width_mm + 2 * view.margin_mm


@pytest.mark.parametrize("place", [(30.0, 30.0), (1270.0, 635.0), (2500.0, 1240.0)])
def test_warp_puts_a_point_at_ball_height_where_it_belongs(place: tuple[float, float]) -> None:
    table = TABLES["9ft"]
    camera = overhead(table)
    picture = np.zeros((1080, 1920, 3), np.uint8)
    pixel = camera.project([(*place, BALL_CENTRE_HEIGHT_MM)])[0]
    centre = tuple(round(c * 256) for c in pixel)
    cv2.circle(picture, centre, 5 * 256, (255, 255, 255), -1, cv2.LINE_AA, 8)
    view = TopView.of(camera, table)
    top = view.warp(picture)[..., 0].astype(float)
    rows, columns = np.indices(top.shape)
    middle = np.array([(columns * top).sum(), (rows * top).sum()]) / top.sum()
    found = view.to_table(middle)[0]
    np.testing.assert_allclose(found, place, rtol=0, atol=BLOB_TOLERANCE_MM)


@pytest.mark.parametrize("tilt_mm", [0.0, 150.0, 1000.0])
@pytest.mark.parametrize("place", [(40.0, 40.0), (1330.0, 500.0), (2480.0, 1230.0)])
def test_footprint_is_the_projected_outline(tilt_mm: float, place: tuple[float, float]) -> None:
    table = TABLES["9ft"]
    camera = overhead(table, tilt_mm=tilt_mm, barrel=0.0)
    outline = camera.back_project(camera.ball_outline(place, samples=90))
    centre = np.broadcast_to(np.array(place), outline.shape)
    prints = Footprint.at(camera, centre)
    away = outline - centre
    distance = np.linalg.norm(away, axis=1)
    reach = prints.reach(away / distance[:, None])
    np.testing.assert_allclose(reach, distance, rtol=0, atol=FOOTPRINT_TOLERANCE_MM)
    np.testing.assert_allclose(prints.norm(away), 1.0, rtol=0, atol=FOOTPRINT_TOLERANCE_MM / 28)


def test_footprint_touch_lies_on_the_ellipse_with_that_normal() -> None:
    camera = overhead(TABLES["9ft"], tilt_mm=800.0)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    normals = np.column_stack([np.cos(angle), np.sin(angle)])
    prints = Footprint.at(camera, np.broadcast_to([300.0, 1100.0], normals.shape))
    touch = prints.touch(normals)
    np.testing.assert_allclose(prints.norm(touch), 1.0, rtol=0, atol=1e-12)
    # the outward normal's point is the farthest one in its direction
    others = touch @ normals.T
    assert np.all(others.argmax(axis=0) == np.arange(40))
