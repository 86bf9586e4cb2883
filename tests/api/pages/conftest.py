"""A service in a folder, and a browser's client that is signed on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.api.pages.browsing import DESK, PHONE, House, Watch, house, launch
from tests.api.whole import whole_app


@pytest.fixture
def stranger(tmp_path: Path) -> Iterator[TestClient]:
    """A client that nobody is signed on with; ``client.token`` is the owner's."""
    app, token = whole_app(tmp_path)
    with TestClient(app, follow_redirects=False, headers={"Sec-Fetch-Site": "same-origin"}) as client:
        client.token = token  # type: ignore[attr-defined]
        yield client


@pytest.fixture
def owner(stranger: TestClient) -> TestClient:
    """The same, signed on as owner."""
    answer = stranger.post("/sign-in", data={"token": stranger.token})  # type: ignore[attr-defined]
    assert answer.status_code == 303
    return stranger


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One browser for all tests of a process, which may be slow: what is expected of a page may take as long as a click."""
    expect.set_options(timeout=30_000)
    with sync_playwright() as playwright:
        found = launch(playwright)
        yield found
        found.close()


@pytest.fixture
def at(tmp_path: Path) -> Iterator[House]:
    """A running server on an empty store."""
    with house(tmp_path) as found:
        yield found


@pytest.fixture
def watch(at: House) -> Iterator[Watch]:
    """What pages may not do is looked for, and must not have happened when a test ends."""
    found = Watch(urlsplit(at.address).netloc)
    yield found
    found.clean()


@pytest.fixture
def phone(chromium: Browser, watch: Watch) -> Iterator[Page]:
    """A page of a phone's size, in a context of its own."""
    context = chromium.new_context(viewport=PHONE, has_touch=True, is_mobile=True)  # type: ignore[arg-type]
    watch.over(context)
    yield context.new_page()
    context.close()


@pytest.fixture
def desk(chromium: Browser, watch: Watch) -> Iterator[Page]:
    """A page of a desk screen's size, in a context of its own."""
    context = chromium.new_context(viewport=DESK)  # type: ignore[arg-type]
    watch.over(context)
    yield context.new_page()
    context.close()
