"""The service under load: started in a process of its own, calibrated, and watched from outside."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

from calibration.errors import RestmarkError
from calibration.from_still import watched
from service.demo.samples import EMPTY_STILL, sample_folder
from vision.still import decode_still
from vision.truth.file import read_truth

START_S = 60.0
_HOST = "127.0.0.1"
_KIB = 1024.0


@contextmanager
def service(
    data_dir: Path, *, url: str | None = None, more: Sequence[str] = ()
) -> Iterator[tuple[int, int]]:
    """``restmark serve`` on ``data_dir``, with ``more`` options: its port and process."""
    with socket.socket() as free:
        free.bind((_HOST, 0))
        port: int = free.getsockname()[1]
    words = ["serve", "--data", str(data_dir), "--port", str(port), *more]
    process = subprocess.Popen(
        [sys.executable, "-m", "service", *words, *(["--store", url] if url else [])],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        _wait(process, port)
        yield port, process.pid
    finally:
        process.terminate()
        process.wait(30)


def calibrate(port: int, *, table: int = 1) -> None:
    """Give the service the calibration of the sample stills' table and camera, for that table.

    Raises:
        RestmarkError: code ``load-failed``; the service refuses it.
    """
    empty = sample_folder(EMPTY_STILL)
    truth = read_truth(empty.parent)[empty.name].calibration
    made = watched(truth, decode_still(empty.read_bytes(), name=empty.name))
    connection = HTTPConnection(_HOST, port, timeout=30)
    body = json.dumps(made.to_dict()).encode()
    where = f"/api/v1/calibration?table={table}"
    connection.request("PUT", where, body, {"Content-Type": "application/json"})
    answer = connection.getresponse()
    said = answer.read()
    connection.close()
    if answer.status >= 300:
        raise RestmarkError(
            f"calibration: the service answered {answer.status} ({said[:200]!r}); allowed: a "
            "service that takes the samples' calibration. Start it anew.",
            code="load-failed",
        )


@dataclass(slots=True)
class Watched:
    """Memory and processor time of a process, once a second; MB and seconds."""

    pid: int
    memory_mb: list[float] = field(default_factory=list)
    cpu_s: float = 0.0
    _stop: threading.Event = field(default_factory=threading.Event)

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Watch while the block runs."""
        begun_s = cpu_of(self.pid)
        thread = threading.Thread(target=self._watch, daemon=True)
        thread.start()
        try:
            yield
        finally:
            self._stop.set()
            thread.join()
            self.cpu_s = cpu_of(self.pid) - begun_s

    def _watch(self) -> None:
        while True:
            self.memory_mb.append(memory_of(self.pid))
            if self._stop.wait(1.0):
                self.memory_mb.append(memory_of(self.pid))
                return

    def figures(self) -> dict[str, Any]:
        """Memory when it began, ended and at most, and its rise over the second half."""
        half = self.memory_mb[len(self.memory_mb) // 2 :]
        return {
            "begin_mb": self.memory_mb[0],
            "end_mb": self.memory_mb[-1],
            "most_mb": max(self.memory_mb),
            "second_half_mb": half[-1] - half[0],
        }


def memory_of(pid: int) -> float:
    """Resident memory of a process, MB."""
    for line in Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return float(line.split()[1]) / _KIB
    return 0.0


def cpu_of(pid: int) -> float:
    """Processor time of a process so far, s."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _wait(process: subprocess.Popen[bytes], port: int) -> None:
    give_up = time.monotonic() + START_S
    while time.monotonic() < give_up and process.poll() is None:
        with suppress(OSError), socket.create_connection((_HOST, port), timeout=1):
            return
        time.sleep(0.05)
    raise RestmarkError(
        f"service: did not answer within {START_S:.0f} s; allowed: one that starts. Run "
        "`restmark serve` to see why it does not.",
        code="load-failed",
    )
