"""Bytes of a still to a picture array, or a refusal that says what is wrong with them.

Decoders fill the missing part of a cut-off file with grey and say nothing, so wholeness is
checked on the file's own structure first.
"""

from __future__ import annotations

import re
import struct
import zlib

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import RestmarkError

Picture = NDArray[np.uint8]
MIN_SIDE_PX = 200
"""Below this a ball on any table is under 5 px wide: nothing could be read."""

_JPEG_START = b"\xff\xd8\xff"
_PNG_START = b"\x89PNG\r\n\x1a\n"
_SCAN = 0xDA
_JPEG_END = 0xD9
# in entropy-coded data 0xFF is followed by a stuffed 0, a restart marker or a fill byte
_MARKER_AFTER_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]", re.DOTALL)


class StillError(RestmarkError):
    """A still that cannot be read: the text names it, what it is and what is allowed."""

    code = "bad-still"


def decode_still(data: bytes, *, name: str = "") -> Picture:
    """Bytes of a whole JPEG or PNG file → picture (H, W, 3), BGR, uint8.

    ``name`` stands at the start of the error's text.

    Raises:
        StillError: anything else: empty, of another kind, cut off, damaged or smaller than
            ``MIN_SIDE_PX`` on a side.
    """
    label = name or "still"
    if not data:
        raise StillError(f"{label}: empty, 0 bytes; allowed: a JPEG or PNG file. Send it again.")
    if data.startswith(_JPEG_START):
        whole = _jpeg_is_whole(data)
    elif data.startswith(_PNG_START):
        whole = _png_is_whole(data)
    else:
        raise StillError(
            f"{label}: neither JPEG nor PNG (it starts with {data[:8]!r}); allowed: a JPEG or "
            "PNG file. Save the still in one of these formats."
        )
    if not whole:
        raise StillError(
            f"{label}: cut off or damaged ({len(data)} bytes, the picture's end is missing); "
            "allowed: a whole JPEG or PNG file. Copy or take the still again."
        )
    picture = _decode(data)
    if picture is None:
        raise StillError(
            f"{label}: damaged, cannot be decoded; allowed: a whole JPEG or PNG file. Take the "
            "still again."
        )
    height, width = picture.shape[:2]
    if min(height, width) < MIN_SIDE_PX:
        raise StillError(
            f"{label}: got {width}x{height} px; allowed: at least {MIN_SIDE_PX} px on each side. "
            "Use the camera's full size."
        )
    return picture


def check_size(picture: Picture, size_px: tuple[int, int], *, name: str = "") -> None:
    """Refuse a picture that has not the calibration's width and height.

    Raises:
        StillError: another size.
    """
    height, width = picture.shape[:2]
    if (width, height) != tuple(size_px):
        raise StillError(
            f"{name or 'still'}: got {width}x{height} px; allowed: {size_px[0]}x{size_px[1]} px, "
            "the size the calibration was made with. Take stills of that size or calibrate again."
        )


def _decode(data: bytes) -> Picture | None:
    try:
        picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    except cv2.error:
        return None
    return None if picture is None else np.asarray(picture, dtype=np.uint8)


def _jpeg_is_whole(data: bytes) -> bool:
    """Whether the segments lead through at least one scan to the end-of-image marker."""
    at, scans = 2, 0
    while at + 2 <= len(data):
        if data[at] != 0xFF:
            return False
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        if marker == _JPEG_END:
            return scans > 0
        if at + 4 > len(data):
            return False
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == _SCAN:
            scans += 1
            found = _MARKER_AFTER_SCAN.search(data, at)
            if found is None:
                return False
            at = found.start()
    return False


def _png_is_whole(data: bytes) -> bool:
    """Whether every chunk is complete with a right checksum and the last is IEND."""
    at = len(_PNG_START)
    while at + 12 <= len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        end = at + 12 + length
        if end > len(data):
            return False
        stated = int.from_bytes(data[end - 4 : end], "big")
        if zlib.crc32(data[at + 4 : end - 4]) != stated:
            return False
        if kind == b"IEND":
            return True
        at = end
    return False
