"""Figures by kind of shot, and whether the kinds differ or that may be luck."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy import stats

from service.practice import kinds as k
from service.practice.columns import UNKNOWN, Codes, Columns, Marks, Reals
from service.practice.notes import SPINS

from .means import Mean, Spread, mean, mean_distance, spread
from .outcomes import misses_mm, offsets_mm, zone_rate
from .rates import LEVEL, Rate

_TABLES = 9999
_SEED = 22


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The attempts of one kind."""

    label: str
    attempts: int
    zone: Rate
    average_miss: Mean
    long_short: Mean
    left_right: Mean
    speed: Spread
    line: Spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """Attempts told apart by one thing, and whether the rates in the zone differ by it."""

    by: str
    groups: tuple[Group, ...]
    not_known: int
    """Attempts of which it is not known or was not noted."""
    p_value: float | None
    """Chance of rates at least this different if the kind did not matter (exact or by 9,999
    random tables with the same sums); None with fewer than two kinds."""
    p_adjusted: float | None
    """The same after Holm's correction for looking at several splits at once."""
    differs: bool
    """Whether a difference can be claimed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Split:
    by: str
    labels: tuple[str, ...]
    band: Callable[[Columns], Codes]
    """For each attempt the place of its label, −1 where it is not known."""


def _labels(ends: Sequence[float], unit: str) -> tuple[str, ...]:
    middles = [f"{low:g} to {high:g}{unit}" for low, high in pairwise(ends)]
    return (f"up to {ends[0]:g}{unit}", *middles, f"over {ends[-1]:g}{unit}")


def _bands(values: Reals, ends: Sequence[float]) -> Codes:
    """An upper end belongs to the band below it."""
    return np.where(np.isnan(values), UNKNOWN, np.searchsorted(ends, values))


_SPLITS = (
    _Split(
        by="cue-ball travel",
        labels=_labels(k.TRAVEL_BANDS_MM, " mm"),
        band=lambda shots: _bands(shots.travel_mm, k.TRAVEL_BANDS_MM),
    ),
    _Split(
        by="cut played",
        labels=_labels(k.CUT_BANDS_DEG, "°"),
        band=lambda shots: _bands(shots.cut_deg, k.CUT_BANDS_DEG),
    ),
    _Split(
        by="rails",
        labels=("no rail", "1 rail", "2 rails", "3 rails or more"),
        band=lambda shots: np.minimum(shots.rails, 3),
    ),
    _Split(by="spin", labels=SPINS, band=lambda shots: shots.spin),
    _Split(by="side spin", labels=("no side", "left", "right"), band=lambda shots: shots.side_spin),
)


def by_kind(shots: Columns) -> tuple[Split, ...]:
    """Splits of attempts by what is known of their kind; kinds of nothing are left out."""
    found = [_split(rule, shots) for rule in _SPLITS]
    splits = [split for split in found if split.groups]
    tested = [(i, s.p_value) for i, s in enumerate(splits) if s.p_value is not None]
    for (i, _), adjusted in zip(tested, holm([p for _, p in tested]), strict=True):
        splits[i] = replace(splits[i], p_adjusted=adjusted, differs=adjusted < 1 - LEVEL)
    return tuple(splits)


def holm(p_values: Sequence[float]) -> list[float]:
    """p-values after Holm's correction for asking all of them at once, in the order given."""
    order = np.argsort(p_values)
    out, worst = [0.0] * len(p_values), 0.0
    for rank, place in enumerate(order):
        worst = max(worst, min(1.0, (len(p_values) - rank) * p_values[place]))
        out[place] = worst
    return out


def _split(rule: _Split, shots: Columns) -> Split:
    own = rule.band(shots)
    counts = np.bincount(own + 1, minlength=len(rule.labels) + 1)
    groups = tuple(
        _group(label, shots, own == place)
        for place, label in enumerate(rule.labels)
        if counts[place + 1]
    )
    return Split(
        by=rule.by,
        groups=groups,
        not_known=int(counts[0]),
        p_value=_difference_p([group.zone for group in groups]),
        p_adjusted=None,
        differs=False,
    )


def _group(label: str, shots: Columns, mine: Marks) -> Group:
    along, across = np.ascontiguousarray(offsets_mm(shots, mine).T)
    return Group(
        label=label,
        attempts=int(np.count_nonzero(mine)),
        zone=zone_rate(shots, mine),
        average_miss=mean_distance(misses_mm(shots, mine)),
        long_short=mean(along),
        left_right=mean(across),
        speed=spread(along),
        line=spread(across),
    )


def _difference_p(rates: Sequence[Rate]) -> float | None:
    """p-value of equal rates, given all sums of the table of hits and misses."""
    counted = [r for r in rates if r.n]
    cells = np.array([[r.successes, r.n - r.successes] for r in counted])
    if len(counted) < 2 or (cells.sum(axis=0) == 0).any():
        return None
    if len(counted) == 2:
        return float(stats.fisher_exact(cells).pvalue)
    drawn = stats.random_table(cells.sum(axis=1), cells.sum(axis=0), seed=_SEED).rvs(_TABLES)
    expected = np.outer(cells.sum(axis=1), cells.sum(axis=0)) / cells.sum()
    far = ((drawn - expected) ** 2 / expected).sum(axis=(1, 2))
    seen = ((cells - expected) ** 2 / expected).sum()
    return float((np.count_nonzero(far >= seen * (1 - 1e-12)) + 1) / (_TABLES + 1))
