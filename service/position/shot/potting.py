"""The chance of one pot: how far each error turns the object ball, against its pocket's window.

Three errors, each normal, each a setting of ``Player``:

- aim (degrees): the cue ball's direction. At the ghost ball it is s·tan of it aside, s the way.
- contact (mm): the same at any way. Both turn the object ball by dφ = e/(D·cos θ), more exactly
  from asin((b ± e)/D), b = D·sin θ: thin cuts get hard, and nothing is thinner than a touch.
- throw (degrees): it turns the object ball whatever the way; in proportion to sin θ up to half
  a ball (30°), full from there on.

The player aims at the middle of the touches that send the ball in. Where that is thinner than
``THIN_CUT_DEG`` the object ball's speed is part of it: it gets cos θ of the cue ball's and then
rolls out, so that the way to the pocket may be longer than the firmest stroke sends it.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import erf, ndtr

from calibration.arrays import BoolArray, FloatArray
from calibration.table import BALL_DIAMETER_MM
from service.position.meant.player import Player

THIN_CUT_DEG = 70.0
"""From here on the object ball's speed counts; below, it gets a third of the cue ball's or more."""
FULL_THROW_SINE = 0.5
"""Throw is largest near half a ball, where sin θ is ½, and about as large for thinner cuts."""
ROLLS_MM_S2 = 100.0
"""How a rolling ball slows on cloth, about 0.1 m/s² (unverified in the trade facts)."""
ROLLING_SHARE = 5.0 / 7.0
"""What a ball that starts sliding keeps of its speed until it rolls."""
_MOST_TURN_RAD = math.radians(89.0)


def touches_mm(
    sine: FloatArray, cosine: FloatArray, turns: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """The touches that send the ball in: half their width and their middle, each (N,) mm.

    Across the cue ball's way, the middle from the object ball's centre, + to its right.
    ``sine`` and ``cosine`` of the signed cut: positive where the ball is to go left of the cue
    ball's way. ``turns``: rightmost and leftmost turn off that line on which it goes in (rad).

    A ball sent at angle φ is touched D·sin φ aside, so the window is half of D·(sin(θ + left) −
    sin(θ + right)); touches end where the ball is just grazed. Where the pocket's middle lies to
    the thin side of its aim point a little cut would be worth more than none: there the straight
    shot's window counts, so that no cut is ever worth more than a smaller one on its side.
    """
    right, left = max(turns[0], -_MOST_TURN_RAD), min(turns[1], _MOST_TURN_RAD)
    sent_left = sine * math.cos(left) + cosine * math.sin(left)
    sent_right = sine * math.cos(right) + cosine * math.sin(right)
    grazes_left = cosine * math.cos(left) - sine * math.sin(left) < 0
    grazes_right = cosine * math.cos(right) - sine * math.sin(right) < 0
    sent_left[grazes_left] = 1.0
    sent_right[grazes_right] = -1.0
    straight = math.sin(left) - math.sin(right)
    window = np.minimum(sent_left - sent_right, straight) * (BALL_DIAMETER_MM / 2)
    return window, (sent_left + sent_right) * (BALL_DIAMETER_MM / 2)


def throw_rad(sine: FloatArray, throw_spread_deg: float) -> FloatArray:
    """Spread of the object ball's direction by throw at cuts with this sine, (N,) rad."""
    share = np.minimum(np.abs(sine) * (1.0 / FULL_THROW_SINE), 1.0)
    return np.asarray(math.radians(throw_spread_deg) * share)


def pot_share(
    window_mm: FloatArray,
    way_mm: FloatArray,
    throw: FloatArray,
    *,
    half_turn_rad: float,
    aim_rad: FloatArray | float,
    contact_mm: float,
) -> FloatArray:
    """Chance (N,) that aim, contact and throw leave the ball within its window.

    ``half_turn_rad``: half the angle of the object ball's ways into the pocket, to which the
    throw is held as aim and contact are held to ``window_mm``.
    """  # fmt: skip
    aside = aim_rad * way_mm
    thrown = throw * window_mm * (1.0 / half_turn_rad)
    return np.asarray(
        erf(window_mm / np.sqrt(2.0 * (aside * aside + contact_mm * contact_mm + thrown * thrown)))
    )


def travel_share(cosine: FloatArray, pot_mm: float, player: Player) -> FloatArray:
    """Chance (N,) that the firmest stroke sends the ball ``pot_mm`` far.

    It gets cos θ of the cue ball's speed, 5/7 of that is left when it rolls, and rolls v²/2a; the
    way scatters as the player's speed does.
    """
    rolling = ROLLING_SHARE * player.firm_speed_mm_s * cosine
    way = np.maximum(rolling * rolling / (2 * ROLLS_MM_S2), 1e-9)
    return np.asarray(ndtr((1.0 - pot_mm / way) / player.speed_spread))


def chance_of(
    cue_mm: FloatArray,
    ghost_mm: FloatArray,
    line: FloatArray,
    turns: tuple[float, float],
    pot_mm: float,
    player: Player,
    by_hand: BoolArray,
) -> FloatArray:
    """Chances from places (N, 2) whose way to the ghost ball is free and whose cut is below 90°.

    ``line``: unit vector of the object ball's way, ``turns`` about it as in ``touches_mm``;
    ``by_hand`` (N,): where no mechanical bridge is needed.
    """  # fmt: skip
    x, y = ghost_mm[0] - cue_mm[:, 0], ghost_mm[1] - cue_mm[:, 1]
    way = np.sqrt(x * x + y * y)
    per = 1.0 / np.maximum(way, 1e-9)
    cosine = (x * line[0] + y * line[1]) * per
    sine = (x * line[1] - y * line[0]) * per
    aim = math.radians(player.aim_spread_deg)
    window, middle = touches_mm(sine, cosine, turns)
    chance = pot_share(
        window,
        way,
        throw_rad(sine, player.throw_spread_deg),
        half_turn_rad=(turns[1] - turns[0]) / 2,
        aim_rad=np.where(by_hand, aim, aim * player.bridge_spread_factor),
        contact_mm=player.contact_error_mm,
    )
    least = BALL_DIAMETER_MM * math.sin(math.radians(THIN_CUT_DEG))
    thin = np.flatnonzero(np.abs(middle) > least)
    if thin.size:
        aimed = np.sqrt(np.maximum(1.0 - (middle[thin] / BALL_DIAMETER_MM) ** 2, 0.0))
        chance[thin] *= travel_share(aimed, pot_mm, player)
    return chance
