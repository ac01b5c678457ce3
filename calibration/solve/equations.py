"""The solve's equations: landmarks as arrays, one row for each thing that is seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.seen.marks import KINDS, Landmarks
from calibration.vary import STEPS, sensitivity

_FEWEST_ROWS = 10
_SPREAD_MEAN = 0.3443
"""Mean of z² / (1 + z²) over a unit Gaussian z, by quadrature."""
_SPREAD_ROUNDS, _SPREAD_SETTLED = 40, 1e-3
_STATED_ROWS = 3.0
"""The stated sigma of a kind counts as much as the residuals of this many rows."""


@dataclass(frozen=True, slots=True)
class Equations:
    """Rows of a solve: a line landmark gives one (across its line), a point two."""

    dimensions: tuple[str, ...]
    points_mm: FloatArray
    """(N, 3), by the table model."""
    directions: FloatArray
    """(N, 3, dimensions): how a landmark moves for each mm of a dimension."""
    seen_px: FloatArray
    """(N, 2)."""
    row_mark: NDArray[np.intp]
    """(R,): landmark of each row."""
    row_px: FloatArray
    """(R, 2): unit vector in the picture along which a row measures."""
    sigma_px: FloatArray
    """(N,): error of seeing."""
    built_mm: FloatArray
    """(N,): building tolerance."""
    kinds: NDArray[np.str_]
    """(N,)."""
    measured: NDArray[np.bool_]
    """(N,): places that do not ride on the surface's size."""

    @classmethod
    def of(cls, landmarks: Landmarks) -> Equations:
        """The equations of ``landmarks``."""
        names = landmarks.dimensions
        directions = np.zeros((len(landmarks.items), 3, len(names)))
        row_mark: list[int] = []
        row_px: list[tuple[float, float]] = []
        for index, item in enumerate(landmarks.items):
            for name, direction in item.moves:
                directions[index, :, names.index(name)] += direction
            vectors = [(1.0, 0.0), (0.0, 1.0)] if item.normal_px is None else [item.normal_px]
            row_mark += [index] * len(vectors)
            row_px += vectors
        return cls(
            dimensions=names,
            points_mm=landmarks.points_mm,
            directions=directions,
            seen_px=landmarks.seen_px,
            row_mark=np.array(row_mark, dtype=np.intp),
            row_px=np.array(row_px, dtype=float),
            sigma_px=np.array([item.sigma_px for item in landmarks.items]),
            built_mm=np.array([item.built_sigma_mm for item in landmarks.items]),
            kinds=np.array([item.kind for item in landmarks.items]),
            measured=np.array([item.measured for item in landmarks.items], dtype=bool),
        )

    def placed_mm(self, change_mm: Mapping[str, float]) -> FloatArray:
        """(N, 3): where the landmarks lie with the table's dimensions changed."""
        change = np.array([change_mm.get(name, 0.0) for name in self.dimensions])
        return np.asarray(self.points_mm + self.directions @ change)

    def rows_of(self, pixels_px: FloatArray) -> FloatArray:
        """(R,): the measured component of a vector (N, 2) given for each landmark."""
        return np.asarray(np.sum(pixels_px[self.row_mark] * self.row_px, axis=1))

    def residuals_px(self, camera: Camera, change_mm: Mapping[str, float]) -> FloatArray:
        """(R,): seen minus predicted."""
        return self.rows_of(self.seen_px - camera.project(self.placed_mm(change_mm)))

    def expected_px(self, camera: Camera, kind_scale: Mapping[str, float]) -> FloatArray:
        """(N,): expected error of every landmark, seeing and building, scaled by kind."""
        jacobian = camera.place_slopes(self.points_mm)[:, :, :2]
        px_per_mm = np.sqrt(np.abs(np.linalg.det(jacobian)))
        scale = np.array([kind_scale[kind] for kind in self.kinds])
        return np.asarray(np.hypot(self.sigma_px, self.built_mm * px_per_mm) * scale)

    def expected_rows_px(self, camera: Camera, kind_scale: Mapping[str, float]) -> FloatArray:
        """(R,): the same along what each row measures; a leaning view foreshortens building."""
        jacobian = camera.place_slopes(self.points_mm)[self.row_mark, :, :2]
        px_per_mm = np.hypot(*np.einsum("rij,ri->jr", jacobian, self.row_px))
        scale = np.array([kind_scale[kind] for kind in self.kinds[self.row_mark]])
        built_px = self.built_mm[self.row_mark] * px_per_mm
        return np.asarray(np.hypot(self.sigma_px[self.row_mark], built_px) * scale)

    def kind_scales(
        self,
        camera: Camera,
        change_mm: Mapping[str, float],
        bounds: tuple[float, float],
        kept: FloatArray,
    ) -> dict[str, float]:
        """Robust spread of each kind's residuals over the stated one, within ``bounds``.

        ``kept`` (R,) is the part of a row's variance that its residual shows after the fit.
        Drawn towards 1 where a kind has few rows; 1 where it has too few to say.
        """
        stated = self.expected_rows_px(camera, dict.fromkeys(KINDS, 1.0))
        ratio = np.abs(self.residuals_px(camera, change_mm)) / (stated * np.sqrt(kept))
        out = dict.fromkeys(KINDS, 1.0)
        for kind in KINDS:
            own = ratio[self.kinds[self.row_mark] == kind]
            if len(own) >= _FEWEST_ROWS:
                spread2 = robust_spread(own) ** 2
                blended = (len(own) * spread2 + _STATED_ROWS) / (len(own) + _STATED_ROWS)
                out[kind] = float(np.clip(np.sqrt(blended), *bounds))
        return out

    def slopes(
        self, camera: Camera, change_mm: Mapping[str, float], names: Sequence[str]
    ) -> FloatArray:
        """d(predicted)/d(parameter), (R, len(names)), px per unit, camera and dimensions."""
        placed = self.placed_mm(change_mm)
        pixels = sensitivity(camera, names, placed)
        by_place = camera.place_slopes(placed)
        for column, name in enumerate(names):
            if name not in STEPS:
                direction = self.directions[:, :, self.dimensions.index(name)]
                pixels[:, :, column] = np.einsum("nij,nj->ni", by_place, direction)
        return np.asarray(np.einsum("rij,ri->rj", pixels[self.row_mark], self.row_px))

    def surface_slopes(
        self, camera: Camera, change_mm: Mapping[str, float], surface_mm: tuple[float, float]
    ) -> FloatArray:
        """d(predicted)/d(length, width), (R, 2), px per mm: noses and sights ride on them."""
        placed = self.placed_mm(change_mm)
        share = np.clip(self.points_mm[:, :2] / np.array(surface_mm), 0.0, 1.0)
        share[self.measured] = 0.0
        by_place = camera.place_slopes(placed)
        return np.stack(
            [self.rows_of(by_place[:, :, axis] * share[:, axis, None]) for axis in range(2)],
            axis=1,
        )


def robust_spread(off: FloatArray) -> float:
    """Standard deviation of residuals (R,) whose mean is 0, by an M-estimate of scale.

    Up to a third of them may lie anywhere (Huber 1981, ch. 5). On Gaussian ones its variance is
    1.45 times that of their root mean square; that of their median size is 2.7 times.
    """
    spread = float(np.median(np.abs(off))) / 0.6745
    for _ in range(_SPREAD_ROUNDS if spread > 0 else 0):
        z2 = (off / spread) ** 2
        factor = float(np.sqrt(np.mean(z2 / (1 + z2)) / _SPREAD_MEAN))
        spread *= factor
        if abs(factor - 1) < _SPREAD_SETTLED:
            break
    return spread
