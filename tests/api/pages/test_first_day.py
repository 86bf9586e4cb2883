"""A first day in a real browser: an empty service, a machine, its setup by the form, held, put right, cleared."""

from __future__ import annotations

import re

from playwright.sync_api import Page, Response

from api.environment import rulebook
from tests.api.legal import legal_setup
from tests.api.pages.browsing import House, Remote, Watch, accessible, fits, sign_in
from tests.api.pages.whole_unit import WHOLE, whole

MOST_BYTES = 100_000
"""Of a page with all its files, as they come over the line."""


class Scale:
    """Weighs what a page and its files bring over the line, by the browser's own count."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._seen: list[Response] = []
        self.names: dict[str, int] = {}
        page.on("response", lambda one: self._seen.append(one))

    def weigh(self, name: str) -> int:
        """Bytes of everything since the last weighing."""
        self._page.wait_for_load_state("networkidle")
        answers = [one for one in self._seen if one.status != 303 and one.request.method != "OPTIONS"]
        self._seen.clear()
        self.names[name] = sum(one.request.sizes()["responseBodySize"] for one in answers)
        return self.names[name]


def good(page: Page, scale: Scale, name: str) -> None:
    """Raises AssertionError unless a page is light, accessible and as wide as a phone."""
    weight = scale.weigh(name)
    assert 0 < weight < MOST_BYTES, (name, scale.names)
    accessible(page)
    fits(page)


def test_from_the_first_visit_to_a_start_that_counts(at: House, phone: Page, watch: Watch) -> None:
    watch.expected = ("409",)
    scale = Scale(phone)
    sign_in(phone, at)
    scale.weigh("sign-in and cards")

    phone.goto(f"{at.address}/")
    good(phone, scale, "first steps")
    phone.fill("#new-id", WHOLE)
    phone.select_option("#new-card", str(legal_setup(rulebook(), "corn")["unit"]["card"]))
    phone.fill("#new-serial", "KX-01822")
    phone.get_by_role("button", name="Put it on record").click()
    phone.wait_for_url(f"**/unit/{WHOLE}")
    good(phone, scale, "unit without a setup")

    phone.goto(f"{at.address}/unit/{WHOLE}/setup?crop=corn&header_kind=corn-head")
    good(phone, scale, "setup entry")
    phone.get_by_role("button", name="Record it").click()
    phone.wait_for_url(re.compile(rf"/unit/{WHOLE}(?!/setup\?)"))
    good(phone, scale, "setup entered")

    phone.goto(f"{at.address}/unit/{WHOLE}/start")
    good(phone, scale, "may it start")
    phone.get_by_role("button", name="Ask for the start").click()
    assert phone.get_by_role("alert").inner_text().startswith("The start is held")
    good(phone, scale, "held")

    whole(Remote(at))
    phone.goto(f"{at.address}/unit/{WHOLE}/start")
    assert phone.locator(".state.cleared").count() == 1
    phone.fill("#engine_hours", "901")
    phone.get_by_role("button", name="Ask for the start").click()
    phone.wait_for_url("**/start/start-*")
    assert phone.locator("figure.code svg").count() == 1
    good(phone, scale, "cleared")
    phone.get_by_role("link", name="/verify/").click()
    phone.wait_for_url("**/verify/**")
    assert "This start counts until" in phone.inner_text("main")
    good(phone, scale, "verify")
    for path in ("fleet", f"unit/{WHOLE}", f"unit/{WHOLE}/walk-round"):
        phone.goto(f"{at.address}/{path}")
        assert scale.weigh(path) < MOST_BYTES, scale.names
