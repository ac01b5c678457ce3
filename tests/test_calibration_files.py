"""Lens and table files: read back equal, refuse what they are not, never written half."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from calibration_cases import built_table, exact_lens, random_camera, simulated_landmarks

from calibration.errors import CalibrationError, FileFormatError
from calibration.kept.calibration import Calibration
from calibration.lens.board import BoardPattern
from calibration.lens.fit import BoardStill, Lens
from calibration.notices import Notice
from calibration.solve.known import Known
from calibration.solve.solve import solve
from calibration.table import Table


@pytest.fixture(scope="module")
def solved() -> Calibration:
    rng = np.random.default_rng(12)
    table = Table()
    camera = random_camera(rng, table)
    marks = simulated_landmarks(rng, camera, table, built_table(rng, table))
    return solve(marks, table, Known(lens=exact_lens(camera)))


@pytest.fixture
def lens() -> Lens:
    rng = np.random.default_rng(13)
    plain = exact_lens(random_camera(rng, Table()))
    root = rng.normal(size=(9, 9))
    return replace(
        plain,
        parameter_cov=tuple(tuple(float(v) for v in row) for row in root @ root.T),
        fit_rms_px=0.21,
        held_out_rms_px=0.25,
        coverage=0.9,
        coverage_by_region=(1.0,) * 8 + (0.1,),
        board=BoardPattern(square_mm=39.76, marker_mm=29.82),
        ruler_mm=99.4,
        stills=(
            BoardStill(
                name="a.jpg", used=True, corners=54, edge_px=1.9, rms_px=0.2, held_out_px=0.25
            ),
            BoardStill(
                name="b.jpg",
                used=False,
                code="no-board",
                reason="b.jpg: got 0 of 54 board corners",
            ),
        ),
    )


def test_table_file_round_trip(solved: Calibration, tmp_path: Path) -> None:
    path = tmp_path / "table.json"
    solved.write(path)
    assert Calibration.read(path) == solved
    assert list(tmp_path.iterdir()) == [path]


def test_table_file_is_versioned_and_says_what_settled_it(
    solved: Calibration, tmp_path: Path
) -> None:
    solved.write(tmp_path / "table.json")
    data = json.loads((tmp_path / "table.json").read_text(encoding="utf-8"))
    assert (data["format"], data["version"]) == ("restmark-table", 1)
    assert data["scale_source"] == "lens file"
    assert data["budget"]["median_mm"] > 0


def test_lens_file_round_trip(lens: Lens, tmp_path: Path) -> None:
    path = tmp_path / "lens.json"
    lens.write(path)
    assert Lens.read(path) == lens
    assert Lens.read(path).rejected == (("b.jpg", "b.jpg: got 0 of 54 board corners"),)


def test_exact_calibration_round_trip_without_budget(tmp_path: Path) -> None:
    camera = random_camera(np.random.default_rng(1), Table())
    exact = Calibration.exact(camera, Table())
    exact.write(tmp_path / "t.json")
    assert Calibration.read(tmp_path / "t.json") == exact
    assert np.all(exact.own_covariance_mm2([(100.0, 100.0)]) == 0)


def broken(data: dict, path: str, value: object) -> dict:
    """A deep copy with one field set, or removed where ``value`` is KeyError."""
    out = json.loads(json.dumps(data))
    at = out
    *way, last = path.split(".")
    for key in way:
        at = at[int(key)] if isinstance(at, list) else at[key]
    if value is KeyError:
        del at[last]
    else:
        at[last] = value
    return out


@pytest.mark.parametrize(
    ("path", "value", "text"),
    [
        ("format", "other", r"table\.json\.format: got 'other'; allowed: 'restmark-table'"),
        ("format", "restmark-lens", r"allowed: 'restmark-table'.*`restmark calibrate`"),
        ("version", 2, r"table\.json\.version: got 2; allowed: 1"),
        ("version", KeyError, r"version: got None; allowed: 1"),
        ("camera", KeyError, r"table\.json\.camera: missing"),
        ("camera", 3, r"table\.json\.camera: got 3; allowed: an object"),
        ("camera.fx_px", KeyError, r"table\.json\.camera\.fx_px: missing"),
        ("table.colour", 1, r"table\.json\.table: got unknown field\(s\) colour"),
        ("parameter_cov", [[1.0]], r"table\.json\.parameter_cov: got 1 rows; allowed: \d+ rows"),
        ("parameter_names", [1], r"table\.json\.parameter_names\[0\]: got 1; allowed: text"),
        ("residuals.0.off_px", "x", r"residuals\[0\]\.off_px: got 'x'; allowed: a finite number"),
        ("head", 1, r"table\.json\.head: got 1; allowed: text"),
        ("warnings", "none", r"table\.json\.warnings: got 'none'; allowed: a list"),
    ],
)
def test_wrong_table_files_are_refused_by_field(
    solved: Calibration, tmp_path: Path, path: str, value: object, text: str
) -> None:
    target = tmp_path / "table.json"
    target.write_text(json.dumps(broken(solved.to_dict(), path, value)), encoding="utf-8")
    with pytest.raises(FileFormatError, match=text):
        Calibration.read(target)


@pytest.mark.parametrize(
    ("path", "value", "text"),
    [
        ("head", "up", r"table\.json\.head: got 'up'; allowed: left, right, top, bottom"),
        ("scale_source", "guess", r"scale_source: got 'guess'; allowed: lens file, tape measure"),
    ],
)
def test_unknown_words_in_a_table_file_are_refused(
    solved: Calibration, tmp_path: Path, path: str, value: object, text: str
) -> None:
    target = tmp_path / "table.json"
    target.write_text(json.dumps(broken(solved.to_dict(), path, value)), encoding="utf-8")
    with pytest.raises(FileFormatError, match=text):
        Calibration.read(target)


@pytest.mark.parametrize(
    ("path", "value", "text"),
    [
        ("version", 0, r"lens\.json\.version: got 0; allowed: 1.*`restmark lens`"),
        ("fx_px", KeyError, r"lens\.json\.fx_px: missing"),
        ("distortion", [0.0], r"lens\.json\.distortion: got \[0\.0\]; allowed: 5 numbers"),
        ("parameter_names", ["f"], r"lens\.json\.parameter_names: got \['f'\]"),
        ("stills.0.held_out_px", "x", r"stills\[0\]\.held_out_px: got 'x'; allowed: a finite"),
        ("stills.1.code", KeyError, r"lens\.json\.stills\[1\]\.code: missing"),
        ("ruler_mm", "99", r"lens\.json\.ruler_mm: got '99'; allowed: a finite number"),
        ("board", 7, r"lens\.json\.board: got 7; allowed: an object"),
        ("board.squares", [7], r"lens\.json\.board\.squares: got \[7\]; allowed: 2 numbers"),
        ("board.marker_mm", 50.0, r"board\.marker_mm: got 50\.0; allowed: more than 0"),
        ("board.pattern", "dots", r"board\.pattern: got 'dots'"),
        ("stills.0.name", 4, r"lens\.json\.stills\[0\]\.name: got 4; allowed: text"),
        ("parameter_cov.0", [1.0], r"parameter_cov: got rows of 1, 9 numbers; allowed: 9 rows"),
    ],
)
def test_wrong_lens_files_are_refused_by_field(
    lens: Lens, tmp_path: Path, path: str, value: object, text: str
) -> None:
    target = tmp_path / "lens.json"
    data = broken(lens.to_dict(), path, value) if path != "parameter_cov.0" else lens.to_dict()
    if path == "parameter_cov.0":
        data["parameter_cov"][0] = value
    target.write_text(json.dumps(data), encoding="utf-8")
    with pytest.raises(FileFormatError, match=text):
        Lens.read(target)


@pytest.mark.parametrize("content", [b"", b"not json", b"\xff\xfe\x00", b"[1, 2]"])
def test_what_is_no_json_object_is_refused(tmp_path: Path, content: bytes) -> None:
    target = tmp_path / "table.json"
    target.write_bytes(content)
    with pytest.raises(FileFormatError, match=r"table\.json.*(cannot be read|got list)"):
        Calibration.read(target)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFormatError, match=r"gone\.json: cannot be read"):
        Lens.read(tmp_path / "gone.json")
    with pytest.raises(FileFormatError, match=r"cannot be read"):
        Lens.read(tmp_path)


def test_writing_leaves_nothing_half(
    solved: Calibration, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "table.json"
    target.write_text("old", encoding="utf-8")
    unwritable = Notice(code="odd", text="odd", fields={"off_mm": float("nan")})
    with pytest.raises(ValueError, match="Out of range float"):
        replace(solved, notices=(unwritable,)).write(target)
    assert target.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [target]
    with pytest.raises(FileFormatError, match=r"cannot be written .*Give another place"):
        solved.write(tmp_path / "no" / "such" / "table.json")


def test_a_covariance_of_the_wrong_shape_is_refused(solved: Calibration) -> None:
    with pytest.raises(CalibrationError, match=r"parameter_cov: got 1 rows; allowed: \d+"):
        replace(solved, parameter_cov=((1.0,),))


def test_pixel_error_and_own_error_add(solved: Calibration) -> None:
    points = [(300.0, 200.0), (2400.0, 1100.0)]
    cov_px2 = np.diag([0.04, 0.09])
    whole = solved.covariance_mm2(points, cov_px2)
    seen = solved.camera.covariance_mm2(points, cov_px2)
    np.testing.assert_allclose(whole - seen, solved.own_covariance_mm2(points), rtol=0, atol=1e-12)
    assert np.all(np.linalg.eigvalsh(whole - seen) > 0)


def test_outline_follows_the_table(solved: Calibration) -> None:
    outline = solved.outline_px()
    assert {key: len(parts) for key, parts in outline.items()} == {
        "noses": 6,
        "pockets": 6,
        "sights": 1,
    }
    assert outline["sights"][0].shape == (18, 2)
    back = solved.table_mm(outline["noses"][0], solved.table.nose_height_mm)
    np.testing.assert_allclose(back[:, 0], 0.0, rtol=0, atol=1e-6)
