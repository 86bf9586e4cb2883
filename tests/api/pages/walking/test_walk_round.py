"""The walk round a machine in a real browser, as it goes in a yard: no signal, a dead battery, two phones."""

from __future__ import annotations

import json
import time
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from api.pages.view import PREFERENCES
from tests.api.pages.browsing import House, Remote, Watch, accessible, fits, sign_in
from tests.api.pages.walking.walking import (
    AWAY,
    WALK,
    begin,
    content,
    drum,
    fill_up,
    finish,
    forward,
    go,
    kill,
    open_walk,
    own_browser,
    photo,
    setups,
    slow,
)
from tests.api.pages.whole_unit import FAULTY


def test_a_walk_without_a_signal_is_sent_whole_when_there_is_one(
    at: House, asks: Remote, phone: Page, watch: Watch
) -> None:
    watch.expected = AWAY
    open_walk(phone, at)
    phone.context.set_offline(True)
    phone.reload()
    begin(phone, "1850,5")
    drum(phone)
    expect(phone.locator(".verdicts")).to_contain_text("Feeder house drum set for another crop")
    phone.locator("input.file").set_input_files({"name": "drum.jpg", "mimeType": "image/jpeg", "buffer": photo()})
    expect(phone.locator("#photos img")).to_have_count(1)
    phone.locator("summary").click()
    phone.locator("textarea").fill("Pin bent on the right")
    forward(phone)
    go(phone, "Feeder house", "Gap between the sheave halves of the feeder variable drive")
    phone.get_by_label("What you found").fill("5/32")
    expect(phone.locator(".verdicts")).to_contain_text("As it must be")
    go(phone, "Feeder house", "The washer of the conveyor chain's spring sits in the notch of its gauge")
    phone.get_by_role("button", name="Can't tell").click()
    phone.reload()  # nothing is forgotten
    finish(phone)
    expect(phone.locator("#unsent")).to_contain_text("Send now (1 waiting)")
    expect(phone.locator("h1")).to_have_text("Finished and kept on this device")
    assert len(setups(asks)) == 1
    phone.reload()
    expect(phone.locator("#unsent")).to_contain_text("Send now (1 waiting)")
    phone.context.set_offline(False)
    expect(phone.locator("#unsent")).to_contain_text("Nothing waits to be sent.", timeout=20000)
    kept = content(asks)
    assert kept["settings"]["feeder.drum"] == {"left": "raised", "right": "lowered"}
    assert kept["readings"] == {"feeder.sheave_gap": "5/32 in"}
    assert kept["unit"]["engine_hours"] == "1850,5 h"
    newest = setups(asks)[0]
    assert newest["engine_hours"] == pytest.approx(1850.5)
    where = f"/units/{FAULTY}/setups/{newest['id']}"
    (kept_photo,) = asks.get(f"{where}/photos").json()["items"]
    assert (kept_photo["quantity"], kept_photo["media"]) == ("feeder.drum", "image/jpeg")
    sent = asks.get(f"{where}/photos/{kept_photo['id']}").content
    assert sha256(sent).hexdigest() == kept_photo["digest"]
    assert Image.open(BytesIO(sent)).size == (2048, 1024)
    (note,) = asks.get(f"{where}/notes").json()["items"]
    assert (note["quantity"], note["text"]) == ("feeder.drum", "Pin bent on the right")


def test_a_browser_that_is_killed_in_the_middle_has_every_answer(
    at: House, asks: Remote, tmp_path: Path, chromium: Browser
) -> None:
    folder = tmp_path / "phone"
    context = own_browser(chromium, folder)
    page = context.pages[0]
    open_walk(page, at)
    begin(page)
    drum(page)
    expect(page.locator(".verdicts")).to_contain_text("Feeder house drum")
    forward(page)
    step = page.locator("#walk").get_attribute("data-step")
    kill(folder)
    context = own_browser(chromium, folder)
    page = context.pages[0]
    sign_in(page, at)  # the cookie may not have been on the disk yet
    page.goto(at.address + WALK)
    expect(page.locator("#walk")).to_have_attribute("data-step", step or "")
    finish(page)
    expect(page.locator("h1")).to_have_text("Recorded")
    context.close()
    assert content(asks)["settings"]["feeder.drum"] == {"left": "raised", "right": "lowered"}


def test_two_devices_on_one_machine_are_both_kept_and_the_page_says_so(
    at: House, asks: Remote, phone: Page, desk: Page
) -> None:
    for page in (phone, desk):
        open_walk(page, at)
        begin(page)
        drum(page)
    for page in (phone, desk):
        finish(page)
        expect(page.locator("h1")).to_have_text("Recorded")
    assert len(setups(asks)) == 3
    expect(desk.locator("main")).to_contain_text("Other setups of this machine recorded in between: 1.")
    expect(phone.locator("main")).not_to_contain_text("in between")


def test_a_lost_answer_is_asked_for_again_and_recorded_once(at: House, asks: Remote, phone: Page, watch: Watch) -> None:
    watch.expected = AWAY
    open_walk(phone, at)
    begin(phone)
    drum(phone)
    sent: list[str] = []

    def lose(route: Route) -> None:
        sent.append(route.request.headers["idempotency-key"])
        if len(sent) == 1:
            route.fetch()  # the server has done it, and its answer never comes
            route.abort()
        else:
            route.continue_()

    phone.route("**/units/*/setups", lose)
    finish(phone)
    expect(phone.locator("#unsent")).to_contain_text("The server can't be reached.")
    phone.get_by_role("button", name="Send now (1 waiting)").click()
    expect(phone.locator("h1")).to_have_text("Recorded")
    assert len(sent) == 2
    assert len(set(sent)) == 1
    assert len(setups(asks)) == 2


def test_a_server_that_is_gone_loses_nothing(at: House, asks: Remote, phone: Page, watch: Watch) -> None:
    watch.expected = (*AWAY, "503")
    open_walk(phone, at)
    begin(phone)
    drum(phone)
    phone.locator("input.file").set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photo()})
    expect(phone.locator("#photos img")).to_have_count(1)
    phone.locator("summary").click()
    phone.locator("textarea").fill("Pin bent on the right")
    phone.route("**/units/*/setups", lambda route: route.fulfill(status=503, body="{}"))
    finish(phone)
    expect(phone.locator("#unsent")).to_contain_text("The server can't be reached.")
    assert len(setups(asks)) == 1
    with phone.expect_download() as saved:
        phone.get_by_role("button", name="Save to a file").click()
    file = json.loads(Path(saved.value.path()).read_text())
    assert [one["sides"] for one in file["answers"]] == [["raised", "lowered"]]
    phone.unroute("**/units/*/setups")
    phone.get_by_role("button", name="Send now (1 waiting)").click()
    expect(phone.locator("h1")).to_have_text("Recorded")
    # the file itself can be sent from anywhere
    phone.goto(f"{at.address}/unit/{FAULTY}/setup")
    phone.set_input_files("#setup", saved.value.path())
    phone.get_by_role("button", name="Send the file").click()
    expect(phone.locator("h1")).to_have_text("Setup 3")
    expect(phone.locator("main")).to_contain_text("Pin bent on the right")
    expect(phone.locator("img.seen")).to_have_count(1)


def test_who_is_signed_off_signs_on_again_and_loses_nothing(at: House, asks: Remote, phone: Page, watch: Watch) -> None:
    watch.expected = ("401",)
    open_walk(phone, at)
    begin(phone)
    drum(phone)
    phone.context.clear_cookies()
    finish(phone)
    expect(phone.locator("#unsent")).to_contain_text("Send now (1 waiting)")
    phone.get_by_role("link", name="Sign in again to send; nothing is lost").click()
    phone.fill("#token", at.token)
    phone.click("main button")
    phone.wait_for_url(f"**{WALK}")
    expect(phone.locator("#unsent")).to_contain_text("Nothing waits to be sent.")
    assert content(asks)["settings"]["feeder.drum"] == {"left": "raised", "right": "lowered"}


@pytest.mark.usefixtures("asks")
def test_what_the_server_refuses_is_told_of_and_put_right(at: House, phone: Page, watch: Watch) -> None:
    watch.expected = ("422",)
    open_walk(phone, at)
    begin(phone)
    drum(phone)
    phone.clock.set_fixed_time(time.time() + 86400)  # the phone's clock is wrong
    finish(phone)
    expect(phone.locator("[role=alert].wrong")).to_contain_text("so one of the clocks is wrong")
    expect(phone.locator("#unsent")).to_contain_text("Send now (1 waiting)")
    phone.clock.set_fixed_time(time.time())
    phone.get_by_role("button", name="Open it again and put it right").click()
    finish(phone)
    expect(phone.locator("h1")).to_have_text("Recorded")


@pytest.mark.usefixtures("asks")
def test_what_the_server_refuses_names_the_thing_in_the_reader_s_language(at: House, phone: Page, watch: Watch) -> None:
    watch.expected = ("422",)
    open_walk(phone, at)
    begin(phone)
    drum(phone)
    phone.context.add_cookies([{"name": PREFERENCES, "value": "de.card", "url": at.address}])
    phone.evaluate("""() => {
        const real = window.fetch;
        window.fetch = (path, sent) =>
            real(path, typeof sent?.body === "string" ? { ...sent, body: sent.body.replace('"raised"', '"half"') } : sent);
    }""")  # as if the card had changed meanwhile, and the word were none any more
    finish(phone)
    problem = phone.locator("[role=alert].wrong li")
    expect(problem).to_contain_text("Height of the drum at the intake end of the feeder house")
    expect(problem).to_contain_text("ist 'half'; möglich sind: raised (angehoben), lowered (abgesenkt).")
    assert "settings/" not in problem.inner_text()


@pytest.mark.usefixtures("asks")
def test_a_rulebook_that_was_changed_meanwhile_is_told_of(at: House, phone: Page) -> None:
    def older(route: Route) -> None:
        answer = route.fetch()
        route.fulfill(response=answer, json={**answer.json(), "rulebook": "0" * 64})

    phone.route("**/walk-round.json*", older)
    open_walk(phone, at)
    begin(phone)
    drum(phone)
    finish(phone)
    expect(phone.locator("main")).to_contain_text("The rulebook was changed meanwhile.")


@pytest.mark.usefixtures("asks")
def test_a_full_device_says_so_and_keeps_what_it_has(at: House, phone: Page) -> None:
    open_walk(phone, at)
    begin(phone)
    drum(phone)
    fill_up(phone)  # how much fits is the browser's own affair
    step = phone.locator("#walk").get_attribute("data-step") or ""
    full = phone.locator("#trouble").get_by_text("This device is full: the last answer was NOT kept.")
    phone.get_by_role("button", name="Can't tell").click()
    expect(full).to_be_visible()
    phone.get_by_role("button", name="Next", exact=True).click()
    expect(full).to_be_visible()
    expect(phone.locator("#walk")).to_have_attribute("data-step", step)
    phone.get_by_role("button", name="List", exact=True).click()  # all that is kept can still be seen, and sent
    expect(phone.locator("h1")).to_have_text("List")
    expect(full).to_be_visible()
    phone.reload()
    expect(phone.get_by_role("group", name="left").get_by_role("radio", checked=True)).to_have_value("raised")


@pytest.mark.usefixtures("asks")
def test_what_a_full_device_did_not_keep_is_kept_once_there_is_room(at: House, phone: Page) -> None:
    open_walk(phone, at)
    begin(phone)
    go(phone, "Feeder house", "Thickness of the conveyor's wear strips still there")
    fill_up(phone)
    phone.get_by_label("left", exact=True).fill("6")
    expect(phone.locator("#trouble")).to_contain_text("This device is full: the last answer was NOT kept.")
    phone.evaluate("room()")
    forward(phone)
    expect(phone.locator("#trouble")).to_be_empty()
    phone.get_by_role("button", name="Back", exact=True).click()
    expect(phone.get_by_label("left", exact=True)).to_have_value("6")


@pytest.mark.usefixtures("asks")
def test_by_keyboard_alone(at: House, desk: Page) -> None:
    open_walk(desk, at)
    begin(desk)
    go(desk, "Header and coupling", "The header's pins match the feeder house face")
    expect(desk.locator("h1")).to_be_focused()
    for _ in range(10):
        desk.keyboard.press("Tab")
        if desk.evaluate("document.activeElement.type") == "radio":
            break
    desk.keyboard.press("Space")
    expect(desk.get_by_role("radio", name="yes")).to_be_checked()
    assert desk.evaluate("getComputedStyle(document.activeElement.nextElementSibling).outlineStyle") == "solid"
    step = desk.locator("#walk").get_attribute("data-step")
    for _ in range(12):
        desk.keyboard.press("Tab")
        if desk.evaluate("document.activeElement.textContent") == "Next":
            break
    desk.keyboard.press("Enter")
    expect(desk.locator("#walk")).not_to_have_attribute("data-step", step or "")


def test_the_keyboard_s_own_next_leads_from_side_to_side_and_on(at: House, asks: Remote, phone: Page) -> None:
    open_walk(phone, at)
    begin(phone)
    go(phone, "Feeder house", "Thickness of the conveyor's wear strips still there")
    step = phone.locator("#walk").get_attribute("data-step") or ""
    phone.get_by_label("left", exact=True).fill("6")
    phone.get_by_label("left", exact=True).press("Enter")
    expect(phone.get_by_label("right", exact=True)).to_be_focused()
    phone.keyboard.type("5,")
    expect(phone.locator(".verdicts .wrong")).to_be_visible()
    slow(phone)  # the last key is still on its way when the next step is asked for
    phone.keyboard.type("5")
    phone.keyboard.press("Enter")
    expect(phone.locator("#walk")).not_to_have_attribute("data-step", step)
    finish(phone)
    expect(phone.locator("h1")).to_have_text("Recorded")
    assert content(asks)["readings"] == {"feeder.wear_strip_left": {"left": "6 mm", "right": "5,5 mm"}}


@pytest.mark.usefixtures("asks")
def test_every_kind_of_step_is_big_enough_and_has_no_obstacle(at: House, phone: Page) -> None:
    open_walk(phone, at)
    accessible(phone)
    fits(phone)
    begin(phone)
    things = (
        ("The job", "State of the crop that changes a setting"),
        ("Header and coupling", "Header lock pins are fully home"),
        ("Feeder house", "Height of the drum at the intake end of the feeder house"),
        ("Feeder house", "Gap between the sheave halves of the feeder variable drive"),
        ("Feeder house", "Thickness of the conveyor's wear strips still there"),
        ("Feeder house", "The feeder house drum was moved"),
    )
    for station, meaning in things:
        go(phone, station, meaning)
        phone.evaluate("window.scrollTo(0, document.body.scrollHeight)")  # past what the bar at the bottom covers
        accessible(phone)
        fits(phone)
        for control in phone.locator(
            "main button:visible, .pick, main input:visible:not([type=radio], .file), main select:visible"
        ).all():
            box = control.bounding_box()
            assert box is not None
            assert box["height"] >= 56, (meaning, control.inner_text(), box)
    phone.get_by_role("button", name="List").click()
    phone.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    accessible(phone)
    fits(phone)
    phone.get_by_role("button", name="Summary").click()
    accessible(phone)
    fits(phone)


@pytest.mark.usefixtures("asks")
def test_what_cannot_be_read_does_not_move_on(at: House, phone: Page) -> None:
    open_walk(phone, at)
    begin(phone)
    go(phone, "Feeder house", "Gap between the sheave halves of the feeder variable drive")
    step = phone.locator("#walk").get_attribute("data-step")
    for wrong in ("a lot", "900"):
        phone.get_by_label("What you found").fill(wrong)
        expect(phone.locator(".verdicts .wrong")).to_be_visible()
        phone.get_by_role("button", name="Next").click()
        expect(phone.locator("#walk")).to_have_attribute("data-step", step or "")
    phone.get_by_role("button", name="List").click()
    phone.get_by_role("button", name="Summary").click()
    expect(phone.get_by_role("button", name="Finish and send")).to_be_disabled()


def test_a_reader_may_look_and_is_told_who_records(at: House, asks: Remote, phone: Page) -> None:
    made = asks.post("/tokens", json={"name": "board", "role": "reader"}).json()
    phone.goto(f"{at.address}/sign-in?next={WALK}")
    phone.fill("#token", made["secret"])
    phone.click("main button")
    expect(phone.locator("main")).to_contain_text("A recorder, a mechanic, an approver or an owner can.")
    expect(phone.get_by_role("button", name="Begin", exact=True)).to_have_count(0)
