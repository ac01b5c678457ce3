"""Where balls could be, and what lies over the bed: the finder's answers to one top view.

``Finder`` is the seam where another detector can stand in; ``detect_ultralytics`` holds one that
runs on a graphics card.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, FROZEN_INSET_MM, Table
from vision.networks import Networks

from .finder_view import FinderView

LEAST_SCORE = 0.06
"""Candidates are judged again one by one, so even weak ones are looked at."""
MOST_CANDIDATES = 32
APART = 0.55
"""Candidates nearer than this, in diameters, are one; balls cannot be."""
MOST_THINGS = 8
LEAST_THING_SCORE = 0.02
"""Less sure ones are told too: what the empty table shows there decides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Candidates of one still."""

    centre_mm: FloatArray
    """Places where balls could be, best first, (K, 2), table frame."""
    score: FloatArray
    """(K,), 0 … 1."""
    things: tuple[Thing, ...]
    """What seems to lie over the bed and is no ball, surest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """Something over the bed, as the finder frames it."""

    score: float
    low_mm: tuple[float, float]
    high_mm: tuple[float, float]


class Finder(Protocol):
    """Finds candidates in the finder's top view."""

    def boxes(self, view: NDArray[np.uint8]) -> NDArray[np.float32]:
        """View (448, 832, 3) BGR → x, y, width, height in px, scores of ball and thing, (N, 6)."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkFinder:
    """The shipped network."""

    networks: Networks

    def boxes(self, view: NDArray[np.uint8]) -> NDArray[np.float32]:
        """Raw boxes of the network."""
        return self.networks.find(view)


def candidates(boxes: NDArray[np.float32], view: FinderView, table: Table) -> Found:
    """Raw boxes (N, 6) → candidates where balls can rest, one a place, and things."""
    likely = boxes[boxes[:, 4] > LEAST_SCORE].astype(float)
    likely = likely[np.argsort(-likely[:, 4], kind="stable")]
    places = view.to_table(likely[:, :2] - 0.5)
    good = can_rest(table, places)
    places, scores = places[good], likely[good, 4]
    kept = one_a_place(places, APART * BALL_DIAMETER_MM)[:MOST_CANDIDATES]
    return Found(centre_mm=places[kept], score=scores[kept], things=_things(boxes, view))


def one_a_place(places_mm: FloatArray, apart_mm: float) -> list[int]:
    """Indices of places (N, 2), best first, that keep clear of all better ones."""
    x, y = np.asarray(places_mm, dtype=float).reshape(-1, 2).T
    crowded = (x[:, None] - x) ** 2 + (y[:, None] - y) ** 2 < apart_mm**2
    kept: list[int] = []
    taken = np.zeros(len(x), dtype=bool)
    for k in range(len(x)):
        if not taken[k]:
            kept.append(k)
            taken |= crowded[k]
    return kept


def _things(boxes: NDArray[np.float32], view: FinderView) -> tuple[Thing, ...]:
    """Surest first; a box whose middle lies in a surer one is the same thing."""
    likely = boxes[boxes[:, 5] > LEAST_THING_SCORE].astype(float)
    out: list[Thing] = []
    for x, y, wide, high, _, score in likely[np.argsort(-likely[:, 5], kind="stable")]:
        corners = [(x, y), (x - wide / 2, y - high / 2), (x + wide / 2, y + high / 2)]
        at, low, last = view.to_table(corners).tolist()
        if len(out) < MOST_THINGS and not any(_holds(thing, at) for thing in out):
            out.append(
                Thing(score=float(score), low_mm=(low[0], low[1]), high_mm=(last[0], last[1]))
            )
    return tuple(out)


def _holds(thing: Thing, place_mm: list[float]) -> bool:
    return all(
        low <= at <= high
        for low, at, high in zip(thing.low_mm, place_mm, thing.high_mm, strict=True)
    )


def can_rest(table: Table, centres_mm: FloatArray, *, slack_mm: float = 9.0) -> NDArray[np.bool_]:
    """Whether resting balls' centres can be at (N, 2) mm: on the bed, or on a pocket's shelf."""
    length, width = table.surface_mm
    inset = FROZEN_INSET_MM - slack_mm
    x, y = centres_mm[:, 0], centres_mm[:, 1]
    out = (x > inset) & (x < length - inset) & (y > inset) & (y < width - inset)
    for pocket in table.pockets:
        away = centres_mm - np.array(pocket.aim_mm)
        inward = np.array(pocket.inward)
        depth = away @ inward
        across = np.abs(away @ np.array([-inward[1], inward[0]]))
        near = across < pocket.mouth_mm / 2 - BALL_RADIUS_MM + 2 * slack_mm
        out |= near & (depth > -3 * BALL_DIAMETER_MM) & (depth < pocket.shelf_mm + slack_mm)
    return np.asarray(out, dtype=bool)
