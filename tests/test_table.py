"""The table model: every figure follows from surface and settings, and survives a file."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import FileFormatError
from calibration.table import NAMED_SURFACES_MM, POCKET_NAMES, Table, TableError

CLOSE_MM = 1e-9


@st.composite
def tables(draw: st.DrawFn) -> Table:
    """Tables of any allowed size and equipment."""
    width_mm = draw(st.floats(850, 1500, allow_nan=False))
    ratio = draw(st.floats(1.98, 2.02, allow_nan=False))
    return Table(
        length_mm=width_mm * ratio,
        width_mm=width_mm,
        corner_mouth_mm=draw(st.floats(104, 131)),
        side_mouth_mm=draw(st.floats(123, 143)),
        nose_height_mm=draw(st.floats(35.7, 36.9)),
        rail_cap_height_mm=draw(st.floats(40, 48)),
        sight_offset_mm=draw(st.floats(90, 97)),
    )


@given(tables())
@settings(max_examples=60, deadline=None)
def test_dict_round_trip_is_exact(table: Table) -> None:
    assert Table.from_dict(json.loads(json.dumps(table.to_dict()))) == table


@given(tables())
@settings(max_examples=60, deadline=None)
def test_pockets_have_their_mouths_and_face_outward(table: Table) -> None:
    middle = (table.length_mm / 2, table.width_mm / 2)
    for pocket in table.pockets:
        want = table.side_mouth_mm if "side" in pocket.name else table.corner_mouth_mm
        assert pocket.mouth_mm == pytest.approx(want, abs=CLOSE_MM)
        assert math.hypot(*pocket.inward) == pytest.approx(1.0, abs=CLOSE_MM)
        to_pocket = (pocket.aim_mm[0] - middle[0], pocket.aim_mm[1] - middle[1])
        assert to_pocket[0] * pocket.inward[0] + to_pocket[1] * pocket.inward[1] > 0
        (ax, ay), (bx, by) = pocket.nose_points_mm
        mouth = (bx - ax, by - ay)
        # square to the mouth line, and the first nose point on the left of the way in
        square = mouth[0] * pocket.inward[0] + mouth[1] * pocket.inward[1]
        assert square == pytest.approx(0.0, abs=1e-6)
        assert pocket.inward[0] * mouth[1] - pocket.inward[1] * mouth[0] < 0


@given(tables())
@settings(max_examples=60, deadline=None)
def test_left_is_the_far_long_rail(table: Table) -> None:
    for name in POCKET_NAMES:
        y_mm = table.pocket(name).aim_mm[1]
        assert (y_mm > table.width_mm / 2) == name.endswith("left")
    for name, (_, y_mm) in table.sights_mm.items():
        if name.startswith("left"):
            assert y_mm == table.width_mm + table.sight_offset_mm
        if name.startswith("right"):
            assert y_mm == -table.sight_offset_mm


@given(tables())
@settings(max_examples=40, deadline=None)
def test_noses_end_at_the_pockets(table: Table) -> None:
    ends = {(round(x, 6), round(y, 6)) for pair in table.nose_segments_mm.values() for x, y in pair}
    mouths = {(round(x, 6), round(y, 6)) for p in table.pockets for x, y in p.nose_points_mm}
    assert ends == mouths
    assert len(ends) == 12


def test_nine_foot_figures() -> None:
    table = Table.from_surface("9ft")
    assert table.surface_mm == (2540.0, 1270.0)
    assert len(table.sights_mm) == 18
    assert table.sights_mm["left-3"] == (952.5, 1270.0 + 93.7)
    assert table.sights_mm["head-2"] == (-93.7, 635.0)
    assert table.spots_mm["foot"] == (1905.0, 635.0)
    assert table.strings_mm["head"] == ((635.0, 0.0), (635.0, 1270.0))
    assert table.diamonds((317.5, 635.0)) == (1.0, 2.0)


def test_frozen_ball_is_contained_and_a_deeper_one_is_not() -> None:
    table = Table()
    assert table.contains_ball((27.5, 635.0))
    assert not table.contains_ball((27.4, 635.0))
    assert table.contains_ball((26.0, 635.0), slack_mm=3.0)


@pytest.mark.parametrize("name", NAMED_SURFACES_MM)
def test_named_surfaces(name: str) -> None:
    assert Table.from_surface(name).surface_mm == NAMED_SURFACES_MM[name]


def test_surface_in_millimetres() -> None:
    assert Table.from_surface("2538x1269").surface_mm == (2538.0, 1269.0)
    assert Table.from_surface(" 2538.5 × 1269 ").surface_mm == (2538.5, 1269.0)


@pytest.mark.parametrize(
    ("surface", "text"),
    [
        ("10ft", r"surface: got '10ft'; allowed: 9ft, pro8, 8ft, 7ft or LENGTHxWIDTH"),
        ("1270x2540", r"got a surface of 1270x2540 mm; allowed: 500 mm ≤ width ≤ length"),
        ("2540x1000", r"ratio 2\.540; allowed: twice as long as wide"),
        ("9999x5000", r"allowed: 500 mm ≤ width ≤ length ≤ 4500 mm"),
    ],
)
def test_impossible_surfaces_are_refused(surface: str, text: str) -> None:
    with pytest.raises(TableError, match=text):
        Table.from_surface(surface)


@pytest.mark.parametrize(
    ("field", "value", "text"),
    [
        ("corner_mouth_mm", 57.0, r"table\.corner_mouth_mm: got 57; allowed: more than a ball"),
        ("side_mouth_mm", 400.0, r"table\.side_mouth_mm: got 400; .*quarter of the width"),
        ("nose_height_mm", float("nan"), r"table\.nose_height_mm: got nan; allowed: a finite"),
        ("sight_offset_mm", -1.0, r"table\.sight_offset_mm: got -1\.0"),
        ("rail_width_mm", "wide", r"table\.rail_width_mm: got 'wide'"),
    ],
)
def test_impossible_settings_are_refused(field: str, value: object, text: str) -> None:
    with pytest.raises(TableError, match=text):
        Table.from_dict({**Table().to_dict(), field: value})


def test_unknown_fields_are_named() -> None:
    with pytest.raises(FileFormatError, match=r"table: got unknown field\(s\) colour; allowed: "):
        Table.from_dict({"colour": 3})


def test_unknown_pocket_is_refused() -> None:
    with pytest.raises(TableError, match=r"pocket: got 'middle'; allowed: head-left"):
        Table().pocket("middle")
