"""A ball's centre to sub-pixel: the crop network's answer carried to the table, with its error."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from calibration.arrays import FloatArray
from calibration.camera import Camera
from vision.networks import Networks
from vision.still import Picture

from .crops import CropFrames, cut_crops

FAR_MM = 4.0
"""A ball found farther from where its crop was aimed is looked at again."""
UNSURE_MM = 0.45
"""Root of the stated variances' sum from which a ball is looked at again from where it was found,
and from beside it: where outline and cloth tell a centre, it stays where it was."""
FOLLOWED, FOLLOWED_SCALE = 2, 1.0
"""How often from where it was found, and the weight of the mean square by which those looks
differ."""
STEADY_MM = 0.15
"""Found again so near to where it was found, a ball is not followed further: of 100 balls of dim
rooms, hot lamps and another renderer 57 were, and the next look moved none by more than 0.05."""
BESIDE_MM = ((3.0, 0.0), (0.0, 3.0))
"""How far beside, table frame."""
BESIDE_SCALE = 3.0
"""Weight of what looks from beside differ by: they share picture and network, so they differ by
less than all of them are wrong by."""
POOR_MM = 1.0
"""Root of the variances' sum from which a ball is looked for round about, too."""
ROUND_ABOUT_MM = 14.0
"""How far: half a ball. From there a ball that was taken for its white cap or its shadow is seen
rightly, where it is seen at all."""
ROUND_ABOUT = 6
"""Directions of such looks; each is followed once."""
RIVAL_MM = (4.0, 24.0)
"""What is found within these of the ball may be the same ball elsewhere: two balls lie a diameter
apart."""
RIVAL_SCALE, RIVAL_ODDS = 0.1, 3.0
"""Weight of the square by which a rival lies elsewhere, and the log odds over which the likelier
place gains on the other.

Scales chosen on 730 balls in 71 stills: sample stills made dim, noisy and 720p with balls painted
in the cloth's colour, and rendered rooms of the families dim and hot. Beyond 4 sigma and 1.5 mm
lies none of them, 94.8 % lie inside their 95 % ellipse; with looks from beside alone 1 and 94.0 %.
In a room of another renderer a striped ball of the cloth's colour, taken for its white cap 13 mm
off at 9.5 stated sigmas, comes to less than 4."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """K candidates as the crop network sees them."""

    aim_mm: FloatArray
    """Where their crops were aimed, (K, 2), table frame."""
    centre_mm: FloatArray
    """(K, 2), table frame."""
    cov_mm2: FloatArray
    """What the picture leaves open, (K, 2, 2), table frame."""
    ball: FloatArray
    """Log odds that a ball lies there, (K,)."""
    names: FloatArray
    """Log probabilities of the sixteen names, (K, 16)."""
    embedding: FloatArray
    """(K, E)."""

    def taken(self, index: NDArray[np.intp] | NDArray[np.bool_] | list[int]) -> Placed:
        """The candidates of those indices."""
        which = np.asarray(index)
        which = which if which.dtype == bool else which.astype(int)
        return Placed(**{part.name: getattr(self, part.name)[which] for part in fields(self)})

    def replaced(self, index: NDArray[np.intp], by: Placed) -> Placed:
        """With those of ``by`` at the indices, as many."""
        if not len(index):
            return self
        parts = {part.name: getattr(self, part.name).copy() for part in fields(self)}
        for name, values in parts.items():
            values[index] = getattr(by, name)
        return Placed(**parts)


def place_balls(
    picture: Picture, camera: Camera, start_mm: FloatArray, networks: Networks
) -> Placed:
    """Look at every start place (K, 2) mm of a still; again where a ball lies far from it.

    A ball that is seen poorly is looked at several times, from where it was found and from round
    about. The look that makes it likeliest a ball tells its place; where others disagree its error
    is larger.
    """
    aim = np.asarray(start_mm, dtype=float).reshape(-1, 2)
    placed = _looked_at(picture, camera, aim, networks)
    far = np.hypot(*(placed.centre_mm - aim).T) > FAR_MM
    if (far & (placed.ball > 0)).any():
        placed = _looked_at(
            picture, camera, np.where(far[:, None], placed.centre_mm, aim), networks
        )
    return _doubted(placed, picture, camera, networks)


def _doubted(placed: Placed, picture: Picture, camera: Camera, networks: Networks) -> Placed:
    """The same, poorly seen balls placed by their likeliest look and with the looks' doubt."""
    unsure = np.flatnonzero((_spread_mm(placed) > UNSURE_MM) & (placed.ball > 0))
    if not len(unsure):
        return placed
    looks = [placed.taken(unsure)]
    for _ in range(FOLLOWED):
        looks.append(_followed(looks[-1], picture, camera, networks))
    odds = np.stack([look.ball for look in looks])
    likeliest = odds.argmax(axis=0)
    each = np.arange(len(unsure))
    places = np.stack([look.centre_mm for look in looks])
    here = places[likeliest, each]
    cov = np.stack([look.cov_mm2 for look in looks])[likeliest, each]
    beside = _looked_at(
        picture, camera, np.concatenate([here + np.array(step) for step in BESIDE_MM]), networks
    )
    cov = cov + FOLLOWED_SCALE * _scatter(places - here)
    cov += BESIDE_SCALE * _scatter(beside.centre_mm.reshape(len(BESIDE_MM), -1, 2) - here)
    poor = np.flatnonzero(np.sqrt(np.trace(cov, axis1=1, axis2=2)) > POOR_MM)
    if len(poor):
        cov[poor] += _elsewhere(picture, camera, networks, here[poor], odds.max(axis=0)[poor])
    centre, whole, ball = placed.centre_mm.copy(), placed.cov_mm2.copy(), placed.ball.copy()
    centre[unsure], whole[unsure], ball[unsure] = here, cov, odds.max(axis=0)
    return replace(placed, centre_mm=centre, cov_mm2=whole, ball=ball)


def _followed(look: Placed, picture: Picture, camera: Camera, networks: Networks) -> Placed:
    """A look from where the last one found each ball; the last one again where that was steady."""
    moved = np.flatnonzero(np.hypot(*(look.centre_mm - look.aim_mm).T) > STEADY_MM)
    return look.replaced(moved, _looked_at(picture, camera, look.centre_mm[moved], networks))


def _elsewhere(
    picture: Picture, camera: Camera, networks: Networks, here_mm: FloatArray, odds: FloatArray
) -> FloatArray:
    """What doubt (K, 2, 2), mm², rivals leave: places round about where the ball may be as well."""
    turn = 2 * np.pi * np.arange(ROUND_ABOUT) / ROUND_ABOUT
    steps = ROUND_ABOUT_MM * np.column_stack([np.cos(turn), np.sin(turn)])
    aim = (here_mm + steps[:, None]).reshape(-1, 2)
    for _ in range(2):
        look = _looked_at(picture, camera, aim, networks)
        aim = look.centre_mm
    apart = aim.reshape(ROUND_ABOUT, -1, 2) - here_mm
    other = look.ball.reshape(ROUND_ABOUT, -1)
    distance = np.linalg.norm(apart, axis=2)
    rival = (distance > RIVAL_MM[0]) & (distance < RIVAL_MM[1]) & (other > 0)
    share = rival * expit((other - odds) / RIVAL_ODDS)
    return np.asarray(RIVAL_SCALE * np.einsum("lk,lki,lkj->kij", share, apart, apart))


def _scatter(apart_mm: FloatArray) -> FloatArray:
    """Mean square (K, 2, 2) of vectors (L, K, 2)."""
    return np.asarray(np.einsum("lki,lkj->kij", apart_mm, apart_mm) / len(apart_mm))


def _spread_mm(placed: Placed) -> FloatArray:
    """Root of the stated variances' sum, (K,)."""
    return np.asarray(np.sqrt(np.trace(placed.cov_mm2, axis1=1, axis2=2)))


def _looked_at(picture: Picture, camera: Camera, aim_mm: FloatArray, networks: Networks) -> Placed:
    if len(aim_mm) == 0:
        none = np.zeros((0, 2))
        return Placed(
            aim_mm=none, centre_mm=none, cov_mm2=np.zeros((0, 2, 2)), ball=np.zeros(0),
            names=np.zeros((0, 16)), embedding=np.zeros((0, 1)),
        )  # fmt: skip
    frames = CropFrames.at(camera, aim_mm)
    said = networks.judge(cut_crops(picture, camera, frames))
    spread = np.linalg.inv(said.precision.astype(float))
    carried = frames.jacobian() @ spread
    cov = COV_SCALE * carried @ np.swapaxes(carried, 1, 2) + FLOOR_MM**2 * np.eye(2)
    return Placed(
        aim_mm=aim_mm, centre_mm=frames.to_table(said.offset_mm.astype(float)), cov_mm2=cov,
        ball=said.ball.astype(float), names=said.names.astype(float),
        embedding=said.embedding.astype(float),
    )  # fmt: skip


COV_SCALE = 1.12
"""Measured over stated variance on stills that were not trained on."""
FLOOR_MM = 0.05
"""Balls are built to ±0.127 mm in diameter, and lenses are known no better."""
