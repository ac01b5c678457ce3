"""Every practice of the player, each with its sheet of paper."""

from __future__ import annotations

from dataclasses import dataclass

from service.store import Reader

from ..frame import Shown

PRACTICES = "all-practices"
"""What the list is asked for by."""
PRACTICES_SHOWN = 12
UNTITLED = "Practice"


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeRow:
    """One practice: when, what it is called, and where its sheet is."""

    began: str
    title: str
    is_open: bool
    paper: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticesView:
    """Practices, newest first."""

    rows: tuple[PracticeRow, ...]
    older: int | None
    """Below which number the next ones are; None where there are none."""
    is_asked: bool
    """Older ones were asked for: the list is open."""
    is_here: bool
    """The rows were looked up; without it the list is still folded."""


def practices_view(
    reader: Reader, shown: Shown, *, before: int | None, opened: bool
) -> PracticesView | None:
    """The practices of whoever plays at the table, once ``opened``; None where there are none."""
    player = reader.table(shown.table).player_id
    if not opened and before is None:
        if not reader.practices(limit=1, player_id=player):
            return None
        return PracticesView(rows=(), older=None, is_asked=False, is_here=False)
    found = reader.practices(limit=PRACTICES_SHOWN + 1, before=before, player_id=player)
    rows = found[:PRACTICES_SHOWN]
    return PracticesView(
        rows=tuple(
            PracticeRow(
                began=each.began_at.astimezone().strftime("%Y-%m-%d %H:%M"),
                title=each.title or UNTITLED,
                is_open=each.finished_at is None,
                paper=f"/api/v1/practices/{each.id}/report.pdf?units={shown.units.value}",
            )
            for each in rows
        ),
        older=rows[-1].id if len(found) > len(rows) else None,
        is_asked=before is not None,
        is_here=True,
    )
