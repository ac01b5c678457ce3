"""One robust solve over all landmarks: pose, what the lens leaves open, the table's dimensions.

Levenberg-type least squares (scipy) with soft-L1 loss on landmarks and Gaussian priors on
dimensions. Sigmas of each kind of landmark are scaled by what its residuals show (variance
components), so a kind that is worse than stated neither bends the pose nor flatters the error.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from .camera import Camera
from .equations import Equations
from .errors import CalibrationError
from .files import Calibration
from .lens_file import INTRINSICS, Lens
from .marks import DIMENSION_EXPECTED_MM, DIMENSION_SIGMA_MM, KINDS, Landmarks
from .quality import check_fit, error_budget, residuals_of
from .start import DEFAULT_FOCAL, check_landmarks, start_cameras
from .table import Table
from .vary import POSE, STEPS, varied

FloatArray = NDArray[np.float64]
FREE_INTRINSICS = ("focal_px", "cx_px", "cy_px", "k1", "k2", "p1", "p2")
"""Solved from the landmarks where there is no lens file, each held by a prior."""
TAPE_SIGMA_MM = 10.0
"""A height by tape measure is right to ±20 mm, taken as 95 %."""
_ROUNDS = 3
_KIND_SCALE = (0.35, 6.0)
"""Least and most by which residuals may rescale the stated sigma of a kind."""


@dataclass(frozen=True, slots=True)
class Prior:
    """A Gaussian opinion on one parameter or derived figure."""

    value: float
    sigma: float


@dataclass(frozen=True, slots=True)
class _Problem:
    equations: Equations
    names: tuple[str, ...]
    """Camera parameters first, then the table's dimensions."""
    priors: Mapping[str, Prior]


@dataclass(frozen=True, slots=True)
class _State:
    camera: Camera
    change_mm: dict[str, float]
    kind_scale: dict[str, float]
    cost: float = float("inf")


def solve(
    landmarks: Landmarks,
    table: Table,
    image_size_px: tuple[int, int],
    lens: Lens | None = None,
    camera_height_mm: float | None = None,
) -> Calibration:
    """Camera, table dimensions and their covariance from ``landmarks``.

    With a lens file its intrinsics are held and their covariance is carried along. Without one
    the focal length is settled by ``camera_height_mm`` (the lens above the bed, ±20 mm) or,
    failing that, by a wide default. Raises CalibrationError naming the landmarks at fault.
    """
    _check_request(landmarks, image_size_px, lens, camera_height_mm)
    check_landmarks(landmarks)
    problem = _problem(landmarks, lens, camera_height_mm)
    state = _settled(problem, _best_start(problem, start_cameras(landmarks, lens)))
    names, covariance = _covariance(problem, state, lens)
    residuals = residuals_of(
        landmarks,
        state.camera,
        problem.equations.placed_mm(state.change_mm),
        problem.equations.expected_px(state.camera, state.kind_scale),
    )
    warnings = check_fit(residuals, table, state.change_mm, state.camera, camera_height_mm)
    calibration = Calibration(
        camera=state.camera,
        table=_settled_table(table, state.change_mm),
        head=landmarks.head,
        scale_source=_scale_source(lens, camera_height_mm),
        parameter_names=names,
        parameter_cov=tuple(tuple(float(v) for v in row) for row in covariance),
        residuals=residuals,
        warnings=warnings,
    )
    return replace(calibration, budget=error_budget(calibration))


def settle(
    landmarks: Landmarks, lens: Lens | None, start: Camera | None = None
) -> tuple[Camera, dict[str, float]]:
    """Camera and changed dimensions (mm) from ``landmarks``, without judging them.

    The inner step of the search for landmarks; ``start`` saves the search for a first camera.
    """
    check_landmarks(landmarks)
    problem = _problem(landmarks, lens, None)
    cameras = [start] if start is not None else start_cameras(landmarks, lens)
    state = _settled(problem, _best_start(problem, cameras))
    return state.camera, state.change_mm


# -- steps ---------------------------------------------------------------------------------


def _check_request(
    landmarks: Landmarks,
    size: tuple[int, int],
    lens: Lens | None,
    camera_height_mm: float | None,
) -> None:
    if landmarks.image_size_px != size:
        raise CalibrationError(
            f"landmarks.image_size_px: got {landmarks.image_size_px}; allowed: {size}. Find the "
            "landmarks in the still that is being calibrated."
        )
    if lens is not None and lens.image_size_px != size:
        raise CalibrationError(
            f"lens.image_size_px: got a lens file for {lens.image_size_px[0]}x"
            f"{lens.image_size_px[1]}; allowed: the still's own {size[0]}x{size[1]}. Fit the lens "
            "from board stills of that size and zoom."
        )
    if camera_height_mm is not None and not 300 <= camera_height_mm <= 20000:
        raise CalibrationError(
            f"camera_height_mm: got {camera_height_mm}; allowed: 300 to 20000. Measure from the "
            "bed straight up to the lens, in mm."
        )


def _problem(landmarks: Landmarks, lens: Lens | None, height_mm: float | None) -> _Problem:
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
            "focal_px": Prior(DEFAULT_FOCAL * longer_px, 0.2 * longer_px),
            "cx_px": Prior((width - 1) / 2, 0.01 * longer_px),
            "cy_px": Prior((height - 1) / 2, 0.01 * longer_px),
            "k1": Prior(-0.05, 0.12),
            "k2": Prior(0.0, 0.05),
            "p1": Prior(0.0, 5e-4),
            "p2": Prior(0.0, 5e-4),
        }
    if height_mm is not None and lens is None:
        priors["lens_z_mm"] = Prior(height_mm, TAPE_SIGMA_MM)
        priors["focal_px"] = Prior(DEFAULT_FOCAL * longer_px, longer_px)
    return _Problem(Equations.of(landmarks), names + landmarks.dimensions, priors)


def _best_start(problem: _Problem, cameras: Sequence[Camera]) -> _State:
    """The start whose first steps of a fit lead to the least cost, priors included."""
    scale = dict.fromkeys(KINDS, 1.0)
    if len(cameras) == 1:
        return _State(cameras[0], {}, scale)
    trials = [_fit(problem, _State(camera, {}, scale), most_steps=6) for camera in cameras]
    return min(trials, key=lambda state: state.cost)


def _settled(problem: _Problem, state: _State) -> _State:
    """Fit and rescale in turn until the kinds' scales have settled."""
    for _ in range(_ROUNDS):
        state = _fit(problem, state)
        scales = problem.equations.kind_scales(state.camera, state.change_mm, _KIND_SCALE)
        state = replace(state, kind_scale=scales)
    return _fit(problem, state)


def _fit(problem: _Problem, state: _State, most_steps: int = 40) -> _State:
    """Least squares from ``state``, its landmark sigmas held."""
    units = np.array([STEPS.get(name, 0.1) * 10 for name in problem.names])
    equations = problem.equations
    sigma_px = equations.expected_px(state.camera, state.kind_scale)[equations.row_mark]

    def residuals(step: FloatArray) -> FloatArray:
        camera, change_mm = _applied(problem, state, step * units)
        off = equations.residuals_px(camera, change_mm) / sigma_px
        return np.concatenate([off, _prior_residuals(problem, camera, change_mm)])

    def robust(z: FloatArray, /) -> FloatArray:
        return _soft_l1(z, len(sigma_px))

    found = least_squares(
        residuals,
        np.zeros(len(units)),
        loss=robust,  # type: ignore[arg-type]  # the stubs describe scipy's inner loss instead
        x_scale="jac",
        max_nfev=most_steps,
    )
    camera, change_mm = _applied(problem, state, found.x * units)
    return replace(state, camera=camera, change_mm=change_mm, cost=float(found.cost))


def _applied(problem: _Problem, state: _State, step: FloatArray) -> tuple[Camera, dict[str, float]]:
    change = dict(zip(problem.names, (float(v) for v in step), strict=True))
    change_mm = {
        name: state.change_mm.get(name, 0.0) + change[name] for name in problem.equations.dimensions
    }
    # a step of the optimiser may be wild: keep the camera possible
    floor = 1.0 - min(state.camera.fx_px, state.camera.fy_px)
    change["focal_px"] = max(change.get("focal_px", 0.0), floor)
    return varied(state.camera, change), change_mm


def _prior_residuals(
    problem: _Problem, camera: Camera, change_mm: Mapping[str, float]
) -> FloatArray:
    now = {
        **change_mm,
        "focal_px": camera.fx_px,
        "cx_px": camera.cx_px,
        "cy_px": camera.cy_px,
        **dict(zip(("k1", "k2", "p1", "p2"), camera.distortion, strict=False)),
        "lens_z_mm": float(camera.position_mm[2]),
    }
    return np.array([(now[n] - prior.value) / prior.sigma for n, prior in problem.priors.items()])


def _soft_l1(z: FloatArray, count: int) -> FloatArray:
    """Soft-L1 loss on the first ``count`` squared residuals, plain squares on the priors."""
    out = np.stack([z, np.ones_like(z), np.zeros_like(z)])
    root = np.sqrt(1.0 + z[:count] / 4.0)
    # scaled so that it stays quadratic to about 2 sigma
    out[0, :count] = 8.0 * (root - 1.0)
    out[1, :count] = 1.0 / root
    out[2, :count] = -0.125 / root**3
    return out


def _covariance(
    problem: _Problem, state: _State, lens: Lens | None
) -> tuple[tuple[str, ...], FloatArray]:
    """Parameter names and covariance at the solution; a lens's own covariance carried along."""
    equations = problem.equations
    sigma = equations.expected_px(state.camera, state.kind_scale)[equations.row_mark]
    off = equations.residuals_px(state.camera, state.change_mm) / sigma
    weight = (np.sqrt(_soft_l1(off**2, len(off))[1]) / sigma)[:, None]
    jacobian = equations.slopes(state.camera, state.change_mm, problem.names) * weight
    opinions = np.array(
        [problem.priors[n].sigma ** -2 if n in problem.priors else 0.0 for n in problem.names]
    )
    inverse = np.linalg.inv(jacobian.T @ jacobian + np.diag(opinions))
    covariance = np.asarray(inverse, dtype=float)
    if lens is None:
        return problem.names, covariance
    by_lens = equations.slopes(state.camera, state.change_mm, INTRINSICS) * weight
    slope = -covariance @ jacobian.T @ by_lens
    own = np.asarray(lens.parameter_cov)
    whole = np.block([[covariance + slope @ own @ slope.T, slope @ own], [own @ slope.T, own]])
    return problem.names + INTRINSICS, whole


def _settled_table(table: Table, change_mm: Mapping[str, float]) -> Table:
    """The table with the dimensions that the still settled."""
    own = {
        name: getattr(table, name) + change
        for name, change in change_mm.items()
        if not name.startswith(("nose_", "back_"))
    }
    return replace(table, **own)


def _scale_source(lens: Lens | None, camera_height_mm: float | None) -> str:
    if lens is not None:
        return "lens file"
    return "default" if camera_height_mm is None else "tape measure"
