"""The plan of a session: one intent an attempt, in order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.position.errors import IntentError
from service.position.intent import Intent, read_json


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Intents of a session's attempts; None for an attempt without one."""

    shots: tuple[Intent | None, ...] = ()

    def intent(self, attempt: int) -> Intent | None:
        """The intent of an attempt counted from 1; None past the plan's end."""
        return self.shots[attempt - 1] if attempt <= len(self.shots) else None

    def to_dict(self) -> dict[str, Any]:
        """JSON object as in ``plan.json``."""
        return {"shots": [None if shot is None else shot.to_dict() for shot in self.shots]}

    @classmethod
    def from_dict(cls, data: Any, *, path: str = "plan") -> Plan:
        """Inverse of ``to_dict``; errors name the shot and field by their path."""
        shots = data.get("shots") if isinstance(data, Mapping) else None
        if not isinstance(shots, list | tuple) or set(data) - {"shots"}:
            raise IntentError(
                f'{path}: got {data!r}; allowed: an object {{"shots": [intent, …]}}. Correct it.'
            )
        return cls(
            shots=tuple(
                None if shot is None else Intent.from_dict(shot, path=f"{path}.shots[{i}]")
                for i, shot in enumerate(shots)
            )
        )

    @classmethod
    def read(cls, path: Path) -> Plan:
        """Plan from a JSON file."""
        return cls.from_dict(read_json(path, "a plan"), path=str(path))
