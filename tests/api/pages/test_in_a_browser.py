"""Every page in a real browser: nothing on the console, nothing from another host, no obstacle, no sideways scrolling."""

from __future__ import annotations

from playwright.sync_api import Page

from tests.api.pages.browsing import House, accessible, fits


def test_signing_on_on_a_phone(at: House, phone: Page) -> None:
    phone.goto(f"{at.address}/sign-in")
    accessible(phone)
    fits(phone)
