"""Stills that were refused, kept beside the store so that no later run tries them in vain."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Sequence
from pathlib import Path

from .errors import RereadError
from .values import Group, Key, Refused

FOLDER, FILE = "reread", "refused.jsonl"


class Refusals:
    """A line a still; without the file they are tried once more, and no harm is done."""

    def __init__(self, data_dir: Path) -> None:
        self.path = data_dir / FOLDER / FILE

    def known(self, weights: str, software: str) -> dict[Key, str]:
        """The code of each refusal by those networks and release, by what was read with what."""
        out: dict[Key, str] = {}
        for line in self._lines():
            # a line that was cut when the power went is no line
            with contextlib.suppress(ValueError, TypeError, KeyError, AttributeError):
                said = json.loads(line)
                if (said["weights"], said["software"]) == (weights, software):
                    group = Group(
                        table_id=0, calibration_id=said["calibration_id"], set_id=said["set_id"],
                        cameras=tuple(sorted(said.get("cameras", {}).items())),
                    )  # fmt: skip
                    out[group.key(said["still_id"])] = said["code"]
        return out

    def add(self, group: Group, refused: Sequence[Refused], weights: str, software: str) -> None:
        """Keep those that would be refused again."""
        lines = [
            json.dumps(
                {
                    "still_id": each.still_id,
                    "calibration_id": group.calibration_id,
                    "set_id": group.set_id,
                    "cameras": dict(group.cameras),
                    "weights": weights,
                    "software": software,
                    "code": each.code,
                    "detail": each.detail,
                }
            )
            for each in refused
            if each.lasting
        ]
        if not lines:
            return
        try:
            self.path.parent.mkdir(mode=0o700, exist_ok=True)
            handle = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                # the break before it ends a line that was cut
                file.write("\n" + "\n".join(lines) + "\n")
                file.flush()
                os.fsync(file.fileno())
        except OSError as wrong:
            raise RereadError(
                f"{self.path}: cannot be written ({wrong.strerror or wrong}); allowed: a data "
                "folder with room that you may write to. See to it and start the same again."
            ) from None

    def _lines(self) -> list[str]:
        try:
            return self.path.read_text(encoding="utf-8").splitlines()
        except FileNotFoundError:
            return []
        except (OSError, UnicodeDecodeError) as wrong:
            raise RereadError(
                f"{self.path}: cannot be read ({wrong}); allowed: the file as it was written, or "
                "none: its stills are then tried again. See to it, or take it away."
            ) from None
