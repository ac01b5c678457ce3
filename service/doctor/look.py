"""Everything that is looked at, in its order."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from calibration.errors import RestmarkError
from service.store import NoStoreError
from service.store.examine import examine, held_by

from .cameras import camera_findings
from .findings import OK, WRONG, Finding
from .installed import installed
from .kept import folder_findings, store_findings


def look(data_dir: Path, url: str | None = None) -> Iterator[Finding]:
    """Each finding as soon as it is made; a later one may depend on an earlier."""
    yield from installed()
    folder = tuple(folder_findings(data_dir))
    yield from folder
    if not data_dir.is_dir():
        return
    holder = held_by(data_dir)
    yield Finding(what="service", found=f"runs: {holder}" if holder else "does not run here")
    try:
        found = examine(data_dir, url)
    except NoStoreError:
        yield Finding(what="database", found="none yet; `restmark serve` makes one", state=OK)
        return
    except RestmarkError as wrong:
        said, _, to_do = wrong.detail.partition("; allowed: ")
        yield Finding(what="database", state=WRONG, found=said, to_do=to_do.partition(". ")[2])
        return
    yield from store_findings(found)
    yield from camera_findings(found.watches, holder)
