"""One store measured in one browser."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path
from statistics import median
from threading import Thread
from typing import TYPE_CHECKING, Any

from calibration.errors import RestmarkError
from service.api import create_app
from service.api.serve import Server, bind
from service.bench.growth.drawn import calibration
from service.bench.growth.filled import fill

from .carried import INTENT, after_still, before_still, read_carried

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

PAGES = ("", "setup", "layouts", "plans", "progress", "attempts/1", "docs")
_HOST = "127.0.0.1"
_WAIT_MS = 20_000
_ZONE = """(choice) => new Promise((done) => {
  const began = performance.now();
  const look = () => {
    const found = document.querySelector('#own-zone .plan-zone');
    requestAnimationFrame(found ? () => done(performance.now() - began) : look);
  };
  document.querySelector(`[data-choice="${choice}"]`).click();
  look();
})"""
_SEEN = """(attempt) => new Promise((done) => {
  const part = document.getElementById('verdict');
  const look = () => {
    if (part.dataset.attempt === attempt || part.dataset.stage !== 'judged') return;
    requestAnimationFrame(() => done(Date.now()));
  };
  new MutationObserver(look).observe(part, { attributes: true, childList: true });
})"""
_LOADED = """() => {
  const all = performance.getEntries().filter((one) => !one.name.includes('/api/'));
  const paint = performance.getEntriesByName('first-contentful-paint')[0];
  const loaded = all.reduce((sum, one) => sum + (one.decodedBodySize || 0), 0);
  const plots = [...document.querySelectorAll('svg.landings, svg.sessions')];
  const drawn = plots.reduce((sum, one) => sum + one.outerHTML.length, 0);
  // they come with the page, and again whenever its parts are fetched
  const isParts = (one) => new URL(one.name, location).pathname.endsWith('/parts');
  return [loaded - drawn * (1 + all.filter(isParts).length), paint?.startTime ?? null];
}"""


@contextmanager
def served(data_dir: Path, attempts: int) -> Iterator[int]:
    """A service on a store with that many attempts, in a thread of this process; its port."""
    if attempts:
        fill(data_dir, attempts)
    listener = bind(_HOST, 0)
    server = Server(create_app(data_dir, read=read_carried))
    thread = Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.005)
    port: int = listener.getsockname()[1]
    try:
        if not attempts:
            asked(port, "PUT", "/calibration", calibration())
        yield port
    finally:
        server.should_exit = True
        thread.join()
        listener.close()


def asked(port: int, method: str, path: str, body: bytes | dict[str, Any]) -> dict[str, Any]:
    """The API's answer.

    Raises:
        RestmarkError: code ``bench-failed``; it refuses.
    """
    connection = HTTPConnection(_HOST, port, timeout=60)
    is_still = isinstance(body, bytes)
    sent = body if isinstance(body, bytes) else json.dumps(body).encode()
    media_type = "image/jpeg" if is_still else "application/json"
    connection.request(method, f"/api/v1{path}", sent, {"Content-Type": media_type})
    answer = connection.getresponse()
    said = answer.read()
    connection.close()
    if answer.status >= 300:
        raise RestmarkError(
            f"{method} {path}: the service answered {answer.status} ({said[:200]!r}); allowed: a "
            "service that takes stills and intents. Look into what it says.",
            code="bench-failed",
        )
    found: dict[str, Any] = json.loads(said)
    return found


class Measuring:
    """Figures of one store, gathered turn by turn, so that two stores can take turns."""

    def __init__(self, browser: Browser, port: int) -> None:
        self._port = port
        self._context = browser.new_context(viewport={"width": 1180, "height": 820})
        self._verdict_ms: list[float] = []
        self._zone_ms: list[float] = []
        self._paint_ms: dict[str, list[float]] = {}
        self._bytes: dict[str, float] = {}
        self._turn = 0

    def turn(self) -> None:
        """A shot planned and judged, and every page opened once."""
        page = self._opened("")
        self._shot(page)
        page.close()
        for path in PAGES:
            page = self._opened(path)
            loaded, paint = page.evaluate(_LOADED)
            self._bytes[path] = max(loaded, self._bytes.get(path, 0))
            if paint is not None:
                self._paint_ms.setdefault(path, []).append(paint)
            page.close()

    def figures(self) -> dict[str, Any]:
        """Medians, ms; bytes of each page with all that it loads but stills and plots."""
        return {
            "verdict_ms": median(self._verdict_ms),
            "zone_ms": median(self._zone_ms),
            "first_paint_ms": {path: median(all_of) for path, all_of in self._paint_ms.items()},
            "page_bytes": self._bytes,
            "turns": self._turn,
        }

    def forget(self) -> None:
        """What was measured until now does not count."""
        self._verdict_ms.clear()
        self._zone_ms.clear()
        self._paint_ms.clear()

    def close(self) -> None:
        """The browser's side of it goes."""
        self._context.close()

    def _opened(self, path: str) -> Page:
        page = self._context.new_page()
        page.goto(f"http://{_HOST}:{self._port}/{path}", wait_until="load")
        page.wait_for_selector("#link[data-state='on']", timeout=_WAIT_MS)
        return page

    def _shot(self, page: Page) -> None:
        self._turn += 1
        name = f"{self._turn:03d}"
        asked(self._port, "POST", f"/stills?name={name}-before.jpg", before_still(self._turn))
        page.wait_for_selector("#plan-choices [data-choice='3']", timeout=_WAIT_MS)
        for choice in (INTENT["pot"], INTENT["pocket"], INTENT["next"]):
            page.locator(f"#plan-choices [data-choice='{choice}']").click()
        page.evaluate("document.getElementById('own-zone')?.replaceChildren()")
        self._zone_ms.append(page.evaluate(_ZONE, INTENT["next_pocket"]))
        page.wait_for_selector("#verdict[data-stage='play']", timeout=_WAIT_MS)
        attempt = page.locator("#verdict").get_attribute("data-attempt")
        page.evaluate(f"(was) => {{ window.seen = ({_SEEN})(was); }}", attempt)
        still = after_still(self._turn)
        given_ms = time.time() * 1e3
        asked(self._port, "POST", f"/stills?name={name}-after.jpg", still)
        self._verdict_ms.append(page.evaluate("window.seen") - given_ms)
