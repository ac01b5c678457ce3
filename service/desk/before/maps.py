"""Maps of the bed before a shot: pot chance, reach, and what hides the ball."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from calibration.table import POCKET_NAMES
from service.desk.stored import calibration_behind, player_now
from service.position.plan.chance_map import ChanceMap, chance_map
from service.position.plan.where_map import WhereMap, hooked_map, reach_map
from service.store import Reader, ReadingRecord
from vision.layout import Layout

from .preview import layout_before


def chances_of(
    reader: Reader,
    ball: str,
    *,
    pocket: str | None = None,
    without: str | None = None,
    reading_id: int | None = None,
    table_id: int,
    step_mm: float,
) -> tuple[ReadingRecord, ChanceMap]:
    """Pot chances of ``ball`` from everywhere, into one pocket or the best of all.

    ``without`` is a ball that will be gone by then, as the one that is to be potted first.
    """
    before = layout_before(reader, reading_id, table_id)
    pockets: Sequence[str] = POCKET_NAMES if pocket is None else (pocket,)
    made = chance_map(
        _left(before.layout, without),
        ball,
        calibration_behind(reader, before).table,
        pockets=pockets,
        player=player_now(reader, before.still.table_id),
        step_mm=step_mm,
    )
    return before, made


def reach_of(
    reader: Reader,
    ball: str,
    pocket: str,
    *,
    reading_id: int | None = None,
    table_id: int,
    step_mm: float,
) -> tuple[ReadingRecord, WhereMap]:
    """From where the player reaches a shot of ``ball`` into ``pocket``."""
    before = layout_before(reader, reading_id, table_id)
    table = calibration_behind(reader, before).table
    player = player_now(reader, before.still.table_id)
    return before, reach_map(before.layout, ball, pocket, table, player=player, step_mm=step_mm)


def hooks_of(
    reader: Reader,
    ball: str,
    *,
    without: str | None = None,
    reading_id: int | None = None,
    table_id: int,
    step_mm: float,
) -> tuple[ReadingRecord, WhereMap]:
    """From where ``ball`` is hidden; ``without`` as in ``chances_of``."""
    before = layout_before(reader, reading_id, table_id)
    table = calibration_behind(reader, before).table
    return before, hooked_map(_left(before.layout, without), ball, table, step_mm=step_mm)


def _left(layout: Layout, gone: str | None) -> Layout:
    kept = tuple(ball for ball in layout.balls if ball.id != gone)
    return replace(layout, balls=kept)
