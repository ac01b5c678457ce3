"""The step fit finds edges that the steepest slope misplaces; parameters vary as they should."""

from __future__ import annotations

import numpy as np
import pytest
from calibration_cases import random_camera
from scipy.ndimage import gaussian_filter1d
from scipy.special import erf

from calibration.search.cloth import find_cloth
from calibration.seen.edges import project_grid
from calibration.seen.profile import lowest, misfit, step_basis
from calibration.table import Table
from calibration.vary import POSE, STEPS, sensitivity, varied

STEP_MM, BLUR_MM, HALF = 0.25, 1.2, 32
CLOSE_MM = 0.05
OFFSETS_MM = np.arange(-20, 20, STEP_MM)


def profile(edge_mm: float, shade: float) -> np.ndarray:
    """Bed that darkens towards an edge, then a brighter cushion; blurred."""
    fine = np.arange(-40, 40, 0.01)
    bed = 0.5 - shade * np.exp((fine - edge_mm) / 8.0)
    bright = np.where(fine < edge_mm, bed, 0.6 + 0.001 * (fine - edge_mm))
    blurred = gaussian_filter1d(bright, BLUR_MM / 0.01)
    return np.interp(OFFSETS_MM, fine, blurred)


@pytest.mark.parametrize("edge_mm", [-3.37, 0.0, 0.11, 2.5])
@pytest.mark.parametrize("shade", [0.0, 0.1, 0.2])
def test_a_step_beside_a_shade_is_placed(edge_mm: float, shade: float) -> None:
    seen = profile(edge_mm, shade)
    steepest = int(np.argmax(np.gradient(seen)))
    errors = misfit(seen[None], step_basis(HALF, STEP_MM, BLUR_MM))[0]
    place = lowest(errors, steepest - 10, steepest + 10)
    assert place is not None
    assert OFFSETS_MM[0] + place * STEP_MM == pytest.approx(edge_mm, abs=CLOSE_MM)


def test_the_basis_explains_an_ideal_step_wholly() -> None:
    t = np.arange(-HALF, HALF + 1) * STEP_MM
    ideal = 0.3 + 0.2 * 0.5 * (1 + erf(t / (np.sqrt(2) * BLUR_MM))) + 0.01 * t
    basis = step_basis(HALF, STEP_MM, BLUR_MM)
    np.testing.assert_allclose(basis.T @ basis, np.eye(6), rtol=0, atol=1e-9)
    np.testing.assert_allclose(basis @ (basis.T @ ideal), ideal, rtol=0, atol=1e-9)


def test_windows_that_do_not_fit_are_infinite_and_the_rim_is_no_place() -> None:
    basis = step_basis(HALF, STEP_MM, BLUR_MM)
    errors = misfit(profile(0.0, 0.1)[None], basis)[0]
    assert np.all(np.isinf(errors[:HALF]))
    assert np.all(np.isinf(misfit(np.zeros((1, 10)), basis)))
    assert lowest(np.array([3.0, 2.0, 1.0]), 0, 2) is None
    assert lowest(np.array([1.0, np.inf, np.inf]), 0, 2) is None


def test_varied_camera_moves_pixels_as_its_sensitivity_says() -> None:
    rng = np.random.default_rng(5)
    camera = random_camera(rng, Table())
    points = np.column_stack([rng.uniform(0, 2540, 9), rng.uniform(0, 1270, 9), np.full(9, 28.6)])
    names = tuple(STEPS)
    change = {name: 3 * STEPS[name] * rng.normal() for name in names}
    slope = sensitivity(camera, names, points)
    predicted = slope @ np.array([change[name] for name in names])
    moved = varied(camera, change).project(points) - camera.project(points)
    # second-order terms of turns of 3e-4 rad and the like
    np.testing.assert_allclose(moved, predicted, rtol=0, atol=0.01)
    assert np.abs(moved).max() > 0.3


def test_turning_keeps_the_lens_in_place_and_moving_keeps_its_turn() -> None:
    camera = random_camera(np.random.default_rng(6), Table())
    turned = varied(camera, {POSE[0]: 0.1, POSE[2]: -0.2})
    np.testing.assert_allclose(turned.position_mm, camera.position_mm, rtol=0, atol=1e-6)
    moved = varied(camera, {"lens_z_mm": 25.0})
    np.testing.assert_allclose(moved.rotation, camera.rotation, rtol=0, atol=1e-9)
    off = moved.position_mm - camera.position_mm
    np.testing.assert_allclose(off, (0, 0, 25), rtol=0, atol=1e-6)


def test_a_table_dimension_moves_no_camera() -> None:
    camera = random_camera(np.random.default_rng(7), Table())
    slope = sensitivity(camera, ("rail_cap_height_mm", "k1"), [(100.0, 100.0, 28.6)])
    assert np.all(slope[..., 0] == 0)
    assert np.any(slope[..., 1] != 0)


def test_cloth_corners_run_from_the_head_left_one() -> None:
    still = np.full((540, 960, 3), 90, np.uint8)
    still[100:440, 150:810] = (110, 120, 30)
    for head, first in (("left", (150, 100)), ("right", (809, 439))):
        outline = next(find_cloth(still, head))[0]
        np.testing.assert_allclose(outline.corners_px[0], first, rtol=0, atol=2.5)
        assert len(outline.sides_px) == 4


def test_a_grid_between_knots_lies_where_the_camera_puts_it() -> None:
    camera = random_camera(np.random.default_rng(8), Table(), tilt_deg=25.0)
    along, across = np.arange(0.0, 400.0, 3.1), np.arange(-20.0, 20.1, 0.7)
    origin, axes = np.array([20.0, 30.0, 36.3]), (np.array([0.6, 0.8, 0]), np.array([-0.8, 0.6, 0]))
    points = origin + along[:, None, None] * axes[0] + across[None, :, None] * axes[1]
    seen = project_grid(camera, origin, axes, along, across)
    np.testing.assert_allclose(seen, camera.project(points.reshape(-1, 3)), rtol=0, atol=0.005)
