"""The service under everything at once, for as long as wanted: two browsers, a camera, stills.

    python tests/soak.py --minutes 60 --rate 5 --pictures

With ``--pictures`` the sample practice's stills are posted and read in earnest; else small stills
that carry their layout. A video file plays as the camera of table 2 and two pages of Chromium stay
open on table 1. Printed each minute, and compared at the end with the start: memory, open handles,
threads, slowest and middle answer, requests without an answer. Exit code 1 where they
grew: memory by more than a quarter after the first third, handles or threads by more than a few.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import cv2
import numpy as np

from calibration.from_still import calibrate
from calibration.kept.calibration import Calibration
from calibration.lens.board import BoardPattern
from calibration.lens.fit import fit_lens
from calibration.solve.known import Known
from calibration.table import Table
from service.demo.samples import (
    BOARD_FOLDER,
    EMPTY_STILL,
    PRACTICE_HEAD,
    PRACTICE_SURFACE,
    SHOTS_FOLDER,
    sample_folder,
    sample_stills,
)
from vision.still import decode_still

STUCK_S = 20.0
"""The client's own patience."""
GROWN_MEMORY, GROWN_HANDLES, GROWN_THREADS = 1.25, 12, 6


def clip(path: Path, *, seconds: int) -> None:
    """A video that never rests long: the watch has work all the time."""
    out = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"mp4v"), 10, (640, 360))
    for number in range(seconds * 10):
        picture = np.full((360, 640, 3), (60, 120, 60), np.uint8)
        cv2.circle(picture, (40 + 5 * number % 560, 180), 9, (255, 255, 255), -1)
        out.write(picture)
    out.release()


def sample_calibration() -> Calibration:
    """Of the sample practice's room, by its own boards and its empty table."""
    boards = [(path.name, decode_still(path.read_bytes())) for path in sample_stills(BOARD_FOLDER)]
    known = Known(lens=fit_lens(boards, BoardPattern()))
    empty = decode_still(sample_folder(EMPTY_STILL).read_bytes())
    return calibrate(empty, Table.from_surface(PRACTICE_SURFACE), PRACTICE_HEAD, known)


def carried_shots() -> Iterator[tuple[bytes, dict[str, object]]]:
    """Stills that carry their layout, before and after a shot in turn, and the shot's intent."""
    from api_kit import INTENT, after, taken

    while True:
        yield taken(), INTENT
        yield taken(after(), shade=140), INTENT


def sample_shots() -> Iterator[tuple[bytes, dict[str, object]]]:
    """The sample practice's stills over and over; no two have the same bytes."""
    plan = json.loads(sample_folder(f"{SHOTS_FOLDER}/plan.json").read_text(encoding="utf-8"))
    stills = [path.read_bytes() for path in sample_stills(SHOTS_FOLDER)]
    for turn in count():
        for number, intent in enumerate(plan["shots"]):
            after, before = stills[2 * number : 2 * number + 2]
            for still in (before, after):
                comment = f"{turn}".encode()
                segment = b"\xff\xfe" + (len(comment) + 2).to_bytes(2, "big") + comment
                yield still[:2] + segment + still[2:], intent


def serve(data: Path, video: Path, *, pictures: bool) -> None:
    """The service itself; without ``pictures`` with the reader that stills carry a layout for."""
    from api_kit import CALIBRATION, stand_in_read

    from service.api import create_app
    from service.api.serve import Server, address, bind
    from service.api.serving import few_heaps

    few_heaps()
    app = create_app(data, read=None if pictures else stand_in_read)
    desk = app.state.desk
    calibration = sample_calibration() if pictures else CALIBRATION
    desk.set_calibration(calibration.to_dict(), 1)
    with desk.store.writing() as writer:
        table = writer.add_table("Left").id
    desk.set_calibration(CALIBRATION.to_dict(), table)
    listener = bind("127.0.0.1", 0)
    print(address(listener), flush=True)

    def play_on() -> None:
        while True:
            if desk.watches.state(table).state == "stopped":
                desk.watches.begin(table, str(video))
            time.sleep(1)

    threading.Thread(target=play_on, daemon=True).start()
    Server(app).run(sockets=[listener])


def measured(pid: int) -> dict[str, float]:
    """Memory (MB), handles and threads of a process, as the system tells."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    lines = dict(line.split(":", 1) for line in status.splitlines())
    return {
        "memory_mb": int(lines["VmRSS"].split()[0]) / 1e3,
        "handles": len(os.listdir(f"/proc/{pid}/fd")),
        "threads": int(lines["Threads"]),
    }


class Player:
    """Posts stills at a rate, with an intent before every second one."""

    def __init__(
        self, address: str, rate: float, shots: Iterator[tuple[bytes, dict[str, object]]]
    ) -> None:
        self._address, self._every_s, self._shots = address, 1 / rate, shots
        self.took_s: list[float] = []
        self.stuck = 0
        self.refused = 0
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._run)

    def _run(self) -> None:
        import httpx
        from api_kit import Client

        with Client(self._address) as client:
            number, due = 0, time.monotonic()
            while not self.over.is_set():
                data, intent = next(self._shots)
                began = time.monotonic()
                try:
                    answer = client.give(data)
                    self.refused += not answer.is_success
                    self.took_s.append(time.monotonic() - began)
                    if number % 2 == 0:
                        client.put("/intent", json=intent)
                except httpx.TimeoutException:
                    self.stuck += 1
                number += 1
                due = max(due + self._every_s, time.monotonic())
                self.over.wait(max(0.0, due - time.monotonic()))


def main() -> int:
    """Run, print, judge."""
    ask = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    ask.add_argument("--minutes", type=float, default=60)
    ask.add_argument("--rate", type=float, default=5, help="stills a second")
    ask.add_argument("--pictures", action="store_true", help="real stills, read in earnest")
    ask.add_argument("--serve", nargs=2, help=argparse.SUPPRESS)
    given = ask.parse_args()
    if given.serve:
        serve(*map(Path, given.serve), pictures=given.pictures)
        return 0
    from page_kit import Tab, chromium

    with tempfile.TemporaryDirectory() as work:
        video = Path(work, "table.mp4")
        clip(video, seconds=20)
        command = [sys.executable, __file__, "--serve", f"{work}/data", str(video)]
        command += ["--pictures"] * given.pictures
        # as importing service sets it, which comes after numpy here
        alone = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        service = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=alone)
        rows = []
        try:
            assert service.stdout is not None
            address = service.stdout.readline().strip()
            shots = sample_shots() if given.pictures else carried_shots()
            player = Player(address, given.rate, shots)
            with chromium() as browser, Tab(browser, address), Tab(browser, address) as page:
                player.thread.start()
                began = time.monotonic()
                while time.monotonic() - began < given.minutes * 60:
                    first = len(player.took_s)
                    # not a plain sleep: what the browsers tell meanwhile is taken in
                    page.wait_for_timeout(min(60.0, given.minutes * 6) * 1e3)
                    took = player.took_s[first:] or [STUCK_S]
                    row = measured(service.pid) | {
                        "minute": (time.monotonic() - began) / 60,
                        "stills": len(took),
                        "middle_ms": statistics.median(took) * 1e3,
                        "slowest_ms": max(took) * 1e3,
                    }
                    rows.append(row)
                    print(json.dumps({key: round(value, 1) for key, value in row.items()}))
                    sys.stdout.flush()
                player.over.set()
                player.thread.join(STUCK_S * 2)
        finally:
            service.terminate()
            service.wait(30)
    third, last = rows[len(rows) // 3], rows[-1]
    # named so as well: what never came, and what was refused
    grown = [
        name
        for name, is_more in {
            "memory": last["memory_mb"] > GROWN_MEMORY * third["memory_mb"],
            "handles": last["handles"] > third["handles"] + GROWN_HANDLES,
            "threads": last["threads"] > third["threads"] + GROWN_THREADS,
            "stills": not player.took_s or not last["stills"],
            "stuck requests": player.stuck > 0,
            "refused stills": player.refused > 0,
        }.items()
        if is_more
    ]
    print(
        f"{len(player.took_s)} stills, {player.stuck} stuck, {player.refused} refused; "
        f"grown: {grown}"
    )
    return 1 if grown else 0


if __name__ == "__main__":
    raise SystemExit(main())
