"""What tests of the walk-round do in a browser."""

from __future__ import annotations

import os
import signal
import time
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.api.pages.browsing import CHROMIUM, FLAGS, PHONE, House, Remote, sign_in
from tests.api.pages.whole_unit import FAULTY

AWAY = ("net::ERR_INTERNET_DISCONNECTED", "net::ERR_FAILED")
"""What a browser says where there is no signal."""
WALK = f"/unit/{FAULTY}/walk-round"


def photo() -> bytes:
    """A photo as a phone takes it, larger than what is sent."""
    file = BytesIO()
    Image.effect_noise((3000, 1500), 60).convert("RGB").save(file, "JPEG", quality=60)
    return file.getvalue()


def open_walk(page: Page, at: House) -> None:
    """Signs on and opens the page, until it works without a signal."""
    sign_in(page, at)
    page.goto(at.address + WALK)
    expect(page.locator("#ready")).to_have_text("Works without a signal.")


def begin(page: Page, hours: str = "", purpose: str = "The whole machine") -> None:
    """Begins a walk with what is chosen already, for what begins with ``purpose``."""
    page.fill("[name=hours]", hours)
    page.get_by_role("button", name="Begin", exact=True).click()
    page.get_by_role("button", name=purpose).click()
    expect(page.locator(".controls, .all")).to_be_visible()


def go(page: Page, station: str, meaning: str) -> None:
    """To one thing, or one look, by the list."""
    page.get_by_role("button", name="List").click()
    place = page.locator("details.station").filter(has=page.locator("summary", has_text=f"{station} ·"))
    if place.get_attribute("open") is None:
        place.locator("> summary").click()
    there = place.get_by_role("button", name=meaning)
    if not there.count():
        place.locator("details > summary").click()
    there.first.click()
    expect(page.locator("h1")).to_have_text(meaning)


def slow(page: Page) -> None:
    """Holds the device's store for a second, so that what is written to it meanwhile is kept only then."""
    page.evaluate("""() => new Promise((held) => {
        indexedDB.open("setup-audit-walks").onsuccess = (event) => {
            const answers = event.target.result.transaction("answers", "readwrite").objectStore("answers");
            const until = Date.now() + 1000;
            const again = () => { if (Date.now() < until) answers.count().onsuccess = again; };
            again();
            held();
        };
    })""")


def fill_up(page: Page) -> None:
    """Makes the device's store throw what a browser throws at a full disk, until ``room()`` is called in the page."""
    page.evaluate("""() => {
        const put = IDBObjectStore.prototype.put;
        window.room = () => { IDBObjectStore.prototype.put = put; };
        IDBObjectStore.prototype.put = () => { throw new DOMException("full", "QuotaExceededError"); };
    }""")


def forward(page: Page) -> None:
    """To the next thing."""
    before = page.locator("#walk").get_attribute("data-step")
    page.get_by_role("button", name="Next").click()
    expect(page.locator("#walk")).not_to_have_attribute("data-step", before or "")


def drum(page: Page) -> None:
    """Answers for the drum: left raised, right lowered."""
    go(page, "Feeder house", "Height of the drum at the intake end of the feeder house")
    left, right = page.get_by_role("group", name="left"), page.get_by_role("group", name="right")
    left.locator("label").filter(has_text="raised").click()
    right.locator("label").filter(has_text="lowered").click()


def finish(page: Page) -> None:
    """Sums up, finishes and sends."""
    page.get_by_role("button", name="List").click()
    page.get_by_role("button", name="Summary").click()
    page.get_by_role("button", name="Finish and send").click()


def setups(asks: Remote) -> list[dict[str, Any]]:
    """Setups of the unit, the last recorded first."""
    found: list[dict[str, Any]] = asks.get(f"/units/{FAULTY}/setups").json()["items"]
    return found


def content(asks: Remote) -> dict[str, Any]:
    """The newest setup as it is kept."""
    found: dict[str, Any] = asks.get(f"/units/{FAULTY}/setups/{setups(asks)[0]['id']}").json()["content"]
    return found


def processes(folder: Path) -> list[int]:
    """Ids of the processes of the browser that keeps its things in a folder of this test."""
    found = []
    for one in Path("/proc").iterdir():
        if one.name.isdigit():
            try:
                if f"--user-data-dir={folder}" in (one / "cmdline").read_bytes().decode("utf-8", "replace"):
                    found.append(int(one.name))
            except OSError:
                continue
    return found


def own_browser(chromium: Browser, folder: Path) -> BrowserContext:
    """A browser with a folder of its own, as a phone's is."""
    return chromium.browser_type.launch_persistent_context(
        folder,
        executable_path=CHROMIUM,
        args=FLAGS,
        viewport=PHONE,  # type: ignore[arg-type]
    )


def kill(folder: Path) -> None:
    """Ends that browser as an empty battery does."""
    for process in processes(folder):
        os.kill(process, signal.SIGKILL)
    deadline = time.monotonic() + 20
    while processes(folder) and time.monotonic() < deadline:
        time.sleep(0.1)
    (folder / "SingletonLock").unlink(missing_ok=True)
