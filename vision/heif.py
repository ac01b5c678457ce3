"""Stills of phones that save HEIC or HEIF: read with the extra ``heic``, where it is installed."""

from __future__ import annotations

import io
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]


class NotInstalledError(ImportError):
    """The extra is not installed."""


def opened(data: bytes) -> Any:
    """The file's main picture, not decoded yet; its ``size`` is that of the upright picture.

    Raises NotInstalledError, and ValueError for a damaged file.
    """
    try:
        import pillow_heif
    except ImportError:
        raise NotInstalledError("pillow-heif") from None
    try:
        image = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=True)
        _ = image.size  # a damaged file may be opened without a picture in it
        return image
    except Exception as wrong:  # libheif raises errors of many kinds on damaged files
        raise ValueError(str(wrong)) from None


def pixels(image: Any) -> Picture:
    """(H, W, 3) BGR of an opened picture, turned as the camera was held.

    Raises:
        ValueError: it is damaged.
    """
    try:
        rows = np.asarray(image.to_pillow().convert("RGB"), np.uint8)
    except Exception as wrong:
        raise ValueError(str(wrong)) from None
    return np.asarray(cv2.cvtColor(rows, cv2.COLOR_RGB2BGR), np.uint8)
