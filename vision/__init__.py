"""A settled still to a layout: candidate balls, refined centres with covariance, names.

In: stills and frames, a `Calibration`, what is known of the ball set. Out: `Layout`, and the
settled stills of a source. Imports ``calibration`` and nothing of ``service``.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .known.teaching import teach_still as teach_still
    from .layout import BALL_IDS as BALL_IDS
    from .layout import Ball as Ball
    from .layout import Layout as Layout
    from .name.corrected import Correction as Correction
    from .name.corrected import corrected as corrected
    from .name.taught import Taught as Taught
    from .read import Reader as Reader
    from .read import read_image as read_image
    from .read import read_still as read_still
    from .settle.watcher import Watcher as Watcher
    from .settle.watcher import settled_layouts as settled_layouts
    from .sources.opening import open_source as open_source
    from .still import StillError as StillError
    from .still import decode_still as decode_still
else:
    from calibration.exports import on_demand

    _HOMES = {
        "BALL_IDS": "layout",
        "Ball": "layout",
        "Correction": "name.corrected",
        "Layout": "layout",
        "Reader": "read",
        "StillError": "still",
        "Taught": "name.taught",
        "Watcher": "settle.watcher",
        "corrected": "name.corrected",
        "decode_still": "still",
        "open_source": "sources.opening",
        "read_image": "read",
        "read_still": "read",
        "settled_layouts": "settle.watcher",
        "teach_still": "known.teaching",
    }
    __all__ = list(_HOMES)
    __getattr__ = on_demand(__name__, _HOMES)
