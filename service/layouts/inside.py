"""The layout's JSON that lies inside a drawing, a picture or a sheet, taken out again.

An SVG holds it in a ``metadata`` element, a PNG in a text chunk, a PDF as an attached file. What
else such a file shows is not looked at: no picture is decoded, no page drawn.
"""

from __future__ import annotations

import subprocess
import sys
import warnings
from io import BytesIO
from xml.etree import ElementTree as ET

from PIL import Image

from service.drawing.svg import SVG_NAMESPACE

from . import attached

KEY = "restmark-layout"
"""Name of the SVG's element and of the PNG's text."""
ATTACHED_NAME = "restmark-layout.json"
PNG_START, PDF_START = b"\x89PNG\r\n\x1a\n", b"%PDF-"
_LONGEST_S = 15.0
"""A sheet of ours takes a third of a second."""


def json_inside(data: bytes, *, most_bytes: int) -> str | bytes | None:
    """What lies in an SVG, PNG or PDF of the library; None where nothing does, or more.

    A PDF is opened in a process of its own.
    """
    if data.startswith(PNG_START):
        return _in_png(data)
    if data.startswith(PDF_START):
        return _in_pdf(data, most_bytes)
    return _in_svg(data)


def _in_svg(data: bytes) -> str | None:
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        return None
    try:
        root = ET.fromstring(data)
    except ET.ParseError:
        return None
    held = root.find(f".//{{{SVG_NAMESPACE}}}metadata[@id='{KEY}']")
    return None if held is None else held.text or None


def _in_png(data: bytes) -> str | None:
    with warnings.catch_warnings():
        # the picture itself, of whatever size it says it is, is never decoded
        warnings.simplefilter("ignore")
        try:
            with Image.open(BytesIO(data), formats=["PNG"]) as picture:
                held = picture.info.get(KEY)
        except (OSError, SyntaxError, ValueError, OverflowError, Image.DecompressionBombError):
            return None
    return held if isinstance(held, str) else None


def _in_pdf(data: bytes, most_bytes: int) -> bytes | None:
    try:
        done = subprocess.run(
            # -P: nothing of the folder that it starts in is imported
            [sys.executable, "-P", attached.__file__, ATTACHED_NAME, str(most_bytes)],
            input=data, capture_output=True, timeout=_LONGEST_S, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return None
    return done.stdout if done.returncode == 0 else None
