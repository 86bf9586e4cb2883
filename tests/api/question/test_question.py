"""The question over HTTP: what counts as cleared, what is written, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.question.page import UNIT, spoilt
from tests.api.starts.conftest import House, house, legal

__all__ = ["house", "legal"]

ASKED = {"unit": "unit-07", "crop": "corn", "header_kind": "corn-head"}


@pytest.fixture
def ready(house: House, legal: Any) -> House:
    mechanic = house.client("mechanic")
    assert mechanic.put("/units/unit-07", json=UNIT).status_code == 201
    assert mechanic.post("/units/unit-07/setups", json=legal()).status_code == 201
    return house


@pytest.mark.parametrize("crop", ["corn", "maize", "Grain Corn", "ZEAMX", "zeamx"])
def test_a_crop_goes_by_our_name_a_synonym_or_its_eppo_code(ready: House, crop: str) -> None:
    """ZEAMX is the EPPO code of Zea mays (EPPO Global Database)."""
    found = ready.client("reader").get("/may-start", params={**ASKED, "crop": crop})
    assert found.status_code == 200, found.text
    assert (found.json()["answer"], found.json()["crop"], found.json()["reasons"]) == ("cleared", "corn", [])


def test_asking_writes_nothing_and_brings_no_certificate(ready: House) -> None:
    owner = ready.client()
    before = owner.get("/record/head").json()
    found = owner.get("/may-start", params={**ASKED, "engine_hours": 1049.0}).json()
    assert (found["start"], found["certificate"], found["expires"]) == (None, None, None)
    assert owner.get("/units/unit-07").json()["engine_hours"] == 1000.0
    assert owner.get("/record/head").json() == before


def test_it_never_says_another_thing_than_the_gate(ready: House, legal: Any) -> None:
    """Cleared or held, for this or another job, fresh or stale: the same decision and reasons as the whole answer."""
    owner = ready.client()

    def alike(asked: dict[str, str]) -> str:
        short = owner.get("/may-start", params=asked).json()
        long = owner.get(short["details"]).json()
        assert short["answer"] == long["clearance"]
        assert [(one["text"], one["why"]) for one in short["reasons"]] == [
            (one["text"], one["why"]) for one in long["reasons"]
        ]
        assert bool(short["reasons"]) == (short["answer"] == "held")
        return str(short["answer"])

    assert alike(ASKED) == "cleared"
    assert alike({**ASKED, "crop": "wheat"}) == "held"
    assert alike({**ASKED, "header_kind": "draper"}) == "held"
    ready.clock.at += 20 * 86400.0
    assert alike(ASKED) == "held"
    assert owner.post("/units/unit-07/setups", json=spoilt(legal())).status_code == 201
    assert alike(ASKED) == "held"


def test_engine_hours_past_the_limit_hold(ready: House) -> None:
    reader = ready.client("reader")
    found = [reader.get("/may-start", params={**ASKED, "engine_hours": hours}).json() for hours in (1049, 1051)]
    assert [one["answer"] for one in found] == ["cleared", "held"]
    assert found[1]["reasons"][0]["why"] == "too-many-hours"


def test_a_start_sent_twice_is_one_start(ready: House) -> None:
    mechanic = ready.client("mechanic")
    first, again = (mechanic.post("/may-start", json=ASKED, headers={"Idempotency-Key": "task-1"}) for _ in range(2))
    assert first.status_code == again.status_code == 200
    assert first.json() == again.json()
    assert first.json()["certificate"].count(".") == 2
    starts = mechanic.get("/units/unit-07/harvest-starts").json()["items"]
    assert [one["id"] for one in starts] == [first.json()["start"]]
    assert first.headers["location"] == f"/harvest-starts/{first.json()['start']}"


def test_a_held_start_is_on_record_and_brings_no_certificate(ready: House, legal: Any) -> None:
    mechanic = ready.client("mechanic")
    assert mechanic.post("/units/unit-07/setups", json=spoilt(legal())).status_code == 201
    found = mechanic.post("/may-start", json=ASKED)
    assert found.status_code == 200
    assert (found.json()["answer"], found.json()["certificate"]) == ("held", None)
    assert found.json()["say"].startswith("HELD: unit-07 may not start corn with corn-head: ")
    events = ready.client().get("/record/events", params={"most": 500}).json()["items"]
    assert [one["what"] for one in events if one["what"].startswith("start.")] == ["start.held"]


def test_an_answer_that_still_holds_is_304(ready: House, legal: Any) -> None:
    mechanic = ready.client("mechanic")
    first = mechanic.get("/may-start", params=ASKED)
    tag = {"If-None-Match": first.headers["etag"]}
    ready.clock.at += 60.0
    assert mechanic.get("/may-start", params=ASKED, headers=tag).status_code == 304
    assert mechanic.post("/units/unit-07/setups", json=spoilt(legal())).status_code == 201
    assert mechanic.get("/may-start", params=ASKED, headers=tag).status_code == 200


@pytest.mark.parametrize(
    ("changed", "status", "said"),
    [
        ({"crop": "wheet"}, 422, "Did you mean 'wheat'?"),
        ({"header_kind": "corn-haed"}, 422, "Did you mean 'corn-head'?"),
        ({"unit": "unit-70"}, 404, "unit-70"),
        ({"unit": "unit-07\u0000"}, 404, "unit"),
        ({"crop": "corn\u0000"}, 422, "crop"),
        ({"header_kind": "\u2028"}, 422, "header_kind"),
        ({"engine_hours": -1}, 422, "engine_hours"),
        ({"engine_hours": "many"}, 422, "engine_hours"),
        ({"unit": ""}, 422, "unit"),
    ],
)
def test_what_is_not_known_is_refused_never_guessed(
    ready: House, changed: dict[str, Any], status: int, said: str
) -> None:
    mechanic = ready.client("mechanic")
    for answer in (
        mechanic.get("/may-start", params={**ASKED, **changed}), mechanic.post("/may-start", json={**ASKED, **changed}),
    ):  # fmt: skip
        assert answer.status_code == status, answer.text
        assert answer.headers["content-type"] == "application/problem+json"
        assert said in answer.text
        assert "cleared" not in answer.text


def test_who_may_ask_and_who_may_start(ready: House) -> None:
    assert ready.client("reader").get("/may-start", params=ASKED).status_code == 200
    assert ready.client("reader").post("/may-start", json=ASKED).status_code == 403
    assert ready.client("reader", "lowfield").get("/may-start", params=ASKED).status_code == 404
    nobody = ready.client()
    nobody.headers.pop("authorization")
    assert nobody.get("/may-start", params=ASKED).status_code == 401
    assert nobody.get("/may-start/contract").status_code == 200


def test_a_clock_behind_its_record_clears_nothing(ready: House) -> None:
    ready.clock.at -= 3600.0
    mechanic = ready.client("mechanic")
    assert mechanic.get("/may-start", params=ASKED).status_code == 503
    assert mechanic.post("/may-start", json=ASKED).status_code == 503


def test_it_is_the_same_start_as_the_client_asks_for(ready: House, legal: Any) -> None:
    """The typed client's start and the question's are one gate: what one holds the other holds."""
    mechanic = ready.client("mechanic")
    assert mechanic.post("/units/unit-07/setups", json=spoilt(legal())).status_code == 201
    found = mechanic.post("/may-start", json=ASKED).json()
    problem = mechanic.post("/units/unit-07/harvest-starts", json={"crop": "corn", "header_kind": "corn-head"}).json()
    assert [one["text"] for one in found["reasons"]] == [one["text"] for one in problem["decision"]["reasons"]]


def test_a_pin_that_is_on_record_stands_for_its_unit(ready: House) -> None:
    """ISO 10261: 17 characters, one machine in the world; written with dashes or small it is the same."""
    mechanic = ready.client("mechanic")
    sent = mechanic.post("/units/unit-07/identities", json={"pin": "XXXMDLA1C00000482"})
    assert sent.status_code == 201, sent.text
    for written in ("XXXMDLA1C00000482", "xxxmdla1c-00000482"):
        found = mechanic.get("/may-start", params={**ASKED, "unit": written})
        assert found.status_code == 200, found.text
        assert (found.json()["unit"], found.json()["answer"]) == ("unit-07", "cleared")
    elsewhere = ready.client("reader", "lowfield").get("/may-start", params={**ASKED, "unit": "XXXMDLA1C00000482"})
    assert elsewhere.status_code == 404
    assert "unit-07" not in elsewhere.text
    assert mechanic.get("/may-start", params={**ASKED, "unit": "XXXMDLA1C00000483"}).status_code == 404
