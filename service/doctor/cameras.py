"""Whether the sources that are watched give pictures."""

from __future__ import annotations

import threading
from collections.abc import Iterator

from calibration.errors import RestmarkError
from service.store import OVERHEAD, WatchRecord
from vision.sources.camera import shown_address
from vision.sources.folder import WatchedFolder
from vision.sources.opening import open_source

from .findings import WRONG, Finding

WAIT_S = 8.0
"""A camera that gives no picture by then gives none."""
_CHECK = "Check cable, power and address; the Set-up page chooses another."


def camera_findings(watches: tuple[WatchRecord, ...], held_by: str | None) -> Iterator[Finding]:
    """One a watch; a camera that the running service uses is left to it."""
    if not watches:
        yield Finding(what="camera", found="none is watched")
    for watch in watches:
        named = "camera" if watch.camera == OVERHEAD else f"camera {watch.camera}"
        what, shown = f"{named} of table {watch.table_id}", shown_address(watch.source)
        if held_by is not None:
            yield Finding(what=what, found=f"{shown}, in use by the running service")
        else:
            yield _one(what, watch.source, shown)


def _one(what: str, named: str, shown: str) -> Finding:
    try:
        source = open_source(named)
    except RestmarkError as wrong:
        # its text may hold the address as it was given, password and all
        found = wrong.detail.replace(named, shown)
        return Finding(what=what, state=WRONG, found=found, to_do=_CHECK)
    if isinstance(source, WatchedFolder):
        return Finding(what=what, found=f"{shown}, a folder that is there")
    sizes: list[tuple[int, int]] = []

    def one_picture() -> None:
        for frame in source.frames():
            height_px, width_px = frame.picture.shape[:2]
            sizes.append((width_px, height_px))
            return

    asked = threading.Thread(target=one_picture, name="restmark-doctor", daemon=True)
    asked.start()
    asked.join(WAIT_S)
    source.close()
    if not sizes:
        found = f"{shown} gives no picture within {WAIT_S:.0f} s"
        return Finding(what=what, state=WRONG, found=found, to_do=_CHECK)
    return Finding(what=what, found=f"{shown} gives pictures of {sizes[0][0]}×{sizes[0][1]} px")
