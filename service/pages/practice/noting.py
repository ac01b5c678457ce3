"""What the player may note on the attempt that the page shows: spin, side spin, rails."""

from __future__ import annotations

from dataclasses import dataclass

from service.practice.notes import SIDE_SPINS, SPINS
from service.store import AttemptRecord

MOST_RAILS_OFFERED = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One thing to note: its key, its label, and what there is to choose from."""

    key: str
    label: str
    options: tuple[str, ...]
    chosen: str
    """Empty: not noted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteView:
    """A note on an attempt as it stands, and where a new one goes."""

    path: str
    choices: tuple[Choice, ...]
    in_a_row: str


def note_view(attempt: AttemptRecord) -> NoteView:
    """The note as it stands, with all there is to choose from."""
    kind = attempt.kind
    rails = tuple(str(count) for count in range(MOST_RAILS_OFFERED + 1))
    return NoteView(
        path=f"/api/v1/attempts/{attempt.id}/note",
        choices=tuple(
            Choice(
                key=key,
                label=label,
                options=options,
                chosen="" if kind[key] is None else str(kind[key]),
            )
            for key, label, options in (
                ("spin", "Spin", SPINS),
                ("side_spin", "Side spin", SIDE_SPINS),
                ("rails", "Rails", rails),
            )
        ),
        in_a_row="" if attempt.in_a_row is None else str(attempt.in_a_row),
    )
