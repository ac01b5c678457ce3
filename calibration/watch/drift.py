"""Whether camera or table has moved since the calibration, told from the rails of a later still.

Every mark of the empty still is looked for again along its own direction. A rigid move explains
all their shifts with six numbers; what balls, hands, shadows or a towel hide or bend is left out.
Whatever is measured surely is corrected, trembling too; what stays unsure widens the errors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import BoolArray, FloatArray
from calibration.camera import Camera
from calibration.chi_square import POSE_999
from calibration.errors import CalibrationError
from calibration.kept.budget import bed_grid_mm, in_picture
from calibration.kept.calibration import Calibration
from calibration.kept.rail_marks import HALF_SAMPLES, KINDS
from calibration.seen.marks import OUTWARD
from calibration.table import BALL_CENTRE_HEIGHT_MM
from calibration.vary import POSE, sensitivity, varied

from .rail_shifts import Found, MarkSearch
from .rail_strips import Strips
from .rigid import PRIOR_SIGMA, Rigid, rigid_move

ImageArray = NDArray[np.uint8]

STATES = ("still", "moved", "cannot tell", "unchecked")
STILL_MM, STILL_PX = 0.4, 0.5
"""Moves below either, at every place of the bed, are none: vibration and noise."""
MOST_MM = 15.0
"""Largest move at any place of the bed that is corrected."""
SURE_MM, SURE_SHARE = 1.0, 0.75
"""A larger move must be borne out by this share of all marks: a far larger one can look like it."""
SIGMAS = 2.0
"""A move must exceed the limits by this many of its own sigmas."""
SIGNIFICANT = POSE_999
"""Chi-square of the six numbers above which a still is corrected, said or not: 1 in 1000."""
DOUBTFUL_MM = 0.5
"""Sigma of the move, anywhere on the bed, above which nothing can be told."""
_SEARCH_SAMPLES, _CLOSER_SAMPLES = 20, 4
"""Search to both sides: 25 mm, and 5 mm around a first answer."""
CUT_SIGMA_MM = 0.5
"""Further error of an edge that is cut off at white, each by itself."""
_SIDES = range(len(POSE), len(POSE) + len(OUTWARD))
_CUT_COLUMNS = [*range(len(POSE)), *(side + len(OUTWARD) for side in _SIDES), *_SIDES]
"""Puts a side's shift in the place of that for its edges that are cut off."""
_LOST_SHARE, _FEW_SHARE = 0.2, 0.35
"""Share of the short or the long rails' marks under which the view is another, or in doubt."""
_FEWEST_SEAMS = 6
_LEAST_RIGID_SHARE, _MOST_BEND_MM, _MOST_SCALE = 0.6, 0.6, 3.0
"""Part of the marks seen that must move as one, and how well: mm, and against their own noise."""
_GRID = (7, 13)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """What one still says of the calibration."""

    state: str
    """One of STATES. ``still`` may be corrected too: by less than is worth a word."""
    calibration: Calibration
    """The one to read this still with: its pose, and the move's own error in its covariance."""
    median_mm: float = 0.0
    worst_mm: float = 0.0
    """Move over the bed at ball height."""
    corrected_px: float = 0.0
    """How far ``calibration`` sees the bed's worst place from where the one watched does."""
    sigma_mm: float = 0.0
    """Error of these, 1 sigma, at the worst place of the bed."""
    seen: int = 0
    total: int = 0
    """Marks that agree, of all."""
    warning: str = ""

    def __post_init__(self) -> None:
        if self.state not in STATES:
            raise CalibrationError(
                f"drift.state: got {self.state!r}; allowed: {', '.join(STATES)}. Use one of these."
            )


class DriftWatch:
    """Checks stills against one calibration; keeps what only depends on it."""

    def __init__(self, calibration: Calibration) -> None:
        self.calibration = calibration
        marks = calibration.rail_marks
        self.at_mm = np.array([mark.at_mm for mark in marks], dtype=float).reshape(-1, 3)
        self.across = np.array([mark.across for mark in marks], dtype=float).reshape(-1, 2)
        self.breadth_mm = np.array([KINDS[mark.kind] for mark in marks])
        self.search = MarkSearch(marks)
        self.groups = self._groups()
        grid = bed_grid_mm(calibration.table, *_GRID)
        # no ball is read where the picture does not show the bed
        self.bed_mm = grid[in_picture(calibration.camera, grid)]
        self.strips: Strips | None = None
        self.slopes = np.zeros((0, len(PRIOR_SIGMA)))
        if marks:
            self.strips = self._strips(calibration.camera, _SEARCH_SAMPLES)
            self.slopes = self._slopes(calibration.camera)
            self.bed_slopes, self.bed_px = self._bed(calibration.camera)

    def check(self, still_bgr: ImageArray, *, name: str = "still") -> Drift:
        """Compare a still ((H, W, 3) BGR, the calibration's size) with the calibration.

        Raises CalibrationError (code "moved") where the move is too large to correct or is no
        rigid move.
        """
        if self.strips is None:
            return self._unchecked()
        found = self.search.look(still_bgr, self.strips)
        move = self._explained(found)
        self._refuse_lost(move, name)
        camera, whole = self.calibration.camera, move.change
        worst_mm, worst_px = self._worst(move.change)
        if worst_px > STILL_PX / 2 and worst_mm < 2 * MOST_MM:
            camera = varied(camera, _named(move.change))
            closer = self.search.look(still_bgr, self._strips(camera, _CLOSER_SAMPLES))
            # what is left is small, for which the old slopes do
            move = self._explained(closer)
            self._refuse_lost(move, name)
            found, whole = closer, whole + move.change
        self._refuse_bent(move, found, name)
        return self._judged(camera, move, whole, name)

    def _explained(self, found: Found) -> Rigid:
        slopes, sigma_mm = self.slopes, found.sigma_mm
        if found.cut.any():
            slopes = slopes.copy()
            slopes[found.cut] = slopes[found.cut][:, _CUT_COLUMNS]
            sigma_mm = np.where(found.cut, np.hypot(sigma_mm, CUT_SIGMA_MM), sigma_mm)
        return rigid_move(slopes, found.shift_mm, sigma_mm, found.seen)

    def _unchecked(self) -> Drift:
        warning = ""
        if self.calibration.scale_source != "exact":
            warning = (
                "Whether camera or table has moved cannot be checked: the calibration holds no "
                "marks of the rails."
            )
        return Drift(state="unchecked", calibration=self.calibration, warning=warning)

    def _judged(self, camera: Camera, move: Rigid, whole: FloatArray, name: str) -> Drift:
        """What ``move`` from ``camera``, ``whole`` (6,) from the calibration's, comes to."""
        changed = varied(camera, _named(move.change))
        moved_mm, moved_px = self._moved(changed)
        told = Drift(
            state="still",
            calibration=self.calibration,
            median_mm=float(np.median(moved_mm)),
            worst_mm=float(moved_mm.max()),
            sigma_mm=self._sigma_mm(move.cov),
            seen=int(move.kept.sum()),
            total=len(move.kept),
        )
        over_mm = told.worst_mm - SIGMAS * told.sigma_mm
        over_px = float(moved_px.max()) - SIGMAS * told.sigma_mm * float(self.bed_px.max())
        self._refuse_far(told, over_mm, name)
        if told.sigma_mm > DOUBTFUL_MM or min(self._shares(move.kept)) < _FEW_SHARE:
            doubted = replace(told, state="cannot tell", warning=_doubt_words(told))
            return self._widened(doubted, move, whole)
        if whole @ np.linalg.solve(move.cov, whole) < SIGNIFICANT:
            return self._widened(told, move, whole)
        steadied = replace(
            told,
            calibration=corrected(self.calibration, changed, move.cov),
            corrected_px=float(moved_px.max()),
        )
        if over_mm < STILL_MM or over_px < STILL_PX:
            return steadied
        return replace(
            steadied,
            state="moved",
            warning=f"{_moved_words(told)}: this still is corrected for it. Recalibrate soon.",
        )

    def _widened(self, told: Drift, move: Rigid, whole: FloatArray) -> Drift:
        """Uncorrected: the move measured and its error are part of every place's error."""
        cov = move.cov + np.outer(whole, whole)
        wider = corrected(self.calibration, self.calibration.camera, cov)
        return replace(told, calibration=wider)

    def _refuse_far(self, told: Drift, over_mm: float, name: str) -> None:
        """Refuse what is, or cannot be told from, a move that is too far to correct."""
        few = told.seen < SURE_SHARE * told.total or told.sigma_mm > DOUBTFUL_MM
        vague = over_mm > SURE_MM and few
        if told.worst_mm + SIGMAS * told.sigma_mm > MOST_MM or vague:
            raise CalibrationError(
                f"{name}: {_moved_words(told)}, by {told.seen} of {told.total} marks; allowed: "
                f"{MOST_MM:g} mm, and {SURE_SHARE:.0%} of the marks above {SURE_MM:g} mm. "
                "Recalibrate with a still of the empty table; if the rails were hidden, clear "
                "them first.",
                code="moved",
            )

    # -- refusals --------------------------------------------------------------------------

    def _groups(self) -> tuple[BoolArray, BoolArray]:
        """The marks that tell of x, and those that tell of y.

        Seams alone where there are some: sights look alike, and a table that slides by one
        sight's spacing puts most of them on others.
        """
        seam = np.array([mark.kind == "seam" for mark in self.calibration.rail_marks], dtype=bool)
        along_x = np.abs(self.across[:, 0]) > 0.5
        first, second = (
            group & seam if np.count_nonzero(group & seam) >= _FEWEST_SEAMS else group
            for group in (along_x, ~along_x)
        )
        return first, second

    def _shares(self, kept: BoolArray) -> tuple[float, float]:
        """Shares of the marks kept in each group."""
        first, second = (float(kept[group].mean()) if group.any() else 0.0 for group in self.groups)
        return first, second

    def _refuse_lost(self, move: Rigid, name: str) -> None:
        along, across = self._shares(move.kept)
        if min(along, across) >= _LOST_SHARE:
            return
        raise CalibrationError(
            f"{name}: got {int(move.kept.sum())} of {len(move.kept)} marks of the rails where "
            f"they were at calibration ({along:.0%} of the short rails' seams, {across:.0%} of "
            f"the long ones'); allowed: {_LOST_SHARE:.0%} of each or more. Clear the rails "
            "and light the table; if they are clear, camera or table has moved: recalibrate.",
            code="moved",
        )

    def _refuse_bent(self, move: Rigid, found: Found, name: str) -> None:
        share = float(move.kept.sum()) / max(int(found.seen.sum()), 1)
        bent = move.bend_mm > _MOST_BEND_MM and move.scale > _MOST_SCALE
        if share >= _LEAST_RIGID_SHARE and not bent:
            return
        raise CalibrationError(
            f"{name}: the rails' marks do not move as one ({share:.0%} agree, {move.bend_mm:.1f} "
            f"mm aside); allowed: {_LEAST_RIGID_SHARE:.0%} and {_MOST_BEND_MM:g} mm. Light, zoom, "
            "focus or the table itself has changed: set the exposure as at calibration, or "
            "recalibrate.",
            code="moved",
        )

    # -- measuring -------------------------------------------------------------------------

    def _strips(self, camera: Camera, search: int) -> Strips:
        return Strips.of(camera, self.at_mm, self.across, self.breadth_mm, HALF_SAMPLES + search)

    def _slopes(self, camera: Camera) -> FloatArray:
        """d(shift along each mark's profile, mm)/d(pose and each side's shift), (N, 14)."""
        by_pose = sensitivity(camera, POSE, self.at_mm)
        to_px = _jacobians(camera, self.at_mm)
        way = np.einsum("nij,nj->ni", to_px, self.across)
        along = np.column_stack([-self.across[:, 1], self.across[:, 0]])
        edge = np.einsum("nij,nj->ni", to_px, along)
        # only the part square to the edge is seen; the profile meets the edge aslant
        normal = np.column_stack([-edge[:, 1], edge[:, 0]])
        per_mm = np.einsum("ni,ni->n", normal, way)
        by_side = [
            [float(mark.kind == "seam" and mark.across == out) for out in OUTWARD.values()]
            for mark in self.calibration.rail_marks
        ]
        poses = np.einsum("ni,nip->np", normal, by_pose) / per_mm[:, None]
        return np.hstack([poses, by_side, np.zeros((len(poses), len(OUTWARD)))])

    def _bed(self, camera: Camera) -> tuple[FloatArray, FloatArray]:
        """d(place read, mm)/d(pose) over the bed (M, 2, 6), and px per mm there (M,)."""
        points = np.column_stack([self.bed_mm, np.full(len(self.bed_mm), BALL_CENTRE_HEIGHT_MM)])
        to_px = camera.jacobian(self.bed_mm)
        slopes = np.linalg.inv(to_px) @ sensitivity(camera, POSE, points)
        return np.asarray(slopes), np.sqrt(np.abs(np.linalg.det(to_px)))

    def _worst(self, change: FloatArray) -> tuple[float, float]:
        """Largest move over the bed, mm and px, to first order."""
        off_mm = np.hypot(*(self.bed_slopes @ change).T)
        return float(off_mm.max()), float((off_mm * self.bed_px).max())

    def _moved(self, camera: Camera) -> tuple[FloatArray, FloatArray]:
        """How far the calibration misplaces the bed's places now: mm and px, (M,)."""
        points = np.column_stack([self.bed_mm, np.full(len(self.bed_mm), BALL_CENTRE_HEIGHT_MM)])
        off = self.calibration.table_mm(camera.project(points)) - self.bed_mm
        # a wild answer may look past the bed
        off_mm = np.nan_to_num(np.hypot(*off.T), nan=np.inf)
        return off_mm, off_mm * self.bed_px

    def _sigma_mm(self, cov: FloatArray) -> float:
        """Sigma of the move at the worst place of the bed, along its worst direction."""
        spread = self.bed_slopes @ cov @ np.swapaxes(self.bed_slopes, 1, 2)
        return float(np.sqrt(np.linalg.eigvalsh(spread)[:, 1].max()))


def corrected(calibration: Calibration, camera: Camera, cov: FloatArray) -> Calibration:
    """``calibration`` with another pose, whose own error ``cov`` (6, 6) is added.

    It holds no marks: they show the old pose.
    """
    names = calibration.parameter_names + tuple(
        name for name in POSE if name not in calibration.parameter_names
    )
    whole = np.zeros((len(names), len(names)))
    own = len(calibration.parameter_names)
    whole[:own, :own] = np.asarray(calibration.parameter_cov, dtype=float).reshape(own, own)
    places = [names.index(name) for name in POSE]
    whole[np.ix_(places, places)] += cov
    return replace(
        calibration,
        camera=camera,
        parameter_names=names,
        parameter_cov=tuple(tuple(float(value) for value in row) for row in whole),
        rail_marks=(),
    )


def _moved_words(told: Drift) -> str:
    has = "has" if told.worst_mm > SIGMAS * told.sigma_mm else "may have"
    return (
        f"Camera or table {has} moved since the calibration, by {told.median_mm:.1f} mm at the bed "
        f"(worst {told.worst_mm:.1f} ± {max(2 * told.sigma_mm, 0.1):.1f} mm)"
    )


def _doubt_words(told: Drift) -> str:
    return (
        f"Whether camera or table has moved cannot be told: {told.seen} of {told.total} marks on "
        "the rails look as they did. Clear the rails, and light them as at calibration."
    )


def _named(change: FloatArray) -> Mapping[str, float]:
    return dict(zip(POSE, (float(value) for value in change), strict=True))


def _jacobians(camera: Camera, points_mm: FloatArray) -> FloatArray:
    """d(u, v)/d(x, y), (N, 2, 2), at points (N, 3)."""
    out = np.zeros((len(points_mm), 2, 2))
    for height in np.unique(points_mm[:, 2]):
        group = points_mm[:, 2] == height
        out[group] = camera.jacobian(points_mm[group, :2], float(height))
    return out
