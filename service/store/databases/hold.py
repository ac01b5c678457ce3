"""One service a data directory: whoever serves it holds a lock, and says who it is."""

from __future__ import annotations

import json
import os
import socket
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO

from service import clock

from ..records import StoreError

LOCK_NAME = "restmark.lock"
_LOCKED_BYTE = 1 << 20
"""Where Windows locks, beyond what is written, so that others can read who holds it."""


class HeldError(StoreError):
    """Another service holds the data directory; the text says which."""

    code = "store-held"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """The lock on a data directory. The system frees it when the process ends, however it ends."""

    file: IO[str]

    @classmethod
    def take(cls, data_dir: Path) -> Hold:
        """Hold ``data_dir``.

        Raises:
            HeldError: another service does.
            OSError: none can.
        """
        # not emptied on opening: it may be another's, with his name in it
        file = open(data_dir / LOCK_NAME, "a+", encoding="utf-8")  # noqa: SIM115 - kept open
        try:
            _lock(file)
        except (BlockingIOError, PermissionError):
            file.seek(0)
            held_by = _told(file.read(1000))
            file.close()
            raise HeldError(
                f"{data_dir}: is held by another service, {held_by}; allowed: one service a "
                "directory. Use that one, stop it (Ctrl+C in its window), or give another --data."
            ) from None
        except OSError:
            file.close()
            raise
        file.seek(0)
        file.truncate()
        json.dump(
            {
                "pid": os.getpid(),
                "host": socket.gethostname(),
                "since": clock.now().isoformat(timespec="seconds"),
            },
            file,
        )
        file.flush()
        return cls(file=file)

    def release(self) -> None:
        """Let others have it. The file stays: to remove it would free a lock taken meanwhile."""
        self.file.close()


def _told(text: str) -> str:
    """Who holds it, as the lock file says."""
    try:
        held = json.loads(text)
        since = datetime.fromisoformat(held["since"]).astimezone()
        return f"process {held['pid']} on {held['host']} since {since:%Y-%m-%d %H:%M:%S}"
    except (ValueError, TypeError, KeyError, RecursionError):
        return f"which {LOCK_NAME} does not name"


if sys.platform == "win32":
    import msvcrt

    def _lock(file: IO[str]) -> None:
        file.seek(_LOCKED_BYTE)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(file: IO[str]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
