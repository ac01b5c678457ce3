"""What a later still is compared with: brightness across the rails' seams and sights.

The rails stay bare while balls, hands and shadows come and go over the bed. Each mark is a short
brightness profile of the empty still, averaged along the edge that it crosses, with its place on
the table.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration import strict
from calibration.errors import FileFormatError

STEP_MM = 1.25
"""Between samples along a profile: about a pixel of a 1080p still."""
HALF_SAMPLES = 12
"""A profile reaches 15 mm to both sides: the nose lies 50 mm in front of the seam."""
CHANNELS = ("blue", "green", "red")
KINDS: Mapping[str, float] = {"seam": 24.0, "sight": 3.0}
"""Kind → half the breadth (mm) over which its lines are spread along the edge."""
_UNIT_SLACK = 1e-3
_REMEDY = "Make the file again with `restmark calibrate`."


@dataclass(frozen=True, slots=True, kw_only=True)
class RailMark:
    """One edge on the rail as the empty still showed it."""

    name: str
    kind: str
    at_mm: tuple[float, float, float]
    """Middle of the profile, table frame."""
    across: tuple[float, float]
    """Unit vector, table frame, along which the profile runs."""
    channel: str
    """The colour channel with the most contrast."""
    profile: tuple[float, ...]
    """Grey levels, 2 · HALF_SAMPLES + 1 of them, STEP_MM apart."""

    def __post_init__(self) -> None:
        strict.check(self, label="rail_mark", error=FileFormatError, remedy=_REMEDY)
        sound = (
            self.kind in KINDS
            and self.channel in CHANNELS
            and len(self.profile) == 2 * HALF_SAMPLES + 1
            and abs(math.hypot(*self.across) - 1.0) < _UNIT_SLACK
            and all(0.0 <= level <= 255.0 for level in self.profile)
        )
        if not sound or np.ptp(self.profile) <= 0:
            raise FileFormatError(
                f"rail_mark {strict.shown(self.name)}: got kind {strict.shown(self.kind)}, channel "
                f"{strict.shown(self.channel)}, across {list(self.across)}, "
                f"{len(self.profile)} grey levels; allowed: "
                f"{', '.join(KINDS)}; {', '.join(CHANNELS)}; a unit vector; {2 * HALF_SAMPLES + 1} "
                f"levels from 0 to 255 that are not all the same. {_REMEDY}"
            )

    def to_dict(self) -> dict[str, Any]:
        """JSON object; the profile as one line of text, for people who read the file."""
        return {
            "name": self.name,
            "kind": self.kind,
            "at_mm": list(self.at_mm),
            "across": list(self.across),
            "channel": self.channel,
            "profile": " ".join(f"{value:g}" for value in self.profile),
        }

    @classmethod
    def from_dict(cls, data: object, *, path: str = "rail_mark") -> RailMark:
        """Inverse of ``to_dict``; errors name the field by its path."""
        return strict.build(
            cls,
            data,
            path=path,
            label="rail_mark",
            remedy=_REMEDY,
            convert={"profile": _levels},
        )


def _levels(line: object, path: str) -> tuple[float, ...]:
    try:
        return tuple(float(word) for word in str(line).split())
    except ValueError:
        raise FileFormatError(
            f"{path}: got {strict.shown(line)}; allowed: numbers between blanks. {_REMEDY}"
        ) from None
