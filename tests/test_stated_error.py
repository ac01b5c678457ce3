"""The stated error is true: measured against predicted over noise, regions, sources and stills.

The tests measure; these figures are for comparison.

Rendered rooms with tables built to tolerance (length and width 1.6 mm, sights 0.7 mm, each cut at
twice that; mouths, caps, offsets anywhere in their range; cameras leaning up to 30 degrees), told
by their named size, 51 rooms that nothing was tuned on, two of them refused for their cloth:
`python -m vision.training.dataset --set built`, then
`python -m service.bench.rooms.stated_error FOLDER`, and with `--sources tape nothing --noise 0`.
Root mean squares over the bed; "ninths" are the least and largest ratio of the bed's nine parts,
"pull" is in stated sigmas. (Measured one step earlier, before building errors were foreshortened
row by row.)

                              n  measured predicted  ratio      ninths  pull      ninths  in 95 %
lens, noise 0, by tape       49  1.271 mm  1.256 mm   1.01  0.93-1.04   1.01  1.00-1.03      98%
lens, noise 0, by noses      49  0.510 mm  0.535 mm   0.95  0.89-1.15   1.02  0.91-1.14      95%
lens, noise 1, by tape       49  1.266 mm  1.256 mm   1.01  0.91-1.04   1.01  0.99-1.03      97%
lens, noise 1, by noses      49  0.506 mm  0.535 mm   0.95  0.88-1.10   0.99  0.86-1.12      95%
lens, noise 2, by tape       48  1.250 mm  1.254 mm   1.00  0.91-1.03   1.00  0.99-1.01      98%
lens, noise 2, by noses      48  0.505 mm  0.533 mm   0.95  0.89-1.09   0.99  0.84-1.14      95%
lens, noise 4, by tape       48  1.259 mm  1.255 mm   1.00  0.93-1.04   1.00  0.99-1.01      98%
lens, noise 4, by noses      48  0.506 mm  0.531 mm   0.95  0.91-1.05   0.97  0.86-1.11      96%
lens, noise 8, by tape       49  1.283 mm  1.256 mm   1.02  0.94-1.06   1.02  1.01-1.06      95%
lens, noise 8, by noses      49  0.501 mm  0.528 mm   0.95  0.90-1.05   1.02  0.93-1.13      94%
lens, noise 12, by tape      49  1.293 mm  1.257 mm   1.03  0.96-1.06   1.05  1.02-1.11      97%
lens, noise 12, by noses     49  0.504 mm  0.528 mm   0.95  0.89-1.08   1.04  0.88-1.17      94%
tape, noise 0, by tape       49  1.340 mm  1.305 mm   1.03  0.97-1.06   1.04  1.01-1.08      95%
tape, noise 0, by noses      49  0.372 mm  0.359 mm   1.04  0.95-1.13   1.13  1.03-1.25      89%
nothing, noise 0, by tape    49  1.388 mm  1.372 mm   1.01  0.94-1.05   1.05  1.03-1.07      94%
nothing, noise 0, by noses   49  0.500 mm  0.545 mm   0.92  0.86-1.02   1.14  0.97-1.25      88%
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from calibration_cases import (
    assumed_camera,
    assumed_table,
    exact_lens,
    simulated_landmarks,
)
from scipy.stats import norm

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.from_still import landmarks_of
from calibration.kept.budget import GRID, bed_grid_mm
from calibration.kept.calibration import Calibration
from calibration.lens.file import Lens
from calibration.seen.edges import EDGE_SIGMA_PX
from calibration.seen.marks import Landmarks
from calibration.solve.bearing_out import (
    REGIONS,
    WHOLE,
    Figures,
    Record,
    as_text,
    bear_out,
    record_of,
)
from calibration.solve.known import MEASURED_ERROR_MM, NAMED_ERROR_MM, TAPE_ERROR_MM, Known
from calibration.solve.solve import solve
from calibration.table import NAMED_SURFACES_MM, Table
from service.bench.rooms.stated_error import FRAMES, NOISE_LEVELS, main, noisy, told_table
from service.demo.samples import OTHERS_FOLDER, sample_folder
from vision.still import decode_still
from vision.truth.file import TruthStill, read_truth

PRACTICE_FOLDER = "practice"
BY_TAPE = FRAMES[0]
WITHIN = (0.8, 1.2)
"""Measured over predicted RMS error: the requirement is 20 %."""
NINTH_95 = 0.8
"""Least share inside the stated 95 % ellipse in any ninth: errors are common to a calibration,
so 80 tables know a share of 95 % to about 3 points, and each RMS to about 5 %."""
TABLES = 80
LEVELS_PX = (0.04, 0.08, 0.15, 0.25, 0.35, 0.5)
"""Error of seeing; the solve is told 0.15 for edges and 0.05 for sights at every level. From
0.6 px on solves are refused for their residuals, and what is left would no longer be all."""


# -- simulated landmarks -------------------------------------------------------------------


def sizes_off(rng: np.random.Generator) -> FloatArray:
    """By how many of its sigmas each table's length and width are off, (TABLES, 2).

    Drawn, 80 lengths may all in all be 17 % too far off, and by tape that is nearly all of the
    error; these are even over the Gaussian, in random order.
    """
    even = norm.ppf((np.arange(TABLES) + 0.5) / TABLES)
    return np.stack([rng.permutation(even) for _ in range(2)], axis=1)


def simulated(
    rng: np.random.Generator,
    level_px: float,
    source: str,
    surface_error_mm: float,
    off: FloatArray,
) -> Iterator[Record]:
    """A table, camera and landmarks drawn from what the solve assumes of them; its records.

    ``off`` is one row of ``sizes_off``. Any named size, any head side (two of four in a portrait
    picture), tilts up to 30 degrees.
    """
    told = Table.from_surface(str(rng.choice(list(NAMED_SURFACES_MM))))
    head = str(rng.choice(["left", "right", "top", "bottom"]))
    camera = assumed_camera(rng, told, head=head)
    length_mm, width_mm = np.array(told.surface_mm) + off * surface_error_mm / 2
    built = replace(
        assumed_table(rng, told, surface_error_mm), length_mm=length_mm, width_mm=width_mm
    )
    noise = level_px / EDGE_SIGMA_PX
    marks = simulated_landmarks(rng, camera, told, built, noise=noise, head=head)
    lens = exact_lens(camera) if source == "lens" else None
    tape_mm = float(camera.position_mm[2]) + rng.normal(0, TAPE_ERROR_MM / 2)
    known = Known(surface_error_mm=surface_error_mm)
    try:
        height_mm = tape_mm if source == "tape" else None
        made = solve(marks, told, replace(known, lens=lens, camera_height_mm=height_mm))
    except CalibrationError as refused:
        # one in some hundred tables has the fittings of its neighbour in size: measure, it says
        if "Measure the surface from nose to nose" not in str(refused):
            raise
        return
    yield from both_frames(made, camera, built)


def both_frames(made: Calibration, camera: Camera, table: Table) -> list[Record]:
    """The records of one calibration, by tape and by noses."""
    return [
        record_of(made, camera, table, label=frame, by_tape=frame == BY_TAPE) for frame in FRAMES
    ]


def check_all_ninths(figures: tuple[Figures, ...]) -> None:
    """Every region of every label within the required band; hardly a table refused."""
    assert min(one.count for one in figures) >= 0.96 * TABLES
    table = "\n" + as_text(figures)
    for one in figures:
        assert WITHIN[0] < one.ratio < WITHIN[1], table
        assert WITHIN[0] < one.pull < WITHIN[1], table
        assert one.inside_95 > NINTH_95, table
    for one in figures:
        if one.region == WHOLE:
            assert WITHIN[0] < one.ratio_x < WITHIN[1], table
            assert WITHIN[0] < one.ratio_y < WITHIN[1], table


# As `as_text` printed with these seeds, 80 tables a line, ±: to how many mm the surface is known:
#                               n  measured predicted  ratio      ninths  pull      ninths  in 95 %
# lens 0.04 px, by tape        80  0.463 mm  0.484 mm   0.96  0.91-1.03   0.97  0.93-1.02      97%
# lens 0.04 px, by noses       80  0.339 mm  0.330 mm   1.03  0.98-1.08   1.03  1.01-1.08      95%
# lens 0.08 px, by tape        80  0.485 mm  0.490 mm   0.99  0.94-1.02   0.98  0.95-1.00      97%
# lens 0.08 px, by noses       80  0.335 mm  0.338 mm   0.99  0.92-1.09   1.04  0.94-1.11      94%
# lens 0.15 px, by tape        80  0.486 mm  0.496 mm   0.98  0.96-0.99   0.98  0.97-1.00      96%
# lens 0.15 px, by noses       80  0.322 mm  0.343 mm   0.94  0.91-0.98   0.97  0.94-0.99      96%
# lens 0.25 px, by tape        80  0.480 mm  0.497 mm   0.96  0.91-0.99   0.98  0.95-1.00      98%
# lens 0.25 px, by noses       80  0.311 mm  0.342 mm   0.91  0.85-0.98   0.95  0.91-1.00      97%
# lens 0.35 px, by tape        80  0.482 mm  0.512 mm   0.94  0.90-0.99   0.96  0.94-0.98      97%
# lens 0.35 px, by noses       80  0.357 mm  0.363 mm   0.99  0.95-1.03   0.99  0.97-1.03      96%
# lens 0.5 px, by tape         80  0.489 mm  0.530 mm   0.92  0.90-0.96   0.96  0.93-0.98      96%
# lens 0.5 px, by noses        80  0.375 mm  0.385 mm   0.97  0.93-1.01   0.96  0.91-0.99      97%
# lens ±3.2, by tape           79  1.254 mm  1.289 mm   0.97  0.95-1.00   0.98  0.96-0.98      98%
# lens ±3.2, by noses          79  0.589 mm  0.578 mm   1.02  1.01-1.03   0.97  0.94-0.98      98%
# tape ±1, by tape             80  0.546 mm  0.538 mm   1.02  1.00-1.04   1.01  0.99-1.03      94%
# tape ±1, by noses            80  0.359 mm  0.359 mm   1.00  0.98-1.03   1.00  0.98-1.03      96%
# nothing ±3.2, by tape        79  1.408 mm  1.359 mm   1.04  0.96-1.06   1.02  0.99-1.05      95%
# nothing ±3.2, by noses       79  0.435 mm  0.461 mm   0.94  0.84-1.03   0.96  0.92-1.01      97%
@pytest.mark.parametrize("level_px", LEVELS_PX)
def test_at_every_level_of_noise_and_in_every_ninth_of_the_bed(level_px: float) -> None:
    rng = np.random.default_rng((90, round(1000 * level_px)))
    records = [
        one
        for off in sizes_off(rng)
        for one in simulated(rng, level_px, "lens", MEASURED_ERROR_MM, off)
    ]
    check_all_ninths(bear_out(records))


@pytest.mark.parametrize(
    ("source", "surface_error_mm"),
    [("lens", NAMED_ERROR_MM), ("tape", MEASURED_ERROR_MM), ("nothing", NAMED_ERROR_MM)],
)
def test_whatever_settles_the_scale(source: str, surface_error_mm: float) -> None:
    rng = np.random.default_rng((91, len(source)))
    records = [
        one
        for off in sizes_off(rng)
        for one in simulated(rng, EDGE_SIGMA_PX, source, surface_error_mm, off)
    ]
    check_all_ninths(bear_out(records))


# -- rendered stills -----------------------------------------------------------------------

STILLS = 4
"""Stills a level of noise. Four rooms say little about what their lights and edges do to a ninth
of the bed against the noses (0.1 to 0.3 mm in a room, one draw each), so there the whole bed
counts; the many rooms of the table above say more."""
ONE_SIGMA_OFF = tuple((x, y) for x in (-1, 1) for y in (-1, 1))
"""Each still is told four sizes, one sigma off each way: their second moments are exact."""


def sample_rooms() -> list[tuple[TruthStill, bytes]]:
    """The sample stills' rooms: balls on the bed do not hide its edges."""
    folder = sample_folder(OTHERS_FOLDER)
    rooms = [(still, (folder / name).read_bytes()) for name, still in read_truth(folder).items()]
    return [(still, data) for still, data in rooms if not still.obstructed]


def retold(marks: Landmarks, told: Table, other: Table) -> Landmarks:
    """The same landmarks in the same still for someone who took the table for ``other``."""
    size, change = np.array(told.surface_mm), np.array(other.surface_mm) - told.surface_mm
    items = []
    for item in marks.items:
        x_mm, y_mm, z_mm = item.point_mm
        share = np.clip(np.array([x_mm, y_mm]) / size, 0.0, 1.0)
        x_mm, y_mm = (np.array([x_mm, y_mm]) + share * change).tolist()
        items.append(replace(item, point_mm=(x_mm, y_mm, z_mm)))
    return replace(marks, items=tuple(items))


@pytest.fixture(scope="module")
def rooms() -> list[tuple[TruthStill, bytes]]:
    return sample_rooms()


@pytest.mark.parametrize("level", NOISE_LEVELS)
def test_rendered_rooms_taken_for_other_sizes(
    rooms: list[tuple[TruthStill, bytes]], level: float
) -> None:
    # the sample tables are exactly of their size; told another within the tolerance, each is a
    # table built off its told size
    rng = np.random.default_rng((92, int(level)))
    first = NOISE_LEVELS.index(level)
    known = Known(surface_error_mm=NAMED_ERROR_MM)
    records = []
    for index in range(STILLS):
        truth, data = rooms[(first + 2 * index) % len(rooms)]
        told, _ = told_table(truth.table, exact=True)
        picture = noisy(decode_still(data), level, int(rng.integers(2**31)))
        lens = Lens.exact(truth.camera)
        marks = landmarks_of(picture, told, truth.head, Known(lens=lens))
        for signs in ONE_SIGMA_OFF:
            size = np.array(told.surface_mm) + np.array(signs) * NAMED_ERROR_MM / 2
            other = Table(length_mm=float(size[0]), width_mm=float(size[1]))
            made = solve(retold(marks, told, other), other, replace(known, lens=lens))
            records += both_frames(made, truth.camera, truth.table)
    figures = bear_out(records)
    table = "\n" + as_text(figures)
    for one in figures:
        if one.region == WHOLE or one.label == BY_TAPE:
            assert WITHIN[0] < one.ratio < WITHIN[1], table


def test_added_noise_is_of_its_size_and_seeded() -> None:
    grey = np.full((300, 300, 3), 120, np.uint8)
    assert noisy(grey, 0.0, 1) is grey
    one, same, other = (noisy(grey, 4.0, seed) for seed in (1, 1, 2))
    assert np.array_equal(one, same)
    assert not np.array_equal(one, other)
    assert np.std(one.astype(float)) == pytest.approx(4.0, abs=0.05)


def test_a_table_is_told_by_its_nearest_name_or_exactly() -> None:
    built = Table(length_mm=2336.8 + 2.1, width_mm=1168.4 - 1.7, rail_cap_height_mm=41.0)
    told, error_mm = told_table(built, exact=False)
    assert told == Table.from_surface("pro8")
    assert error_mm == NAMED_ERROR_MM
    told, error_mm = told_table(built, exact=True)
    assert told == Table(length_mm=built.length_mm, width_mm=built.width_mm)
    assert error_mm == 0.0


def test_the_command_tabulates_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    practice = sample_folder(PRACTICE_FOLDER)
    stills = json.loads((practice / "truth.json").read_text(encoding="utf-8"))
    stills["stills"] = {"empty.jpg": stills["stills"]["empty.jpg"]}
    dark = {**stills["stills"]["empty.jpg"]}
    stills["stills"]["dark.jpg"] = dark
    (tmp_path / "truth.json").write_text(json.dumps(stills), encoding="utf-8")
    shutil.copy(practice / "empty.jpg", tmp_path)
    cv2.imwrite(str(tmp_path / "dark.jpg"), np.zeros((1080, 1920, 3), np.uint8))
    main([str(tmp_path), "--sources", "lens", "tape", "--noise", "2", "--exact-size"])
    out, refusals = capsys.readouterr()
    labels = [line.split("  ")[0] for line in out.splitlines()[1:]]
    assert labels == [
        f"{source}, noise 2, {frame}" for source in ("lens", "tape") for frame in FRAMES
    ]
    assert refusals.count("refused: dark.jpg") == 2
    assert "no whole cloth" in refusals


# -- the figures ---------------------------------------------------------------------------


def record(label: str, error_mm: FloatArray, sigma_mm: float) -> Record:
    cells = GRID[0] * GRID[1]
    return Record(
        label=label,
        error_mm=np.broadcast_to(error_mm, (cells, 2)),
        cov_mm2=np.broadcast_to(np.eye(2) * sigma_mm**2, (cells, 2, 2)),
    )


def test_figures_of_known_records() -> None:
    half, foot = np.array([0.3, 0.0]), np.zeros((*GRID, 2))
    foot[:, 20:] = (0.0, 0.6)
    figures = bear_out([record("a", half, 0.3), record("b", foot.reshape(-1, 2), 0.3)])
    assert [one.label for one in figures] == ["a"] * 10 + ["b"] * 10
    assert [one.region for one in figures[:10]] == [WHOLE, *REGIONS]
    whole = figures[0]
    assert whole.measured_mm == pytest.approx(0.3)
    assert whole.predicted_mm == pytest.approx(0.3 * np.sqrt(2))
    assert whole.ratio == pytest.approx(np.sqrt(0.5))
    assert (whole.ratio_x, whole.ratio_y) == pytest.approx((1.0, 0.0))
    assert whole.pull == pytest.approx(np.sqrt(0.5))
    assert whole.inside_95 == 1.0
    by_region = {one.region: one for one in figures[10:]}
    assert by_region["head left"].measured_mm == 0.0
    assert by_region["foot right"].ratio_y == pytest.approx(2.0)
    assert by_region["foot centre"].inside_95 == pytest.approx(1.0)
    assert by_region[WHOLE].measured_mm == pytest.approx(0.6 / np.sqrt(3))


def test_a_label_pools_its_records() -> None:
    one, two = (record("a", np.array([e, 0.0]), 0.5) for e in (0.3, 0.4))
    whole = bear_out([one, two])[0]
    assert whole.count == 2
    assert whole.measured_mm == pytest.approx(np.sqrt((0.09 + 0.16) / 2))
    assert bear_out([]) == ()


def test_left_is_the_upper_long_side() -> None:
    table = Table()
    camera = assumed_camera(np.random.default_rng(1), table, tilt_deg=1.0)
    made = Calibration.exact(camera, table)
    grid = bed_grid_mm(table)
    beyond = np.zeros_like(grid)
    beyond[(grid[:, 0] < 800) & (grid[:, 1] > 900)] = 1.0
    cov = np.broadcast_to(np.eye(2), (len(grid), 2, 2))
    figures = bear_out([Record(label="a", error_mm=beyond, cov_mm2=cov)])
    assert [one.region for one in figures if one.measured_mm > 1.0] == ["head left"]
    with pytest.raises(CalibrationError, match="a covariance that is not positive"):
        record_of(made, camera, table, label="exact")


@pytest.mark.parametrize(
    ("error", "cov", "text"),
    [
        (np.zeros((3, 2)), np.zeros((3, 2, 2)), r"record x: got shapes \(3, 2\) and \(3, 2, 2\);"),
        (np.full((450, 2), np.nan), np.tile(np.eye(2), (450, 1, 1)), r"an error that is not finit"),
        (np.zeros((450, 2)), np.zeros((450, 2, 2)), r"covariance that is not positive; allowed"),
    ],
)
def test_records_that_say_nothing_are_refused(
    error: FloatArray, cov: FloatArray, text: str
) -> None:
    with pytest.raises(CalibrationError, match=text):
        Record(label="x", error_mm=error, cov_mm2=cov)
