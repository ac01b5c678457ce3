"""Figures by kind of shot as short texts, and what may be claimed of the kinds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .lengths import LEFT_RIGHT, LONG_SHORT, MILLIMETRES, Lengths
from .plain import NONE, p_words
from .summary import rate_interval

if TYPE_CHECKING:
    from service.practice.statistics.by_kind import Group, Split
    from service.practice.statistics.rates import Rate


@dataclass(frozen=True, slots=True, kw_only=True)
class FiguresRow:
    """Some attempts in short texts; lengths without their unit, which a heading has."""

    attempts: int
    zone: str
    interval: str
    long_short: str
    """Average stop against the wanted spot: ``12 long``."""
    left_right: str
    speed: str
    """Spread long or short."""
    line: str
    """Spread left or right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KindRow:
    """The attempts of one kind; a dash where too few attempts say nothing."""

    by: str
    label: str
    figures: FiguresRow


FIGURES_HEADINGS = (
    "Attempts",
    "In the zone",
    "95 % interval",
    "Average stop, long or short",
    "Average stop, left or right",
    "Spread long or short",
    "Spread left or right",
)
"""One a field of ``FiguresRow``; the last four carry a length's unit."""
LENGTHS_FROM = 3
"""The first of the headings that has a length under it."""


def headings(lengths: Lengths) -> list[str]:
    """The headings of ``FiguresRow`` with the unit of their lengths."""
    return [
        f"{heading}, {lengths.sign}" if i >= LENGTHS_FROM else heading
        for i, heading in enumerate(FIGURES_HEADINGS)
    ]


def figures_row(
    attempts: int,
    zone: Rate,
    means_mm: tuple[float | None, float | None],
    spreads_mm: tuple[float | None, float | None],
    lengths: Lengths,
) -> FiguresRow:
    """Figures of some attempts; means and spreads along the arrival line, then across it."""
    along, across = (
        NONE if mean_mm is None else lengths.sided(mean_mm, ends, bare=True)
        for mean_mm, ends in zip(means_mm, (LONG_SHORT, LEFT_RIGHT), strict=True)
    )
    speed, line = map(lengths.number_or_none, spreads_mm)
    return FiguresRow(
        attempts=attempts,
        zone=f"{zone.successes} of {zone.n}",
        interval=rate_interval(zone),
        long_short=along,
        left_right=across,
        speed=speed,
        line=line,
    )


def kind_rows(splits: Sequence[Split], lengths: Lengths = MILLIMETRES) -> list[KindRow]:
    """A row a kind, in the order of the splits, where there is more than one kind."""
    return [
        _row(split.by, group, lengths)
        for split in splits
        if len(split.groups) > 1
        for group in split.groups
    ]


def kind_lines(splits: Sequence[Split]) -> list[str]:
    """What may be claimed of the kinds, in sentences."""
    lines = []
    for split in splits:
        if split.p_adjusted is None:
            continue
        if split.differs:
            lines.append(
                f"The rate in the zone differs by {split.by} ({p_words(split.p_adjusted)}, "
                "corrected for looking at several kinds)."
            )
    tested = [split.by for split in splits if split.p_adjusted is not None and not split.differs]
    if tested:
        lines.append(f"No difference in the zone can be claimed by {', '.join(tested)}.")
    unknown = [split for split in splits if split.not_known]
    if unknown:
        counts = ", ".join(f"{split.by} of {split.not_known}" for split in unknown)
        lines.append(f"Not known or not noted: {counts}.")
    return lines


def _row(by: str, group: Group, lengths: Lengths) -> KindRow:
    means_mm = (group.long_short.mean_mm, group.left_right.mean_mm)
    spreads_mm = (group.speed.sigma_mm, group.line.sigma_mm)
    figures = figures_row(group.attempts, group.zone, means_mm, spreads_mm, lengths)
    return KindRow(by=by, label=group.label, figures=figures)
