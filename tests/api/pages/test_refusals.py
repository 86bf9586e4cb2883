"""Why something was refused, and what came of an import, in the reader's language: no English phrase is left."""

from __future__ import annotations

import json
import re
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.environment import rulebook
from api.pages.languages import languages
from api.pages.phrases import composed
from api.pages.telling import Teller, teller
from audit.fleet.visits import read_visits
from audit.intake.setups import read_setup
from audit.intake.tree import Problems
from audit.intake.yaml_text import decode_yaml
from audit.nouns.problem import BadInput
from tests.api.exchange.samples import machine, snapshot_json
from tests.api.legal import CARD
from tests.api.pages.settings.test_import_pages import AT, answer, send
from tests.api.pages.test_setup_entry import form_of, shown
from tests.api.pages.test_work_and_starts import text_of
from tests.api.pages.whole_unit import FAULTY, faulty
from tests.api.starts.test_imports import MAPPING

ENGLISH = re.compile(r"\b(the|is|of|with|than|from|and|must|not|has|it|one|no|are|write|known)\b")
"""Words of English that German has not, or not in small letters."""
QUOTED = re.compile(r"'[^']*'|\{.*?\}")
"""Names and what was written stand in quotes, the same in every language."""


def english_in(text: str) -> bool:
    """Whether a text has words of English outside of quotes."""
    return ENGLISH.search(QUOTED.sub("", text)) is not None


@pytest.fixture
def german(owner: TestClient) -> TestClient:
    """A browser that asks for German."""
    owner.headers["Accept-Language"] = "de"
    return owner


def wrong_in(page: str) -> list[str]:
    """Every item of the lists of problems of a page, without where it stands."""
    lists = re.findall(r'(?s)<div class="wrong".*?<ul>(.*?)</ul>|<ul class="problems">(.*?)</ul>', page)
    items = re.findall(r"(?s)<li>(.*?)</li>", "".join("".join(one) for one in lists))
    return [" ".join(unescape(re.sub(r"<(a|b)\b.*?</\1>|<[^>]*>", " ", one)).split()) for one in items]


def main_of(page: str) -> str:
    """What a page says, without the frame of every page."""
    return text_of(re.findall(r"(?s)<main.*?</main>", page)[0])


WRONG = {
    "rotor.speed": "99999", "feeder.sheave_gap": "wide", "engine_hours": "-4", "job.ground_speed": "900",
    "shoe.sieve": "5 bushels", "shoe.chaffer": "1,234", "feeder.drum:left": "halfway", "rotor.concave_gap:left": "1/0",
    "shoe.fan_speed": "7 8", "job.grain_yield": "9" * 90, "job.hectares": "12 mm", "job.header_width": "6 m m",
}  # fmt: skip


def test_a_form_with_wrong_values_is_refused_in_german(german: TestClient) -> None:
    faulty(german)
    form = form_of(shown(german, FAULTY))
    assert form.keys() >= WRONG.keys()
    answered = german.post(f"/unit/{FAULTY}/setup", data={**form, **WRONG})
    assert answered.status_code == 422
    problems = wrong_in(answered.text)
    assert len(problems) == len(WRONG)
    assert not [one for one in problems if english_in(one)]
    assert any("'wide' ist keine Zahl mit Einheit" in one for one in problems), "what was written stays"


FILES: tuple[tuple[dict[str, Any], dict[str, Any]], ...] = (
    ({"card": "axial-singel"}, {}), ({}, {"job": {}}), ({}, {"job": []}), ({}, {"jbo": {}}),
    ({}, {"job": {"crop": "maize-ish"}}), ({}, {"job": {"crop": 7}}), ({"fitted": {"wheels": "six"}}, {}),
    ({}, {"taken": {"at": "2026-09-14T09:22:00"}}), ({}, {"taken": {"at": "yesterday"}}),
    ({}, {"taken": {"state": "as-fund"}}), ({}, {"settings": {"rotor.sped": 390}}),
    ({}, {"settings": {"header.pins_match": True}}), ({}, {"settings": {"job.crop": "corn"}}),
    ({}, {"settings": {"rotor.speed": True}}), ({}, {"settings": {"rotor.speed": {"valeu": 3}}}),
    ({}, {"settings": {"rotor.speed": {"value": 3, "with": 5}}}), ({}, {"settings": {"rotor.speed": {"left": 3}}}),
    ({}, {"settings": {"rotor.range": {"value": "low", "unit": "mm"}}}), ({}, {"settings": {"rotor.range": "lo"}}),
    ({}, {"settings": {"feeder.drum": {"left": "raised", "middle": "raised"}}}), ({}, {"settings": [1]}),
    ({}, {"readings": {"header.pins_match": "maybe"}}), ({}, {"readings": {"rotor.measured_speed": [388]}}),
    ({}, {"readings": {"rotor.measured_speed": {"unit": "r/min"}}}),
    ({}, {"readings": {"rotor.measured_speed": {"value": {}}}}), ({}, {"readings": {"rotor.measured_speed": 1e999}}),
)  # fmt: skip
TEXTS = (
    b"{",
    b"",
    b"[]",
    b'{"a" 1}',
    b'{"a": 1 "b": 2}',
    b"{a: 1}",
    b"{} {}",
    b'{"a',
    b"\xff\xfe",
    b'{"a": 1, "a": 2}',
    b'{"a": ' + b"[" * 40 + b"]" * 40 + b"}",
    b'{"a": "\\ud800"}',
    b" " * 4_300_000,
    b'{"a": ' + b"9" * 9000 + b"}",
)


def bodies() -> list[bytes]:
    """Setups that can't be taken, each for another reason."""
    whole: dict[str, Any] = {"unit": {"id": FAULTY, "card": "axial-single"}, "job": {"crop": "corn"}}
    made = [{**whole, "unit": {**whole["unit"], **unit}, **rest} for unit, rest in FILES]
    return [*(json.dumps(one).encode() for one in made), *TEXTS]


def test_every_reason_why_a_setup_is_refused_is_told_in_german() -> None:
    tell, left, count = teller("de", "si"), set(), 0
    for body in bodies():
        with pytest.raises(BadInput) as caught:
            read_setup(body, "", rulebook())
        for before, after in zip(caught.value.problems, tell.problems(caught.value.problems), strict=True):
            for text, said in ((before.message, after.message), (before.advice, after.advice)):
                count += bool(text)
                if text and (said == text or english_in(said)):
                    left.add(f"{text} => {said}")
            assert after.place == before.place
    assert not left, "\n".join(sorted(left))
    assert count > len(bodies())


def test_a_refused_file_says_where_and_why_in_german(german: TestClient) -> None:
    faulty(german)
    answered = german.post(
        f"/unit/{FAULTY}/setup/file", data={"key": "k1"}, files={"setup": ("s.json", '{\n "job": ,\n}')}
    )
    assert answered.status_code == 422
    assert wrong_in(answered.text) == [
        "Zeile 2: ist kein JSON: ein Wert fehlt. Kommas, Anführungszeichen und Klammern an dieser Stelle prüfen."
    ]
    other = {"unit": {"serial": "OTHER-1"}, "job": {"crop": "corn"}}
    answered = german.post(
        f"/unit/{FAULTY}/setup/file", data={"key": "k2"}, files={"setup": ("s.json", json.dumps(other))}
    )
    assert answered.status_code == 409
    assert "Nicht aufgezeichnet: die Maschine der Aufnahme hat" in text_of(answered.text)


def test_a_new_unit_is_refused_in_german(german: TestClient) -> None:
    for more in ({"card": "axial-singel"}, {"build_year": "1066"}, {"build_year": "new"}):
        answered = german.post("/fleet/units", data={"id": "unit-90", "card": CARD, **more})
        assert answered.status_code == 422
        assert not english_in(said := main_of(answered.text))
        assert "Input" not in said


VISITS = """\
start: 2026-08-24
technicians:
- {name: A, days: 0, skills: [axial-singel]}
- {name: A, days: [tomorrow], form: {x: 1}}
farms:
- {name: Oxgill Farm, harvest: soon, helper: perhaps}
- []
"""


@pytest.mark.parametrize("text", [VISITS, "start: [", "- 1", "", "start: 2026-08-24\nstart: 2026-08-25\n", "start: x"])
def test_every_reason_why_a_visits_file_is_refused_is_told_in_german(text: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_visits(text.encode(), "", ("axial-single",))
    for before, after in zip(caught.value.problems, teller("de", "si").problems(caught.value.problems), strict=True):
        assert after.message != before.message
        assert not english_in(after.message), after.message
        assert not before.advice or after.advice != before.advice, after.advice


BROKEN = (
    "start: [", "a: b: c", "a: 'x", "a: {b: 1", "- x\ny: 1", "\ta: 1", "a: @x", "a: &x 1", "a: !x 1", "a: |9x\n b", "%A\n---\na: 1",
    'a: "\\q"', "a: [1 2", "? [", "key\nother: 1", "a: 1\n---\nb: 2", "a: \x01", "a: *b", "a: 1\n b: 2", "[a, b]: [",
)  # fmt: skip


@pytest.mark.parametrize("text", BROKEN)
def test_why_a_text_is_no_yaml_is_told_in_german(text: str) -> None:
    problems = Problems()
    decode_yaml(text.encode(), "x.yaml", problems)
    assert problems
    for one in teller("de", "si").problems(problems.found):
        assert not english_in(one.message + one.advice), one


def test_a_door_answers_in_the_language_that_is_asked_for(owner: TestClient) -> None:
    """RFC 9457 lets title and detail be told; the type, status and place stay for programs."""
    faulty(owner)
    body = {"unit": {}, "job": {"crop": "corn"}, "settings": {"rotor.speed": "99999 r/min", "shoe.sieve": "7"}}
    asked = [
        owner.post(f"/units/{FAULTY}/setups", json=body, headers={"Idempotency-Key": key, **more})
        for key, more in (("k1", {}), ("k2", {"Accept-Language": "de-AT"}))
    ]
    english, german = (one.json() for one in asked)
    assert [one.status_code for one in asked] == [422, 422]
    assert [one.headers["content-language"] for one in asked] == ["en", "de"]
    assert "Accept-Language" in asked[1].headers["vary"]
    for name in ("type", "status"):
        assert english[name] == german[name]
    assert [one["path"] for one in english["problems"]] == [one["path"] for one in german["problems"]]
    assert "Check the value and its unit." in english["detail"]
    assert german["title"] == "Aufnahme abgelehnt"
    for said in (german["detail"], *(one["message"] + one["advice"] for one in german["problems"])):
        assert not english_in(said), said
    owner.post("/settings/view", data={"language": "de", "units": "si", "next": "/rules"})
    assert owner.get("/units/nothing", headers={"Accept-Language": "en"}).json()["detail"] == (
        "Es gibt keine Maschine nothing."
    ), "the reader's own choice goes before"


def test_numbers_and_words_are_told_as_pages_show_them() -> None:
    tell = teller("de", "card")
    assert tell.refusal("m.xml: is longer than 33,554,432 bytes. Send fewer machines or tasks at once.") == (
        "m.xml: ist länger als 33.554.432 Bytes. Weniger Maschinen oder Aufträge auf einmal senden."
    )
    assert tell.refusal("'1.5' is impossible here; it must lie from 2.5 mm to 9 mm. Check the value and its unit.") == (
        "'1.5' ist hier unmöglich; der Wert muss zwischen 2,5 mm und 9 mm liegen. Wert und Einheit prüfen."
    ), "what was written stays"
    assert "raised (angehoben)" in tell.refusal("is 'up'; it must be one of: raised, lowered.")
    assert tell.refusal("t.csv, line 7, is of nobody") == "t.csv, line 7, is of nobody"


TABLE = """\
No;Hours;Read
Unit 07;1490,5;2026-07-01T00:00:00Z
Unit 08;soon;
Unit 09;12;2026-07-01T00:00:00Z;more
;3;
Unit 10;99999;2026-07-01T00:00:00Z
Unit 11;7;then
"""


def in_rows(page: str) -> list[str]:
    """What the last cell of each row of an import says."""
    return [
        text_of(row.rpartition("<td>")[2]).strip()
        for row in re.findall(r"(?s)<tr>(.*?)</tr>", page.partition("<tbody>")[2])
    ]


def test_a_dry_run_tells_each_row_s_fate_in_german(german: TestClient) -> None:
    german.put("/units/unit-07", json={"card": CARD})
    german.post("/units/unit-07/identities", json={"fleet_number": "Unit 07"})
    said = in_rows(send(german, TABLE.encode(), "machines.csv", MAPPING, dry_run="yes").text)
    assert len(said) == 6
    assert "1490,5 Motorstunden" in said
    assert not [one for one in said if english_in(one)]
    said = in_rows(send(german, dry_run="yes").text)
    assert all(one.startswith("welche Maschinenkarte ist es?") for one in said)


def test_an_import_and_what_goes_with_it_are_told_in_german(german: TestClient) -> None:
    where = send(german).headers["location"]
    answer(german, card=CARD)
    again = snapshot_json([machine("Unit <07>", hours=1500, pin="SHORT"), machine("Unit 09", "NONE", "", hours=90_000)])
    page = send(german, again).headers["location"]
    rows = in_rows(german.get(page).text)
    assert not [one for one in rows if english_in(one)], rows
    notes = re.findall(r"<li>(.*?)</li>", german.get(page).text)
    assert any("ist keine PIN" in one for one in notes)
    assert not [one for one in notes if english_in(unescape(one).partition(": ")[2])]
    back = german.post(f"{where}/undo").text
    told = [text_of(one).strip() for one in re.findall(r"<li>(.*?)</li>", back)]
    assert any("wurde aus der Flotte genommen" in one for one in told) or any("bleibt" in one for one in told)
    assert not [one for one in told if english_in(one)], told
    assert not re.search(r"\b(pin|serial|fleet-number)\b", " ".join(told))


def test_whole_files_and_answers_that_are_not_taken_are_told_in_german(german: TestClient) -> None:
    send(german)
    for answered in (
        send(german, b"hello"), send(german, b""), send(german, b"{"), send(german, b"No;Hours\n1;2\n", "m.csv"),
        send(german, TABLE.replace("No;", "Nr;").encode(), "m.csv", MAPPING), send(german, timezone="Mars"),
        answer(german, card="no-card"), german.post(f"{AT}/import-{'0' * 16}/undo"),
    ):  # fmt: skip
        assert answered.status_code >= 400
        said = main_of(answered.text)
        assert not english_in(re.sub(r"columns:.*", "", said)), said


@pytest.mark.parametrize("mark", [". ", ": ", "; ", ". b: ", "' is '"])
def test_somebody_s_own_words_in_a_refusal_take_up_no_time(monkeypatch: pytest.MonkeyPatch, mark: str) -> None:
    """Each look at all phrases is counted, as time is another on every machine."""
    looks = 0

    def counted(*arguments: Any) -> str | None:
        nonlocal looks
        looks += 1
        return composed(*arguments)

    monkeypatch.setattr("api.pages.telling.composed", counted)
    tell = Teller(languages()["de"], "si")
    for count in (3, 14, 100, 3000):
        looks = 0
        tell.refusal(f"'{mark.join('a' * count)}' is what nobody knows")
        assert looks <= 300
    monkeypatch.setattr("api.pages.telling.MOST_KEPT", 50)
    for number in range(60):  # and what is kept of them makes room for others
        tell.refusal(f"{mark}{number}")
        assert len(tell._told) <= 50 or not number
