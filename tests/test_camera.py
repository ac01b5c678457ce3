"""The camera maps table millimetres to pixels and back, with derivatives and files to match."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.camera import Camera
from calibration.errors import CalibrationError, FileFormatError

ROUND_TRIP_MM = 1e-6
"""Numerical only: undistortion iterates to 1e-12."""
SLOPE_REL = 1e-5
"""Central differences over 0.01 mm against the closed form."""

SIZES = st.sampled_from([(1920, 1080), (1280, 960), (1080, 1920)])


@st.composite
def cameras(draw: st.DrawFn) -> Camera:
    """Cameras above a table, tilted up to about 25 degrees, with plausible lenses."""

    def number(low: float, high: float) -> float:
        return draw(st.floats(low, high, allow_nan=False))

    height_mm = number(1800, 3500)
    turn = number(0, 2 * np.pi)
    return Camera.looking(
        position_mm=(1270 + number(-700, 700), 635 + number(-700, 700), height_mm),
        target_mm=(1270 + number(-200, 200), 635 + number(-200, 200), 0),
        up=(np.sin(turn), np.cos(turn), 0),
        image_size_px=draw(SIZES),
        focal_px=number(900, 2500),
        distortion=(number(-0.15, 0.03), number(-0.01, 0.02), number(-1e-3, 1e-3), 0.0, 0.0),
    )


PLACES = st.tuples(st.floats(0, 2540), st.floats(0, 1270))
HEIGHTS = st.sampled_from([0.0, 28.575, 36.3, 44.0])


def in_view(camera: Camera, pixels_px: np.ndarray) -> bool:
    """Whether the pixels lie in the picture, where the lens model is meant to hold."""
    width, height = camera.image_size_px
    return bool(np.all((pixels_px >= -1) & (pixels_px <= (width, height))))


@given(cameras(), st.lists(PLACES, min_size=1, max_size=8), HEIGHTS)
@settings(max_examples=120, deadline=None)
def test_table_to_pixel_to_table(camera: Camera, places: list, height_mm: float) -> None:
    points = np.column_stack([np.array(places), np.full(len(places), height_mm)])
    pixels = camera.project(points)
    if in_view(camera, pixels):
        back = camera.back_project(pixels, height_mm)
        np.testing.assert_allclose(back, points[:, :2], rtol=0, atol=ROUND_TRIP_MM)


@given(cameras(), PLACES, HEIGHTS)
@settings(max_examples=100, deadline=None)
def test_jacobian_is_the_slope_of_project(
    camera: Camera, place: tuple[float, float], height_mm: float
) -> None:
    analytic = camera.jacobian([place], height_mm)[0]
    step = 0.01
    numeric = np.empty((2, 2))
    for axis in (0, 1):
        ends = np.array([[*place, height_mm], [*place, height_mm]])
        ends[0, axis] += step
        ends[1, axis] -= step
        ahead, behind = camera.project(ends)
        numeric[:, axis] = (ahead - behind) / (2 * step)
    scale = np.abs(analytic).max()
    np.testing.assert_allclose(analytic, numeric, rtol=0, atol=SLOPE_REL * scale)


@given(cameras())
@settings(max_examples=60, deadline=None)
def test_dict_round_trip_is_exact(camera: Camera) -> None:
    assert Camera.from_dict(json.loads(json.dumps(camera.to_dict()))) == camera


@given(cameras(), PLACES)
@settings(max_examples=60, deadline=None)
def test_ball_outline_lies_where_rays_graze_the_ball(
    camera: Camera, place: tuple[float, float]
) -> None:
    outline = camera.ball_outline(place, samples=16)
    if not in_view(camera, outline):
        return
    rays = camera.rays(outline)
    to_centre = np.array([*place, 28.575]) - camera.position_mm
    along = rays @ to_centre
    distance = np.sqrt(np.maximum(to_centre @ to_centre - along**2, 0.0))
    np.testing.assert_allclose(distance, 28.575, rtol=0, atol=1e-4)


def overhead() -> Camera:
    return Camera.looking(
        position_mm=(1270, 635, 2600),
        target_mm=(1270, 635, 0),
        up=(0, 1, 0),
        image_size_px=(1920, 1080),
        focal_px=1700,
        distortion=(-0.1, 0.01, 0.0, 0.0, 0.0),
    )


def test_looking_places_lens_and_axes() -> None:
    camera = overhead()
    np.testing.assert_allclose(camera.position_mm, (1270, 635, 2600), rtol=0, atol=1e-9)
    middle, right, up = camera.project([(1270, 635, 0), (1370, 635, 0), (1270, 735, 0)])
    np.testing.assert_allclose(middle, (959.5, 539.5), rtol=0, atol=1e-9)
    assert right[0] > middle[0]
    assert up[1] < middle[1]


def test_project_agrees_with_opencv_convention() -> None:
    camera = overhead()
    points = np.array([[100.0, 200.0, 36.3], [2400.0, 1200.0, 0.0]])
    image, _ = cv2.projectPoints(
        points, np.array(camera.rvec), np.array(camera.tvec_mm), camera.matrix,
        np.array(camera.distortion),
    )  # fmt: skip
    np.testing.assert_allclose(camera.project(points), image.reshape(-1, 2), rtol=0, atol=1e-9)


def test_covariance_matches_scattered_pixels() -> None:
    camera = overhead()
    rng = np.random.default_rng(4)
    cov_px2 = np.array([[0.04, 0.01], [0.01, 0.09]])
    pixel = camera.project([(300.0, 1100.0, 28.575)])[0]
    cloud = camera.back_project(rng.multivariate_normal(pixel, cov_px2, 20000))
    predicted = camera.covariance_mm2([(300.0, 1100.0)], cov_px2)[0]
    measured = np.cov(cloud.T)
    # 20000 samples give a variance to about 1 %
    np.testing.assert_allclose(measured, predicted, rtol=0.05, atol=0.05 * predicted.max())


def test_rays_that_miss_the_plane_are_nan() -> None:
    camera = Camera.looking(
        position_mm=(0, 0, 1000),
        target_mm=(1000, 0, 1000),
        up=(0, 0, 1),
        image_size_px=(640, 480),
        focal_px=500,
    )
    above, below = camera.back_project([(320, 10), (320, 470)], 0.0)
    assert np.all(np.isnan(above))
    assert np.all(np.isfinite(below))


def test_no_points_give_empty_arrays() -> None:
    camera = overhead()
    assert camera.project(np.zeros((0, 3))).shape == (0, 2)
    assert camera.back_project(np.zeros((0, 2))).shape == (0, 2)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (
            {"fx_px": 0.0},
            r"camera\.fx_px: got 0\.0; .* above 0\. Calibrate again",
        ),
        ({"cx_px": float("nan")}, r"camera\.cx_px: got nan; allowed: a finite number\."),
        ({"image_size_px": (1, 1)}, r"camera\.image_size_px\[0\]: got 1; allowed: 2 to 65535"),
    ],
)
def test_impossible_cameras_are_refused(change: dict, text: str) -> None:
    data = {**overhead().to_dict(), **change}
    with pytest.raises(CalibrationError, match=text):
        Camera(
            image_size_px=tuple(data["image_size_px"]),
            fx_px=data["fx_px"],
            fy_px=data["fy_px"],
            cx_px=data["cx_px"],
            cy_px=data["cy_px"],
        )


@pytest.mark.parametrize(
    ("field", "value", "text"),
    [
        ("fx_px", None, r"camera\.fx_px: got None; allowed: a finite number"),
        ("rvec", [0.0, 1.0], r"camera\.rvec: got \[0\.0, 1\.0\]; allowed: 3 numbers"),
        ("distortion", "none", r"camera\.distortion: got 'none'; allowed: 5 numbers"),
        ("cy_px", True, r"camera\.cy_px: got True"),
    ],
)
def test_wrong_fields_are_named(field: str, value: object, text: str) -> None:
    with pytest.raises(FileFormatError, match=text):
        Camera.from_dict({**overhead().to_dict(), field: value})


def test_missing_field_is_named() -> None:
    data = overhead().to_dict()
    del data["tvec_mm"]
    with pytest.raises(FileFormatError, match=r"camera\.tvec_mm: missing"):
        Camera.from_dict(data)


def test_up_along_the_view_is_refused() -> None:
    with pytest.raises(CalibrationError, match=r"camera\.up: got \(0, 0, 1\), along the view"):
        Camera.looking(
            position_mm=(0, 0, 10),
            target_mm=(0, 0, 0),
            up=(0, 0, 1),
            image_size_px=(64, 64),
            focal_px=50,
        )
