"""A service in a process of its own with its true reader and limits, and hostile requests to it."""

from __future__ import annotations

import json
import random
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
from api_kit import CALIBRATION, INTENT
from hostile_pictures import hostile, whole_ones
from spoilt_documents import KINDS, spoilt

SERVE = (
    "import pathlib, sys; from service.api import serve; serve(pathlib.Path(sys.argv[1]), port=0)"
)
PICTURES_TO = ("/stills", "/stills", "/stills", "/setup/stills", "/layouts/import", "/import")
"""Where a picture's bytes are sent; the last two take other files, and must say so."""
DOCUMENTS_TO = {
    "table": ("PUT", "/calibration"), "intent": ("PUT", "/intent"), "plan": ("POST", "/plans"),
    "player": ("PUT", "/player"), "layout": ("POST", "/layouts/import"),
    "lens": ("POST", "/setup/lenses"),
}  # fmt: skip
ENDLESS_S = 60.0


@dataclass(frozen=True, slots=True)
class Served:
    """A running service: its address, its process, its folder."""

    address: str
    process: subprocess.Popen[str]
    data: Path


@contextmanager
def serving() -> Iterator[Served]:
    """The service with a calibration; what it said on its outputs lies in ``data``."""
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        said = Path(folder) / "said"
        with said.open("w") as errors:
            process = subprocess.Popen(
                [sys.executable, "-u", "-c", SERVE, str(data)],
                stdout=subprocess.PIPE, stderr=errors, text=True,
            )  # fmt: skip
        try:
            port = re.search(r"127\.0\.0\.1:(\d+)", process.stdout.readline())[1]
            address = f"http://127.0.0.1:{port}"
            httpx.put(
                f"{address}/api/v1/calibration", json=CALIBRATION.to_dict(), timeout=60
            ).raise_for_status()
            yield Served(address, process, data)
        finally:
            process.send_signal(signal.SIGINT)
            process.communicate(timeout=60)


def said_by(served: Served) -> str:
    """Its error output, and the faults in its log."""
    log = served.data / "logs" / "restmark.log"
    return (served.data.parent / "said").read_text() + (log.read_text() if log.exists() else "")


@dataclass(frozen=True, slots=True)
class Sent:
    """What was sent, and what came back."""

    name: str
    data: bytes
    answer: httpx.Response


def requests(client: httpx.Client, chance: random.Random) -> Iterator[Sent]:
    """Without end: a hostile picture or document to one of the addresses that take any."""
    pictures = hostile(chance)
    while True:
        if chance.random() < 0.3:
            kind = chance.choice(sorted(DOCUMENTS_TO))
            method, path = DOCUMENTS_TO[kind]
            document = INTENT if kind == "intent" else KINDS[kind].document
            data = json.dumps(spoilt(document, chance)).encode()
            name = f"{method} {path}: {kind} spoilt"
            headers = {"Content-Type": "application/json"}
            answer = client.request(method, path, content=data, headers=headers)
            if kind == "table" and answer.status_code == 200:
                client.put("/calibration", json=CALIBRATION.to_dict())
            yield Sent(name, data, answer)
            continue
        how, data = next(pictures)
        path = chance.choice(PICTURES_TO)
        if chance.random() < 0.3:
            field = "still" if "stills" in path else "file"
            answer = client.post(path, files={field: ("a.jpg", data)})
        else:
            kinds = ("image/jpeg", "image/png", "image/webp", "application/octet-stream")
            answer = client.post(path, content=data, headers={"Content-Type": chance.choice(kinds)})
        yield Sent(f"POST {path}: {how}", data, answer)


def endless(address: str, *, chunked: bool) -> float:
    """A body without end: seconds until the service cut the line, or ``ENDLESS_S``."""
    host, port = address.removeprefix("http://").split(":")
    piece = whole_ones()["jpeg"][:-2] + bytes(100_000)
    length = "Transfer-Encoding: chunked" if chunked else f"Content-Length: {10**12}"
    with socket.create_connection((host, int(port)), timeout=30) as line:
        line.sendall(
            f"POST /api/v1/stills HTTP/1.1\r\nHost: {host}:{port}\r\n"
            f"Content-Type: image/jpeg\r\n{length}\r\n\r\n".encode()
        )
        started = time.monotonic()
        while (passed_s := time.monotonic() - started) < ENDLESS_S:
            try:
                head = f"{len(piece):x}\r\n".encode() if chunked else b""
                line.sendall(head + piece + (b"\r\n" if chunked else b""))
            except OSError:
                break
            time.sleep(0.01)  # 10 MB a second
    return passed_s
