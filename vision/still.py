"""Bytes of a still to a picture array, or a refusal that says what is wrong with them.

Sizes are read from the header first: a small file can hold a picture of gigabytes. Decoders fill
the missing part of a cut-off file with grey, so wholeness is checked on the file's own structure,
and damage within by what the decoder warns of and by what the picture shows.
"""

from __future__ import annotations

import struct
import zlib

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import RestmarkError

from . import heif
from .coefficients import multiplied
from .damage import steps_between_blocks, warned_of
from .header import PNG_START, is_turned, kind_of, parts_of_png, stated_size_px
from .jpeg_file import block_rows_px, coding, is_whole, odd_tables, scans
from .moved_rows import stand_beside

Picture = NDArray[np.uint8]
MOST_PIXELS = 64_000_000
"""More than any camera over a table needs; decoded it takes 200 MB."""
TOO_DARK = "too-dark"
LEAST_BRIGHT = 30
"""Of the sample stills darkened step by step, all balls are found down to 37 and three of twelve
are missed at 20; in stills of dim rooms it is 100 and more."""
MOST_SCANS = 40
"""Encoders that save a picture in steps use ten; each goes over all of it, and costs its time."""
MIN_SIDE_PX = 200
"""Below this a ball on any table is under 5 px wide: nothing could be read."""

_KINDS = "a JPEG or PNG file"


class StillError(RestmarkError):
    """A still that cannot be read: the text names it, what it is and what is allowed."""

    code = "bad-still"


def decode_still(
    data: bytes,
    *,
    name: str = "",
    size_px: tuple[int, int] | None = None,
    as_stored: bool = False,
) -> Picture:
    """Bytes of a whole JPEG, PNG or (with the extra ``heic``) HEIC file → picture, BGR, uint8.

    The picture is (H, W, 3) and turned as the file's orientation says, unless ``as_stored``. With
    ``size_px``, width and height of the calibration, another size is refused; without, one of
    more than ``MOST_PIXELS``. Sizes are read before anything is decoded. ``name`` stands at the
    start of the error's text.

    Raises:
        StillError: anything else: empty, of another kind, cut off, damaged or smaller than
            ``MIN_SIDE_PX`` on a side.
    """
    label = name or "still"
    if not data:
        raise StillError(f"{label}: empty, 0 bytes; allowed: {_KINDS}. Send it again.")
    kind = kind_of(data)
    if kind == "heif":
        return _decode_heif(data, label, size_px)
    if kind is None:
        raise StillError(
            f"{label}: neither JPEG nor PNG (it starts with {data[:8]!r}); allowed: {_KINDS}. "
            "Save the still in one of these formats."
        )
    stated = stated_size_px(data)
    if stated is not None:
        _check_stated(stated, size_px, label)
    if stated is None or not (is_whole(data) if kind == "jpeg" else _png_is_whole(data)):
        raise StillError(
            f"{label}: cut off or damaged ({len(data)} bytes, the picture's end is missing); "
            "allowed: a whole JPEG or PNG file. Copy or take the still again."
        )
    if kind == "jpeg":
        _check_header(data, label)
    flags = cv2.IMREAD_COLOR | (cv2.IMREAD_IGNORE_ORIENTATION if as_stored else 0)
    picture, said = warned_of(lambda: _decode(data, flags))
    if picture is None:
        raise _damaged(label, "it cannot be decoded")
    if said:
        raise _damaged(label, f"the decoder says: {said}")
    if kind == "jpeg" and (shown := _shown_damage(data, picture, as_stored)):
        raise _damaged(label, shown)
    if size_px is not None:
        check_size(picture, size_px, name=label)
    return picture


def _decode_heif(data: bytes, label: str, size_px: tuple[int, int] | None) -> Picture:
    try:
        image = heif.opened(data)
        _check_stated(image.size, size_px, label)
        return heif.pixels(image)
    except heif.NotInstalledError:
        raise StillError(
            f"{label}: a HEIC file; allowed: JPEG or PNG, and HEIC with the extra `heic`. Install "
            "it with `pip install 'restmark[heic]'`, or save the still as JPEG."
        ) from None
    except StillError:
        raise
    except ValueError as wrong:
        raise _damaged(label, str(wrong)) from None


def _check_stated(stated: tuple[int, int], size_px: tuple[int, int] | None, label: str) -> None:
    """Refuse by the size that the file states; one turned on its side may still be right."""
    width, height = stated
    if min(stated) < MIN_SIDE_PX:
        raise StillError(
            f"{label}: got {width}x{height} px; allowed: at least {MIN_SIDE_PX} px on each side. "
            "Use the camera's full size."
        )
    if size_px is not None and tuple(size_px) not in (stated, stated[::-1]):
        raise _other_size(stated, size_px, label)
    if width * height > MOST_PIXELS:
        raise StillError(
            f"{label}: got {width}x{height} px; allowed: at most {MOST_PIXELS // 1_000_000} "
            "million pixels. Take stills of a smaller size."
        )


def _damaged(label: str, how: str) -> StillError:
    return StillError(
        f"{label}: damaged ({how}); allowed: a whole JPEG or PNG file. Copy or take the still "
        "again."
    )


def _other_size(got: tuple[int, int], size_px: tuple[int, int], label: str) -> StillError:
    return StillError(
        f"{label}: got {got[0]}x{got[1]} px; allowed: {size_px[0]}x{size_px[1]} px, the size the "
        "calibration was made with. Take stills of that size or calibrate again."
    )


def check_light(seen: Picture, *, name: str = "") -> None:
    """Refuse a view of the table (H, W, 3) in which the lamp is off: balls would be missed.

    Raises:
        StillError: code "too-dark".
    """
    blue, green, red = np.moveaxis(seen[::4, ::4], 2, 0)
    bright = float(np.percentile(np.maximum(np.maximum(blue, green), red), 99))
    if bright < LEAST_BRIGHT:
        raise StillError(
            f"{name or 'still'}: too dark, the brightest parts of the table have {bright:.0f} of "
            f"255 levels; allowed: {LEAST_BRIGHT} or more. Turn the lamp on, or have the camera "
            "expose longer.",
            code=TOO_DARK,
        )


def check_size(picture: Picture, size_px: tuple[int, int], *, name: str = "") -> None:
    """Refuse a picture that has not the calibration's width and height.

    Raises:
        StillError: another size.
    """
    height, width = picture.shape[:2]
    if (width, height) != tuple(size_px):
        raise _other_size((width, height), size_px, name or "still")


def _check_header(data: bytes, label: str) -> None:
    """Refuse a JPEG by what stands before and between its coded data."""
    if (count := scans(data)) > MOST_SCANS:
        raise StillError(
            f"{label}: got {count} scans over the picture; allowed: at most {MOST_SCANS}. Save the "
            "still again, as a plain JPEG."
        )
    if odd := odd_tables(data):
        raise _damaged(label, odd)


def _shown_damage(data: bytes, picture: Picture, as_stored: bool) -> str:
    """What a JPEG's picture shows of damage that no decoder notices; "" where nothing."""
    if not as_stored and is_turned(data):  # rows of blocks would be columns
        stored = _decode(data, cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
        picture = picture if stored is None else stored
    row_px = block_rows_px(data)
    if steps_between_blocks(picture, row_px):
        return "its brightness steps between two rows of blocks"
    if stand_beside(picture, row_px):
        return "rows of blocks stand beside where they belong"
    coded = coding(data)
    # the standard's own tables are known, all others by what they make of the picture alone
    if coded is not None and not coded.by_example:
        wave = multiplied(picture, coded.tables, coded.coarser)
        return wave and f"a quantisation table is not the one it was coded with: {wave}"
    return ""


def _decode(data: bytes, flags: int) -> Picture | None:
    try:
        picture = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    except cv2.error:
        return None
    return None if picture is None else np.asarray(picture, dtype=np.uint8)


def _png_is_whole(data: bytes) -> bool:
    """Whether every chunk is complete with a right checksum and the last is IEND."""
    if parts_of_png(data) is None:
        return False
    at = len(PNG_START)
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
