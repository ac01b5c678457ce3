"""What a later still is compared with: brightness across the rails' seams and sights.

The rails stay bare while balls, hands and shadows come and go over the bed. Each mark is a short
brightness profile of the empty still, averaged along the edge that it crosses, with its place on
the table.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration import jsonfile
from calibration.errors import FileFormatError

STEP_MM = 1.25
"""Between samples along a profile: about a pixel of a 1080p still."""
HALF_SAMPLES = 12
"""A profile reaches 15 mm to both sides: the nose lies 50 mm in front of the seam."""
CHANNELS = ("blue", "green", "red")
KINDS: Mapping[str, float] = {"seam": 24.0, "sight": 3.0}
"""Kind → half the breadth (mm) over which its lines are spread along the edge."""
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
        numbers = (*self.at_mm, *self.across, *self.profile)
        sound = (
            self.kind in KINDS
            and self.channel in CHANNELS
            and len(self.profile) == 2 * HALF_SAMPLES + 1
            and all(math.isfinite(value) for value in numbers)
        )
        if not sound or np.ptp(self.profile) <= 0:
            raise FileFormatError(
                f"rail_marks.{self.name}: got kind {self.kind!r}, channel {self.channel!r}, "
                f"{len(self.profile)} grey levels; allowed: "
                f"{', '.join(KINDS)}; {', '.join(CHANNELS)}; {2 * HALF_SAMPLES + 1} finite "
                f"levels that are not all the same. {_REMEDY}"
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
        if not isinstance(data, Mapping):
            raise FileFormatError(f"{path}: got {data!r}; allowed: an object. {_REMEDY}")
        at_x, at_y, at_z = jsonfile.numbers(data, "at_mm", path, count=3)
        across_x, across_y = jsonfile.numbers(data, "across", path, count=2)
        line = jsonfile.text(data, "profile", path)
        try:
            profile = tuple(float(word) for word in line.split())
        except ValueError:
            raise FileFormatError(
                f"{path}.profile: got {line!r}; allowed: numbers between blanks. {_REMEDY}"
            ) from None
        return cls(
            name=jsonfile.text(data, "name", path),
            kind=jsonfile.text(data, "kind", path),
            at_mm=(at_x, at_y, at_z),
            across=(across_x, across_y),
            channel=jsonfile.text(data, "channel", path),
            profile=profile,
        )


def marks_from_list(items: Sequence[object], path: str) -> tuple[RailMark, ...]:
    """Marks of a table file."""
    return tuple(RailMark.from_dict(item, path=f"{path}[{i}]") for i, item in enumerate(items))
