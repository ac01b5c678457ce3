"""Which sources of pictures a request may name: nobody far away points at files of this machine."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from calibration.errors import RestmarkError

_SCHEMES = ("rtsp", "rtsps", "http", "https")


class SourceNotAllowedError(RestmarkError):
    """A request may not name that source here."""

    code = "source-not-allowed"


@dataclass(frozen=True, slots=True)
class SourceRule:
    """Cameras, and the folders that were named where the service was started.

    ``folders`` None: any path, for a service that only its own machine reaches.
    """

    folders: frozenset[str] | None = None

    @classmethod
    def only(cls, folders: Iterable[Path]) -> SourceRule:
        """Those folders, and no other path."""
        return cls(frozenset(os.path.abspath(folder) for folder in folders))

    def check(self, named: str) -> None:
        """Refuse what a request may not name; the file system is not asked.

        Raises:
            SourceNotAllowedError: it is a path that was not named at the start.
        """
        if self.folders is None or named.isdecimal():
            return
        if "://" in named:
            allowed = urlsplit(named).scheme.lower() in _SCHEMES
        else:
            allowed = "\0" not in named and os.path.abspath(named) in self.folders
        if not allowed:
            more = ", ".join(sorted(self.folders)) or "no folder, none was named"
            raise SourceNotAllowedError(
                f"source: got {named[:200]!r}; allowed from here: a camera's number, a network "
                f"camera's address (rtsp://…), or a folder of `restmark serve --folder`: {more}. "
                "Name it there, or choose it on the computer itself."
            )
