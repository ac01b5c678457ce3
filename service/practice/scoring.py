"""One shot scored: its verdict and kind, or the reason for none."""

from __future__ import annotations

from dataclasses import replace

from calibration.errors import RestmarkError
from calibration.table import PointMm, Table
from service.position import Intent, score_shot
from service.position.meant.player import Player
from vision.layout import Layout

from .attempt import Attempt
from .between.outcome import Outcome
from .kinds import shot_kind
from .notes import Note
from .pairing import Reading


def score_attempt(
    number: int,
    stills: tuple[str, str],
    readings: tuple[Reading, Reading],
    intent: Intent | None,
    table: Table,
    *,
    player: Player | None = None,
    note: Note | None = None,
    outcome: Outcome | None = None,
    seen_from_mm: PointMm | None = None,
) -> Attempt:
    """The attempt between two readings; one that cannot be scored keeps the reason."""
    before, after = readings
    head = Attempt(
        attempt=number,
        before=stills[0],
        after=stills[1],
        before_layout=before if isinstance(before, Layout) else None,
        after_layout=after if isinstance(after, Layout) else None,
        outcome=outcome,
    )
    try:
        for reading in readings:
            if isinstance(reading, RestmarkError):
                raise reading
        assert isinstance(before, Layout)
        assert isinstance(after, Layout)
        verdict = score_shot(before, after, intent, table, player=player, seen_from_mm=seen_from_mm)
    except RestmarkError as wrong:
        return replace(head, refused_code=wrong.code, refused_why=wrong.detail)
    kind = shot_kind(before, verdict, table).noted(note)
    return replace(head, verdict=verdict, kind=kind, note=note)
