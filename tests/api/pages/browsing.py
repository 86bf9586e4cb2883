"""A real browser before a real server, with an eye on what no page may do."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx2
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Playwright, Request

from tests.api.whole import whole_app

CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run",
]  # fmt: skip
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 900}
AXE = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "rules": {"target-size": {"enabled": True}, "color-contrast-enhanced": {"enabled": True}},
    "resultTypes": ["violations"],
}
"""WCAG 2.2 AA, with the size of targets, which axe leaves out unless told, and contrast at AAA (7:1)."""


@dataclass
class House:
    """A server on loopback and its owner's token."""

    address: str
    token: str
    server: uvicorn.Server
    folder: Path


@contextmanager
def house(
    folder: Path, environment: Mapping[str, str] | None = None, around: Callable[[Any], Any] = lambda app: app
) -> Iterator[House]:
    """A running server on an empty store.

    Args:
        around: puts something round the app through which every request passes.
    """
    listening = socket.create_server(("127.0.0.1", 0))
    address = f"http://127.0.0.1:{listening.getsockname()[1]}"
    app, token = whole_app(folder, address, environment)
    server = uvicorn.Server(uvicorn.Config(around(app), log_level="error"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    try:
        yield House(address, token, server, folder)
    finally:
        server.should_exit = True
        thread.join(30)


def launch(playwright: Playwright) -> Browser:
    """Debian's chromium."""
    return playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)


class Remote:
    """Speaks to a real server as its owner, beside the browser; has what of a test client puts units on record."""

    def __init__(self, at: House) -> None:
        self._client = httpx2.Client(base_url=at.address, headers={"Authorization": f"Bearer {at.token}"}, timeout=60)

    def get(self, url: str) -> httpx2.Response:
        return self._client.get(url)

    def put(self, url: str, *, json: Any, headers: Any = None) -> httpx2.Response:
        return self._client.put(url, json=json, headers=headers)

    def post(self, url: str, *, json: Any, headers: Any = None) -> httpx2.Response:
        return self._client.post(url, json=json, headers=headers)


@dataclass
class Watch:
    """Notes what a page may not do: errors on the console (a broken policy is one), requests to other hosts."""

    host: str
    errors: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)
    expected: tuple[str, ...] = ()
    """Parts of console messages that a test provokes on purpose, as a refused request."""

    def over(self, context: BrowserContext) -> None:
        """Watches every page of a context."""
        context.on("console", self._console)
        context.on("weberror", lambda error: self.errors.append(str(error.error)))
        context.on("request", self._request)

    def clean(self) -> None:
        """Raises AssertionError if anything was noted."""
        wrong = [one for one in self.errors if not any(part in one for part in self.expected)]
        assert not wrong, wrong
        assert not self.elsewhere, self.elsewhere

    def _console(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.errors.append(message.text)

    def _request(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in ("data", "blob") and parts.netloc != self.host:
            self.elsewhere.append(request.url)


def sign_in(page: Page, at: House) -> None:
    """Signs a browser on as owner, by the form."""
    page.goto(f"{at.address}/sign-in?next=/cards")
    page.fill("#token", at.token)
    page.click("main button")
    page.wait_for_url(lambda url: "/sign-in" not in url)


def accessible(page: Page) -> None:
    """Raises AssertionError for anything that axe finds."""
    found = Axe().run(page, options=AXE).response["violations"]
    said = [f"{one['id']}: {one['help']}: {node['html'][:160]}" for one in found for node in one["nodes"][:3]]
    assert not said, "\n".join(said)


def fits(page: Page) -> None:
    """Raises AssertionError if a page is wider than its window, so that a phone would scroll sideways."""
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, f"{wide} px too wide"
