"""Which of what was given by hand is wrong: each left out in turn, and the others asked.

A wrong point draws the solve towards itself and pushes right ones away, so residuals of the whole
name the wrong ones. What the others alone say of a point does not know its error.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.kept.calibration import Residual
from calibration.seen.marks import KINDS, Landmark, Landmarks
from calibration.seen.points import FEWEST_ALONE

from .fit import State, fit, problem_of
from .known import Known
from .quality import GIVEN_KINDS, hangs_so
from .start import check_landmarks, start_cameras

MOST_SIGMAS = 5.0
"""A given place further from where the whole solve puts it than this many of its stated errors,
and than ``LEAST_MM``, is looked into: by chance one in two million is."""
LEAST_MM = 2.0
"""Nearer than that nobody who points by hand needs to hear of it: a sight is 11 mm wide."""
CONTRADICTED = 20.0
"""Twice the cost that a point adds to the solve of the others, from which it contradicts them. As
chi-squared of its two coordinates it would be above that once in 22,000 right points."""
TOLD_APART = 9.2
"""By how much twice the cost without the one must be lower than without any other before the one
is named: twice the logarithm of odds of 100 to 1."""

IMPOSSIBLE = 2 * CONTRADICTED
"""Added to twice the cost where a few points are explained by a camera that cannot hang there."""


@dataclass(frozen=True, slots=True)
class _Without:
    """What the others say of one given place."""

    name: str
    twice_cost: float
    """Of the solve without it."""
    off_px: float
    off_mm: float
    """From where that solve puts it."""

    @property
    def words(self) -> str:
        return f"{self.name} {self.off_px:.1f} px ({self.off_mm:.1f} mm)"


def check_given(
    landmarks: Landmarks,
    known: Known,
    camera: Camera,
    residuals: Sequence[Residual],
    stated_px: FloatArray,
) -> None:
    """Refuse hand-given points and frozen balls that the other landmarks contradict, by name.

    ``camera`` is that of the solve, ``residuals`` its residuals and ``stated_px`` (N,) each
    landmark's error as stated, before its kind was rescaled: what is given by hand is as good as
    whoever gave it says.

    Raises:
        CalibrationError: some are contradicted; ``fields`` holds ``about`` (``points`` or
            ``balls``), ``told`` (whether it can be told which) and ``off_px`` by name.
    """
    alone = all(item.kind == "point" for item in landmarks.items)
    suspects = {
        residual.name
        for residual, sigma_px in zip(residuals, stated_px, strict=True)
        if residual.kind in GIVEN_KINDS and (alone or _far(residual, float(sigma_px)))
    }
    wrong: list[_Without] = []
    left, most = landmarks, len(landmarks.items) - FEWEST_ALONE
    while suspects:
        cost, without = _looked_into(left, suspects, known, camera)
        rest = sorted(without, key=lambda each: each.twice_cost)
        if cost - rest[0].twice_cost < CONTRADICTED or rest[0].off_mm < LEAST_MM:
            break
        rivals = [
            each
            for each in rest
            if each.twice_cost < rest[0].twice_cost + TOLD_APART and each.off_mm > LEAST_MM
        ]
        if len(rivals) > 1 or len(wrong) == most:
            raise _refusal(landmarks, [*wrong, *rivals], told=False)
        wrong.append(rest[0])
        suspects.discard(rest[0].name)
        left = _left_out(left, rest[0].name)
    if wrong:
        raise _refusal(landmarks, wrong, told=True)


def _far(residual: Residual, sigma_px: float) -> bool:
    return abs(residual.off_px) > MOST_SIGMAS * sigma_px and abs(residual.off_mm) > LEAST_MM


def _looked_into(
    landmarks: Landmarks, suspects: set[str], known: Known, camera: Camera
) -> tuple[float, list[_Without]]:
    """Twice the cost of the solve of all, and what it comes to without each of the suspects."""
    whole = _solved(landmarks, known, camera)
    items = [item for item in landmarks.items if item.name in suspects]
    out = []
    for item in items:
        state = _solved(_left_out(landmarks, item.name), known, whole.camera)
        off_px, off_mm = _off(item, state)
        out.append(_Without(name=item.name, twice_cost=_twice(state), off_px=off_px, off_mm=off_mm))
    return _twice(whole), out


def _twice(state: State) -> float:
    """Twice the cost; a camera that nobody has is as good as a contradiction."""
    return 2 * state.cost + (0.0 if hangs_so(state.camera) else IMPOSSIBLE)


def _solved(landmarks: Landmarks, known: Known, camera: Camera) -> State:
    """The fit with errors as stated. Points alone begin anew: a wrong one leads far astray."""
    problem = problem_of(landmarks, known)
    cameras = [camera]
    if len(landmarks.items) >= FEWEST_ALONE and landmarks.count("point") == len(landmarks.items):
        cameras += _beginnings(landmarks, known)
    begun = [State(each, {}, dict.fromkeys(KINDS, 1.0)) for each in cameras]
    return min((fit(problem, state) for state in begun), key=lambda state: state.cost)


def _beginnings(landmarks: Landmarks, known: Known) -> list[Camera]:
    try:
        check_landmarks(landmarks)
        return start_cameras(landmarks, known.lens)
    except CalibrationError:
        return []


def _left_out(landmarks: Landmarks, name: str) -> Landmarks:
    return replace(landmarks, items=tuple(item for item in landmarks.items if item.name != name))


def _off(item: Landmark, state: State) -> tuple[float, float]:
    """How far a landmark is seen from where the others put it: px, and mm at its own height."""
    place = _placed_mm(item, state.change_mm)[None]
    off = np.asarray(item.seen_px) - state.camera.project(place)[0]
    if item.normal_px is not None:
        off = (off @ np.asarray(item.normal_px)) * np.asarray(item.normal_px)
    to_mm = np.linalg.inv(state.camera.place_slopes(place)[0, :, :2])
    return float(np.hypot(*off)), float(np.hypot(*(to_mm @ off)))


def _placed_mm(item: Landmark, change_mm: Mapping[str, float]) -> FloatArray:
    place = np.asarray(item.point_mm, dtype=float)
    for name, way in item.moves:
        place = place + change_mm.get(name, 0.0) * np.asarray(way)
    return place


def _refusal(landmarks: Landmarks, wrong: Sequence[_Without], *, told: bool) -> CalibrationError:
    kinds = {item.name: item.kind for item in landmarks.items}
    listed = ", ".join(each.words for each in wrong)
    balls = any(kinds[each.name] == "ball" for each in wrong)
    what = "ball check" if balls else "points"
    if told:
        got = f"{what}: got {listed} from where the other landmarks put {_them(wrong)}"
    else:
        got = (
            f"{what}: got places that contradict each other, and it cannot be told which is wrong: "
            f"from where the others put each, {listed}"
        )
    remedy = (
        f"allowed: {LEAST_MM:g} mm. Freeze these balls to their cushions again, and check that the "
        "camera has not moved between the stills."
        if balls
        else f"allowed: {MOST_SIGMAS:g} times the stated error. Check these points' names and "
        "pixels, the surface's length and width, and the head side"
        + ("." if told else "; more points tell which.")
    )
    return CalibrationError(
        f"{got}; {remedy}",
        fields={
            "about": "balls" if balls else "points",
            "told": told,
            "off_px": {each.name: each.off_px for each in wrong},
        },
    )


def _them(wrong: Sequence[_Without]) -> str:
    return "it" if len(wrong) == 1 else "them"
