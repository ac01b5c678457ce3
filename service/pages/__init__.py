"""The page: the last still from above with its verdict, the attempts and what they add up to."""

from .page import install_pages
from .scene import Scene, calibration_of, landing_zone_of
from .summary import progress_of, summary_of

__all__ = [
    "Scene",
    "calibration_of",
    "install_pages",
    "landing_zone_of",
    "progress_of",
    "summary_of",
]
