"""One shot judged between two stored layouts, the same way whenever it is done."""

from __future__ import annotations

from calibration.table import PointMm, Table
from service.position import Intent, Player, Verdict, score_shot
from service.practice.between.compare import compare
from vision.layout import Layout


def judged(
    before: Layout,
    after: Layout,
    intent: Intent,
    table: Table,
    *,
    player: Player | None,
    seen_from_mm: PointMm | None = None,
) -> Verdict:
    """The verdict; names in doubt before the shot are taken from after it, where they are sure.

    ``seen_from_mm``: where frames saw the cue ball turned last.

    Raises:
        RestmarkError: the layouts cannot be compared, or the intent contradicts them.
    """
    change = compare(before, after)
    # names that a person put right stand as they are
    was = change.before if change.after == after else before
    return score_shot(was, after, intent, table, player=player, seen_from_mm=seen_from_mm)
