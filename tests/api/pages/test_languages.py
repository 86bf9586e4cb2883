"""Catalogues are whole, and what the audit composes is told in the reader's language and units."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pint
import pytest
from babel import Locale
from babel.messages.pofile import read_po
from fastapi.testclient import TestClient

from api.catalogue import crop_json, machine_json, rule_json
from api.environment import rulebook
from api.pages.languages import OF_PAGES, language_for, languages, of_rules
from api.pages.telling import FOR_PROGRAMS, NAMES, teller
from api.pages.texts import of_pages, of_rulebook
from api.pages.units import SI, US, measured
from api.plan_wire import planned_json
from api.wire import report_json
from audit.auditor import Auditor
from audit.intake.setups import read_setup
from audit.nouns.rulebook import Rulebook
from audit.planning.planner import Planner
from tests.api.pages.whole_unit import DEMO, FAULTY, faulty

TAGS = [path.stem for path in sorted(OF_PAGES.glob("*.po"))]
AS_WRITTEN = {"at", "equation", "by", "publisher", "edition", "also", "file"}
"""Keys whose texts stay: names, equations, and the titles of publications and places in them."""


@cache
def shipped() -> Rulebook:
    return rulebook()


def texts_of(path: Path) -> dict[Any, Any]:
    """Translations by text, a text with its plural as a pair."""
    with path.open("rb") as file:
        found = read_po(file, locale=str(Locale.parse(path.stem, sep="-")), abort_invalid=True)
    return {tuple(one.id) if isinstance(one.id, (list, tuple)) else one.id: one.string for one in found if one.id}


def test_there_is_another_language_than_english() -> None:
    assert TAGS
    assert list(languages()) == ["en", *TAGS]


@pytest.mark.parametrize("tag", TAGS)
@pytest.mark.parametrize("part", ["pages", "rulebook"])
def test_every_text_is_in_the_catalogue_and_nothing_else(tag: str, part: str) -> None:
    path, texts = (OF_PAGES / f"{tag}.po", of_pages()) if part == "pages" else (of_rules(tag), of_rulebook(shipped()))
    found = texts_of(path)
    assert set(found) == set(texts), "renew them: python -m tests.api.pages.renew_catalogues"
    for text, said in found.items():
        whole = said if isinstance(said, tuple) else (said,)
        assert all(whole), f"not translated: {text}"
        wanted = set(re.findall(r"\{\w+\}", " ".join(text) if isinstance(text, tuple) else text))
        assert set(re.findall(r"\{\w+\}", " ".join(whole))) == wanted, text


def strings(value: Any, key: str = "") -> Iterator[tuple[str, str]]:
    """Every text with the key that it stands under."""
    if isinstance(value, dict):
        for name, one in value.items():
            if name in FOR_PROGRAMS:
                continue
            yield from strings(one, name)
    elif isinstance(value, list):
        for one in value:
            yield from strings(one, key)
    elif isinstance(value, str):
        yield key, value


def everything() -> Iterator[Any]:
    """Reports with facts and plans of a whole fleet, every rule and every card."""
    auditor, planner = Auditor(shipped()), Planner(shipped())
    for line in DEMO.read_bytes().splitlines():
        yield report_json(auditor.report(line, ""), shipped(), with_facts=True)
        yield planned_json(planner.plan(read_setup(line, "", shipped()), out_of_time=lambda: False), shipped())
    for rule in shipped().rules.values():
        plain = rule_json(rule, shipped())
        yield {key: value for key, value in plain.items() if key not in ("damage", "ground", "cure")}
    yield from (machine_json(card, shipped()) for card in shipped().machines.values())
    yield from (crop_json(card, shipped()) for card in shipped().crops.values())


@pytest.mark.parametrize("tag", TAGS)
def test_no_english_is_left_in_what_is_told(tag: str) -> None:
    tell = teller(tag, "si")
    left = set()
    for plain in everything():
        for key, text in strings(plain):
            if key in AS_WRITTEN or (key in NAMES and " " not in text):
                continue
            said = tell.plain(text, key)
            same = said == text and re.search(r"[A-Za-z]{2,} [A-Za-z]", text)
            if same or re.search(r"\b(the|is|of|with|than|from|and)\b", said):
                left.add(f"{key}: {text} => {said}")
    assert not left, "\n".join(sorted(left)[:20])


def test_measures_are_told_as_an_outside_library_converts_them() -> None:
    """pint, whose factors are NIST's (SP 811)."""
    ureg: pint.UnitRegistry = pint.UnitRegistry()  # type: ignore[type-arg]
    named = {"ha/h": "hectare/hour", "ac/h": "acre/hour", "kg/bu": "kg", "lb/bu": "lb", "N m": "N*m",
             "lbf ft": "lbf*foot", "ac": "acre", "ha": "hectare", "lb/ac": "lb/acre", "t/ha": "metric_ton/hectare",
             "t": "metric_ton", "hp": "hp", "kgf": "kgf", "kg/ha": "kg/hectare", "1/m2": "1/m**2", "1/ft2": "1/ft**2"}  # fmt: skip
    for table, system in ((US, "us"), (SI, "si")):
        for unit, into in table.items():
            said = measured(f"60 {unit}", system)
            number = re.match(r"(?:(\d+) (?=\d+/\d+ \D))?(\d+(?:\.\d+)?)(?:/(\d+))? ", said)
            assert number is not None, said
            whole = float(number[1] or 0) + float(number[2]) / float(number[3] or 1)
            wanted = ureg.Quantity(60, named.get(unit, unit)).to(named.get(into, into)).magnitude
            assert whole == pytest.approx(wanted, rel=0.006), (said, wanted)


def test_measures_in_a_sentence() -> None:
    assert measured("3.97 mm (5/32 in) to 505 r/min", "us") == "5/32 in to 505 r/min"
    assert measured("at most 60 °C", "us") == "at most 140 °F"
    assert measured("1.5 mm or 2.25 %", "si", ",") == "1,5 mm or 2,25 %"
    assert measured("unit-07 in 3 places", "us") == "unit-07 in 3 places"


def test_the_reader_s_choice_goes_before_the_browser_s_wish() -> None:
    assert language_for("", "de-AT,de;q=0.9,en;q=0.5").tag == "de"
    assert language_for("", "fr, en;q=0.4, de;q=0.8").tag == "de"
    assert language_for("en", "de").tag == "en"
    assert language_for("xx", "tlh;q=x, *").tag == "en"
    assert language_for("", "de;q=0").tag == "en"


def test_pages_in_german_with_decimal_commas_and_in_us_units(owner: TestClient) -> None:
    faulty(owner)
    assert owner.post("/settings/view", data={"language": "de", "units": "si", "next": "/rules"}).status_code == 303
    page = owner.get(f"/unit/{FAULTY}/plan").text
    assert '<html lang="de">' in page
    assert "Fördertrommel umstellen" in page
    assert "abgesenkt" in page
    assert "Antriebsstrang" in page
    assert re.search(r"\d,\d", owner.get("/crops/corn").text)
    owner.post("/settings/view", data={"language": "en", "units": "us", "next": "/"})
    assert re.search(r"\d in\b", owner.get("/crops/corn").text)
    assert not re.search(r"\d mm\b", owner.get("/crops/corn").text)


@pytest.mark.parametrize("view", ["side", "drive-train"])
def test_drawings_come_in_the_language_that_is_asked_for(owner: TestClient, view: str) -> None:
    """Accept-Language, Content-Language and Vary are those of RFC 9110, sections 12.5.4, 8.5 and 12.5.5."""
    faulty(owner)
    for path in (f"/machine-cards/axial-single/drawing?view={view}&crop=corn", f"/units/{FAULTY}/drawing?view={view}"):
        english, german = owner.get(path), owner.get(path, headers={"Accept-Language": "de-AT, en;q=0.3"})
        assert (english.headers["content-language"], german.headers["content-language"]) == ("en", "de")
        assert "Accept-Language" in german.headers["vary"]
        spoken = [set(re.findall(r">([^<>]*[a-z]{3}[^<>]*)<", one.text)) for one in (english, german)]
        told = {languages()["de"].say(text) for text in spoken[0]}
        assert len(told & spoken[1]) > 8
        assert not {text for text in spoken[0] & spoken[1] if languages()["de"].say(text) != text}
    known = {"If-None-Match": owner.get(path, headers={"Accept-Language": "de"}).headers["etag"]}
    assert owner.get(path, headers={**known, "Accept-Language": "de"}).status_code == 304
    assert owner.get(path, headers=known).status_code == 200
