"""Stills of the set-up: looked at when they come, kept in memory, shown as a browser can."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import cv2
import numpy as np
from PIL import Image

from vision.header import is_turned, kind_of
from vision.still import MOST_PIXELS, Picture, StillError, decode_still

MOST_STILLS = 40
MOST_STILL_BYTES = 200_000_000
_SHOWN_QUALITY = 92


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupStill:
    """A whole still of one kind that everything after it reads."""

    name: str
    data: bytes = field(repr=False)
    """The file as it came; a WebP picture as PNG, without loss."""
    size_px: tuple[int, int]
    """Width and height of the upright picture."""

    @classmethod
    def of(cls, data: bytes, *, name: str) -> SetupStill:
        """A still from a file's bytes.

        Raises:
            StillError: it is no whole picture, or one that nothing can be seen in.
        """
        data = _as_png(data, name) if _is_webp(data) else data
        high, wide = decode_still(data, name=name).shape[:2]
        return cls(name=name, data=data, size_px=(wide, high))

    @classmethod
    def of_picture(cls, picture: Picture, *, name: str) -> SetupStill:
        """A still from a camera's picture, (H, W, 3) BGR, without loss.

        Raises:
            StillError: it is too small to see anything in.
        """
        _, coded = cv2.imencode(".png", picture, [cv2.IMWRITE_PNG_COMPRESSION, 1])
        return cls.of(coded.tobytes(), name=name)

    def picture(self) -> Picture:
        """(H, W, 3) BGR, upright."""
        return decode_still(self.data, name=self.name)

    def shown(self) -> tuple[bytes, str]:
        """Bytes and media type for a browser: upright, and of a kind that all of them know."""
        kind = kind_of(self.data)
        if kind in ("jpeg", "png") and not is_turned(self.data):
            return self.data, f"image/{kind}"
        _, coded = cv2.imencode(".jpg", self.picture(), [cv2.IMWRITE_JPEG_QUALITY, _SHOWN_QUALITY])
        return coded.tobytes(), "image/jpeg"

    def to_dict(self) -> dict[str, object]:
        """JSON object, without its number."""
        return {"name": self.name, "width_px": self.size_px[0], "height_px": self.size_px[1]}


def _is_webp(data: bytes) -> bool:
    return kind_of(data) is None and data[:4] == b"RIFF" and data[8:12] == b"WEBP"


def _as_png(data: bytes, name: str) -> bytes:
    """A WebP file as PNG; its size is looked at before anything is decoded."""
    label = name or "still"
    if len(data) < int.from_bytes(data[4:8], "little") + 8:
        raise _damaged(label, f"cut off ({len(data)} bytes, the picture's end is missing)")
    try:
        with Image.open(io.BytesIO(data), formats=["WEBP"]) as image:
            if image.width * image.height > MOST_PIXELS:
                raise _damaged(label, f"{image.width}x{image.height} px, more than can be read")
            rows = np.asarray(image.convert("RGB"), np.uint8)
    except StillError:
        raise
    except Exception as wrong:  # the decoder raises errors of many kinds on damaged files
        raise _damaged(label, f"damaged ({wrong})") from None
    _, coded = cv2.imencode(".png", cv2.cvtColor(rows, cv2.COLOR_RGB2BGR))
    return coded.tobytes()


def _damaged(label: str, what: str) -> StillError:
    return StillError(
        f"{label}: {what}; allowed: a whole WebP, JPEG or PNG file. Copy or take the still again."
    )
