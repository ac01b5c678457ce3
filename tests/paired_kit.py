"""The rendered pair of stills and its calibrations, made once a test run."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from calibration.kept.calibration import Calibration
from service.bench.cameras.rendered import pair_rooms

STILLS = Path(__file__).parent / "paired_stills"


@cache
def calibrations() -> dict[str, Calibration]:
    """Camera → its calibration, from its empty still with its lens known."""
    return pair_rooms(STILLS)[0].calibrations()


def still(what: str, camera: str) -> Path:
    """The file of a moment (``3``, ``knocked``, ``empty``) by a camera."""
    return STILLS / f"0001-{what}-{camera}.jpg"
