"""A network camera as many are: pictures of a lens, one after another, over one answer of HTTP."""

from __future__ import annotations

import http.server
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import cv2
import numpy as np

EVERY_S = 0.05
SIZE_PX = (640, 360)
BOUNDARY = "picture"


class _Handler(http.server.BaseHTTPRequestHandler):
    server: NetworkCamera

    def log_message(self, *_: object) -> None:
        pass

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", f"multipart/x-mixed-replace; boundary={BOUNDARY}")
        self.end_headers()
        try:
            while not self.server.gone.is_set():
                jpeg = self.server.picture()
                self.wfile.write(
                    f"--{BOUNDARY}\r\nContent-Type: image/jpeg\r\n"
                    f"Content-Length: {len(jpeg)}\r\n\r\n".encode()
                )
                self.wfile.write(jpeg + b"\r\n")
                time.sleep(EVERY_S)
        except OSError:
            return


class NetworkCamera(http.server.ThreadingHTTPServer):
    """Serves pictures with a bar that walks and the noise of a sensor."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, port: int) -> None:
        self.gone = threading.Event()
        self.sent = 0
        self._rng = np.random.default_rng(7)
        super().__init__(("127.0.0.1", port), _Handler)

    def picture(self) -> bytes:
        """The next picture as JPEG bytes."""
        width, height = SIZE_PX
        seen = self._rng.normal(90, 4, (height, width, 3))
        at = 10 * self.sent % width
        seen[:, at : at + 40] += 100
        self.sent += 1
        return bytes(cv2.imencode(".jpg", np.clip(seen, 0, 255).astype(np.uint8))[1])


@contextmanager
def network_camera(port: int) -> Iterator[NetworkCamera]:
    """A camera on a port of this machine; at the end its cable is pulled."""
    camera = NetworkCamera(port)
    thread = threading.Thread(target=camera.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield camera
    finally:
        camera.gone.set()
        camera.shutdown()
        camera.server_close()
        thread.join()
