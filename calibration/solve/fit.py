"""The robust fit inside the solve: landmarks against camera and table, with priors.

Levenberg-Marquardt least squares (scipy) with soft-L1 loss on landmarks, plain squares on
priors. Sigmas of each kind of landmark are scaled by what its residuals show (variance
components), so a kind that is worse than stated neither bends the pose nor flatters the error.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.lens.file import INTRINSICS, Lens
from calibration.seen.marks import (
    DIMENSION_EXPECTED_MM,
    DIMENSION_SIGMA_MM,
    KINDS,
    SIDE_DIMENSIONS,
    SIDES,
    Landmarks,
    nose_sigma_mm,
)
from calibration.table import Table
from calibration.vary import POSE, STEPS, SURFACE, varied

from .equations import Equations
from .known import Known
from .quality import GIVEN_KINDS
from .start import DEFAULT_FOCAL

FREE_INTRINSICS = ("focal_px", "cx_px", "cy_px", "k1", "k2", "p1", "p2")
"""Solved from the landmarks where there is no lens file, each held by a prior."""
ROUNDS = 3
"""Fits with the kinds' scales in between. With a lens file the third changes no scale by more than
2.3 % and the camera by 0.01 mm (practice room and two of another renderer); without one it may
still move the camera by some mm along the line on which height and focal length trade, which
moves little on the table."""
FOCAL_LIMITS = (0.3, 6.0)
"""Focal lengths that are tried, over the picture's longer side: 118 to 10 degrees of view, more
than anybody looks at a table with; ``quality.FOCALS`` refuses those near the ends."""
_SOFT = 2.0
"""Residuals in sigma beyond which soft-L1 turns from squares to absolute values: of Gaussian ones
5 % are."""
_MEAN_WEIGHT, _MEAN_SLOPE, _MEAN_PULL2 = 0.9131, 0.7846, 0.6290
"""Of soft-L1 with that limit over a unit Gaussian z, w = (1 + z² / limit²)^-½: the means of w, of
d(w·z)/dz and of (w·z)², by quadrature."""
_COST_SETTLED = 1e-4
"""Part of the cost by which a round must still lower it: with the 300 rows of a whole table 0.015,
a hundredth of what one more row adds."""
_LEAST_KEPT = 0.2
"""Least part of a row's variance that is counted as left after the fit, lest a row that all but
alone settles a parameter be divided by nothing; the least seen was 0.5 (rooms as above)."""
_KIND_SCALE = (0.35, 6.0)
"""Least and most by which residuals may rescale the stated sigma of a kind. Edges were seen to
scatter by 0.04 to 0.6 px (rooms as above), 0.3 to 4 times the stated 0.15."""
FOCAL_SPREAD = 0.25
"""Sigma of a focal length that nothing tells, as a part of the default: twice of it to both sides
(by ratio) are views of 88 to 39 degrees, from wide webcams to telephones' main cameras."""
CENTRE_SPREAD = 0.01
"""Sigma of the lens's axis from the picture's middle, over the longer side: 13 px of 1280,
chosen: a lens is glued by machine."""
DISTORTION = {"k1": (-0.05, 0.12), "k2": (0.0, 0.05), "p1": (0.0, 5e-4), "p2": (0.0, 5e-4)}
"""Distortion expected of a lens that nothing tells, with its sigma: chosen to take in the range of
the rendered rooms, k1 from -0.25 to 0.05 and p1, p2 of some 1e-4."""


@dataclass(frozen=True, slots=True)
class Prior:
    """A Gaussian opinion on one parameter or derived figure."""

    value: float
    sigma: float


@dataclass(frozen=True, slots=True)
class Problem:
    equations: Equations
    middle_mm: FloatArray
    """Middle of the landmarks, (3,), table frame."""
    names: tuple[str, ...]
    """Camera parameters first, then the table's dimensions."""
    priors: Mapping[str, Prior]


@dataclass(frozen=True, slots=True)
class State:
    camera: Camera
    change_mm: dict[str, float]
    kind_scale: dict[str, float]
    cost: float = float("inf")


def problem_of(landmarks: Landmarks, known: Known) -> Problem:
    """Unknowns and priors for ``landmarks``, with a lens, a height by tape, or neither."""
    lens, tape_mm = known.lens, known.tape_mm
    longer_px = max(landmarks.image_size_px)
    width, height = landmarks.image_size_px
    priors = {
        name: Prior(DIMENSION_EXPECTED_MM.get(name, 0.0), DIMENSION_SIGMA_MM[name])
        for name in landmarks.dimensions
    }
    names: tuple[str, ...] = POSE
    if lens is None:
        names += FREE_INTRINSICS
        priors |= {
            "focal_px": _focal_prior(landmarks, known),
            "cx_px": Prior((width - 1) / 2, CENTRE_SPREAD * longer_px),
            "cy_px": Prior((height - 1) / 2, CENTRE_SPREAD * longer_px),
            **{name: Prior(*expected) for name, expected in DISTORTION.items()},
        }
    if tape_mm is not None and lens is None:
        priors["lens_z_mm"] = Prior(tape_mm[0], tape_mm[1] / 2)
    equations = Equations.of(landmarks)
    middle_mm = np.asarray(equations.points_mm.mean(axis=0), dtype=float)
    return Problem(equations, middle_mm, names + landmarks.dimensions, priors)


def _focal_prior(landmarks: Landmarks, known: Known) -> Prior:
    """What is thought of the focal length beforehand: all but nothing beside a tape measure."""
    longer_px = max(landmarks.image_size_px)
    if known.tape_mm is not None:
        return Prior(DEFAULT_FOCAL * longer_px, longer_px)
    if known.focal is not None and not landmarks.count("ball"):
        return Prior(known.focal.focal_px, known.focal.sigma_px)
    return Prior(DEFAULT_FOCAL * longer_px, FOCAL_SPREAD * DEFAULT_FOCAL * longer_px)


def viewed(problem: Problem, table: Table, camera: Camera) -> Problem:
    """The problem with the noses' edges as sure as ``camera`` can see them, leaning as it does."""
    priors = dict(problem.priors)
    for side in SIDES:
        if (name := f"nose_{side}_mm") in priors:
            sigma_mm = nose_sigma_mm(table, camera.position_mm, side)
            priors[name] = replace(priors[name], sigma=sigma_mm)
    return replace(problem, priors=priors)


def best_start(problem: Problem, cameras: Sequence[Camera]) -> State:
    """The start whose first steps of a fit lead to the least cost, priors included."""
    if len(cameras) == 1:
        return State(cameras[0], {}, dict.fromkeys(KINDS, 1.0))
    return first_steps(problem, cameras)


def first_steps(problem: Problem, cameras: Sequence[Camera]) -> State:
    """The best of the first steps of a fit from each of ``cameras``."""
    scale = dict.fromkeys(KINDS, 1.0)
    trials = [fit(problem, State(camera, {}, scale), rounds=1) for camera in cameras]
    return min(trials, key=lambda state: state.cost)


def settled(problem: Problem, state: State, rounds: int = ROUNDS) -> State:
    """Fit and rescale in turn until the kinds' scales have settled."""
    for _ in range(rounds):
        state = fit(problem, state)
        scales = problem.equations.kind_scales(
            state.camera, state.change_mm, _KIND_SCALE, kept_share(problem, state)
        )
        state = replace(state, kind_scale=scales)
    return fit(problem, state)


def fit(problem: Problem, state: State, rounds: int = 12) -> State:
    """Robust least squares from ``state``, its landmark sigmas held.

    Soft-L1 by reweighting: each round is a plain Levenberg-Marquardt fit whose weights come
    from the round before. It ends when the cost no longer falls.
    """
    equations = problem.equations
    sigma_px = equations.expected_rows_px(state.camera, state.kind_scale)
    weight, trust = np.ones_like(sigma_px), np.ones(len(problem.priors))
    cost = np.inf
    for _ in range(rounds):
        state = _weighted_fit(problem, state, weight / sigma_px, trust)
        z = (equations.residuals_px(state.camera, state.change_mm) / sigma_px) ** 2
        opinions = _prior_residuals(problem, state.camera, state.change_mm) ** 2
        weight, trust = _soft_weight(z), _trust(problem, opinions)
        before, cost = (
            cost,
            0.5 * float(np.sum(_soft_loss(z)) + np.sum(_prior_loss(problem, opinions))),
        )
        if before - cost < _COST_SETTLED * cost:
            break
    return replace(state, cost=cost)


def _soft_weight(z: FloatArray) -> FloatArray:
    """Factor on residuals whose squares over sigma² are ``z``, for soft-L1 by reweighting."""
    return np.asarray((1.0 + z / _SOFT**2) ** -0.25)


def _soft_loss(z: FloatArray) -> FloatArray:
    return np.asarray(2 * _SOFT**2 * (np.sqrt(1.0 + z / _SOFT**2) - 1.0))


def _sides(problem: Problem) -> NDArray[np.bool_]:
    """The priors on whole sides: light from one side can put a single one far out."""
    return np.array([name in SIDE_DIMENSIONS for name in problem.priors])


def _trust(problem: Problem, z: FloatArray) -> FloatArray:
    return np.where(_sides(problem), _soft_weight(z), 1.0)


def _prior_loss(problem: Problem, z: FloatArray) -> FloatArray:
    return np.where(_sides(problem), _soft_loss(z), z)


def _weighted_fit(problem: Problem, state: State, weight: FloatArray, trust: FloatArray) -> State:
    """Plain least squares with fixed weights on the rows (1 / px) and on the priors."""
    units = np.array([STEPS.get(name, 0.1) * 10 for name in problem.names])
    equations = problem.equations

    def residuals(step: FloatArray) -> FloatArray:
        camera, change_mm = _applied(problem, state, step * units)
        off = equations.residuals_px(camera, change_mm) * weight
        return np.concatenate([off, _prior_residuals(problem, camera, change_mm) * trust])

    def slopes(step: FloatArray) -> FloatArray:
        camera, change_mm = _applied(problem, state, step * units)
        seen = -equations.slopes(camera, change_mm, problem.names) * weight[:, None]
        whole = np.concatenate([seen, _prior_slopes(problem, camera) * trust[:, None]])
        return _zoomed(problem, state, whole) * units

    found = least_squares(
        residuals, np.zeros(len(units)), jac=slopes, method="lm", x_scale="jac",
        ftol=1e-6, xtol=1e-6, max_nfev=30,
    )  # fmt: skip
    camera, change_mm = _applied(problem, state, found.x * units)
    return replace(state, camera=camera, change_mm=change_mm)


def _applied(problem: Problem, state: State, step: FloatArray) -> tuple[Camera, dict[str, float]]:
    change = dict(zip(problem.names, (float(v) for v in step), strict=True))
    change_mm = {
        name: state.change_mm.get(name, 0.0) + change[name] for name in problem.equations.dimensions
    }
    # a step of the optimiser may be wild: keep the camera possible
    focal_px = min(state.camera.fx_px, state.camera.fy_px)
    longer_px = max(state.camera.image_size_px)
    least, most = (limit * longer_px / focal_px for limit in FOCAL_LIMITS)
    zoom = float(np.clip(1.0 + change.get("focal_px", 0.0) / focal_px, least, most))
    change["focal_px"] = (zoom - 1.0) * focal_px
    # zooming draws the camera back so that the table keeps its size: the two all but cancel,
    # and an optimiser that must find that out by itself crawls
    back_mm = (zoom - 1.0) * (state.camera.position_mm - problem.middle_mm)
    for name, move in zip(POSE[3:], back_mm, strict=True):
        change[name] += float(move)
    return varied(state.camera, change), change_mm


def _zoomed(problem: Problem, state: State, slopes: FloatArray) -> FloatArray:
    """Slopes with the focal length's own replaced by that of zooming, as in ``_applied``."""
    if "focal_px" not in problem.names:
        return slopes
    per_px = (state.camera.position_mm - problem.middle_mm) / state.camera.fx_px
    places = [problem.names.index(name) for name in POSE[3:]]
    slopes[:, problem.names.index("focal_px")] += slopes[:, places] @ per_px
    return slopes


def _prior_residuals(
    problem: Problem, camera: Camera, change_mm: Mapping[str, float]
) -> FloatArray:
    now = {
        **change_mm,
        "focal_px": camera.fx_px,
        "cx_px": camera.cx_px,
        "cy_px": camera.cy_px,
        **dict(zip(("k1", "k2", "p1", "p2"), camera.distortion, strict=False)),
        "lens_z_mm": float(camera.position_mm[2]),
    }
    out = [(now[n] - prior.value) / prior.sigma for n, prior in problem.priors.items()]
    if "focal_px" in problem.priors:
        prior = problem.priors["focal_px"]
        # by ratio: half the expected focal length is as odd as twice
        off = np.log(camera.fx_px / prior.value) * prior.value / prior.sigma
        out[list(problem.priors).index("focal_px")] = float(off)
    return np.array(out)


def _prior_slopes(problem: Problem, camera: Camera) -> FloatArray:
    out = np.zeros((len(problem.priors), len(problem.names)))
    for row, (name, prior) in enumerate(problem.priors.items()):
        slope = prior.value / camera.fx_px if name == "focal_px" else 1.0
        out[row, problem.names.index(name)] = slope / prior.sigma
    return out


def covariance_of(
    problem: Problem,
    state: State,
    lens: Lens | None,
    surface: tuple[tuple[float, float], float],
) -> tuple[tuple[str, ...], FloatArray]:
    """Parameter names and covariance at the solution.

    Soft-L1 counts good landmarks a little less than squares would, so this is the covariance of
    an M-estimator, inverse slope · variance of pulls · inverse slope (Huber 1964). What the fit
    held is carried along with its own covariance: a lens's intrinsics, and the
    ``surface``'s length and width with their common error (1 sigma, mm), where that is not 0.
    """
    equations = problem.equations
    jacobian, opinions, weight = _normal_rows(problem, state)
    slope_by, pull_by = _MEAN_SLOPE / _MEAN_WEIGHT, _MEAN_PULL2 / _MEAN_WEIGHT
    soft = np.concatenate([np.ones(len(jacobian), bool), _sides(problem)])
    rows = np.concatenate([jacobian, opinions])
    inverse = np.linalg.inv(rows.T @ (rows * np.where(soft, slope_by, 1.0)[:, None]))
    pull = rows.T @ (rows * np.where(soft, pull_by, 1.0)[:, None])
    names, whole = problem.names, np.asarray(inverse @ pull @ inverse, dtype=float)
    answer = -slope_by * inverse @ jacobian.T
    if lens is not None:
        by_lens = equations.slopes(state.camera, state.change_mm, INTRINSICS) * weight[:, None]
        names, whole = (
            names + INTRINSICS,
            _carried(whole, answer @ by_lens, np.asarray(lens.parameter_cov)),
        )
    surface_mm, error_mm = surface
    if error_mm > 0:
        by_size = equations.surface_slopes(state.camera, state.change_mm, surface_mm)
        slope = np.zeros((len(names), 2))
        slope[: len(problem.names)] = answer @ (by_size * weight[:, None])
        names, whole = names + SURFACE, _carried(whole, slope, np.eye(2) * error_mm**2)
    return names, whole


def _normal_rows(problem: Problem, state: State) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weighted slopes of landmarks (R, P) and of priors, and the landmarks' weights (R,), 1/px."""
    equations = problem.equations
    sigma = equations.expected_rows_px(state.camera, state.kind_scale)
    off = equations.residuals_px(state.camera, state.change_mm) / sigma
    weight = _soft_weight(off**2) / sigma
    jacobian = equations.slopes(state.camera, state.change_mm, problem.names) * weight[:, None]
    trust = _trust(problem, _prior_residuals(problem, state.camera, state.change_mm) ** 2)
    return jacobian, _prior_slopes(problem, state.camera) * trust[:, None], weight


def kept_share(problem: Problem, state: State) -> FloatArray:
    """(R,): the part of each row's variance that its residual still shows; the fit ate the rest.

    Hand-given points are as good as they were said to be: only what they plainly show counts.
    """
    jacobian, opinions, _ = _normal_rows(problem, state)
    inverse = np.linalg.inv(jacobian.T @ jacobian + opinions.T @ opinions)
    eaten = np.einsum("ri,ij,rj->r", jacobian, inverse, jacobian)
    given = np.isin(problem.equations.kinds[problem.equations.row_mark], GIVEN_KINDS)
    return np.asarray(np.where(given, 1.0, np.clip(1.0 - eaten, _LEAST_KEPT, 1.0)))


def _carried(covariance: FloatArray, slope: FloatArray, own: FloatArray) -> FloatArray:
    """Covariance with held parameters joined: ``slope`` is how the others follow them."""
    return np.block([[covariance + slope @ own @ slope.T, slope @ own], [own @ slope.T, own]])
