"""What a picture file is, how large its picture and how it is turned: nothing is decoded."""

from __future__ import annotations

import io
import struct
import warnings

from PIL import ExifTags, Image

JPEG_START = b"\xff\xd8\xff"
PNG_START = b"\x89PNG\r\n\x1a\n"
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1", b"heif"})
MOST_PARTS = 20_000
"""Segments or chunks, and bytes that fill between them; cameras write a dozen, encoders that cut a
picture small a few thousand."""
NOTE_WITHIN_BYTES = 500_000
"""A camera's note on how it was held stands at a JPEG's start, behind a small picture at most."""
_NO_FRAMES = frozenset({0xC4, 0xC8, 0xCC})
"""Markers among those of frames that define tables."""


def kind_of(data: bytes) -> str | None:
    """``jpeg``, ``png`` or ``heif``; None for anything else."""
    if data.startswith(JPEG_START):
        return "jpeg"
    if data.startswith(PNG_START):
        return "png"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return "heif"
    return None


def stated_size_px(data: bytes) -> tuple[int, int] | None:
    """Width and height that a JPEG or PNG file states, as stored; None where it states none."""
    if data.startswith(PNG_START):
        width, height = struct.unpack(">II", data[16:24]) if len(data) >= 24 else (0, 0)
        return (width, height) if data[12:16] == b"IHDR" else None
    at, count = 2, 0
    while at + 9 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        count += 1
        if count > MOST_PARTS:
            return None
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        if 0xC0 <= marker <= 0xCF and marker not in _NO_FRAMES:
            height, width = struct.unpack(">HH", data[at + 5 : at + 9])
            return width, height
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return None


def parts_of_png(data: bytes) -> int | None:
    """How many chunks a PNG has; None where it is none, or there are more than ``MOST_PARTS``."""
    if not data.startswith(PNG_START):
        return None
    at, count = len(PNG_START), 0
    while at + 12 <= len(data):
        at += 12 + int.from_bytes(data[at : at + 4], "big")
        count += 1
        if count > MOST_PARTS:
            return None
    return count


def is_turned(data: bytes) -> bool:
    """Whether the file says that its picture is to be turned or mirrored before it is looked at."""
    if kind_of(data) == "jpeg":
        data = data[:NOTE_WITHIN_BYTES]
    elif parts_of_png(data) is None:
        return False
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(data)) as image:
                return image.getexif().get(ExifTags.Base.Orientation, 1) not in (0, 1)
        except Exception:  # a damaged note says nothing
            return False
