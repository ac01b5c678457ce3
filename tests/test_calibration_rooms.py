"""Any way a camera may hang, with things on the rails: found and within budget, or refused."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
import pytest
from calibration_cases import built_table
from drawn_table import Flat, Look, draw_table, strip
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.from_still import landmarks_of, solved
from calibration.kept.calibration import Calibration, Residual
from calibration.lens.file import Lens
from calibration.seen.edges import Light, find_edge
from calibration.seen.noses import back_edges, nose_edges
from calibration.solve.agreement import check_sights, check_spread
from calibration.solve.known import Known
from calibration.solve.proportions import FITTINGS_MM, check_size
from calibration.solve.quality import bed_error_mm
from calibration.table import Table
from vision.training.scenes.describe.viewpoint import aim_camera

LANDSCAPE, PORTRAIT = (1280, 720), (720, 1280)
NAMED = Known(surface_error_mm=3.2)
PALE = Look(cloth=(150, 175, 190), rail=(95, 130, 165), sight=(235, 238, 240))
CHARCOAL = Look(cloth=(62, 58, 56), rail=(30, 28, 28), floor=(80, 85, 92), cushion_gain=1.25)
GREEN = Look()
CUE = (60, 130, 190)

Hung = tuple[str, str, tuple[int, int], float, float, float, Look]
MATRIX: tuple[Hung, ...] = (
    # surface, head, picture, tilt, bearing (where the camera hangs from the middle), roll, look
    ("9ft", "left", LANDSCAPE, 0.0, 0.0, 0.0, GREEN),
    ("9ft", "top", PORTRAIT, 10.0, 200.0, 20.0, PALE),
    ("9ft", "right", LANDSCAPE, 30.0, 90.0, -12.0, GREEN),
    ("pro8", "right", LANDSCAPE, 20.0, 45.0, 40.0, CHARCOAL),
    ("pro8", "bottom", PORTRAIT, 30.0, 0.0, 3.0, GREEN),
    ("8ft", "bottom", LANDSCAPE, 10.0, 300.0, -8.0, GREEN),
    ("8ft", "top", PORTRAIT, 20.0, 120.0, -30.0, CHARCOAL),
    ("7ft", "left", LANDSCAPE, 30.0, 180.0, 30.0, PALE),
    ("7ft", "left", PORTRAIT, 15.0, 260.0, 45.0, GREEN),
)


def hung(case: Hung, seed: int) -> tuple[Table, Table, Camera]:
    """The table as told, as built, and a camera that hangs so."""
    surface, head, size_px, tilt_deg, bearing_deg, roll_deg, _ = case
    rng = np.random.default_rng(seed)
    table = Table.from_surface(surface)
    barrel = float(rng.uniform(-0.12, 0.04))
    high_mm = rng.uniform(2400, 3200)
    away_mm = high_mm * np.tan(np.radians(tilt_deg))
    way = np.radians(bearing_deg)
    camera = aim_camera(
        table,
        head,
        position_mm=(
            table.length_mm / 2 + away_mm * np.cos(way),
            table.width_mm / 2 + away_mm * np.sin(way),
            high_mm,
        ),
        image_size_px=size_px,
        fill=0.9,
        roll_deg=roll_deg,
        distortion=(barrel, 0.2 * abs(barrel), 0.0, 0.0, 0.0),
    )
    return table, built_table(rng, table), camera


def by_still(still: NDArray, table: Table, head: str, lens: Lens | None) -> Calibration:
    known = replace(NAMED, lens=lens)
    return solved(landmarks_of(still, table, head, known), table, known)


def check(made: Calibration, camera: Camera) -> None:
    assert made.budget is not None
    assert np.hypot(*bed_error_mm(made, camera).T).max() < made.budget.worst_mm


@pytest.mark.parametrize("number", range(len(MATRIX)))
def test_any_tilt_turn_and_size_with_and_without_lens(number: int) -> None:
    case = MATRIX[number]
    table, built, camera = hung(case, 700 + number)
    still = draw_table(camera, built, case[-1], number)
    # every other one with its lens file, to keep the suite quick
    lens = Lens.exact(camera) if number % 2 == 0 else None
    check(by_still(still, table, case[1], lens), camera)


def along(table: Table, side: str, out_mm: float) -> Flat:
    """A cue that lies along a rail, ``out_mm`` behind the nose line."""
    length, width = table.surface_mm
    start, end = {
        "head": ((-out_mm, -150.0), (-out_mm, 1320.0)),
        "foot": ((length + out_mm, -150.0), (length + out_mm, 1320.0)),
        "left": ((300.0, width + out_mm), (1770.0, width + out_mm)),
        "right": ((300.0, -out_mm), (1770.0, -out_mm)),
    }[side]
    return strip(start, end, 20.0, 56.0, CUE)


CUES: tuple[tuple[int, tuple[tuple[str, float], ...]], ...] = (
    # on the seams, where a cue's edges pass for cushions; on the sights, which it hides
    (1, (("head", 70.0), ("foot", 48.0))),
    (4, (("left", 93.7),)),
    (6, (("right", 60.0), ("head", 48.0))),
)


@pytest.mark.parametrize(("number", "cues"), CUES)
def test_cues_along_the_rails(number: int, cues: Sequence[tuple[str, float]]) -> None:
    case = MATRIX[number]
    table, built, camera = hung(case, 720 + number)
    things = [along(built, side, out_mm) for side, out_mm in cues]
    still = draw_table(camera, built, case[-1], number, things)
    check(by_still(still, table, case[1], None), camera)


@pytest.mark.parametrize(("share", "with_lens"), [(0.1, True), (0.15, False), (0.3, True)])
def test_a_covered_head_end_is_told_from_a_wrong_size(share: float, with_lens: bool) -> None:
    case = MATRIX[0]
    table, built, camera = hung(case, 740)
    length, width = built.surface_mm
    ring = ((-400.0, -400.0), (share * length, -400.0), (share * length, width + 400.0),
            (-400.0, width + 400.0))  # fmt: skip
    cover = Flat(outline_mm=ring, height_mm=60.0, colour=(60, 60, 170))
    still = draw_table(camera, built, GREEN, 40, [cover])
    lens = Lens.exact(camera) if with_lens else None
    with pytest.raises(CalibrationError, match=r"an end seems to be covered or out of the picture"):
        by_still(still, table, "left", lens)


def cloth_coloured(seed: int) -> tuple[NDArray, Table, Camera]:
    """A still whose rails have all but the cloth's colour: the outline may be the rails' own."""
    hanging: Hung = ("9ft", "left", LANDSCAPE, 8.0, 40.0 * seed, 0.0, GREEN)
    table, built, camera = hung(hanging, seed)
    return draw_table(camera, built, Look(rail=(112, 122, 34)), seed), table, camera


@pytest.mark.parametrize("seed", [3, 22])
def test_rails_of_the_cloths_colour_do_not_lead_astray(seed: int) -> None:
    # without the checks of agreement.py seed 22 was accepted, 58 mm off where 6 were stated
    still, table, camera = cloth_coloured(seed)
    try:
        made = by_still(still, table, "left", None)
    except CalibrationError as error:
        refused = str(error)
    else:
        check(made, camera)
        return
    assert re.search(r"landmarks: got .*(sights away|on the .* side)", refused)


def test_rails_of_the_cloths_colour_may_do() -> None:
    still, table, camera = cloth_coloured(5)
    check(by_still(still, table, "left", None), camera)


# -- lines by chance -----------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["blank", "noise", "gradient", "mottle"])
def test_no_line_is_found_where_there_is_none(kind: str) -> None:
    table, _, camera = hung(MATRIX[0], 750)
    rng = np.random.default_rng(5)
    still = np.full((720, 1280, 3), 120.0)
    if kind == "gradient":
        still += (
            np.linspace(-60, 60, 1280)[None, :, None] + np.linspace(-40, 40, 720)[:, None, None]
        )
    if kind == "mottle":
        still += 10 * cv2.GaussianBlur(rng.normal(0, 4, still.shape), (0, 0), 2.0)
    if kind != "blank":
        still += rng.normal(0, 4, still.shape)
    light = Light.of(np.clip(still, 0, 255).astype(np.uint8))
    edges = (*nose_edges(table), *back_edges(table))
    found = [edge.name for edge in edges if find_edge(light, camera, edge, {}, 8.0)]
    assert found == []


# -- sights and sizes ----------------------------------------------------------------------


def sights(*off_mm: float) -> list[Residual]:
    wide = [
        Residual(name=f"sight {n}", kind="sight", off_px=mm, off_mm=mm, sigma_px=1.0, weight=1.0)
        for n, mm in enumerate(off_mm)
    ]
    nose = Residual(name="nose", kind="nose", off_px=9.0, off_mm=9.0, sigma_px=1.0, weight=1.0)
    return [*wide, nose, nose, nose]


def test_sights_that_contradict_the_edges_are_refused_by_name() -> None:
    check_sights(sights(5.0, -6.0, *[1.0] * 12))
    check_sights(sights(*[3.9] * 14))
    with pytest.raises(
        CalibrationError, match=r"got 3 of 14 sights .*\(sight 1 12\.0 mm, sight 0 9\.0 mm, sight 2"
    ):
        check_sights(sights(9.0, -12.0, 5.0, *[1.0] * 11))


def all_round(kind: str = "", part: str = "") -> list[Residual]:
    """Residuals of a whole table, those of a kind whose part starts so left out."""
    table = Table()
    seen = [("sight", name) for name in table.sights_mm]
    seen += [("nose", cushion) for cushion in table.nose_segments_mm for _ in range(3)]
    # names are for people: in whatever language, they decide nothing
    return [
        Residual(
            name=f"Nr. {i}", kind=one, part=own, off_px=0.1, off_mm=0.1, sigma_px=1.0, weight=1.0
        )
        for i, (one, own) in enumerate(seen)
        if one != kind or not own.startswith(part)
    ]


def test_a_part_without_landmarks_is_refused_by_name() -> None:
    table = Table()
    check_spread(all_round(), table)
    check_spread(all_round("sight", "right"), table)  # a cue along one rail
    # edges lost in noise: the foot rail's own sights bear it out
    check_spread(all_round("nose", "foot"), table)
    covered = [r for r in all_round("nose", "foot") if r.part != "foot-2"]
    with pytest.raises(
        CalibrationError, match=r"got 0 stretches of nose or seam on the foot side;"
    ) as refused:
        check_spread(covered, table)
    assert refused.value.fields["about"] == "landmarks"
    half = [r for r in all_round("sight", "foot") if r.kind != "sight" or r.part[-1] in "123"]
    with pytest.raises(CalibrationError, match=r"got 0 agreeing sights in the foot half; allowed"):
        check_spread(half, table)
    point = Residual(name="p", kind="point", off_px=0.0, off_mm=0.0, sigma_px=1.0, weight=1.0)
    check_spread([*half, point, point, point], table)
    check_spread([point] * 4, table)


def test_a_size_that_a_neighbour_explains_far_better_is_refused() -> None:
    table = Table.from_surface("8ft")
    big = {name: middle - getattr(table, name) for name, (middle, _) in FITTINGS_MM.items()}
    # fittings as on a pro8 that is told as an 8ft
    shrunk = {
        name: (getattr(table, name) + change) * 2235.2 / 2336.8 - getattr(table, name)
        for name, change in big.items()
    }
    sigma = dict.fromkeys(shrunk, 0.1)
    with pytest.raises(CalibrationError, match=r"explained by pro8 .* far better; .*nose to nose"):
        check_size(table, shrunk, sigma, Known(surface_error_mm=3.2))
    (doubt,) = check_size(table, shrunk, sigma, Known(surface_error_mm=1.0))
    assert "looks nearer to 2335x1167 mm by its fittings" in doubt.text
