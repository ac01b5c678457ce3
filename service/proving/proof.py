"""The proof: all gauges of some stills weighed, over the bed and by kind, and what follows."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from calibration.kept.calibration import Calibration
from calibration.kept.proof import MOST, KeptProof

from .gauges import KINDS, REPEATED, Gauge, gauges_of
from .repeats import NameChanged, repeats_of
from .seen import LeftOut, SeenStill
from .weighing import Figure, Scales

ALONG = ("head", "middle", "foot")
ACROSS = ("right", "left")
"""Thirds and halves of the bed; left and right as seen from the head end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A gauge with its stated error."""

    gauge: Gauge
    stated_mm: float
    """1 sigma, with how well it is known."""

    @property
    def sigmas(self) -> float:
        """How far it is off in stated sigmas."""
        return self.gauge.off_mm / self.stated_mm

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        gauge = self.gauge
        return {
            "kind": gauge.kind,
            "still": gauge.still,
            "balls": list(gauge.balls),
            "at_mm": list(gauge.at_mm),
            "off_mm": gauge.off_mm,
            "stated_mm": self.stated_mm,
            "sigmas": self.sigmas,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What the user's own balls say about the readings of their table."""

    stills: tuple[str, ...]
    repeated: int
    """Stills that show a layout seen before."""
    whole: Figure | None
    """By touching balls, racks and frozen balls; None where there are none."""
    kinds: Mapping[str, Figure]
    regions: Mapping[tuple[str, str], Figure | None]
    """By ``ALONG`` and ``ACROSS``, of the same gauges as ``whole``."""
    weighed: tuple[Weighed, ...]
    left_out: tuple[LeftOut, ...]
    names_changed: tuple[NameChanged, ...]
    ball_stated_mm: float
    """Stated error of a ball's place, picture and calibration, root mean square of a direction."""

    @property
    def factor(self) -> float:
        """What sigmas are to be multiplied by: 1 unless the stated error is proved too small."""
        figures = [self.whole, self.kinds.get(REPEATED)]
        proved = [one.factor for one in figures if one is not None and one.too_small]
        return min(MOST, math.ceil(100 * max(proved)) / 100) if proved else 1.0

    def kept(self, at: str) -> KeptProof:
        """What stays of it with the calibration."""
        return KeptProof(
            factor=self.factor, stills=len(self.stills), gauges=len(self.weighed), at=at
        )

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "stills": list(self.stills),
            "repeated": self.repeated,
            "factor": self.factor,
            "ball_stated_mm": self.ball_stated_mm,
            "whole": _plain(self.whole),
            "kinds": {kind: _plain(figure) for kind, figure in self.kinds.items()},
            "regions": [
                {"along": along, "across": across, "figure": _plain(figure)}
                for (along, across), figure in self.regions.items()
            ],
            "gauges": [one.to_dict() for one in self.weighed],
            "left_out": [asdict(one) for one in self.left_out],
            "names_changed": [asdict(one) for one in self.names_changed],
        }


def proof_of(
    seen: Sequence[SeenStill],
    made: Calibration,
    *,
    left_out: Sequence[LeftOut] = (),
    apart: Sequence[frozenset[str]] = (),
) -> Proof:
    """Weigh what some stills, read with ``made`` without an earlier factor, hold of gauges."""
    found, nearly = gauges_of(seen, made.table, apart=apart)
    again, changed, repeated = repeats_of(seen)
    scales = Scales(seen, made)
    every = (*found, *again)
    kinds = {kind: scales.figure([one for one in every if one.kind == kind]) for kind in KINDS}
    regions = {
        (along, across): scales.figure(
            [one for one in found if _region(one, made) == (along, across)]
        )
        for along in ALONG
        for across in ACROSS
    }
    sigma = np.hypot(scales.stated_mm(every), [one.built_mm for one in every])
    return Proof(
        stills=tuple(still.still for still in seen),
        repeated=repeated,
        whole=scales.figure(found),
        kinds={kind: figure for kind, figure in kinds.items() if figure is not None},
        regions=regions,
        weighed=tuple(
            Weighed(gauge=gauge, stated_mm=float(stated))
            for gauge, stated in zip(every, sigma, strict=True)
        ),
        left_out=(*left_out, *nearly),
        names_changed=changed,
        ball_stated_mm=_ball_stated_mm(seen, made),
    )


def _region(gauge: Gauge, made: Calibration) -> tuple[str, str]:
    (x, y), (length, width) = gauge.at_mm, made.table.surface_mm
    along = min(max(int(3 * x / length), 0), 2)
    return ALONG[along], ACROSS[int(y > width / 2)]


def _ball_stated_mm(seen: Sequence[SeenStill], made: Calibration) -> float:
    covs = [still.picture_cov_mm2 + made.own_covariance_mm2(still.place_mm) for still in seen]
    every = np.concatenate(covs) if covs else np.zeros((0, 2, 2))
    return float(np.sqrt(np.trace(every, axis1=1, axis2=2).mean() / 2)) if len(every) else 0.0


def _plain(figure: Figure | None) -> dict[str, Any] | None:
    return None if figure is None else figure.to_dict()
