"""A unit's page: everything that the JSON doors say of it, and what can be done there."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

from fastapi.testclient import TestClient

from tests.api.pages.test_work_and_starts import text_of
from tests.api.pages.whole_unit import FAULTY, WHOLE, faulty, whole


def hidden(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found is not None
    return found[1]


def test_findings_stand_with_reason_damage_cure_traps_and_ground(owner: TestClient) -> None:
    faulty(owner)
    said = text_of(owner.get(f"/unit/{FAULTY}").text)
    findings = owner.get(f"/units/{FAULTY}/findings").json()["findings"]
    broken = [one for one in findings if one["verdict"] == "broken"]
    assert broken
    for one in broken:
        texts = [
            one["title"],
            one["why"],
            one["harm"]["how"],
            *(step["do"] for cure in one["cure"] for step in cure["steps"]),
        ]
        texts += [step["trap"] for cure in one["cure"] for step in cure["steps"] if step["trap"]]
        texts += [caution for cure in one["cure"] for caution in cure["special_cautions"]]
        for text in texts:
            assert " ".join(text.split()) in said
    assert "Stop the engine before anything is opened or touched." in said
    for setup in owner.get(f"/units/{FAULTY}/setups").json()["items"]:
        assert f"/unit/{FAULTY}/setups/{setup['id']}" in owner.get(f"/unit/{FAULTY}").text


def test_what_nobody_looked_at_is_there_with_how_to_take_it(owner: TestClient) -> None:
    owner.put("/units/unit-50", json={"card": "axial-single"})
    owner.post(
        "/units/unit-50/setups",
        json={"job": {"crop": "corn", "header": {"kind": "corn-head"}}, "taken": {"at": "2026-08-11T07:40:00Z"}},
    )
    said = text_of(owner.get("/unit/unit-50").text)
    missing = {m["how"] for one in owner.get("/units/unit-50/findings").json()["findings"] for m in one["missing"]}
    assert len(missing) > 20
    for how in missing - {""}:
        assert " ".join(how.split()) in said
    assert "Unknown never counts as safe" in said


def test_facts_stand_with_formula_inputs_and_source(owner: TestClient) -> None:
    whole(owner)
    page = owner.get(f"/unit/{WHOLE}").text
    said = text_of(page)
    assert "Speed of a belt-driven shaft" in said
    assert "separator.speed" in said
    assert 'class="state cleared"' in page
    assert "Nothing that was looked at is wrong." in said


def test_a_unit_without_a_setup_is_led_on(owner: TestClient) -> None:
    owner.put("/units/unit-51", json={"card": "axial-single"})
    page = owner.get("/unit/unit-51").text
    assert "Nobody has taken a setup" in text_of(page)
    assert "/unit/unit-51/walk-round" in page
    assert owner.get("/unit/unit-00").status_code == 404


def test_what_the_machine_is_is_changed_only_as_it_was_seen(owner: TestClient) -> None:
    whole(owner)
    edition = hidden(owner.get(f"/unit/{WHOLE}").text, "edition")
    form = {"edition": edition, "serial": "KX-1", "build_year": "2020", "owner": "North yard", "engine_hours": "950,5"}
    fitted = {f"fitted.{name}": choice for name, choice in owner.get(f"/units/{WHOLE}").json()["fitted"].items()}
    assert owner.post(f"/unit/{WHOLE}/edit", data={**form, **fitted}).status_code == 303
    unit = owner.get(f"/units/{WHOLE}").json()
    assert (unit["serial"], unit["owner"], unit["engine_hours"]) == ("KX-1", "North yard", 950.5)
    assert unit["fitted"] == {name.removeprefix("fitted."): choice for name, choice in fitted.items()}
    assert owner.post(f"/unit/{WHOLE}/edit", data={**form, "owner": "South yard"}).status_code == 412
    assert 'class="state held"' in owner.get(f"/unit/{WHOLE}").text
    edition = hidden(owner.get(f"/unit/{WHOLE}").text, "edition")
    empty = {"edition": edition, "serial": "", "build_year": "", "owner": "", "engine_hours": ""}
    assert owner.post(f"/unit/{WHOLE}/edit", data={**empty, **fitted}).status_code == 303, "as a browser sends them"
    assert owner.get(f"/units/{WHOLE}").json()["owner"] == ""
    bad = {**form, "edition": hidden(owner.get(f"/unit/{WHOLE}").text, "edition"), "build_year": "long ago"}
    assert owner.post(f"/unit/{WHOLE}/edit", data=bad).status_code == 422


def test_a_finding_is_let_pass_and_taken_back_by_forms(owner: TestClient) -> None:
    faulty(owner)
    page = owner.get(f"/unit/{FAULTY}").text
    until = (datetime.now(UTC) + timedelta(days=3)).date().isoformat()
    names = ("setup", "rule", "on", "key")
    form = {name: hidden(page, name) for name in names} | {
        "by": "Foreman",
        "reason": "New pins on Friday",
        "until": until,
    }
    assert owner.post(f"/unit/{FAULTY}/accept", data=form).status_code == 303
    assert owner.post(f"/unit/{FAULTY}/accept", data=form).status_code == 303
    items = owner.get(f"/units/{FAULTY}/acceptances").json()["items"]
    assert len(items) == 1
    page = owner.get(f"/unit/{FAULTY}").text
    assert "New pins on Friday" in text_of(page)
    assert owner.post(f"/unit/{FAULTY}/acceptances/{items[0]['id']}/end").status_code == 303
    assert "taken back" in text_of(owner.get(f"/unit/{FAULTY}").text)


def test_a_danger_to_people_is_not_offered_to_be_let_pass(owner: TestClient) -> None:
    owner.post("/fleet/demo")
    findings = owner.get("/units/demo-unit-18/findings").json()["findings"]
    dangers = [one["rule"] for one in findings if one["risk"]["danger_to_people"]]
    assert dangers
    offered = re.findall(r'name="rule" value="([^"]+)"', owner.get("/unit/demo-unit-18").text)
    assert not set(dangers) & set(offered)


def test_a_unit_is_taken_out_of_the_fleet_and_its_record_stays(owner: TestClient) -> None:
    whole(owner)
    edition = hidden(owner.get(f"/unit/{WHOLE}").text, "edition")
    assert owner.post(f"/unit/{WHOLE}/take-out", data={"edition": edition}).headers["location"] == "/fleet"
    assert "taken out of the fleet" in text_of(owner.get(f"/unit/{WHOLE}").text)
    assert owner.get(f"/units/{WHOLE}/setups").json()["items"]
