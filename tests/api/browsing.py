"""A real browser for tests of the pages: Debian's Chromium, driven from outside."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect, sync_playwright

PHONE, DESK = (360, 740), (1440, 900)
PATIENCE_MS = 30_000
"""How long a page may take to come to what is expected of it, on a machine with much to do."""

expect.set_options(timeout=PATIENCE_MS)

ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser; the test is skipped where none is installed."""
    found = shutil.which("chromium")
    if found is None:
        pytest.skip("no chromium is installed to show the page in")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=ARGUMENTS)
        yield browser
        browser.close()


class Way:
    """The way from a page to some addresses of the server: cut, until it is mended.

    A page asks again by itself, and nobody knows just when: held up, all that it asks waits, so
    that what it shows meanwhile stays until it has been looked at.
    """

    def __init__(self, page: Page, addresses: str) -> None:
        self._state = "cut"
        self._waiting: list[Route] = []
        page.route(addresses, self._met)

    def _met(self, route: Route) -> None:
        if self._state == "cut":
            route.abort()
        elif self._state == "held up":
            self._waiting.append(route)
        else:
            route.continue_()

    def hold_up(self) -> None:
        """Let nothing come through or fail from now on."""
        self._state = "held up"

    def let_one_through(self) -> None:
        """Let through what has been waiting longest."""
        self._waiting.pop(0).continue_()

    def mend(self) -> None:
        """Let everything through, also what has been waiting."""
        self._state = "mended"
        while self._waiting:
            self.let_one_through()


class Seat:
    """Somebody at a window of their own, and what the browser complained of there."""

    def __init__(self, browser: Browser, base: str, size: tuple[int, int] = DESK) -> None:
        self.base = base.rstrip("/")
        self.complaints: list[str] = []
        self.hosts: set[str] = set()
        self.allowed: list[str] = []
        self.context: BrowserContext = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, locale="en-US", timezone_id="UTC"
        )
        self.context.set_default_timeout(PATIENCE_MS)
        self.context.on("weberror", lambda error: self.complaints.append(str(error.error)))
        self.context.on("console", lambda said: self._said(said.type, said.text))
        self.context.on("request", lambda request: self._asked(request.url))
        self.page: Page = self.context.new_page()

    def _said(self, kind: str, text: str) -> None:
        if kind in ("error", "warning") and not any(known in text for known in self.allowed):
            self.complaints.append(text)

    def _asked(self, url: str) -> None:
        # The browser's own viewer of PDFs is no request of the page.
        if url.startswith("http"):
            self.hosts.add(urlsplit(url).netloc)

    def open(self, path: str) -> Page:
        """The page at a path of the server."""
        self.page.goto(f"{self.base}{path}")
        return self.page

    def end(self) -> None:
        """Leave; nothing was asked of another host, and the browser had nothing to complain of."""
        self.context.close()
        assert self.hosts <= {urlsplit(self.base).netloc}
        assert self.complaints == [], self.complaints
