"""What the empty bed looked like: a small picture from above, kept for whoever reads later stills.

It is seen through the plane of the ball centres, where things over the bed are looked for, in
the table frame: neither camera nor lens is needed to compare it.
"""

from __future__ import annotations

import base64
import binascii
import math
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import strict
from calibration.camera import Camera
from calibration.errors import FileFormatError
from calibration.strict import Positive
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table

ImageArray = NDArray[np.uint8]
SCALE_MM = 6.4
"""Millimetres per pixel: a finger tip is two pixels wide."""
MARGIN_MM = 25.6
"""Strip kept beyond the nose lines."""
MOST_BYTES = 28_000
"""Of the picture's file; as text in the table file it takes a third more."""
QUALITIES = (92, 88, 84, 80, 74, 66, 58, 50, 40)
"""JPEG qualities, the first that is small enough is taken."""
_FINER = 2
"""The still is sampled so many times finer each way, then averaged: less noise."""
_MOST_PIXELS = 1_000_000
_REMEDY = "Make the file again with `restmark calibrate`."


@dataclass(frozen=True, slots=True, kw_only=True)
class BedPicture:
    """A picture of the empty bed from above, x to the right and y down its rows."""

    corner_mm: tuple[float, float]
    """Table place of the first pixel's centre."""
    scale_mm: Positive
    """Millimetres per pixel."""
    jpeg: bytes = field(repr=False)
    """The picture as a JPEG file, BGR once decoded."""

    def __post_init__(self) -> None:
        strict.check(self, label="bed_picture", error=FileFormatError, remedy=_REMEDY)
        self.pixels()

    @classmethod
    def of(cls, still_bgr: ImageArray, camera: Camera, table: Table) -> BedPicture:
        """The bed of an empty ``table`` in a still ((H, W, 3), BGR)."""
        columns, rows = (_even((side + 2 * MARGIN_MM) / SCALE_MM) for side in table.surface_mm)
        corner = (
            table.length_mm / 2 - (columns - 1) / 2 * SCALE_MM,
            table.width_mm / 2 - (rows - 1) / 2 * SCALE_MM,
        )
        step = SCALE_MM / _FINER
        first = (_FINER - 1) / 2 * step
        x = corner[0] - first + np.arange(columns * _FINER) * step
        y = corner[1] - first + np.arange(rows * _FINER) * step
        places = np.stack(np.broadcast_arrays(x, y[:, None], BALL_CENTRE_HEIGHT_MM), axis=-1)
        seen_px = camera.project(places.reshape(-1, 3)).astype(np.float32)
        across, down = (seen_px[:, k].reshape(len(y), len(x)).copy() for k in range(2))
        fine = cv2.remap(still_bgr, across, down, cv2.INTER_LINEAR)
        small = cv2.resize(fine, (columns, rows), interpolation=cv2.INTER_AREA)
        jpeg = _small_jpeg(np.asarray(small, np.uint8))
        return cls(corner_mm=corner, scale_mm=SCALE_MM, jpeg=jpeg)

    def pixels(self) -> ImageArray:
        """The picture, (rows, columns, 3) BGR.

        Raises:
            FileFormatError: the bytes hold no such picture.
        """
        found = None
        if self.jpeg[:2] == b"\xff\xd8":
            found = cv2.imdecode(np.frombuffer(self.jpeg, np.uint8), cv2.IMREAD_COLOR)
        if found is None or found.shape[0] * found.shape[1] > _MOST_PIXELS:
            raise FileFormatError(
                f"bed_picture.jpeg: got {len(self.jpeg)} bytes; allowed: a JPEG file of at most "
                f"{_MOST_PIXELS} pixels, in base64. {_REMEDY}"
            )
        return np.asarray(found, np.uint8)

    def to_dict(self) -> dict[str, Any]:
        """JSON object; the picture as one line of base64."""
        return {
            "corner_mm": list(self.corner_mm),
            "scale_mm": self.scale_mm,
            "jpeg": base64.b64encode(self.jpeg).decode("ascii"),
        }

    @classmethod
    def from_dict(cls, data: object, *, path: str = "bed_picture") -> BedPicture:
        """Inverse of ``to_dict``; errors name the field by its path."""
        return strict.build(
            cls,
            data,
            path=path,
            label="bed_picture",
            remedy=_REMEDY,
            convert={"jpeg": _jpeg_bytes},
        )


def _jpeg_bytes(line: object, path: str) -> bytes:
    try:
        return base64.b64decode(str(line), validate=True)
    except (binascii.Error, ValueError):
        raise FileFormatError(
            f"{path}: got {strict.shown(line)}; allowed: base64. {_REMEDY}"
        ) from None


def _even(count: float) -> int:
    """Even, so that the table's middle lies between two pixels, as in every view of it."""
    return 2 * math.ceil(count / 2)


def _small_jpeg(picture: ImageArray) -> bytes:
    for quality in QUALITIES:
        settings = [
            cv2.IMWRITE_JPEG_QUALITY,
            quality,
            cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
            cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
        ]
        _, coded = cv2.imencode(".jpg", picture, settings)
        if coded.nbytes <= MOST_BYTES:
            break
    return coded.tobytes()
