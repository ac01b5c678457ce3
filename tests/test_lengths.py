"""Lengths as people write them: millimetres by default, feet and inches as well."""

from __future__ import annotations

import pytest

from calibration.lengths import LengthError, length_mm, size_mm
from calibration.table import Table, TableError

EXACT_MM = 1e-9
"""Only rounding of floats: an inch is 25.4 mm by definition."""


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("2590", 2590.0),
        ("2590.5 mm", 2590.5),
        ("259cm", 2590.0),
        ("2,59 m", 2590.0),
        ("104in", 2641.6),
        ('104"', 2641.6),
        ("8ft6in", 2590.8),
        ("8 ft 6.5 in", 2603.5),
        ("8'6\"", 2590.8),
        ("8′6″", 2590.8),
        ("8' 6''", 2590.8),
        ("8.5 feet", 2590.8),
        (" 8FT ", 2438.4),
    ],
)
def test_lengths_are_read(text: str, mm: float) -> None:
    assert length_mm(text) == pytest.approx(mm, rel=0, abs=EXACT_MM)


def test_a_bare_number_is_in_the_unit_asked_for() -> None:
    assert length_mm("100", unit="in") == pytest.approx(2540.0, rel=0, abs=EXACT_MM)
    assert length_mm("100mm", unit="in") == pytest.approx(100.0, rel=0, abs=EXACT_MM)


@pytest.mark.parametrize("text", ["", "tall", "-5", "8ft13in", "8ft6ft", "1e3", "6in8ft", "nan"])
def test_what_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(LengthError, match=r"--camera-height: got .*; allowed: mm .* 8ft6in") as no:
        length_mm(text, what="--camera-height")
    assert (no.value.code, no.value.fields) == ("bad-length", {"given": text})


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("2540x1270", (2540.0, 1270.0)),
        ("100x50in", (2540.0, 1270.0)),
        ("100in x 50in", (2540.0, 1270.0)),
        ("8ft4in x 4ft2in", (2540.0, 1270.0)),
        ("100in×1270mm", (2540.0, 1270.0)),
        ("2.54 x 1.27 m", (2540.0, 1270.0)),
    ],
)
def test_sizes_are_read_and_make_a_table(text: str, mm: tuple[float, float]) -> None:
    assert size_mm(text) == pytest.approx(mm, rel=0, abs=EXACT_MM)
    assert Table.from_surface(text).surface_mm == pytest.approx(mm, rel=0, abs=EXACT_MM)


@pytest.mark.parametrize("text", ["100", "100x", "100x50x2", "9 feet", "axb"])
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(LengthError, match=r"surface: got .*; allowed: LENGTHxWIDTH"):
        size_mm(text)
    with pytest.raises(TableError, match=r"surface: got .*; allowed: 9ft, pro8"):
        Table.from_surface(text)
