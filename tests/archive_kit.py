"""Stores of sample stills that an older release read, and places that hold stills' files."""

from __future__ import annotations

import http.server
import os
import signal
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa
from store_kit import engine_of, open_store

from calibration.kept.calibration import Calibration
from service.demo.samples import SHOTS_FOLDER, sample_folder, sample_stills
from service.rereading.values import BatchRead, Job
from service.rereading.work import read_batch
from vision.layout import Ball, Layout
from vision.truth.file import read_truth

DEADLY = "shot-02-before.jpg"
OLDER = "0" * 64
"""Networks that nobody has any more."""
COV_MM2 = ((0.5, 0.0), (0.0, 0.5))
TRUTH = read_truth(sample_folder(SHOTS_FOLDER))
STILL = next(iter(TRUTH.values()))
CALIBRATION = Calibration.exact(STILL.camera, STILL.table)


def true_layout(name: str, **moved: tuple[float, float]) -> Layout:
    """What lies on a sample still, but for balls that are told to lie elsewhere: ``b3=(x, y)``."""
    told = {key.removeprefix("b"): at for key, at in moved.items()}
    places = {ball.id: told.get(ball.id, (ball.x_mm, ball.y_mm)) for ball in TRUTH[name].balls}
    balls = tuple(Ball(id=ball, x_mm=x, y_mm=y, cov_mm2=COV_MM2) for ball, (x, y) in places.items())
    return Layout(still=name, surface_mm=STILL.table.surface_mm, balls=balls)


def fill(data_dir: Path, count: int, *, tables: int = 1, rounds: int = 1) -> int:
    """``count`` sample stills a round at each table, read as they are by an older release."""
    store = open_store(data_dir)
    paths = sample_stills(SHOTS_FOLDER)[:count]
    with store.writing() as writer:
        numbers = [1] + [writer.add_table(f"Table {k}").id for k in range(2, tables + 1)]
        for table_id in numbers:
            held = writer.add_calibration(CALIBRATION.to_dict(), table_id=table_id)
            for path in paths * rounds:
                still = writer.add_still(path.read_bytes(), name=path.name, table_id=table_id)
                writer.add_reading(
                    still, true_layout(path.name), calibration_id=held.id, took_ms=9.0,
                    weights=OLDER,
                )  # fmt: skip
    store.close()
    return len(paths) * rounds * len(numbers)


def read_or_die(job: Job) -> BatchRead:
    """What a worker does whom one of the stills kills."""
    if DEADLY in {still.name for still in job.stills}:
        os.kill(os.getpid(), signal.SIGKILL)
    return read_batch(job)


def readings_a_still(data_dir: Path) -> Counter[int]:
    """How many stills have so many readings that are not live, past the store."""
    engine = engine_of(data_dir)
    try:
        with engine.connect() as connection:
            rows = connection.execute(
                sa.text(
                    "SELECT stills.id, count(readings.id) FROM stills LEFT JOIN readings ON "
                    "readings.still_id = stills.id AND readings.live = :live GROUP BY stills.id"
                ),
                {"live": False},
            )
            return Counter(count for _, count in rows)
    finally:
        engine.dispose()


class _Ranged(http.server.SimpleHTTPRequestHandler):
    """Files of a folder, whole or the range that is asked for."""

    asked: list[str]

    def log_message(self, *_words: object) -> None:
        pass

    def do_GET(self) -> None:
        self._answer(body=True)

    def do_HEAD(self) -> None:
        self._answer(body=False)

    def _answer(self, *, body: bool) -> None:
        path = Path(self.translate_path(self.path))
        if not path.is_file():
            self.send_response(404)
            self.send_header("Content-Length", "0")
            self.end_headers()
            return
        data, status = path.read_bytes(), 200
        whole, given = len(data), self.headers.get("Range", "")
        if given.startswith("bytes="):
            low, high = given.removeprefix("bytes=").split("-")
            first = int(low) if low else whole - int(high)
            last = int(high) if low and high else whole - 1
            data, status = data[first : last + 1], 206
        self.asked.append(f"{self.path} {len(data) if body else 0}")
        self.send_response(status)
        self.send_header("Accept-Ranges", "bytes")
        self.send_header("Content-Length", str(len(data)))
        if status == 206:
            self.send_header("Content-Range", f"bytes {first}-{first + len(data) - 1}/{whole}")
        self.end_headers()
        if body:
            self.wfile.write(data)


@contextmanager
def web_server(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Address of a server of that folder's files, and what it was asked for with the bytes sent."""
    asked: list[str] = []

    class Handler(_Ranged):
        def __init__(self, *given: object) -> None:
            super().__init__(*given, directory=str(folder))

    Handler.asked = asked
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}", asked
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
