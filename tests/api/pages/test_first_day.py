"""A first day in a real browser: an empty service, a machine, its setup by the form, held, put right, cleared."""

from __future__ import annotations

import re

from playwright.sync_api import Page

from api.environment import rulebook
from tests.api.legal import legal_setup
from tests.api.pages.browsing import House, Remote, Watch, accessible, fits, sign_in
from tests.api.pages.whole_unit import WHOLE, whole


def good(page: Page) -> None:
    """Raises AssertionError unless a page is accessible and as wide as a phone."""
    page.wait_for_load_state("networkidle")
    accessible(page)
    fits(page)


def test_from_the_first_visit_to_a_start_that_counts(at: House, phone: Page, watch: Watch) -> None:
    watch.expected = ("409",)
    sign_in(phone, at)

    phone.goto(f"{at.address}/")
    good(phone)
    phone.fill("#new-id", WHOLE)
    phone.select_option("#new-card", str(legal_setup(rulebook(), "corn")["unit"]["card"]))
    phone.fill("#new-serial", "KX-01822")
    phone.get_by_role("button", name="Put it on record").click()
    phone.wait_for_url(f"**/unit/{WHOLE}")
    good(phone)

    phone.goto(f"{at.address}/unit/{WHOLE}/setup?crop=corn&header_kind=corn-head")
    good(phone)
    phone.get_by_role("button", name="Record it").click()
    phone.wait_for_url(re.compile(rf"/unit/{WHOLE}(?!/setup\?)"))
    good(phone)

    phone.goto(f"{at.address}/unit/{WHOLE}/start")
    good(phone)
    phone.get_by_role("button", name="Ask for the start").click()
    assert phone.get_by_role("alert").inner_text().startswith("The start is held")
    good(phone)

    whole(Remote(at))
    phone.goto(f"{at.address}/unit/{WHOLE}/start")
    assert phone.locator(".state.cleared").count() == 1
    phone.fill("#engine_hours", "901")
    phone.get_by_role("button", name="Ask for the start").click()
    phone.wait_for_url("**/start/start-*")
    assert phone.locator("figure.code svg").count() == 1
    good(phone)
    phone.get_by_role("link", name="/verify/").click()
    phone.wait_for_url("**/verify/**")
    assert "This start counts until" in phone.inner_text("main")
    good(phone)
