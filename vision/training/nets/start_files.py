"""Files that training goes on from, and the refusal where there is none."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from calibration.errors import RestmarkError

SHIPPED = "shipped"
"""Word for the weights that this release ships."""


class StartError(RestmarkError):
    """Weights that training cannot go on from, or none that could be shipped."""

    code = "bad-weights"


def shipped_file(name: str) -> Path:
    """A file of the weights that this release ships."""
    return Path(str(files("vision") / "weights" / name))
