"""One camera's view of a moment: its layout, and which part of its errors all its balls share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from calibration.arrays import FloatArray
from calibration.kept.calibration import Calibration
from vision.layout import Layout

from .errors import JoinError

FLOOR_MM = 0.05
"""No picture tells a place better than this, 1 sigma."""
COMMON_MM = 0.1
"""What one camera's picture shifts all its balls by beside the calibration's own error, 1 sigma:
light from one side, a network's habit. Of the pairs that were rendered it is the most."""
_NOTHING = 1e-9
"""Of the largest: directions in which a calibration leaves less open are none."""
DRIFT_CODES = ("moved", "drift-unsure", "drift-unchecked")
"""Notices by which a reading says what the rails told of its camera."""


@dataclass(frozen=True, eq=False)
class View:
    """What one camera saw."""

    camera: str
    layout: Layout
    calibration: Calibration
    corrected: Calibration | None = None
    """The calibration as it was corrected for this still, where the reader told it."""

    @cached_property
    def places_mm(self) -> FloatArray:
        """Its balls' places, (K, 2)."""
        return np.array([ball.centre_mm for ball in self.layout.balls], dtype=float).reshape(-1, 2)

    @cached_property
    def random_mm2(self) -> FloatArray:
        """The part of its balls' covariances that is each ball's own, (K, 2, 2)."""
        whole = np.array([ball.cov_mm2 for ball in self.layout.balls], dtype=float)
        common = self.used.own_covariance_mm2(self.places_mm)
        own = whole.reshape(-1, 2, 2) - self.used.error_factor**2 * common
        size, turn = np.linalg.eigh((own + np.swapaxes(own, 1, 2)) / 2)
        size = np.maximum(size, FLOOR_MM**2)
        return np.asarray(np.einsum("kij,kj,klj->kil", turn, size, turn))

    def common_mm(self, places_mm: FloatArray) -> FloatArray:
        """How places (N, 2) move with what is unknown of this camera alone, (N, 2, Q), mm.

        Each of the Q unknowns has a standard deviation of 1 and shifts all balls at once: what the
        calibration leaves open, and a small shift of the whole picture.
        """
        slopes = self.used.slopes_mm(places_mm) @ _root(self.used)
        shift = np.broadcast_to(COMMON_MM * np.eye(2), (len(slopes), 2, 2))
        return np.concatenate([self.used.error_factor * slopes, shift], axis=2)

    @property
    def used(self) -> Calibration:
        """The calibration that its places came by."""
        return self.corrected or self.calibration

    @property
    def moved_by_rails(self) -> bool:
        """Whether its own rails say that the camera moved."""
        return any(notice.code == "moved" for notice in self.layout.notices)

    @property
    def held_by_rails(self) -> bool:
        """Whether its own rails say that it did not."""
        told = {notice.code for notice in self.layout.notices} & set(DRIFT_CODES)
        return bool(self.calibration.rail_marks) and not told


@lru_cache(maxsize=64)
def _root(calibration: Calibration) -> FloatArray:
    """A square root (P, Q) of the parameters' covariance."""
    count = len(calibration.parameter_names)
    cov = np.asarray(calibration.parameter_cov, dtype=float).reshape(count, count)
    spread = np.sqrt(np.diag(cov))
    scale = np.where(spread > 0, spread, 1.0)
    size, turn = np.linalg.eigh(cov / np.outer(scale, scale))
    kept = size > _NOTHING * max(float(size.max(initial=0.0)), 1e-300)
    return np.asarray(scale[:, None] * turn[:, kept] * np.sqrt(size[kept]))


def check_one_table(views: tuple[View, ...]) -> None:
    """Refuse views of different tables, two of one name, or none.

    Raises:
        JoinError: code ``other-table``, ``same-name`` or ``no-views``.
    """
    if not views:
        raise JoinError(
            "views: got none; allowed: one camera's layout or more. Give the stills of a moment.",
            code="no-views",
        )
    names = [view.camera for view in views]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise JoinError(
            f"cameras: got {', '.join(twice)} more than once; allowed: each camera once a moment. "
            "Name the cameras apart.",
            code="same-name",
        )
    check_same_table({view.camera: view.calibration for view in views})


def check_same_table(calibrations: Mapping[str, Calibration]) -> None:
    """Refuse calibrations of different tables, by camera.

    Raises:
        JoinError: code ``other-table``.
    """
    names = list(calibrations)
    for name in names[1:]:
        one, other = (calibrations[each].table.surface_mm for each in (names[0], name))
        if max(abs(a - b) for a, b in zip(one, other, strict=True)) > SAME_TABLE_MM:
            raise JoinError(
                f"cameras {names[0]} and {name}: got surfaces of {one[0]:g}x{one[1]:g} and "
                f"{other[0]:g}x{other[1]:g} mm; allowed: calibrations of one table, within "
                f"{SAME_TABLE_MM:g} mm. Calibrate both with the same --surface.",
                code="other-table",
                fields={"cameras": [names[0], name]},
            )


SAME_TABLE_MM = 0.5
"""Surfaces further apart are told to be different tables: places would not fit together."""
