"""A lesson: several layouts on one sheet, each with its shot, zone and note."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration import strict

from .entry import NOTE_MOST, TITLE_MOST, KeptLayout
from .errors import LayoutError

PARTS_MOST = 24
_REMEDY = "Correct it."


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """Layouts in the order in which they are practised."""

    title: str
    parts: tuple[KeptLayout, ...]
    note: str = ""

    def __post_init__(self) -> None:
        strict.check(self, label="lesson", error=LayoutError, remedy=_REMEDY)
        object.__setattr__(self, "title", " ".join(self.title.split()))
        if not 1 <= len(self.title) <= TITLE_MOST or len(self.note) > NOTE_MOST:
            raise LayoutError(
                f"lesson: got a title of {len(self.title)} and a note of {len(self.note)} "
                f"characters; allowed: a title of 1 to {TITLE_MOST}, a note of up to {NOTE_MOST}. "
                f"{_REMEDY}"
            )
        if not 1 <= len(self.parts) <= PARTS_MOST:
            raise LayoutError(
                f"lesson.parts: got {len(self.parts)} layouts; allowed: 1 to {PARTS_MOST}. Choose "
                "some."
            )

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "title": self.title,
            "note": self.note,
            "parts": [part.to_dict() for part in self.parts],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "lesson") -> Lesson:
        """Inverse of ``to_dict``."""
        return strict.build(
            cls,
            data,
            path=path,
            label="lesson",
            error=LayoutError,
            remedy=_REMEDY,
            convert={
                "parts": strict.listed(
                    lambda item, at: KeptLayout.from_dict(item, path=at), error=LayoutError
                )
            },
        )
