"""Cloths that one colour does not find: under a hot lamp, beside a shade, out of the picture."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from calibration_cases import built_table, exact_lens, random_camera
from drawn_table import Look, draw_table
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.from_still import calibrate
from calibration.search import first_hold
from calibration.search.cloth import ClothOutline, find_cloth
from calibration.seen.edges import Light
from calibration.seen.marks import Landmarks
from calibration.solve.known import Known
from calibration.solve.quality import bed_error_mm
from calibration.table import Table

SIZE_PX = (1280, 720)
TABLE = Table.from_surface("9ft")
RED = Look(cloth=(40, 35, 120), rail=(35, 55, 80))


@pytest.fixture(scope="module")
def red() -> tuple[NDArray[np.uint8], Camera]:
    rng = np.random.default_rng(61)
    camera = random_camera(rng, TABLE, size_px=SIZE_PX)
    return draw_table(camera, built_table(rng, TABLE), RED, 61), camera


def within_its_budget(still: NDArray[np.uint8], camera: Camera) -> None:
    made = calibrate(still, TABLE, "left", Known(lens=exact_lens(camera), surface_error_mm=3.2))
    assert made.budget is not None
    assert np.hypot(*bed_error_mm(made, camera).T).max() < made.budget.worst_mm


def glowing(still: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Under one strong lamp close over the cloth's head half: glare at its place, little beyond."""
    height, width = still.shape[:2]
    v, u = np.mgrid[0:height, 0:width]
    away2 = ((u - 0.38 * width) / (0.2 * width)) ** 2 + ((v - 0.5 * height) / (0.3 * height)) ** 2
    lamp = np.exp(-away2 / 2)[..., None]
    out = still * (0.55 + 0.9 * lamp) + lamp * np.array([25, 60, 70])
    return np.clip(out, 0, 255).astype(np.uint8)


def test_a_hot_lamp_over_the_cloth_hides_no_outline(
    red: tuple[NDArray[np.uint8], Camera],
) -> None:
    within_its_budget(glowing(red[0]), red[1])


def test_a_shade_over_a_long_side_is_bridged(red: tuple[NDArray[np.uint8], Camera]) -> None:
    still, camera = red[0].copy(), red[1]
    at = camera.project([(800.0, TABLE.width_mm, 40.0)])[0]
    cv2.circle(still, (int(at[0]), int(at[1])), 130, (20, 22, 24), cv2.FILLED)
    within_its_budget(still, camera)


def test_an_outline_may_have_a_corner_outside_the_picture() -> None:
    still = np.full((540, 960, 3), 90, np.uint8)
    cv2.fillPoly(still, [np.array([[-40, 120], [800, 40], [850, 460], [10, 520]])], (40, 35, 120))
    outline = next(find_cloth(still, "left"))[0]
    np.testing.assert_allclose(outline.corners_px[0], (-40, 120), rtol=0, atol=8)


@pytest.mark.parametrize(("off_px", "new"), [(0.0, False), (1.0, False), (40.0, True)])
def test_a_reading_like_one_in_vain_is_not_tried_again(
    red: tuple[NDArray[np.uint8], Camera],
    monkeypatch: pytest.MonkeyPatch,
    off_px: float,
    new: bool,
) -> None:
    still, camera = red
    outline = next(find_cloth(still, "left"))[0]
    length, width = TABLE.surface_mm
    flat = [(-60.0, -60.0), (length + 60, -60), (length + 60, width + 60), (-60, width + 60)]
    bare = cv2.fillPoly(
        np.full_like(still, 90),
        [camera.project([(*at, 40.0) for at in flat]).astype(np.int32)],
        RED.cloth,
    )
    tried: list[float] = []
    held = first_hold._held

    def counted(*given):
        tried.append(given[1].misfit)
        return held(*given)

    monkeypatch.setattr(first_hold, "_held", counted)

    def tries(*outlines: ClothOutline) -> int:
        tried.clear()
        blank = Landmarks(items=(), head="left", image_size_px=SIZE_PX)
        with pytest.raises(CalibrationError, match="none with sights"):
            first_hold.first_hold(Light.of(bare), [outlines], TABLE, blank, exact_lens(camera))
        return len(tried)

    moved = ClothOutline(
        outline.corners_px + off_px, tuple(side + off_px for side in outline.sides_px), outline.fit
    )
    once, twice = tries(outline), tries(outline, moved)
    assert once >= 2
    assert (twice >= once + 2) if new else (twice <= once + 1)
