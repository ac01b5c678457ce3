"""A calibration that nobody adopted yet: how good it is first, then all that it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from calibration.kept.calibration import Calibration
from calibration.kept.trust import Trust
from calibration.notices import Notice

from .blind import Blind
from .marks import Mark


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What a player looks at before it holds."""

    calibration: Calibration
    marks: tuple[Mark, ...]
    edges_px: tuple[tuple[float, float], ...]
    blind: Blind

    @property
    def against(self) -> tuple[Notice, ...]:
        """Why it is not to be trusted yet; empty where it is."""
        return Trust.of(self.calibration).against

    def to_dict(self) -> dict[str, Any]:
        """JSON object; the calibration itself is asked for by its own address."""
        made = self.calibration
        trust = Trust.of(made)
        return {
            "good": trust.good,
            "within_mm": trust.within_mm,
            "against": [notice.to_dict() for notice in trust.against],
            "notices": [notice.to_dict() for notice in made.notices],
            "surface_mm": list(made.table.surface_mm),
            "head": made.head,
            "scale_source": made.scale_source,
            "camera_height_mm": float(made.camera.position_mm[2]),
            "image_size_px": list(made.camera.image_size_px),
            "marks": [mark.to_dict() for mark in self.marks],
            "edges_px": [list(place) for place in self.edges_px],
            "noses_px": [
                [[round(float(u), 1), round(float(v), 1)] for u, v in line]
                for line in made.outline_px()["noses"]
            ],
            "blind": self.blind.to_dict(),
        }
