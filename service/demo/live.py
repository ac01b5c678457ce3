"""The sample practice as if a camera saw it, for somebody who has none.

The service runs on a throw-away folder and watches a source of the samples: stills arrive one by
one in their own time, then a clip of two shots, frame by frame, as it was played.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import tempfile
import threading
import time
import webbrowser
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from service.address import DEFAULT_PORT
from service.practice import Plan
from vision.sources.frame import Frame, Tell, untold
from vision.sources.video import VideoFile
from vision.still import decode_still

from .samples import CLIP_FOLDER, SHOTS_FOLDER, sample_folder, sample_stills
from .trial import calibrate_sample, in_order

SOURCE = "sample practice"
"""What the watch says that it watches."""
TITLE = "Sample practice"
CLIP_FILE, PLAN_FILE = "clip.mp4", "plan.json"
FIRST_S = 3.0
"""Before the first still: the page opens meanwhile."""


class SampleCamera:
    """A source of the samples: stills ``pace_s`` apart, each taken at rest, then the clip."""

    def __init__(self, *, pace_s: float, tell: Tell = untold) -> None:
        self.pace_s = pace_s
        self.tell = tell
        self._ended = threading.Event()
        self._clip = VideoFile(sample_folder(CLIP_FOLDER) / CLIP_FILE)

    @property
    def away(self) -> bool:
        """Never."""
        return False

    def frames(self) -> Iterator[Frame]:
        """All of it, once."""
        wait_s = min(FIRST_S, self.pace_s)
        for path in in_order(sample_stills(SHOTS_FOLDER)):
            if self._ended.wait(wait_s):
                return
            data = path.read_bytes()
            picture = decode_still(data, name=path.name)
            yield Frame(
                picture=picture, at_s=time.monotonic(), name=path.name, settled=True, data=data
            )
            wait_s = self.pace_s
        if not self._ended.wait(wait_s):
            yield from self._played()

    def close(self) -> None:
        """End ``frames`` soon."""
        self._ended.set()
        self._clip.close()

    def _played(self) -> Iterator[Frame]:
        """The clip's frames, each at its time; late ones come at once."""
        begun = time.monotonic()
        for frame in self._clip.frames():
            if self._ended.wait(max(0.0, begun + frame.at_s - time.monotonic())):
                return
            yield frame


def sample_plan() -> list[dict[str, Any] | None]:
    """The intents of all shots, the clip's last."""
    plans = (Plan.read(sample_folder(part) / PLAN_FILE) for part in (SHOTS_FOLDER, CLIP_FOLDER))
    return [None if shot is None else shot.to_dict() for plan in plans for shot in plan.shots]


def run_live(
    *,
    pace_s: float,
    port: int = DEFAULT_PORT,
    announce: Callable[[str], None] = print,
    note: Callable[[str], None] = lambda text: None,
) -> None:
    """Calibrate on the samples, begin their plan, and serve and watch them until interrupted.

    ``announce`` gets the address, ``note`` what is being done. Nothing is left behind.
    """
    from service.api import serve

    def opened(
        named: str, *, size_px: tuple[int, int] | None, tell: Tell, only_new: bool
    ) -> SampleCamera:
        return SampleCamera(pace_s=pace_s, tell=tell)

    # an end from outside takes the folder away too
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    made = calibrate_sample(announce=note).calibration
    with tempfile.TemporaryDirectory(prefix="restmark-live-") as folder:
        data = Path(folder)
        made.write(data / "table.json")
        serve(
            data / "data",
            port=port,
            open_calibration=data / "table.json",
            way={"title": TITLE, "way": {"kind": "plan", "shots": sample_plan()}},
            watch=SOURCE,
            opened=opened,
            announce=announce,
            ready=show_page,
        )


def show_page(address: str) -> None:
    """Open a page in the desktop's browser; where there is no desktop, nothing."""
    has_desktop = sys.platform in ("darwin", "win32") or any(
        os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY")
    )
    if has_desktop:
        with contextlib.suppress(webbrowser.Error):
            webbrowser.open(address)
