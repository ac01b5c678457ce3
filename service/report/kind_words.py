"""Figures by kind of shot as short texts, for terminal and page alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .summary_words import p_words, rate_interval
from .words import signed

if TYPE_CHECKING:
    from service.practice.statistics.by_kind import Group, Split


@dataclass(frozen=True, slots=True, kw_only=True)
class KindRow:
    """The attempts of one kind; a dash where too few attempts say nothing."""

    by: str
    label: str
    attempts: int
    zone: str
    interval: str
    long_short: str
    left_right: str
    speed: str
    line: str


def kind_rows(splits: Sequence[Split]) -> list[KindRow]:
    """A row a kind, in the order of the splits, where there is more than one kind."""
    return [
        _row(split.by, group) for split in splits if len(split.groups) > 1 for group in split.groups
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


def _row(by: str, group: Group) -> KindRow:
    means = [group.long_short.mean_mm, group.left_right.mean_mm]
    spreads = [group.speed.sigma_mm, group.line.sigma_mm]
    along, across = ("–" if value is None else signed(value) for value in means)
    speed, line = ("–" if value is None else f"{value:.0f}" for value in spreads)
    return KindRow(
        by=by,
        label=group.label,
        attempts=group.attempts,
        zone=f"{group.zone.successes} of {group.zone.n}",
        interval=rate_interval(group.zone).removeprefix("95 % interval "),
        long_short=along,
        left_right=across,
        speed=speed,
        line=line,
    )
