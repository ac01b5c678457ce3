"""Layout values: JSON round trip and refusals that name the field."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import FileFormatError
from calibration.notices import Notice
from vision.layout import BALL_IDS, Ball, Layout

mm = st.floats(-200, 1500, allow_nan=False)


@st.composite
def layouts(draw):
    names = draw(st.lists(st.sampled_from(BALL_IDS), unique=True, max_size=16))
    balls = tuple(
        Ball(
            id=name,
            x_mm=draw(mm),
            y_mm=draw(mm),
            cov_mm2=((draw(st.floats(0.1, 4)), 0.1), (0.1, draw(st.floats(0.1, 4)))),
            confidence=draw(st.floats(0, 1)),
            doubtful=draw(st.booleans()),
            runners_up=(("9" if name != "9" else "1", 0.25),) if draw(st.booleans()) else (),
        )
        for name in names
    )
    return Layout(
        still=draw(st.text(max_size=12)),
        surface_mm=(2540.0, 1270.0),
        balls=balls,
        notices=(Notice(code="note", text="w"),),
    )


@given(layouts())
def test_json_round_trip_is_exact(layout):
    assert Layout.from_dict(json.loads(json.dumps(layout.to_dict()))) == layout


@pytest.mark.parametrize(
    ("data", "text"),
    [
        ({"balls": []}, r"layout\.surface_mm: missing; allowed: an object with surface_mm, balls"),
        ({"surface_mm": [2540], "balls": []}, r"layout\.surface_mm: got \[2540\]"),
        ({"surface_mm": [2540, 1270], "balls": [{"id": "cue"}]}, r"balls\[0\]\.x_mm: missing"),
        (
            {"surface_mm": [2540, 1270], "balls": [{"id": "16", "x_mm": 1, "y_mm": 2}]},
            r"balls\[0\].*got '16'; allowed: cue, 1 … 15",
        ),
        (
            {"surface_mm": [2540, 1270], "balls": [{"id": "3", "x_mm": "a", "y_mm": 2}]},
            r"balls\[0\]\.x_mm: got 'a'; allowed: a finite number",
        ),
        (
            {"surface_mm": [2540, 1270], "balls": [{"id": "3", "x_mm": 1, "y_mm": float("nan")}]},
            r"balls\[0\]\.y_mm: got nan; allowed: a finite number",
        ),
    ],
)
def test_bad_layouts_name_the_field(data, text):
    with pytest.raises(FileFormatError, match=text):
        Layout.from_dict(data)


def test_a_name_twice_is_refused():
    balls = tuple(Ball(id="3", x_mm=x, y_mm=600.0) for x in (500.0, 900.0))
    with pytest.raises(FileFormatError, match=r"ball\(s\) 3 more than once"):
        Layout(still="a.jpg", surface_mm=(2540.0, 1270.0), balls=balls)


def test_a_file_that_is_no_json_is_refused(tmp_path):
    path = tmp_path / "layout.json"
    path.write_bytes(b"{\xff")
    with pytest.raises(FileFormatError, match=r"cannot be read as JSON"):
        Layout.read(path)


@pytest.mark.parametrize(
    "change",
    [
        {"x_mm": True},
        {"y_mm": "12"},
        {"x_mm": float("inf")},
        {"x_mm": 10**400},
        {"confidence": 7},
        {"confidence": float("nan")},
        {"confidence": True},
        {"doubtful": 1},
        {"cov_mm2": ((-1.0, 0.0), (0.0, 1.0))},
        {"cov_mm2": ((1.0, 2.0), (2.0, 1.0))},
        {"cov_mm2": ((1e300, 0.0), (0.0, 1e300))},
        {"cov_mm2": ((1.0, 0.5), (0.1, 1.0))},
        {"cov_mm2": ((1.0, 0.0),)},
        {"runners_up": (("3", 0.2),)},
        {"runners_up": (("5", 0.2), ("5", 0.1))},
        {"runners_up": (("16", 0.2),)},
        {"runners_up": (("5", 2.0),)},
    ],
)
def test_a_ball_that_cannot_be_is_refused_on_construction(change):
    with pytest.raises(FileFormatError, match=r"^ball\."):
        Ball(**{"id": "3", "x_mm": 1.0, "y_mm": 2.0, **change})


@pytest.mark.parametrize(
    "change",
    [
        {"surface_mm": (0.0, 0.0)},
        {"surface_mm": (-2540.0, 1270.0)},
        {"surface_mm": (1270.0, 2540.0)},
        {"surface_mm": (float("nan"), 1270.0)},
        {"surface_mm": (25400.0, 12700.0)},
        {"settled": "no"},
        {"notices": (3,)},
        {"balls": ({"id": "3", "x_mm": 1, "y_mm": 2},)},
        {"balls": (Ball(id="3", x_mm=9000.0, y_mm=600.0),)},
        {"hidden_mm": (((0.0, 0.0),) * 20_001,)},
    ],
)
def test_a_layout_that_cannot_be_is_refused_on_construction(change):
    with pytest.raises(FileFormatError, match=r"^layout\."):
        Layout(**{"still": "a.jpg", "surface_mm": (2540.0, 1270.0), **change})
