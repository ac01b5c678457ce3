"""How far every cell of a still differs from the empty bed: in brightness, and in colour.

What changes smoothly was taken away before. Two sizes of neighbourhood are looked at: single
cells show what is small, and means over more show what noise would hide in a dim room.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.float32]
Mask = NDArray[np.bool_]
Noise = Callable[[Grey], float]
WARM, TINT = (0.57, -0.82), (0.82, 0.57)
"""Of the logarithms red − green and blue − green: the way in which one white light differs from
another (lamp, sun, sky: cameras code them about so), and across it, which no white light does."""
SIZES = ((1, 5, 1.0), (3, 9, 0.6))
"""Cells of a neighbourhood and of what is near it, and its limit's share of a single cell's."""
NOISES = 5.0
"""A difference counts from so many of the still's own noises …"""
WARMER, TINTED, EDGE = 0.1, 0.06, 0.08
"""… and from these logarithms: of colour along and across the lights', of brightness."""
WARM_PER_LIGHT, TINT_PER_LIGHT = 6.0, 4.0
"""Another light and deep shadow change colour: limits grow so per logarithm of brightness."""
CODED = 6.0
"""Levels by which coding alone moves a cell's colour: much of it where a channel is dark (cloths of
olive and brown). Of 220 clear stills 7 were refused without, 1 from 4 to 8 levels on; of 64 with
something over the bed but cues alone are read, as before."""
_LEAST_SEEN = 0.2
"""Share of a neighbourhood that must be compared."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Differences:
    """One still against the empty bed, cell by cell, (rows, columns) each."""

    away: Grey = field(repr=False)
    """Logarithm by which the cell itself differs, colour and brightness together."""
    colour: Grey = field(repr=False)
    """How many times its limit colour differs; 0 where nothing is compared."""
    excess: Grey = field(repr=False)
    """How many times its limit it differs in colour, or in brightness from what is near."""
    tint: Grey = field(repr=False)
    """Logarithm by which the cell's colour differs across the colours of lights."""
    tint_noise: float
    """Of ``tint``, where nothing lies."""
    warm: Grey = field(repr=False)
    """Logarithm by which it differs along them."""
    brightest: Grey = field(repr=False)
    """Logarithm of blue, green or red, whichever is brighter than the others were."""
    mean_light: Grey = field(repr=False)
    """``light`` averaged over the larger neighbourhood."""
    noise: float
    """Of ``mean_light``, where nothing lies."""


def differences(
    rest: Grey, free: Grey, noise: Noise, *, logs: Grey, trust: Grey, sided: Grey, shaded: Mask,
    by_a_ball: float,
) -> Differences:  # fmt: skip
    """From what is left of blue, green and red (3, rows, columns) at ``free`` cells.

    ``logs`` are those of the empty bed.

    Cells that are ``shaded`` by a ball may be darker, and take a little of its colour: that counts
    ``by_a_ball`` times.
    """
    share = np.array([1.0 / (noise(plane) ** 2 + 1e-4) for plane in rest], np.float32)
    share /= share.sum()
    light = share[0] * rest[0] + share[1] * rest[1] + share[2] * rest[2]
    red, blue = rest[2] - rest[1], rest[0] - rest[1]
    warm, tint = (np.float32(way[0]) * red + np.float32(way[1]) * blue for way in (WARM, TINT))
    light, warm, tint = light * free, warm * free, tint * free
    coded = _coded(logs)
    colour, edges = np.zeros_like(light), np.zeros_like(light)
    mean_light, level = light, 0.0
    for cells, near, part in SIZES:
        seen = _mean(free, cells)
        ok = free * (seen > _LEAST_SEEN)
        mean_light = _part(light, seen, ok, cells)
        level = noise(mean_light)
        off = np.abs(mean_light)
        for plane, least, per_light, by_code in (
            (warm, WARMER, WARM_PER_LIGHT, coded[0]), (tint, TINTED, TINT_PER_LIGHT, coded[1]),
        ):  # fmt: skip
            away = np.abs(_part(plane, seen, ok, cells))
            limit = np.maximum(max(NOISES * noise(away), least * part), by_code * part)
            np.maximum(colour, away / (limit * (1 + per_light * off)), out=colour)
        around = _mean(mean_light * free, near) / np.maximum(_mean(free, near), 1e-3)
        step = np.abs(mean_light - around) * free
        np.maximum(edges, step * sided / max(NOISES * noise(step), EDGE * part), out=edges)
    edges[shaded & (light < 0)] = 0.0
    colour[shaded] *= by_a_ball
    colour *= trust * free
    excess = np.maximum(colour, edges * trust * free)
    away = np.sqrt(light * light + warm * warm + tint * tint)
    return Differences(
        away=away, colour=colour, excess=excess, tint=tint, tint_noise=noise(tint), warm=warm,
        brightest=np.asarray(rest.max(axis=0)),
        mean_light=mean_light, noise=level,
    )  # fmt: skip


def _coded(logs: Grey) -> tuple[Grey, Grey]:
    """Logarithms of colour, along and across the lights', that coding moves at those levels."""
    blue, green, red = CODED * np.exp(-logs)
    along, across = (
        np.sqrt((way[0] * red) ** 2 + (way[1] * blue) ** 2 + (sum(way) * green) ** 2)
        for way in (WARM, TINT)
    )
    return along, across


def _mean(plane: Grey, cells: int) -> Grey:
    if cells == 1:
        return plane
    return np.asarray(cv2.blur(plane, (cells, cells), borderType=cv2.BORDER_CONSTANT), np.float32)


def _part(plane: Grey, seen: Grey, ok: Grey, cells: int) -> Grey:
    """Mean of what is seen of a neighbourhood."""
    if cells == 1:
        return plane
    return np.asarray(_mean(plane, cells) / np.maximum(seen, _LEAST_SEEN) * ok, np.float32)
