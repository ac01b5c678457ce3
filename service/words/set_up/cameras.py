"""What is said of the cameras that a layout was joined from."""

from __future__ import annotations

import math

from service.words.lengths import Lengths
from vision.layout import AGREES, ALONE, APART, AWAY, MOVED, CameraPart

_STATES = {
    AGREES: "agrees with the others",
    ALONE: "has nothing to compare: no other sees what it sees",
    APART: "disagrees, and which is wrong cannot be told",
    MOVED: "was moved: calibrate it anew",
    AWAY: "is away",
}


def camera_words(part: CameraPart, lengths: Lengths) -> str:
    """One camera's state in a line, and by how much its places were set right."""
    said = f"camera {part.camera} {_STATES[part.state]}"
    if part.state in (AWAY, ALONE):
        return said
    off = lengths.text(math.hypot(*part.offset_mm), fine=True)
    return f"{said}; set right by {off}"
