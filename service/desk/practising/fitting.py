"""Whether an intent can be played from a layout as it lies there."""

from __future__ import annotations

from calibration.errors import RestmarkError
from calibration.table import Table
from service.position import Intent, Player, landing_zone
from service.practice.between.compare import compare
from service.practice.between.repeats import SET_UP_MM, repeat_of
from vision.layout import Layout


def named_and_fitting(
    intent: Intent, layout: Layout, table: Table, player: Player | None
) -> Intent:
    """The intent with its balls named on the layout.

    Raises:
        RestmarkError: it cannot be played from there; the text says why.
    """
    named = intent.named_on(layout)
    named.check_on(layout, table)
    landing_zone(layout, named, table, player=player)
    return named


def why_not(
    intent: Intent,
    layout: Layout,
    table: Table,
    player: Player | None,
    *,
    wanted: Layout | None = None,
) -> str | None:
    """Why the intent has to wait on this layout, as a sentence; None where it can be played.

    ``wanted`` is the layout that must lie there, where one must.
    """
    if layout.ball("cue") is None:
        return "The cue ball is not on the table."
    if wanted is not None:
        away = far_from(layout, wanted)
        if away is not None:
            return away
    try:
        named_and_fitting(intent, layout, table, player)
    except RestmarkError as refusal:
        return refusal.detail
    return None


def far_from(layout: Layout, wanted: Layout) -> str | None:
    """What keeps a layout from being the wanted one set up; None where it is."""
    if repeat_of(layout, wanted) is not None:
        return None
    change = compare(wanted, layout)
    parts = []
    for names, are in ((change.gone, "missing"), (change.come, "too many")):
        if names:
            parts.append(f"{', '.join(names)} {'is' if len(names) == 1 else 'are'} {are}")
    off = [ball for ball in change.kept if ball.off_mm > SET_UP_MM]
    parts += [f"{ball.name} lies {ball.off_mm:.0f} mm off" for ball in off]
    return f"Its layout does not lie there: {'; '.join(parts)}."
