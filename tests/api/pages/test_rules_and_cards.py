"""The rulebook and the cards as pages."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from api.app import create_app
from api.environment import rulebook
from api.pages import cards
from tests.api.pages.browsing import House, accessible, fits, sign_in
from tests.api.pages.test_work_and_starts import text_of


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A busy machine is no fault."""
    monkeypatch.setattr(cards, "SECONDS", 600.0)


def test_every_rule_has_a_page_with_its_sentence_ground_and_cases(owner: TestClient) -> None:
    shipped = rulebook()
    listed = owner.get("/rules").text
    for rule in shipped.rules.values():
        assert f'href="/rules/{rule.id}"' in listed
        page = text_of(owner.get(f"/rules/{rule.id}").text)
        for text in (rule.title, rule.why, rule.harm.to, rule.harm.how, *(case.name for case in rule.cases)):
            assert " ".join(text.split()) in page
        for key in rule.cure:
            assert shipped.procedures[key].title in page


def test_rules_are_found_by_words_part_and_level(owner: TestClient) -> None:
    assert "drum-set-for-another-crop" in owner.get("/rules", params={"text": "DRUM crop"}).text
    only = owner.get("/rules", params={"pack": "people"}).text
    assert "guard-off" in only or "shields" in only
    assert "drum-set-for-another-crop" not in only
    assert "drum-set-for-another-crop" not in owner.get("/rules", params={"level": "low"}).text
    assert "No rule has these words" in owner.get("/rules", params={"text": "zeppelin"}).text


def test_a_rule_or_card_that_is_not_there_is_a_page_with_the_nearest(owner: TestClient) -> None:
    answer = owner.get("/rules/drum-set-for-anoter-crop")
    assert answer.status_code == 404
    assert "drum-set-for-another-crop" in text_of(answer.text)
    assert owner.get("/cards/nothing").status_code == 404
    assert owner.get("/cards/axial-single", params={"crop": "nothing"}).status_code == 404


def test_a_card_shows_what_it_has_and_the_speeds_of_a_machine_in_order(owner: TestClient) -> None:
    shipped = rulebook()
    for card in shipped.machines.values():
        page = owner.get(f"/cards/{card.id}", params={"crop": "corn"}).text
        assert "set right for corn" in text_of(page)
        for component in card.shafts:
            assert component.title in page
        for station in card.stations:
            assert station.title in page
        assert "2000 r/min" in page or "2100 r/min" in page or "2200 r/min" in page


def test_a_setup_that_was_not_found_in_time_is_not_called_none(
    owner: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cards, "SECONDS", -1.0)
    said = text_of(owner.get("/cards/axial-single", params={"crop": "corn"}).text)
    assert "No setup for corn that is right was found in time" in said
    assert "is right with this card" not in said


def test_another_build_gives_other_speeds(owner: TestClient) -> None:
    pages = [owner.get("/cards/axial-single", params={"crop": "corn", "shoe.stroke": one}).text
             for one in ("long", "short")]  # fmt: skip
    assert "Ø 150 → 480" in pages[0].replace("\u00a0", " ")
    assert "Ø 150 → 440" in pages[1].replace("\u00a0", " ")


def test_rules_and_cards_need_a_sign_on_only_where_there_is_a_record(stranger: TestClient) -> None:
    assert stranger.get("/rules").headers["location"] == "/sign-in?next=%2Frules"
    alone = TestClient(create_app())
    assert alone.get("/rules").status_code == 200
    assert alone.get("/cards/axial-single").status_code == 200
    assert "Fleet" not in alone.get("/rules").text


def test_own_rules_and_cards_are_marked(tmp_path: Path) -> None:
    source = Path("rules/packs/feeder/drum-set-for-another-crop.yaml").read_text()
    (tmp_path / "packs" / "feeder").mkdir(parents=True)
    (tmp_path / "packs" / "feeder" / "drum-set-for-another-crop.yaml").write_text(source)
    page = TestClient(create_app([tmp_path])).get("/rules/drum-set-for-another-crop").text
    assert "replaces the shipped rule" in page


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    sign_in(page, at)
    for path in ("rules", "rules/drum-set-for-another-crop", "cards", "cards/axial-single", "crops/corn"):
        page.goto(f"{at.address}/{path}")
        accessible(page)
        fits(page)
    page.goto(f"{at.address}/rules")
    page.fill("#text", "drum crop")
    page.wait_for_url("**/rules?*text=drum+crop*")
    assert page.locator("#found li").count() < 10
    page.select_option("select[name=language]", "de")
    page.get_by_role("button", name="Change").click()
    page.wait_for_selector("html[lang=de]")
    accessible(page)
