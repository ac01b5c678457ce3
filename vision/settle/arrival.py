"""How the cue ball came to where it stopped: its track, and the direction of its last stretch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from calibration.table import PointMm

PLACE_SIGMA_MM = 1.0
"""Of a followed place, against its neighbours on the way."""
STRAIGHT_MM = 2.5
"""A place farther off the line of those after it belongs to another stretch."""
LONGEST_MM = 500.0
"""More of the way says no more of how it arrived: cloth and levels bend it."""
LEAST_MM = 20.0
"""A shorter stretch has no direction worth telling."""
MOST_SIGMA_DEG = 10.0
AT_REST_MM = 1.5
"""Places so near the stop are the stop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Places of the cue ball's centre while it moved, in order of time, the stop last."""

    places_mm: tuple[PointMm, ...]
    times_s: tuple[float, ...]
    """On the source's clock."""
    sigma_mm: float = PLACE_SIGMA_MM
    """Of one place, each way."""
    from_start: bool = False
    """Whether it goes back to where the ball lay before."""

    @property
    def length_mm(self) -> float:
        """Sum of the ways between places."""
        steps = np.diff(np.array(self.places_mm).reshape(-1, 2), axis=0)
        return float(np.hypot(*steps.T).sum())

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "places_mm": [list(place) for place in self.places_mm],
            "times_s": list(self.times_s),
            "sigma_mm": self.sigma_mm,
            "from_start": self.from_start,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """The last straight stretch of the cue ball's way."""

    came_from_mm: PointMm
    """Where that stretch begins: where it was last turned, or first seen."""
    stop_mm: PointMm
    heading_deg: float
    """Direction of travel, counter-clockwise from the x axis, −180 … 180."""
    sigma_deg: float
    turned: bool
    """Whether the cue ball was seen to come another way before: off a ball or a cushion."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "came_from_mm": list(self.came_from_mm),
            "stop_mm": list(self.stop_mm),
            "heading_deg": self.heading_deg,
            "sigma_deg": self.sigma_deg,
            "turned": self.turned,
        }


def moving_part(
    places_mm: FloatArray, times_s: FloatArray, stop_mm: PointMm
) -> tuple[FloatArray, FloatArray]:
    """Followed places (N, 2) and times without those at rest, then the stop as it was read.

    What following puts off alike everywhere, by a gleam on one side, is taken out.
    """
    stop = np.asarray(stop_mm, dtype=float)
    if len(places_mm) == 0:
        return np.array([stop]), np.zeros(1)
    ends = places_mm[np.hypot(*(places_mm - places_mm[-1]).T) < AT_REST_MM]
    places = places_mm + (stop - np.median(ends, axis=0))
    away = np.hypot(*(places - stop).T) > AT_REST_MM
    last = int(np.flatnonzero(away)[-1]) + 1 if away.any() else 0
    first = 0
    while first + 1 < last and np.hypot(*(places[first + 1] - places[0])) < AT_REST_MM:
        first += 1
    rest_s = times_s[min(last, len(times_s) - 1)]
    return np.vstack([places[first:last], stop]), np.append(times_s[first:last], rest_s)


def arrival_of(places_mm: FloatArray) -> Arrival | None:
    """The arrival by places (N, 2) mm in order of time, the stop last; None where it is vague."""
    last = len(places_mm) - 1
    first = last
    while first > 0 and _straight(places_mm[first - 1 :]):
        first -= 1
        if np.hypot(*(places_mm[first] - places_mm[last])) > LONGEST_MM:
            break
    turned = first > 0 and not _straight(places_mm[first - 1 :])
    # the first place after a turn may be the last before it
    stretch = places_mm[first + 1 if turned and last - first > 3 else first :]
    if len(stretch) < 3 or np.hypot(*(stretch[-1] - stretch[0])) < LEAST_MM:
        return None
    middle, along, off = _line(stretch)
    spread = float((((stretch - middle) @ along) ** 2).sum())
    sigma = max(PLACE_SIGMA_MM, float(np.sqrt((off**2).sum() / max(len(stretch) - 2, 1))))
    sigma_deg = float(np.degrees(sigma / np.sqrt(spread)))
    if sigma_deg > MOST_SIGMA_DEG:
        return None
    start = middle + ((stretch[0] - middle) @ along) * along
    return Arrival(
        came_from_mm=(float(start[0]), float(start[1])),
        stop_mm=(float(stretch[-1, 0]), float(stretch[-1, 1])),
        heading_deg=float(np.degrees(np.arctan2(along[1], along[0]))),
        sigma_deg=sigma_deg,
        turned=turned,
    )


def _straight(places: FloatArray) -> bool:
    """Whether places in order lie on a line and go one way along it."""
    if len(places) < 3:
        return True
    _, along, off = _line(places)
    steps = np.diff(places @ along)
    return bool(np.abs(off).max() < STRAIGHT_MM and steps.min() > -STRAIGHT_MM)


def _line(places: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle, direction of travel and distances from the line of total least squares."""
    middle = places.mean(axis=0)
    along = np.linalg.svd(places - middle)[2][0]
    if along @ (places[-1] - places[0]) < 0:
        along = -along
    off = (places - middle) @ np.array([-along[1], along[0]])
    return middle, along, off
