"""The focal length that a still's own EXIF data state: better than a guess, worse than a tape."""

from __future__ import annotations

import io
import math
import warnings
from dataclasses import dataclass

from PIL import ExifTags, Image

from calibration.errors import CalibrationError

FILM_DIAGONAL_MM = 43.267
"""Diagonal of a 36 × 24 mm frame, to which equivalent focal lengths refer."""
FILM_SIGMA = 0.06
"""Relative error (1 sigma) of an equivalent focal length: it is rounded to whole mm (1 %), some
makers refer it to the width and not the diagonal (up to 4 %), focusing near changes it (2 %)."""
CROPPED_SIGMA = 0.10
"""The same where the picture is of no sensor's shape: the crop may or may not be counted in."""
SENSOR_SIGMA = 0.05
"""Relative error of a focal length with the sensor's pixel pitch: rounding and focusing."""
_SENSOR_SHAPES = (4 / 3, 3 / 2)
_MM_PER_UNIT = {2: 25.4, 3: 10.0, 4: 1.0}
_MOST_ZOOM, _MOST_APART = 1.02, 0.15
_LIMITS = (0.33, 5.5)
Tags = dict[int, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Focal:
    """A focal length from EXIF data, at the picture's own size."""

    focal_px: float
    sigma_px: float
    how: str
    """What it was taken from, for whoever reads the result."""

    def __post_init__(self) -> None:
        if not (0 < self.focal_px < math.inf and 0 < self.sigma_px < math.inf):
            raise CalibrationError(
                f"focal: got {self.focal_px} ± {self.sigma_px} px; allowed: finite numbers above "
                "0. Leave it out."
            )


def focal_of(data: bytes, image_size_px: tuple[int, int]) -> Focal | None:
    """What a still's bytes state of its focal length, or None where they say nothing usable.

    ``image_size_px`` is the decoded picture's. Equivalent and sensor figures that contradict
    each other, a digital zoom and impossible figures count as nothing.
    """
    tags = _tags(data)
    longer_px = max(image_size_px)
    zoom = _number(tags, ExifTags.Base.DigitalZoomRatio)
    if zoom is not None and zoom > _MOST_ZOOM:
        return None
    found = [
        focal
        for focal in (_by_film(tags, image_size_px), _by_sensor(tags, image_size_px))
        if focal is not None and _LIMITS[0] < focal.focal_px / longer_px < _LIMITS[1]
    ]
    if len(found) == 2 and abs(math.log(found[0].focal_px / found[1].focal_px)) > _MOST_APART:
        return None
    return min(found, key=lambda focal: focal.sigma_px / focal.focal_px, default=None)


def _by_film(tags: Tags, size_px: tuple[int, int]) -> Focal | None:
    film_mm = _number(tags, ExifTags.Base.FocalLengthIn35mmFilm)
    if film_mm is None:
        return None
    shape = max(size_px) / min(size_px)
    whole = any(abs(shape / known - 1) < 0.03 for known in _SENSOR_SHAPES)
    focal_px = film_mm * math.hypot(*size_px) / FILM_DIAGONAL_MM
    sigma = FILM_SIGMA if whole else CROPPED_SIGMA
    return Focal(
        focal_px=focal_px,
        sigma_px=sigma * focal_px,
        how=f"{film_mm:g} mm equivalent, ±{2 * sigma:.0%}",
    )


def _by_sensor(tags: Tags, size_px: tuple[int, int]) -> Focal | None:
    focal_mm = _number(tags, ExifTags.Base.FocalLength)
    per_unit = _number(tags, ExifTags.Base.FocalPlaneXResolution)
    unit = _number(tags, ExifTags.Base.FocalPlaneResolutionUnit) or 2
    width = _number(tags, ExifTags.Base.ExifImageWidth)
    height = _number(tags, ExifTags.Base.ExifImageHeight)
    if None in (focal_mm, per_unit, width, height) or int(unit) not in _MM_PER_UNIT:
        return None
    assert focal_mm is not None
    assert per_unit is not None
    # pitch refers to the picture as taken: nothing is known where it was made smaller
    if {width, height} != {float(side) for side in size_px}:
        return None
    focal_px = focal_mm * per_unit / _MM_PER_UNIT[int(unit)]
    return Focal(
        focal_px=focal_px,
        sigma_px=SENSOR_SIGMA * focal_px,
        how=f"{focal_mm:g} mm and the sensor's pixel pitch, ±{2 * SENSOR_SIGMA:.0%}",
    )


def _tags(data: bytes) -> Tags:
    """EXIF tags by number; none where there are none or they are damaged."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(data)) as image:
                return dict(image.getexif().get_ifd(ExifTags.IFD.Exif))
        except Exception:  # a damaged note is no reason to refuse a still that decodes
            return {}


def _number(tags: Tags, tag: int) -> float | None:
    try:
        value = float(tags[tag])  # type: ignore[arg-type]  # whatever is not a number raises
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    return value if math.isfinite(value) and value > 0 else None
