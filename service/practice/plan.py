"""The plan of a session: one intent an attempt, in order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from calibration import strict
from calibration.jsonfile import read_value
from service.position.errors import IntentError
from service.position.meant.intent import Intent

from .notes import Note
from .ways.choose import MODES, Way, way_of

MOST_SHOTS = 1000
_OWN = ("shots", "notes", "in_a_row", "mode")
_SETTINGS = tuple(
    dict.fromkeys(name for names in MODES.values() for name in names if name not in _OWN)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Intents of a session's attempts; None for an attempt without one."""

    shots: tuple[Intent | None, ...] = ()
    notes: tuple[Note | None, ...] = ()
    """What the player noted on each attempt, in the same order; may be shorter."""
    in_a_row: int | None = None
    """The session was sets of so many successes in a row; a failure started again."""
    mode: str = "in order"
    """The way to practise, one of ``service.practice.ways.choose.MODES``."""
    settings: Mapping[str, Any] = field(default_factory=dict)
    """The mode's settings besides ``in_a_row``."""

    def __post_init__(self) -> None:
        strict.check(self, label="", error=IntentError, remedy="Correct it.")
        if len(self.shots) > MOST_SHOTS:
            raise IntentError(
                f"shots: got {len(self.shots)}; allowed: up to {MOST_SHOTS} in a plan. Make two of "
                "it."
            )
        # the rule for a row's length is the note's
        Note(in_a_row=self.in_a_row)
        if self.mode == "in order" and len(self.notes) > len(self.shots):
            raise IntentError(
                f"notes: got {len(self.notes)} for {len(self.shots)} shots; allowed: a list of "
                "notes or null, at most one a shot. Correct it."
            )
        _ = self.way

    @property
    def way(self) -> Way:
        """The way to practise: attempts so far in, the next turn out.

        Raises:
            IntentError: the mode or a setting of it is unknown or missing.
        """
        settings = dict(self.settings)
        if self.mode == "pressure":
            if self.in_a_row is None:
                raise IntentError(
                    "in_a_row: missing; allowed: how many successes in a row make a set, from 2. "
                    "Add it."
                )
            settings["in_a_row"] = self.in_a_row
        return way_of(self.mode, self.shots, settings)

    def intent(self, attempt: int) -> Intent | None:
        """The intent of an attempt counted from 1; None past the plan's end."""
        return self.shots[attempt - 1] if attempt <= len(self.shots) else None

    def note(self, attempt: int) -> Note | None:
        """The note on an attempt counted from 1, with the session's row; None without either."""
        note = self.notes[attempt - 1] if attempt <= len(self.notes) else None
        if self.in_a_row is None or (note is not None and note.in_a_row is not None):
            return note
        return replace(note or Note(), in_a_row=self.in_a_row)

    def to_dict(self) -> dict[str, Any]:
        """JSON object as in ``plan.json``."""
        out: dict[str, Any] = {
            "shots": [None if shot is None else shot.to_dict() for shot in self.shots]
        }
        if self.notes:
            out["notes"] = [None if note is None else note.to_dict() for note in self.notes]
        if self.in_a_row is not None:
            out["in_a_row"] = self.in_a_row
        if self.mode != "in order":
            out["mode"] = self.mode
        return out | dict(self.settings)

    @classmethod
    def from_dict(cls, data: Any, *, path: str = "plan") -> Plan:
        """Inverse of ``to_dict``; errors name the shot and field by their path.

        Raises:
            IntentError: a field is unknown, missing or wrong; it names the shot.
        """
        known = (*_OWN, *_SETTINGS)
        row = strict.record(
            data, path, known=known, closed=True, error=IntentError, remedy="Correct it."
        )
        given = {name: row[name] for name in _OWN if row.get(name) is not None}
        if given.get("mode") == "rotation":
            given.setdefault("shots", [])
        settings = {name: row[name] for name in _SETTINGS if name in row}
        intent = strict.or_none(lambda item, at: Intent.from_dict(item, path=at))
        note = strict.or_none(lambda item, at: Note.from_dict(item, path=at))
        return strict.build(
            cls,
            {**given, "settings": settings},
            path=path,
            error=IntentError,
            remedy="Correct it.",
            needed=("shots",),
            convert={
                "shots": strict.listed(intent, error=IntentError),
                "notes": strict.listed(note, error=IntentError),
            },
        )

    @classmethod
    def read(cls, path: Path) -> Plan:
        """Plan from a JSON file.

        Raises:
            IntentError: the file cannot be read, or is no plan.
        """
        return cls.from_dict(
            read_value(path, what="a file holding a plan", remedy="Give one.", error=IntentError),
            path=str(path),
        )
