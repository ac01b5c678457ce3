"""A settled still to a layout: candidate balls, refined centres with covariance, names.

In: stills and frames, a calibration, what is known of the ball set. Out: layouts, and the settled
stills of a source. Imports ``calibration`` and nothing of ``service``. What another program needs
is named here and loaded when it is first asked for: the networks' runtime costs half a second.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .known.teaching import teach_still
    from .layout import BALL_IDS, Ball, Layout
    from .name.corrected import Correction, CorrectionError, corrected
    from .name.taught import Taught, TaughtError
    from .networks import WeightsError
    from .read import Reader, read_image, read_still
    from .still import StillError, decode_still

_ROOMS = {
    "BALL_IDS": "layout",
    "Ball": "layout",
    "Correction": "name.corrected",
    "CorrectionError": "name.corrected",
    "Layout": "layout",
    "Reader": "read",
    "StillError": "still",
    "Taught": "name.taught",
    "TaughtError": "name.taught",
    "WeightsError": "networks",
    "corrected": "name.corrected",
    "decode_still": "still",
    "read_image": "read",
    "read_still": "read",
    "teach_still": "known.teaching",
}
__all__ = [
    "BALL_IDS",
    "Ball",
    "Correction",
    "CorrectionError",
    "Layout",
    "Reader",
    "StillError",
    "Taught",
    "TaughtError",
    "WeightsError",
    "corrected",
    "decode_still",
    "read_image",
    "read_still",
    "teach_still",
]


def __getattr__(name: str) -> object:
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_ROOMS[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
