"""What is seen in one look: one press answers for what stands on the screen, one by one, and can be taken back."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, Route, expect

from api.environment import rulebook
from api.pages.assets import address
from api.pages.languages import languages
from api.pages.view import View
from api.pages.walking.checklist import checklist
from audit.auditor import Auditor
from audit.checking import Surroundings, judge
from audit.conditions import quantities
from audit.nouns.quantity import Form, Role
from audit.nouns.setup import Unit
from audit.sheet import Sheet
from tests.api.pages.browsing import House, Remote, Watch, accessible, fits, sign_in
from tests.api.pages.walking.walking import (
    AWAY,
    WALK,
    begin,
    content,
    finish,
    go,
    kill,
    open_walk,
    own_browser,
    setups,
)
from tests.api.pages.whole_unit import FAULTY

BELTS = ("feeder_variable_drive.condition", "header_drive.condition", "beater_drive.condition")
"""Belts at the feeder house of the unit's card."""
LOOKED = re.compile(r"look \d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")


def row(page: Page, name: str) -> Locator:
    return page.get_by_role("region", name=name, exact=True)


def pick(page: Page, name: str, answer: str) -> None:
    row(page, name).locator("label").filter(has_text=re.compile(f"^{answer}$")).click()
    expect(row(page, name).get_by_role("radio", name=answer)).to_be_checked()


def take_all(page: Page, said: str) -> None:
    """Presses the button that says so, and waits until the walk has moved on."""
    step = page.locator("#walk").get_attribute("data-step")
    page.get_by_role("button", name=said, exact=True).click()
    expect(page.locator("#walk")).not_to_have_attribute("data-step", step or "")


def looked(value: str | bool) -> dict[str, Any]:
    return {"value": value, "with": "look"}


def readings(kept: dict[str, Any]) -> dict[str, Any]:
    """Readings of a setup, the time of each look taken off once it was seen to be one."""
    found = {}
    for name, value in kept["readings"].items():
        if isinstance(value, dict) and "with" in value:
            assert LOOKED.fullmatch(value["with"]), value
            value = looked(value["value"])
        found[name] = value
    return found


def test_a_look_without_a_signal_is_sent_as_single_answers(at: House, asks: Remote, phone: Page, watch: Watch) -> None:
    watch.expected = AWAY
    open_walk(phone, at)
    phone.context.set_offline(True)
    begin(phone)
    go(phone, "Feeder house", "Belts")
    assert phone.get_by_role("radio", checked=True).count() == 0  # nothing is answered before somebody looked
    covered = phone.locator("#covered li").all_inner_texts()
    assert covered == ["Feeder variable drive: sound", "Header drive: sound", "Infeed beater drive: sound"]
    said = phone.get_by_role("button", name="All 3 in order")
    described = [phone.locator(f"#{id}").inner_text() for id in (said.get_attribute("aria-describedby") or "").split()]
    assert "as seen by first owner now" in described[0]
    assert "Header drive: sound" in described[1]
    pick(phone, "Header drive", "cracked")
    expect(row(phone, "Header drive")).to_contain_text("Belt cracked or frayed")
    take_all(phone, "The other 2 in order")
    go(phone, "Feeder house", "Guards and doors")
    pick(phone, "Feeder drive chain", "Can't tell")
    take_all(phone, "The other 3 in order")
    phone.reload()  # nothing is forgotten
    finish(phone)
    expect(phone.locator("h1")).to_have_text("Finished and kept on this device")
    assert len(setups(asks)) == 1
    phone.context.set_offline(False)
    expect(phone.locator("#unsent")).to_contain_text("Nothing waits to be sent.", timeout=20000)
    guards = ("feeder_variable_drive.guard_on", "header_drive.guard_on", "beater_drive.guard_on")
    assert readings(content(asks)) == {
        BELTS[0]: looked("sound"), BELTS[1]: "cracked", BELTS[2]: looked("sound"),
        **dict.fromkeys(guards, looked(True)),
    }  # fmt: skip
    judged = asks.get(f"/units/{FAULTY}/findings").json()["findings"]
    known = {(one["rule"], one["on"]): one["verdict"] for one in judged}
    assert known["drive-guard-off", "feeder_drive_chain"] == "unknown"
    assert ("drive-guard-off", "header_drive") not in known


def test_a_look_is_taken_back_and_what_was_said_by_itself_stays(at: House, asks: Remote, phone: Page) -> None:
    open_walk(phone, at)
    begin(phone)
    go(phone, "Feeder house", "Belts")
    pick(phone, "Header drive", "oily")
    take_all(phone, "The other 2 in order")
    expect(phone.locator(".undo")).to_contain_text("In order: 2 (Belts)")
    go(phone, "Feeder house", "Belts")
    pick(phone, "Infeed beater drive", "glazed")  # looked at again, after the press
    phone.get_by_role("button", name="Undo").click()
    expect(phone.locator("h1")).to_have_text("Belts")
    expect(row(phone, "Feeder variable drive").get_by_role("radio", checked=True)).to_have_count(0)
    expect(row(phone, "Header drive").get_by_role("radio", name="oily")).to_be_checked()
    expect(row(phone, "Infeed beater drive").get_by_role("radio", name="glazed")).to_be_checked()
    expect(phone.get_by_role("button", name="Undo")).to_have_count(0)
    expect(phone.get_by_role("button", name="The other 1 in order")).to_be_visible()
    finish(phone)
    expect(phone.locator("h1")).to_have_text("Recorded")
    assert readings(content(asks)) == {BELTS[1]: "oily", BELTS[2]: "glazed"}


def test_a_browser_that_is_killed_after_a_look_has_all_of_it_and_can_take_it_back(
    at: House, asks: Remote, tmp_path: Path, chromium: Browser
) -> None:
    folder = tmp_path / "phone"
    context = own_browser(chromium, folder)
    page = context.pages[0]
    open_walk(page, at)
    begin(page)
    go(page, "Feeder house", "Belts")
    take_all(page, "All 3 in order")
    go(page, "Feeder house", "Guards and doors")
    take_all(page, "All 4 in order")
    kill(folder)
    context = own_browser(chromium, folder)
    page = context.pages[0]
    sign_in(page, at)  # the cookie may not have been on the disk yet
    page.goto(at.address + WALK)
    expect(page.locator("#unsent")).to_contain_text("Answers of this walk safe on this device: 7")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#unsent")).to_contain_text("Answers of this walk safe on this device: 3")
    finish(page)
    expect(page.locator("h1")).to_have_text("Recorded")
    context.close()
    assert readings(content(asks)) == dict.fromkeys(BELTS, looked("sound"))


def test_two_devices_that_look_at_the_same_are_both_kept(at: House, asks: Remote, phone: Page, desk: Page) -> None:
    for page, answer in ((phone, "cracked"), (desk, "")):
        open_walk(page, at)
        begin(page)
        go(page, "Feeder house", "Belts")
        if answer:
            pick(page, "Header drive", answer)
        take_all(page, "The other 2 in order" if answer else "All 3 in order")
    for page in (phone, desk):
        finish(page)
        expect(page.locator("h1")).to_have_text("Recorded")
    expect(desk.locator("main")).to_contain_text("Other setups of this machine recorded in between: 1.")
    kept = [asks.get(f"/units/{FAULTY}/setups/{one['id']}").json()["content"] for one in setups(asks)]
    assert len(kept) == 3
    assert readings(kept[0])[BELTS[1]] == looked("sound")
    assert readings(kept[1])[BELTS[1]] == "cracked"


@pytest.mark.usefixtures("asks")
def test_an_answer_that_is_being_kept_is_never_overruled(at: House, phone: Page) -> None:
    open_walk(phone, at)
    begin(phone)
    go(phone, "Feeder house", "Belts")
    # both presses in one turn of the event loop, before the first is on the disk; and the button twice
    phone.evaluate("""() => {
      document.querySelectorAll('.seen-row')[1].querySelector('input[value=cracked]').click();
      const all = document.querySelector('.all button');
      all.click();
      all.click();
    }""")
    expect(phone.locator(".undo")).to_contain_text("In order: 2 (Belts)")
    go(phone, "Feeder house", "Belts")
    expect(row(phone, "Header drive").get_by_role("radio", name="cracked")).to_be_checked()
    phone.get_by_role("button", name="Undo").click()
    expect(phone.get_by_role("button", name="Undo")).to_have_count(0)
    expect(row(phone, "Header drive").get_by_role("radio", name="cracked")).to_be_checked()
    expect(row(phone, "Feeder variable drive").get_by_role("radio", checked=True)).to_have_count(0)


def test_of_a_thing_with_two_sides_the_open_one_is_answered(at: House, asks: Remote, phone: Page) -> None:
    def together(route: Route) -> None:
        """The list with pins on both sides in one look, as a rulebook may have it."""
        answer = route.fetch()
        plain = answer.json()
        for station in plain["stations"]:
            for thing in station["things"]:
                if thing["name"] in ("feeder.drum_pins_home", "feeder.washer_in_notch"):
                    thing["look"] = "signs"
        route.fulfill(response=answer, json=plain)

    phone.route("**/walk-round.json*", together)
    open_walk(phone, at)
    begin(phone)
    go(phone, "Feeder house", "Signs, lights and ladder")
    pins = row(phone, "Locking pins of the drum are home")
    pins.get_by_role("group", name="left").locator("label").filter(has_text="no").click()
    expect(pins).to_contain_text("high")
    take_all(phone, "All 2 in order")
    finish(phone)
    expect(phone.locator("h1")).to_have_text("Recorded")
    found = content(asks)["readings"]
    assert found["feeder.drum_pins_home"]["left"] is False
    assert found["feeder.drum_pins_home"]["right"]["value"] is True
    assert {side: one["value"] for side, one in found["feeder.washer_in_notch"].items()} == {
        "left": True,
        "right": True,
    }


@pytest.mark.usefixtures("asks")
def test_more_of_one_thing_leads_back_to_its_look(at: House, phone: Page) -> None:
    open_walk(phone, at)
    begin(phone)
    go(phone, "Feeder house", "Belts")
    phone.get_by_role("button", name="More: Header drive").click()
    expect(phone.locator("h1")).to_have_text("State of the belt")
    phone.locator("summary").click()
    phone.locator("textarea").fill("Cover torn near the clamp")
    phone.locator("label.pick").filter(has_text="frayed").click()
    phone.get_by_role("button", name="Next").click()
    expect(phone.locator("h1")).to_have_text("Belts")
    expect(row(phone, "Header drive").get_by_role("radio", name="frayed")).to_be_checked()
    take_all(phone, "The other 2 in order")
    go(phone, "Feeder house", "Belts")
    phone.get_by_role("button", name="More: Header drive").click()
    expect(phone.locator("textarea")).to_have_value("Cover torn near the clamp")


@pytest.mark.usefixtures("asks")
@pytest.mark.parametrize("tag", ["en", "de"])
@pytest.mark.parametrize("size", [(390, 844), (360, 640)])
def test_every_look_is_big_enough_and_has_no_obstacle(at: House, phone: Page, tag: str, size: tuple[int, int]) -> None:
    phone.set_viewport_size({"width": size[0], "height": size[1]})
    phone.context.set_extra_http_headers({"Accept-Language": tag})
    sign_in(phone, at)
    phone.goto(at.address + WALK)
    phone.locator("form button").click()
    expect(phone.locator(".purpose")).not_to_have_count(0)
    sound(phone)
    phone.locator(".purpose button").first.click()
    for station in ("header", "feeder"):
        phone.locator(".bottom button").nth(1).click()
        place = phone.locator("details.station").nth(("job", "header", "feeder").index(station))
        place.locator("> summary").click()
        place.locator("li button").first.click()
        expect(phone.locator(".where")).to_be_visible()
        looks = 0
        while phone.locator(".all").count():  # a station's looks come first
            looks += 1
            sound(phone)  # from the second on with what can be taken back above it
            phone.locator(".seen-row label.pick").nth(1).click()
            expect(phone.locator(".broken").first).to_be_visible()
            sound(phone)
            step = phone.locator("#walk").get_attribute("data-step") or ""
            assert step.startswith(station)
            phone.locator(".all button").click()
            expect(phone.locator("#walk")).not_to_have_attribute("data-step", step)
        assert looks == {"header": 1, "feeder": 4}[station]
    phone.locator(".bottom button").nth(1).click()
    expect(phone.locator("details.station").first).to_be_visible()
    sound(phone)
    phone.locator(".bottom button").last.click()
    expect(phone.locator(".lead")).to_be_visible()
    sound(phone)


def sound(page: Page) -> None:
    """Raises AssertionError unless a screen is accessible, as wide as the phone, and every control on it is 56 px."""
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")  # past what the bar at the bottom covers
    accessible(page)
    fits(page)
    for control in page.locator("main button:visible, .pick:visible").all():
        box = control.bounding_box()
        assert box is not None
        assert box["height"] >= 56, (control.inner_text(), box)
        assert box["width"] >= 56, (control.inner_text(), box)


@pytest.mark.usefixtures("asks")
def test_a_look_by_keyboard_alone(at: House, desk: Page) -> None:
    open_walk(desk, at)
    begin(desk)
    go(desk, "Feeder house", "Belts")
    expect(desk.locator("h1")).to_be_focused()

    def tab_to(script: str) -> None:
        for _ in range(40):
            desk.keyboard.press("Tab")
            if desk.evaluate(script):
                return
        raise AssertionError(script)

    tab_to("document.activeElement.type === 'radio'")
    desk.keyboard.press("ArrowDown")
    expect(desk.get_by_role("radio", checked=True)).to_have_count(1)
    assert desk.evaluate("document.activeElement.checked"), "the focus stays on what was chosen"
    tab_to("document.activeElement.closest('.all') !== null")
    step = desk.locator("#walk").get_attribute("data-step") or ""
    desk.keyboard.press("Enter")
    expect(desk.locator("#walk")).not_to_have_attribute("data-step", step)
    tab_to("document.activeElement.textContent === 'Undo'")
    desk.keyboard.press("Enter")
    expect(desk.locator("#walk")).to_have_attribute("data-step", step)


ORDERS = """async ([address, list, walk]) => {
  const { orderOf, sidedOf, thingsOf } = await import(address);
  const sided = sidedOf(list);
  return thingsOf(list).map((thing) => [thing.name, orderOf(thing, walk, list, sided) ?? null]);
}"""


@pytest.mark.parametrize("card", sorted(rulebook().machines))
@pytest.mark.parametrize(("crop", "header"), [("corn", "corn-head"), ("wheat", "draper")])
def test_what_is_in_order_is_what_the_engine_keeps(at: House, desk: Page, card: str, crop: str, header: str) -> None:
    """By the engine's plain reading of the rules, with the one thing known and nothing else."""
    auditor = Auditor(rulebook())
    sheet = auditor.sheet(card, crop)
    plain = checklist(View(None, languages()["en"], "card"), auditor, Unit("u", card), crop, {})
    desk.goto(f"{at.address}/sign-in")
    found = dict(desk.evaluate(ORDERS, [address("walk-course.js"), plain, {"header": header}]))
    looks = 0
    for name, quantity in sheet.names.items():
        if quantity.role is Role.READING and quantity.form in (Form.YES_NO, Form.WORD):
            right = [word for word in answers(quantity) if keeps(sheet, name, word, header)]
            assert found[name] == (right[0] if len(right) == 1 else None), (name, right)
            looks += bool(quantity.look)
    assert looks > 30


def answers(quantity: Any) -> list[str | bool]:
    return [True, False] if quantity.form is Form.YES_NO else [word for word, _ in quantity.words]


def keeps(sheet: Sheet, name: str, answer: str | bool, header: str) -> bool:
    value = (answer, answer) if sheet.names[name].sided else answer
    known = {**sheet.constants, "job.crop": sheet.crop.id, "job.header_kind": header, name: value}
    around = Surroundings(known, sheet.names, {})
    asked = [
        one for one in sheet.questions if name in {*quantities(one.hold), *(quantities(one.given) if one.given else ())}
    ]
    verdicts = {judge(one.given, one.hold, around)[0].value for one in asked}
    return "kept" in verdicts and "broken" not in verdicts
