"""Whether a calibration is good enough to trust, and what stands against it."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.notices import Notice

from .calibration import Calibration

MOST_MM = 5.0
"""A little under a tenth of a ball: a calibration that may be further off than that, 95 %,
somewhere on the bed makes misses that were none. Measured on a sample room: with a lens file 2.1,
with a measured height 1.8, with neither 5.6 mm."""
DOUBTED = ("size-in-doubt", "size-unchecked", "few-points", "lens-unseen")
"""Notices that say a whole calibration may be wrong without its stated error knowing."""
_SETTLE = (
    "make a lens file with `restmark board` and `restmark lens` (best), measure the camera's "
    "height, or take a still with balls frozen to the cushions"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """What a player asks first of a calibration."""

    within_mm: float
    """Its 95 % error against the noses at the worst place of the bed: what readings carry."""
    against: tuple[Notice, ...] = ()
    """Why it is not to be trusted yet."""

    @property
    def good(self) -> bool:
        """Whether it is good enough to trust."""
        return not self.against

    @classmethod
    def of(cls, made: Calibration) -> Trust:
        """The judgement on a calibration."""
        budget = made.budget
        within_mm = 0.0 if budget is None else budget.noses_worst_mm
        against = [notice for notice in made.notices if notice.code in DOUBTED]
        if within_mm > MOST_MM:
            against.insert(0, _too_wide(made, within_mm))
        return cls(within_mm=within_mm, against=tuple(against))


def _too_wide(made: Calibration, within_mm: float) -> Notice:
    text = (
        f"a ball's place may be off by {within_mm:.1f} mm, more than the {MOST_MM:g} mm (a little "
        "under a tenth of a ball) that can be trusted"
    )
    if made.scale_source in ("default", "EXIF"):
        text += f": {_SETTLE}"
    elif made.scale_source == "tape measure":
        text += ": measure the camera's height more exactly, or make a lens file"
    return Notice(
        code="too-wide",
        text=f"{text}.",
        fields={"within_mm": within_mm, "most_mm": MOST_MM, "scale_source": made.scale_source},
    )
