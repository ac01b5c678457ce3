"""What settles focal length against height: sources in their order, EXIF data, frozen balls."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from calibration_cases import (
    assumed_camera,
    built_table,
    exact_lens,
    random_camera,
    simulated_landmarks,
)
from drawn_stills import DrawnBall, draw_still
from numpy.typing import NDArray
from PIL import ExifTags, Image

from calibration.camera import Camera
from calibration.errors import CalibrationError, RestmarkError
from calibration.from_still import watched
from calibration.kept.calibration import Calibration
from calibration.seen.exif import Focal, focal_of
from calibration.seen.frozen_balls import PLACES, SeenBall, frozen_marks, frozen_place_mm
from calibration.seen.marks import Landmarks
from calibration.seen.points import GivenPoint, point_names, points_to_dict
from calibration.solve.known import Known
from calibration.solve.quality import bed_error_mm
from calibration.solve.solve import solve
from calibration.table import Table
from service.cli import main
from vision.known.ball_check import seen_balls

TABLE = Table()
SHARP = ((0.0036, 0.0), (0.0, 0.0036))
"""0.06 px: what reading a ball gives."""
BALL_MM = 3.5
"""A frozen ball's residual: frozen to 0.4 mm, and read to 3 mm where a plain drawn cushion
overhangs it, unlike any that the network has seen (rendered ones: 0.3 mm)."""
Marked = tuple[Landmarks, Camera, Table]


@pytest.fixture(scope="module")
def case() -> Marked:
    rng = np.random.default_rng(50)
    camera = random_camera(rng, TABLE)
    built = built_table(rng, TABLE)
    return simulated_landmarks(rng, camera, TABLE, built), camera, built


def laid(rng: np.random.Generator, *, off_mm: float = 0.2) -> list[tuple[float, float]]:
    """Balls at the places as somebody lays them: by eye along, frozen to ``off_mm`` across."""
    out = []
    for name in PLACES:
        x, y = frozen_place_mm(TABLE, name)
        along, away = rng.normal(0, 10), abs(rng.normal(0, off_mm))
        inward = {"head": (away, along), "foot": (-away, along),
                  "left": (along, -away), "right": (along, away)}[name.split("-")[0]]  # fmt: skip
        out.append((x + inward[0], y + inward[1]))
    return out


def seen(rng: np.random.Generator, camera: Camera, centres: list[tuple[float, float]]) -> list:
    pixels = camera.project([(*centre, 28.575) for centre in centres])
    pixels += rng.normal(0, 0.06, pixels.shape)
    return [SeenBall(centre_px=(float(u), float(v)), cov_px2=SHARP) for u, v in pixels]


# -- sources and their order ---------------------------------------------------------------


def test_the_best_source_is_named_and_the_others_have_no_say(case: Marked) -> None:
    marks, camera, _ = case
    height_mm = float(camera.position_mm[2])
    wrong = Known(focal=Focal(focal_px=0.6 * camera.fx_px, sigma_px=9.0, how="a lie"))
    plain = solve(marks, TABLE)
    balls = replace(
        marks,
        items=marks.items
        + frozen_marks(
            seen(np.random.default_rng(1), camera, laid(np.random.default_rng(2))), camera, TABLE
        ),
    )
    assert plain.scale_source == "default"
    for landmarks, lens, tape, source in (
        (balls, exact_lens(camera), None, "lens file"),
        (balls, None, height_mm, "tape measure"),
        (balls, None, None, "ball check"),
    ):
        with_lie = solve(landmarks, TABLE, replace(wrong, lens=lens, camera_height_mm=tape))
        assert with_lie.scale_source == source
        assert (
            with_lie.camera
            == solve(landmarks, TABLE, Known(lens=lens, camera_height_mm=tape)).camera
        )
    by_exif = solve(marks, TABLE, wrong)
    assert by_exif.scale_source == "EXIF"
    assert by_exif.camera.fx_px < plain.camera.fx_px
    assert any("the scale rests on EXIF data (a lie)" in w for w in by_exif.warnings)


def test_a_better_tape_narrows_and_a_worse_one_widens(case: Marked) -> None:
    marks, camera, _ = case
    height_mm = float(camera.position_mm[2])
    sigmas = [
        np.sqrt(
            solve(
                marks, TABLE, Known(camera_height_mm=height_mm, camera_height_error_mm=error_mm)
            ).parameter_cov[5][5]
        )
        for error_mm in (2.0, 8.0, 20.0)
    ]  # fmt: skip
    np.testing.assert_allclose(sigmas, [1.0, 4.0, 10.0], rtol=0.05, atol=0)


def test_a_tape_is_refused_only_beyond_its_own_error(case: Marked) -> None:
    marks, camera, _ = case
    lens = exact_lens(camera)
    off_mm = 1.06 * float(camera.position_mm[2])
    with pytest.raises(CalibrationError, match=r"camera_height_mm: got .* agreement within \d+ mm"):
        solve(marks, TABLE, Known(lens=lens, camera_height_mm=off_mm))
    solve(marks, TABLE, Known(lens=lens, camera_height_mm=off_mm, camera_height_error_mm=300.0))
    with pytest.raises(CalibrationError, match=r"camera_height_error_mm: got 0; allowed: 0.1 to"):
        Known(camera_height_error_mm=0)


def test_a_tape_is_refused_by_the_landmarks_where_they_can_tell_and_said_unchecked_elsewhere() -> (
    None
):
    rng = np.random.default_rng(51)
    leaning = assumed_camera(rng, TABLE, tilt_deg=30.0)
    while leaning.rotation[2, 2] > -np.cos(np.radians(22)):
        leaning = assumed_camera(rng, TABLE, tilt_deg=30.0)
    marks = simulated_landmarks(rng, leaning, TABLE, TABLE)
    height_mm = float(leaning.position_mm[2])
    assert solve(marks, TABLE, Known(camera_height_mm=height_mm)).notices == ()
    with pytest.raises(CalibrationError, match=r"the landmarks alone put the lens at \d+ mm"):
        solve(marks, TABLE, Known(camera_height_mm=0.88 * height_mm))
    above = assumed_camera(rng, TABLE, tilt_deg=0.5)
    marks = simulated_landmarks(rng, above, TABLE, TABLE)
    told = solve(marks, TABLE, Known(camera_height_mm=0.95 * float(above.position_mm[2])))
    assert [notice.code for notice in told.notices] == ["height-unchecked"]


# -- EXIF ----------------------------------------------------------------------------------


def photo(size_px: tuple[int, int] = (640, 480), **tags: object) -> bytes:
    """A JPEG of that size with these EXIF tags."""
    exif = Image.Exif()
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    for name, value in tags.items():
        inner[ExifTags.Base[name].value] = value
    stream = io.BytesIO()
    Image.new("RGB", size_px, (20, 90, 60)).save(stream, "JPEG", exif=exif)
    return stream.getvalue()


def test_equivalent_focal_length_refers_to_the_diagonal() -> None:
    focal = focal_of(photo(FocalLengthIn35mmFilm=26), (640, 480))
    assert focal is not None
    assert focal.focal_px == pytest.approx(26 * 800 / 43.267, abs=0.01)
    assert focal.sigma_px == pytest.approx(0.06 * focal.focal_px)
    cropped = focal_of(photo((640, 360), FocalLengthIn35mmFilm=26), (640, 360))
    assert cropped is not None
    assert cropped.sigma_px == pytest.approx(0.10 * cropped.focal_px)
    assert cropped.how == "26 mm equivalent, ±20%"


def test_sensor_pitch_settles_it_at_full_size_only() -> None:
    # 4 mm lens, 2 µm pixels (5000 a centimetre): 2000 px
    tags = {"FocalLength": 4.0, "FocalPlaneXResolution": 5000.0, "FocalPlaneResolutionUnit": 3,
            "ExifImageWidth": 3000, "ExifImageHeight": 2000}  # fmt: skip
    focal = focal_of(photo((3000, 2000), **tags), (3000, 2000))
    assert focal is not None
    assert focal.focal_px == pytest.approx(2000.0)
    assert "pixel pitch" in focal.how
    turned = focal_of(photo((3000, 2000), **tags), (2000, 3000))
    assert turned is not None
    assert focal_of(photo((1500, 1000), **tags), (1500, 1000)) is None


@pytest.mark.parametrize(
    "tags",
    [
        {},
        {"FocalLength": 4.0},
        {"FocalLengthIn35mmFilm": 0},
        {"FocalLengthIn35mmFilm": 26, "DigitalZoomRatio": 2.0},
        {"FocalLengthIn35mmFilm": 9000},
        {"FocalLengthIn35mmFilm": 60, "FocalLength": 4.0, "FocalPlaneXResolution": 1500.0,
         "FocalPlaneResolutionUnit": 3, "ExifImageWidth": 640, "ExifImageHeight": 480},
    ],
)  # fmt: skip
def test_figures_that_say_nothing_count_as_nothing(tags: dict[str, object]) -> None:
    assert focal_of(photo(**tags), (640, 480)) is None


def test_damaged_data_count_as_nothing() -> None:
    good = photo(FocalLengthIn35mmFilm=26)
    rng = np.random.default_rng(3)
    for _ in range(60):
        bad = bytearray(good)
        for place in rng.integers(2, 120, 6):
            bad[place] = int(rng.integers(0, 256))
        focal = focal_of(bytes(bad), (640, 480))
        assert focal is None or focal.focal_px > 0
    assert focal_of(b"", (640, 480)) is None


def test_exif_budget_is_true_where_exif_is_as_good_as_said() -> None:
    rng = np.random.default_rng(51)
    held = []
    for _ in range(6):
        camera = random_camera(rng, TABLE)
        marks = simulated_landmarks(rng, camera, TABLE, built_table(rng, TABLE))
        stated = Focal(
            focal_px=camera.fx_px * (1 + rng.normal(0, 0.06)),
            sigma_px=0.06 * camera.fx_px,
            how="simulated",
        )
        made = solve(marks, TABLE, Known(focal=stated))
        assert made.budget is not None
        held.append(np.hypot(*bed_error_mm(made, camera).T).max() <= made.budget.worst_mm)
    assert np.mean(held) >= 0.85


# -- frozen balls --------------------------------------------------------------------------


def test_balls_narrow_what_the_default_leaves_open() -> None:
    rng = np.random.default_rng(52)
    budgets = []
    for _ in range(4):
        camera = random_camera(rng, TABLE)
        marks = simulated_landmarks(rng, camera, TABLE, built_table(rng, TABLE))
        plain = solve(marks, TABLE)
        balls = frozen_marks(seen(rng, camera, laid(rng)), plain.camera, TABLE)
        made = solve(replace(marks, items=marks.items + balls), TABLE)
        assert made.budget is not None
        assert plain.budget is not None
        assert np.hypot(*bed_error_mm(made, camera).T).max() <= 1.2 * made.budget.worst_mm
        budgets.append((plain.budget.worst_mm, made.budget.worst_mm))
    before, after = np.array(budgets).T
    assert np.all(after < before)
    assert after.max() < 0.6 * before.max()


def test_balls_lacking_at_their_places_are_named(case: Marked) -> None:
    _, camera, _ = case
    balls = seen(np.random.default_rng(4), camera, laid(np.random.default_rng(5)))
    with pytest.raises(CalibrationError, match=r"at foot-2, left-2 of the places, none at head-2,"):
        frozen_marks(balls[1:3], camera, TABLE)
    with pytest.raises(CalibrationError, match=r"got balls at none of the places, none at head-2"):
        frozen_marks([], camera, TABLE)
    with pytest.raises(CalibrationError, match=r"none at head-2; allowed: 4 or more, with one at"):
        frozen_marks(balls[1:], camera, TABLE)


def test_a_ball_that_is_not_frozen_is_named(case: Marked) -> None:
    marks, camera, _ = case
    centres = laid(np.random.default_rng(6))
    centres[2] = (centres[2][0], centres[2][1] - 6.0)
    balls = frozen_marks(seen(np.random.default_rng(7), camera, centres), camera, TABLE)
    with pytest.raises(CalibrationError, match=r"ball check: got ball at left-2 \d\.\d px"):
        solve(replace(marks, items=marks.items + balls), TABLE)


@pytest.fixture(scope="module")
def ball_still(case: Marked) -> NDArray[np.uint8]:
    _, camera, built = case
    centres = laid(np.random.default_rng(8))
    balls = [
        DrawnBall(id=name, x_mm=x, y_mm=y)
        for name, (x, y) in zip(("cue", "1", "2", "3", "5", "6"), centres, strict=True)
    ]
    return draw_still(camera, built, balls, seed=8)


def test_a_still_with_frozen_balls_is_read(case: Marked, ball_still: NDArray[np.uint8]) -> None:
    marks, _, _ = case
    plain = solve(marks, TABLE)
    balls = frozen_marks(seen_balls(ball_still, plain), plain.camera, plain.table)
    made = solve(replace(marks, items=marks.items + balls), TABLE)
    off_mm = {r.name: r.off_mm for r in made.residuals if r.kind == "ball"}
    assert set(off_mm) == {f"ball at {name}" for name in PLACES}
    assert max(map(abs, off_mm.values())) < BALL_MM
    assert made.budget is not None
    assert plain.budget is not None
    assert made.budget.worst_mm < plain.budget.worst_mm


def test_a_camera_that_moved_between_the_stills_is_refused(
    case: Marked, ball_still: NDArray[np.uint8]
) -> None:
    marks, camera, built = case
    empty = draw_still(camera, built, [], seed=9)
    plain = watched(solve(marks, TABLE), empty)
    assert plain.rail_marks
    assert len(seen_balls(ball_still, plain)) == len(PLACES)
    moved = np.roll(ball_still, 2, axis=1)
    with pytest.raises(RestmarkError, match=r"camera or table has moved by \d\.\d mm"):
        seen_balls(moved, plain)


# -- the command ---------------------------------------------------------------------------


def test_the_command_names_its_source(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    case: Marked,
    ball_still: NDArray[np.uint8],
) -> None:
    _, camera, built = case
    names = point_names(TABLE)[:30]
    places = {
        **{n: (*xy, built.rail_cap_height_mm) for n, xy in built.sights_mm.items()},
        **{f"{p.name}/{i + 1}": (*p.nose_points_mm[i], built.nose_height_mm)
           for p in built.pockets for i in (0, 1)},
    }  # fmt: skip
    pixels = camera.project([places[name] for name in names])
    points = [
        GivenPoint(name=name, seen_px=(float(u), float(v)), sigma_px=0.2)
        for name, (u, v) in zip(names, pixels, strict=True)
    ]
    (tmp_path / "points.json").write_text(json.dumps(points_to_dict(points)))
    size = camera.image_size_px
    film_mm = round(camera.fx_px * 43.267 / np.hypot(*size))
    (tmp_path / "empty.jpg").write_bytes(photo(size, FocalLengthIn35mmFilm=film_mm))
    cv2.imwrite(str(tmp_path / "balls.png"), ball_still)
    words = ["calibrate", str(tmp_path / "empty.jpg"), "--surface", "9ft",
             "--out", str(tmp_path / "table.json"), "--points-only",
             "--points", str(tmp_path / "points.json")]  # fmt: skip
    assert main(words) == 0
    assert f"EXIF data ({film_mm} mm equivalent" in capsys.readouterr().out
    assert Calibration.read(tmp_path / "table.json").scale_source == "EXIF"
    by_name = Calibration.read(tmp_path / "table.json")
    assert main([*words[:3], "2540x1270", *words[4:], "--error-map", str(tmp_path / "e.svg")]) == 0
    assert "error map written to" in capsys.readouterr().out
    assert (tmp_path / "e.svg").read_text().startswith("<svg")
    measured = Calibration.read(tmp_path / "table.json")
    place = measured.parameter_names.index("length_mm")
    for got, error_mm in ((by_name, 3.2), (measured, 1.0)):
        assert 2 * np.sqrt(got.parameter_cov[place][place]) == pytest.approx(error_mm)
    assert main([*words, "--ball-check", str(tmp_path / "balls.png")]) == 0
    assert "settled by balls frozen at known places" in capsys.readouterr().out
    height = ["--camera-height", f"{camera.position_mm[2]:.0f}", "--camera-height-error", "5"]
    assert main([*words, *height]) == 0
    assert "settled by the measured camera height" in capsys.readouterr().out
    made = Calibration.read(tmp_path / "table.json")
    assert np.sqrt(made.parameter_cov[5][5]) < 3.0
