"""Calls that change by hand what was kept; each can be undone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from .asking import Asking
from .values import Attempt

Document = Mapping[str, Any]


class ByHand:
    """Attempts struck, restored, reopened and noted, outcomes put right, and all of it undone."""

    def __init__(self, asking: Asking, table: int | None) -> None:
        self._asking = asking
        self._table = {} if table is None else {"table": table}

    def strike(self, number: int) -> Attempt:
        """That attempt counts no longer; it stays, and can be restored."""
        return Attempt.from_dict(self._asking.json("POST", f"/attempts/{number}/strike"))

    def restore(self, number: int) -> Attempt:
        """That attempt counts again."""
        return Attempt.from_dict(self._asking.json("POST", f"/attempts/{number}/restore"))

    def reopen(self, number: int) -> dict[str, Any]:
        """The last attempt is struck, and its intent waits for its shot again: ``attempt`` and
        ``intent``."""
        return self._asking.json("POST", f"/attempts/{number}/reopen")

    def undo(self) -> dict[str, Any]:
        """Take the last change by hand at the table back; what it was."""
        return self._asking.json("POST", "/undo", params=self._table)

    def note(self, number: int, note: Document) -> Attempt:
        """Note spin, side_spin, rails or in_a_row of an attempt."""
        return Attempt.from_dict(
            self._asking.json("PUT", f"/attempts/{number}/note", json=dict(note))
        )

    def say_outcome(
        self, number: int, event: str, *, repeats_reading_id: int | None = None
    ) -> dict[str, Any]:
        """Say what happened before that reading, where it was understood wrongly: ``shot``,
        ``placed``, ``set_up``, ``corrected``, ``spotted``, ``nothing`` or ``impossible``.

        With ``set_up``, ``repeats_reading_id`` says which layout was set up again, one of
        ``repeats``; None: the nearest.
        """
        body = {"event": event, "repeats_reading_id": repeats_reading_id}
        return self._asking.json("PUT", f"/readings/{number}/outcome", json=body)

    def repeats(self, number: int) -> list[dict[str, Any]]:
        """Earlier layouts that that reading's one may be, set up again; the nearest first."""
        answer = self._asking.json("GET", f"/readings/{number}/repeats")
        return list(answer["repeats"])

    def take_outcome_back(self, number: int) -> dict[str, Any]:
        """What was understood before that reading holds again."""
        return self._asking.json("DELETE", f"/readings/{number}/outcome")
