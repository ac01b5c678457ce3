"""A real server on a free port with a stand-in reader, and stills that carry their layout."""

import json
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path

import cv2
import httpx
import numpy as np
from store_kit import URLS

from calibration.camera import Camera
from calibration.kept.calibration import Calibration
from calibration.table import Table
from service.api import create_app
from service.api.serve import ServeError, Server, address, bind
from service.door import Entry
from vision.layout import Ball, Layout
from vision.still import decode_still

COV_MM2 = ((0.1, 0.02), (0.02, 0.2))
CARRIED = b"\nlayout:"
_TAKEN = count(1)
START_S = 10
"""A server that is not up by then is not coming."""

CALIBRATION = Calibration.exact(
    Camera.looking(
        position_mm=(1270.0, 635.0, 2600.0),
        target_mm=(1270.0, 635.0, 0.0),
        up=(0.0, 1.0, 0.0),
        image_size_px=(640, 360),
        focal_px=530.0,
    ),
    Table(),
)
BEFORE = {"cue": (1500.0, 400.0), "3": (2100.0, 900.0), "4": (900.0, 300.0), "9": (300.0, 1000.0)}
INTENT = {
    "pot": "3",
    "pocket": "foot-left",
    "next": "4",
    "next_pocket": "side-right",
    "cut_deg": [5, 60],
    "distance_mm": [150, 1200],
}
FAR = (2300.0, 200.0)
"""A stop far outside the zone of ``INTENT``."""


def free_port() -> int:
    """A port that nobody holds, below those the system gives to outgoing connections."""
    while True:
        port = 15_000 + secrets.randbelow(17_000)
        with suppress(ServeError), bind("127.0.0.1", port):
            return port


def layout(places=None, *, still="", **more) -> Layout:
    """A layout with one ball a place, all names sure."""
    chosen = BEFORE if places is None else places
    return Layout(
        still=still,
        surface_mm=(2540.0, 1270.0),
        balls=tuple(
            Ball(id=name, x_mm=x, y_mm=y, cov_mm2=COV_MM2) for name, (x, y) in chosen.items()
        ),
        **more,
    )


def after(stop_mm=FAR, **more) -> Layout:
    """The layout after ball 3 was potted and the cue ball stopped at ``stop_mm``."""
    return layout({"cue": stop_mm, "4": BEFORE["4"], "9": BEFORE["9"]}, **more)


def picture(shade: int = 90, *, width_px: int = 640, height_px: int = 360) -> bytes:
    """A whole JPEG of one colour."""
    pixels = np.full((height_px, width_px, 3), (shade, 120, 60), np.uint8)
    return cv2.imencode(".jpg", pixels)[1].tobytes()


def still(carried: Layout | None = None, *, shade: int = 90) -> bytes:
    """A JPEG that a browser shows and that ``stand_in_read`` finds ``carried`` in."""
    chosen = layout() if carried is None else carried
    return picture(shade) + CARRIED + json.dumps(chosen.to_dict()).encode()


def taken(carried: Layout | None = None, *, shade: int = 90) -> bytes:
    """Such a JPEG taken anew: no camera gives the same bytes twice."""
    return still(carried, shade=shade) + b" " * next(_TAKEN)


def stand_in_read(data, calibration, *, name="", previous=None, taught=None) -> Layout:
    """Reads what ``still`` carries; refuses what the true reader's decoder refuses."""
    image, _, carried = data.partition(CARRIED)
    decode_still(image, name=name)
    return Layout.from_dict(json.loads(carried) | {"still": name})


@contextmanager
def running(
    data_dir: Path,
    *,
    port: int = 0,
    limits=None,
    paired=False,
    tls=None,
    code=None,
    sources=None,
    **settings,
) -> Iterator[str]:
    """A server on ``data_dir``; gives its address and stops it at the end.

    ``paired``: it lets only paired devices in, and ``code`` gets what makes codes: its door.
    ``tls``: it speaks that certificate; ``sources``: what requests may name.
    """
    chosen = {"read": stand_in_read, "store_url": URLS.get(data_dir)} | settings
    listener = bind("127.0.0.1", port)
    shown = address(listener)
    if tls is not None:
        shown = shown.replace("http:", "https:")
    if paired:
        fingerprint = None if tls is None else tls.fingerprint
        more = {} if sources is None else {"sources": sources}
        chosen["entry"] = Entry(
            address=shown, is_tls=tls is not None, fingerprint=fingerprint, **more
        )
    app = create_app(data_dir, **chosen)
    if code is not None:
        code(app.state.door)
    server = Server(app, limits=limits, tls=None if tls is None else tls.context())
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    give_up = time.monotonic() + START_S
    while not server.started:
        assert time.monotonic() < give_up, "the server did not start"
        time.sleep(0.005)
    try:
        yield shown
    finally:
        server.should_exit = True
        thread.join(START_S)
        with suppress(OSError):
            listener.close()
        assert not thread.is_alive(), "the server did not stop"


class Client(httpx.Client):
    """Calls the API with the shortest words."""

    def __init__(self, address: str, token: str | None = None) -> None:
        headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        super().__init__(base_url=f"{address}api/v1", timeout=20, verify=False, headers=headers)

    def calibrate(self) -> httpx.Response:
        """Set ``CALIBRATION``."""
        return self.put("/calibration", json=CALIBRATION.to_dict())

    def holds(self) -> dict:
        """What the service holds, as its health tells; the disk fills by itself."""
        told = self.get("/health").json()
        del told["disk_free_bytes"]
        return told

    def give(self, data: bytes, name: str = "still.jpg", **headers: str) -> httpx.Response:
        """Post a still as the body itself."""
        return self.post(
            "/stills",
            params={"name": name},
            content=data,
            headers={"Content-Type": "image/jpeg"} | headers,
        )

    def round(self, after_layout: Layout) -> httpx.Response:
        """Still, intent, still."""
        assert self.give(taken(), "before.jpg").status_code == 201
        assert self.put("/intent", json=INTENT).status_code == 200
        return self.give(taken(after_layout, shade=140), "after.jpg")


def assert_problem(answer: httpx.Response, status: int, code: str, *, text: str = "") -> dict:
    """Hold an answer to the one shape that every error has."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert set(body) >= {"type", "title", "status", "detail", "instance", "code"}
    assert body["status"] == status
    assert body["code"] == code
    assert body["title"]
    assert body["detail"].endswith((".", "?")), body["detail"]
    assert text in body["detail"]
    return body
