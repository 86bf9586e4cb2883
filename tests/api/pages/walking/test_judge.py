"""What the page judges by itself is what the engine judges: both are run over many random setups."""

from __future__ import annotations

import random
from typing import Any

import pytest
from playwright.sync_api import Page

from api.environment import rulebook
from api.pages.assets import address
from api.pages.walking.published import published
from audit.auditor import Auditor
from audit.checking import Surroundings, judge
from audit.conditions import comparisons, limits
from audit.measures import Unreadable, split_number, to_canonical
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.rule import Literal, Verdict
from audit.sheet import Sheet
from tests.api.pages.browsing import House

SETUPS = 60
CARDS = ("axial-single", "axial-hybrid", "tangential-walker")
CROPS = ("corn", "soybean", "wheat", "rice")

RUN = """async ([address, questions, sided, setups]) => {
  const { verdict } = await import(address);
  const names = new Set(sided);
  return setups.map((values) => questions.map((question) => verdict(question, values, names)));
}"""
READ = """async ([address, texts]) => {
  const { readNumber } = await import(address);
  return texts.map((text) => { const found = readNumber(text); return Number.isNaN(found) ? 'two ways' : found; });
}"""


def edges(sheet: Sheet) -> dict[str, list[Value]]:
    """Limits that questions set, by quantity: values that decide a verdict lie about them."""
    found: dict[str, list[Value]] = {}
    for question in sheet.questions:
        for part in (question.given, question.hold):
            for compare in comparisons(part) if part is not None else ():
                for limit in limits(compare.relation):
                    if isinstance(limit, Literal) and limit.value is not None:
                        found.setdefault(compare.quantity, []).append(limit.value)
    return found


def some_value(quantity: Quantity, near: list[Value], chance: random.Random) -> Value:
    if chance.random() < 0.2:
        return None
    if quantity.form is Form.YES_NO:
        return chance.random() < 0.6
    if quantity.form is Form.WORD:
        words = [word for word, _ in quantity.words]
        return chance.choice(words) if words else None
    if quantity.form is Form.TIME:
        return float(chance.randrange(1_780_000_000, 1_780_000_005))
    numbers = [value for value in near if isinstance(value, float)]
    if numbers and chance.random() < 0.8:
        return chance.choice(numbers) * chance.choice((1, 1 + 5e-10, 1 - 5e-10, 1 + 5e-9, 1 - 5e-9, 1.02, 0.97, 1.5))
    return chance.uniform(0, 500)


def some_setup(sheet: Sheet, near: dict[str, list[Value]], chance: random.Random) -> dict[str, Value | Sided]:
    values: dict[str, Value | Sided] = dict(sheet.constants)
    for name, quantity in sheet.names.items():
        if quantity.role in (Role.FACT, Role.PARAMETER):
            continue
        one = some_value(quantity, near.get(name, []), chance)
        other = one if chance.random() < 0.5 else some_value(quantity, near.get(name, []), chance)
        values[name] = (one, other) if quantity.sided and one is not None else one
    values["job.crop"] = sheet.crop.id
    return values


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize("crop", CROPS)
def test_the_page_judges_as_the_engine_does(at: House, desk: Page, card: str, crop: str) -> None:
    sheet = Auditor(rulebook()).sheet(card, crop)
    pairs = [(one, plain) for one, (plain, _) in zip(sheet.questions, published(sheet), strict=True) if plain["hold"]]
    chance = random.Random(f"{card} {crop}")
    near = edges(sheet)
    setups = [some_setup(sheet, near, chance) for _ in range(SETUPS)]
    sided = [name for name, quantity in sheet.names.items() if quantity.sided]
    desk.goto(f"{at.address}/sign-in")
    found: list[list[str]] = desk.evaluate(RUN, [address("judge.js"), [plain for _, plain in pairs], sided, setups])
    met: dict[str, int] = {}
    for values, verdicts in zip(setups, found, strict=True):
        around = Surroundings(values, sheet.names, {})
        for (question, _), said in zip(pairs, verdicts, strict=True):
            verdict = judge(question.given, question.hold, around)[0].value
            met[verdict] = met.get(verdict, 0) + 1
            assert said == verdict, (question.rule.id, question.on, {n: values.get(n) for n in _names(question)})
    assert set(met) == {one.value for one in Verdict}
    assert len(pairs) > len(sheet.questions) / 2


def _names(question: Any) -> list[str]:
    return [c.quantity for part in (question.given, question.hold) if part is not None for c in comparisons(part)]


def test_the_page_reads_numbers_as_the_engine_does(at: House, desk: Page) -> None:
    chance = random.Random(4)
    texts = ["5/32", "1 1/4", "1-1/4", "12,5", "12.5", "-3", "−3", "+4", ",5", ".5", "0,125", "1,250", "7/0", "", "abc"]
    texts += ["1.2.3", "1 2", "5 /32", "1250", " 9 ", "0", "3/", "1/2/3"]
    for _ in range(300):
        texts.append("".join(chance.choice("0123456789,./ -") for _ in range(chance.randrange(1, 7))))
    desk.goto(f"{at.address}/sign-in")
    found = desk.evaluate(READ, [address("judge.js"), texts])
    for text, said in zip(texts, found, strict=True):
        assert said == as_the_engine_reads(text), text


def as_the_engine_reads(text: str) -> float | str | None:
    """A bare number; 'two ways' for one that is refused as it can be read so, None for what is none."""
    try:
        value, unit = split_number(text)
    except Unreadable as error:
        return "two ways" if "can be read as" in str(error) else None
    return None if unit else value


def test_units_are_converted_as_the_engine_does() -> None:
    """Exact by definition: the inch is 25.4 mm (international yard, 1959); 0 degF is -160/9 degC."""
    from api.pages.walking.checklist import units_of

    sheet = Auditor(rulebook()).sheet("axial-single", "corn")
    gap = {one["id"]: one for one in units_of(sheet.names["feeder.sheave_gap"], "us")}
    assert next(iter(gap)) == "in"
    assert gap["in"]["factor"] == pytest.approx(25.4)
    heat = {one["id"]: one for one in units_of(sheet.names["separator_drive.temperature"], "card")}
    assert 32 * heat["degF"]["factor"] + heat["degF"]["offset"] == pytest.approx(0)
    assert to_canonical(212, "degF", "temperature") == pytest.approx(100)
