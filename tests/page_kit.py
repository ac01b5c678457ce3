"""Debian's Chromium, headless, and tabs that are held to silence and to their own server."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, expect, sync_playwright

CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser; fails, and says what to install, where there is none."""
    path = shutil.which("chromium")
    assert path, "chromium is not installed: `apt-get install chromium`, then test again"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=CHROMIUM_ARGUMENTS)
        yield browser
        browser.close()


class Tab:
    """A tab on ``address`` that is held to silence and to its own server."""

    def __init__(self, browser, address, **settings):
        self.address = address
        self.context = browser.new_context(**settings)
        self.complaints, self.asked = [], []

    def __enter__(self):
        page = self.context.new_page()
        page.on("console", lambda said: self.complaints.append(f"{said.text} {said.location}"))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", lambda dialog: self.complaints.append(f"dialog {dialog.message}"))
        page.on("request", lambda request: self.asked.append(request.url))
        page.goto(self.address)
        page.evaluate("window.isStillTheFirst = true")
        expect(page.locator("#link")).to_have_text("Live")
        return page

    def __exit__(self, kind, *_):
        self.context.close()
        if kind is None:
            assert self.complaints == [], "\n".join(self.complaints)
            assert self.asked
            assert [url for url in self.asked if not url.startswith(self.address)] == []
