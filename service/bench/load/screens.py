"""Open practice pages: each hears what happens and fetches what its script would fetch."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import httpx2

from service.client import Client

_PARTS = ("strip", "parts", "so-far")
_NEW, _SAME = 200, 304


class Screen:
    """One page that is open beside the service on ``port``."""

    def __init__(self, port: int) -> None:
        self._base = f"http://127.0.0.1:{port}"
        self._client = Client(self._base)
        self._due = threading.Event()
        self._closed = False
        self._threads = [
            threading.Thread(target=run, daemon=True) for run in (self._listen, self._fetch)
        ]
        self.fetched, self.same = 0, 0
        """Parts that came new, and those that were as before."""

    def open(self) -> None:
        """Begin."""
        for thread in self._threads:
            thread.start()

    def close(self) -> None:
        """No more is fetched; what is under way ends."""
        self._closed = True
        self._due.set()
        self._threads[1].join()
        self._client.close()

    def _listen(self) -> None:
        # a closed client ends it
        with suppress(Exception):
            for _ in self._client.events():
                self._due.set()

    def _fetch(self) -> None:
        tags: dict[str, str] = {}
        with httpx2.Client(base_url=self._base, timeout=60.0) as client:
            while self._due.wait() and not self._closed:
                self._due.clear()
                for part in _PARTS:
                    known = {"If-None-Match": tags[part]} if part in tags else {}
                    answer = client.get(f"/{part}", headers=known)
                    self.fetched += answer.status_code == _NEW
                    self.same += answer.status_code == _SAME
                    if "etag" in answer.headers:
                        tags[part] = answer.headers["etag"]


@contextmanager
def open_screens(port: int, count: int) -> Iterator[list[Screen]]:
    """So many pages open, closed at the end."""
    screens = [Screen(port) for _ in range(count)]
    for screen in screens:
        screen.open()
    try:
        yield screens
    finally:
        for screen in screens:
            screen.close()
