"""A code for the camera of a phone: for the console and for a page."""

from __future__ import annotations

import segno

_BORDER = 4
"""Modules of quiet around it, as the standard wants."""


def pairing_address(address: str, code: str) -> str:
    """What a phone opens. The code stands behind a #, which browsers send to nobody."""
    return f"{address.rstrip('/')}/pair#{code}"


def qr_lines(text: str) -> str:
    """The code in half blocks, dark on light, two rows of modules a line."""
    rows = [
        [bool(module) for module in row]
        for row in segno.make(text, error="m").matrix_iter(border=_BORDER)
    ]
    if len(rows) % 2:
        rows.append([False] * len(rows[0]))
    shapes = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
    return "\n".join(
        "".join(shapes[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    )


def qr_svg(text: str) -> str:
    """The code as SVG with no style of its own but the colours that a scanner needs."""
    return segno.make(text, error="m").svg_inline(
        border=_BORDER, dark="#000", light="#fff", omitsize=True, svgclass="qr", lineclass=None
    )
