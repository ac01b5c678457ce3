"""Lengths as people write them, in millimetres, centimetres, metres, feet and inches, to mm."""

from __future__ import annotations

import re

from .errors import RestmarkError

INCH_MM = 25.4
FOOT_MM = 12 * INCH_MM
UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": INCH_MM, "ft": FOOT_MM}
ALLOWED = "mm where nothing is said, or a unit: 2590mm, 259cm, 2.59m, 102in, 8ft6in, 8'6\""
_NUMBER = r"\d+(?:\.\d+)?|\.\d+"
_PLAIN = re.compile(rf"({_NUMBER})\s*(mm|cm|m|in|ft)?")
_FEET = re.compile(rf"({_NUMBER})\s*ft\s*({_NUMBER})\s*(?:in)?")
_CROSS = re.compile(r"[x×*]")
_SAME = {
    "′": "'", "’": "'", "″": '"', "”": '"', "''": '"', "'": "ft", '"': "in", ",": ".",
    "inches": "in", "inch": "in", "feet": "ft", "foot": "ft",
}  # fmt: skip
"""Ways of writing a unit, and a decimal comma, in the order in which they are made one."""


class LengthError(RestmarkError):
    """Text that is no length; ``fields["given"]`` holds it."""

    code = "bad-length"


def length_mm(text: str, *, what: str = "length", unit: str = "mm") -> float:
    """``text`` as mm: ``2590``, ``8ft6in``, ``8'6"``, ``102 in``, ``2.59 m``.

    ``unit`` is meant where the text names none; ``what`` is how the error calls it.

    Raises:
        LengthError: the text is no length.
    """
    found = _read(text)
    if found is None:
        raise LengthError(
            f"{what}: got {text!r}; allowed: {ALLOWED}. Write the length so.",
            fields={"given": text},
        )
    value, own = found
    return value * UNITS_MM[own or unit]


def size_mm(text: str, *, what: str = "surface") -> tuple[float, float]:
    """``LENGTHxWIDTH`` as mm: ``2540x1270``, ``100x50in``, ``8ft4in x 4ft2in``.

    A unit after the second alone counts for both.

    Raises:
        LengthError: the text is not two lengths with an x between them.
    """
    parts = _CROSS.split(text.lower())
    if len(parts) == 2:
        first, second = (_read(part) for part in parts)
        if first is not None and second is not None:
            common = second[1] or "mm"
            (length, unit), (width, _) = first, second
            return length * UNITS_MM[unit or common], width * UNITS_MM[common]
    raise LengthError(
        f"{what}: got {text!r}; allowed: LENGTHxWIDTH such as 2540x1270, 100x50in or "
        "8ft4in x 4ft2in. Write the size so.",
        fields={"given": text},
    )


def _read(text: str) -> tuple[float, str | None] | None:
    """The number and its unit, feet and inches as inches; None where it is no length."""
    plain = text.strip().lower()
    for written, meant in _SAME.items():
        plain = plain.replace(written, meant)
    match = _FEET.fullmatch(plain)
    if match is not None:
        feet, inches = float(match[1]), float(match[2])
        return (12 * feet + inches, "in") if inches < 12 else None
    match = _PLAIN.fullmatch(plain)
    return None if match is None else (float(match[1]), match[2])
