"""Is a layout an earlier one set up again? By hand it never lies exactly as it lay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vision.layout import Layout

from .compare import Change, compare, off_mm
from .outcome import Repeat

SET_UP_MM = 60.0
"""A ball put back by hand lies at most about a ball's width from where it lay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """A layout of the sequence that may be set up again."""

    layout: Layout
    laid: bool = False
    """It was laid by hand, or began the sequence, and was not left by a shot."""


def repeat_of(layout: Layout, earlier: Layout, *, within_mm: float = SET_UP_MM) -> Repeat | None:
    """How ``layout`` repeats ``earlier``: the same balls, each within the tolerance; else None."""
    if len(layout.balls) != len(earlier.balls) or not _cue_fits(layout, earlier, within_mm):
        return None
    change = compare(earlier, layout)
    return repeated(change, earlier, within_mm=within_mm)


def repeated(change: Change, earlier: Layout, *, within_mm: float = SET_UP_MM) -> Repeat | None:
    """The same for the change from the earlier layout, where it is known already."""
    if change.gone or change.come or any(ball.off_mm > within_mm for ball in change.kept):
        return None
    return Repeat(layout=earlier, off_mm={ball.name: ball.off_mm for ball in change.kept})


def nearest_repeat(
    layout: Layout, earlier: Sequence[Layout], *, within_mm: float = SET_UP_MM
) -> Repeat | None:
    """The earlier layout that this one repeats best."""
    return next(iter(repeats_among(layout, earlier, within_mm=within_mm)), None)


def repeats_among(
    layout: Layout, earlier: Sequence[Layout], *, within_mm: float = SET_UP_MM
) -> list[Repeat]:
    """How it repeats each of the earlier layouts that it may repeat, the nearest first."""
    found = [r for e in earlier if (r := repeat_of(layout, e, within_mm=within_mm)) is not None]
    return sorted(found, key=lambda repeat: repeat.rms_mm)


def _cue_fits(layout: Layout, earlier: Layout, within_mm: float) -> bool:
    """A quick look before all balls are compared; a cue ball in doubt does not decide."""
    now, was = layout.ball("cue"), earlier.ball("cue")
    if now is None or was is None or now.doubtful or was.doubtful:
        return True
    return off_mm(was, now) <= within_mm
