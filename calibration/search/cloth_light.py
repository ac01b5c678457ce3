"""How unlike the cloth every place of the picture is, whatever light falls on it.

One colour does where the light is even. Under a lamp close by, beside a window or between strips of
coloured light the cloth's colour drifts over the bed: there it is a smooth surface over the
picture, grown outward from the middle through what hangs together with it.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray

ImageArray = NDArray[np.uint8]
_CHROMA_SPREAD, _LIGHT_SPREAD = 7.0, 28.0
"""CIE L*a*b* spread within one cloth: lamps and wear change lightness far more than colour."""
_SMOOTH_PX = 1.0
_TINT = 20.0
"""Of a colour's log-ratio, that it weighs like chroma: a half as much again is 8 of it."""
_DARK = 0.004
"""Linear light (0 … 1) added, below which noise and glare rule the ratios."""
_GROWN = ((1, 1.0), (1, 1.0), (2, 1.0), (2, 0.9), (3, 0.8), (3, 0.8), (3, 0.8))
"""Degree of the surface and the distance within which a place joins it, step by step."""
_EVERY = 4
"""The surface is fitted to every so manieth pixel each way: it has ten terms at most."""


def distances(small_bgr: ImageArray) -> Iterator[FloatArray]:
    """(h, w) each: distance of every pixel from the cloth, in its usual spread, likeliest first.

    By one colour, by a surface of light, then by one of the colour's ratios alone.
    ``small_bgr`` is (h, w, 3), the cloth in its middle.
    """
    smooth = cv2.GaussianBlur(small_bgr, (0, 0), _SMOOTH_PX)
    lab = cv2.cvtColor(smooth.astype(np.float32) / 255.0, cv2.COLOR_BGR2LAB).astype(float)
    start = _middle(lab.shape[:2])
    one = _distance(lab, np.median(lab[start], axis=0))
    yield one
    yield _distance(lab, _surface(lab, start))
    tint = _tint(small_bgr)
    yield _distance(tint, _surface(tint, start))


def _tint(small_bgr: ImageArray) -> FloatArray:
    """(h, w, 3) like Lab, but with the colour's ratios, which a shadow keeps, for its chroma."""
    linear = (small_bgr.astype(np.float32) / 255.0) ** 2.2
    blue, green, red = cv2.split(cv2.GaussianBlur(linear, (0, 0), 1.5 * _SMOOTH_PX) + _DARK)
    return np.stack(
        [
            25 * np.log(blue + green + red),
            _TINT * np.log(red / green),
            _TINT * np.log(blue / green),
        ],
        axis=-1,
    ).astype(float)


def _middle(shape: tuple[int, ...]) -> NDArray[np.bool_]:
    height, width = shape
    rows, columns = np.mgrid[0:height, 0:width]
    ellipse = ((columns / width - 0.5) / 0.22) ** 2 + ((rows / height - 0.5) / 0.18) ** 2
    return np.asarray(ellipse < 1)


def _distance(lab: FloatArray, cloth: FloatArray) -> FloatArray:
    off = lab - cloth
    chroma = np.hypot(off[..., 1], off[..., 2]) / _CHROMA_SPREAD
    return np.asarray(np.hypot(chroma, off[..., 0] / _LIGHT_SPREAD))


def _surface(lab: FloatArray, start: NDArray[np.bool_]) -> FloatArray:
    """(h, w, 3): the cloth's colour as a smooth surface, grown from ``start``."""
    own = start
    cloth = np.broadcast_to(np.median(lab[own], axis=0), lab.shape)
    for degree, within in _GROWN:
        cloth = _fitted(lab, own, degree)
        own = _hanging_together(_distance(lab, cloth) < within, start)
        if np.count_nonzero(own) < 0.5 * np.count_nonzero(start):
            break
    return np.asarray(cloth)


def _fitted(lab: FloatArray, own: NDArray[np.bool_], degree: int) -> FloatArray:
    """Least-squares polynomial of the colours at ``own``, over the whole picture."""
    height, width = own.shape
    v, u = np.mgrid[0:height, 0:width]
    u, v = 2 * u / width - 1, 2 * v / height - 1
    terms = np.stack(
        [u**i * v**j for i in range(degree + 1) for j in range(degree + 1 - i)], axis=-1
    )
    picked = np.zeros_like(own)
    picked[::_EVERY, ::_EVERY] = own[::_EVERY, ::_EVERY]
    weights, *_ = np.linalg.lstsq(terms[picked], lab[picked], rcond=None)
    return np.asarray(terms @ weights)


def _hanging_together(near: NDArray[np.bool_], start: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The part of ``near`` that most of ``start`` lies in."""
    _, labels = cv2.connectedComponents(near.astype(np.uint8), connectivity=4)
    counts = np.bincount(labels[start], minlength=2)
    counts[0] = 0
    return np.asarray(labels == int(np.argmax(counts))) & near
