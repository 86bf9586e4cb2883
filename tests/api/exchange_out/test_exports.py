"""Lists and documents for other programs.

Outside references: csv of the standard library (RFC 4180), polars for Parquet, jsonschema; the required members of the
ADAPT Standard 2.0.2 (adapt-root-schema.json).
"""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from api.exchange.out.tables import cell, write_csv, write_json
from api.service.exporting import TABLES
from tests.api.exchange.adapt_schema import ADAPT
from tests.api.exchange_out.conftest import Place, Setup, adjust_belt, record, spoilt, start
from tests.api.starts.conftest import OTHER

HOSTILE = '=HYPERLINK("https://x.example","Körnermais"), \'x\'\n@SUM(A1)'


@pytest.fixture
def full(house: Place, unit: Setup) -> Place:
    """unit-07 was cleared and is spoilt now; unit-08 is named to do harm, and nothing is known of it."""
    record(house, unit)
    assert start(house).status_code == 201
    record(house, spoilt(unit))
    sent = {"card": "axial-single", "owner": HOSTILE, "serial": "-1+1"}
    assert house.client("mechanic").put("/units/unit-08", json=sent).status_code == 201
    return house


def rows(house: Place, what: str, form: str) -> list[dict[str, Any]]:
    answer = house.client("reader").get(f"/exports/{what}.{form}")
    assert answer.status_code == 200
    if form == "json":
        found: list[dict[str, Any]] = answer.json()
    elif form == "parquet":
        found = pl.read_parquet(io.BytesIO(answer.content)).to_dicts()
    else:
        found = list(csv.DictReader(io.StringIO(answer.content.decode(), newline="")))
    return found


@pytest.mark.parametrize("what", TABLES)
def test_each_list_says_the_same_in_every_form(full: Place, what: str) -> None:
    plain, columns, lines = rows(full, what, "json"), rows(full, what, "parquet"), rows(full, what, "csv")
    assert columns == plain
    assert [list(one) for one in lines] == [list(TABLES[what].columns)] * len(plain)
    assert lines == [{name: str(cell(value)) for name, value in row.items()} for row in plain]


def test_what_the_lists_hold(full: Place) -> None:
    first, second = rows(full, "units", "json")
    assert (first["unit"], first["clearance"], first["crop"]) == ("unit-07", "held", "corn")
    assert (second["unit"], second["clearance"], second["setup"]) == ("unit-08", "held", "")
    assert second["first_reason"]
    report = full.client().get("/units/unit-07/findings").json()["findings"]
    found = rows(full, "findings", "json")
    assert [(one["rule"], one["on"], one["verdict"]) for one in found] == [
        (one["rule"], one["on"], one["verdict"]) for one in report
    ]
    (cleared,) = rows(full, "starts", "json")
    assert cleared["revoked"] > cleared["at"]


def test_what_is_due_is_what_the_history_says(house: Place, unit: Setup) -> None:
    adjust_belt(house, unit)
    due = house.client().get("/units/unit-07/history").json()["due"]
    wanted = [(one["state"], one["procedure"], one["on"]) for one in due if one["state"] != "closed"]
    found = rows(house, "due", "json")
    assert [(one["state"], one["procedure"], one["on"]) for one in found] == wanted
    assert ("due", "adjust-feeder-variable-drive") in {(one["state"], one["procedure"]) for one in found}


@given(st.lists(st.dictionaries(st.sampled_from(["a", "b"]), st.text() | st.integers() | st.booleans() | st.none())))
def test_no_cell_begins_a_formula_and_every_row_comes_back(made: list[dict[str, Any]]) -> None:
    stream = io.StringIO(newline="")
    write_csv(made, ("a", "b"), stream)
    back = list(csv.reader(io.StringIO(stream.getvalue(), newline="")))
    assert len(back) == len(made) + 1
    for row, line in zip(made, back[1:], strict=True):
        for name, text in zip(("a", "b"), line, strict=True):
            if isinstance(row.get(name), str):
                assert not text.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))


def test_an_array_is_json_however_long() -> None:
    lists: list[list[dict[str, Any]]] = [[], [{"a": 1}], [{"a": 1}, {"a": "ö"}]]
    for made in lists:
        stream = io.StringIO()
        write_json(made, stream)
        assert json.loads(stream.getvalue()) == made


def test_a_caller_gets_the_units_that_they_see(full: Place) -> None:
    made = full.client().post("/tokens", json={"name": "cab", "role": "reader", "units": ["unit-08"]}).json()
    cab = full.client()
    cab.headers["Authorization"] = f"Bearer {made['secret']}"
    for what in TABLES:
        assert {one["unit"] for one in cab.get(f"/exports/{what}.json").json()} <= {"unit-08"}
    assert [one["name"] for one in cab.get("/exports/adapt.json").json()["catalog"]["devices"]] == ["unit-08"]
    for what in TABLES:
        assert full.client("owner", OTHER).get(f"/exports/{what}.json").json() == []
    assert full.client().get("/exports/secrets.csv").status_code == 422
    assert full.client().get("/exports/units.xml").status_code == 422
    stranger = full.client()
    del stranger.headers["Authorization"]
    assert stranger.get("/exports/units.csv").status_code == 401


def test_the_adapt_document_has_what_the_standard_requires_and_nothing_else(full: Place) -> None:
    asked = {"begins": "2026-10-01T07:00:00Z", "ends": "2026-10-01T12:00:00Z"}
    assert full.client("mechanic").post("/units/unit-07/work-requests", json=asked).status_code == 201
    found = full.client("reader").get("/exports/adapt.json").json()
    Draft202012Validator(ADAPT, format_checker=Draft202012Validator.FORMAT_CHECKER).validate(found)
    catalog = found["catalog"]
    defined = {one["definitionCode"]: one for one in catalog["customDataTypeDefinitions"]}
    models = {one["id"]["referenceId"] for one in catalog["deviceModels"]}
    for device in catalog["devices"]:
        assert device["deviceModelId"] in models
        for item in device.get("contextItems", []):
            definition = defined[item["definitionCode"]]
            if definition["dataDefinitionBaseTypeCode"] == "NUMERIC":
                float(item["valueText"])
    (plan,) = found["documents"]["plans"]
    assert plan["operations"][0]["deviceConfiguration"]["deviceId"] in {
        one["id"]["referenceId"] for one in catalog["devices"]
    }
    assert plan["cropIds"] == [one["id"]["referenceId"] for one in catalog["crops"]]
    (corn,) = catalog["crops"]
    assert corn["id"]["uniqueIds"][0]["idText"] == "ZEAMX"  # EPPO code of maize
    drum = {item["definitionCode"]: item["valueText"] for item in catalog["devices"][0]["contextItems"]}
    assert drum["INTERNAL.SETUP_AUDIT.FEEDER_DRUM_LEFT"] != drum["INTERNAL.SETUP_AUDIT.FEEDER_DRUM_RIGHT"]


def test_what_is_written_is_read_again_as_the_same_settings_and_verifies_nothing(full: Place, unit: Setup) -> None:
    """The document of one house, taken in by another that has the same machine."""
    gap = {"left": "25 mm", "right": "24 mm"}
    setup = {**unit, "settings": {**unit["settings"], "rotor.concave_gap": gap}}
    record(full, setup)
    document = full.client("reader").get("/exports/adapt.json").content
    other = full.client("owner", OTHER)
    assert other.put("/units/unit-07", json={"card": setup["unit"]["card"]}).status_code == 201
    sent = other.post("/imports", content=document, headers={"Content-Type": "application/json"})
    assert [line["fate"] for line in sent.json()["lines"] if line["what"] == "unit"] == ["waits"]
    (asked,) = other.get("/import-questions").json()["items"]
    assert other.post(f"/import-questions/{asked['id']}/answer", json={"unit": "unit-07"}).status_code == 200
    said = other.get("/units/unit-07/from-machine").json()["values"]
    assert not any(one["verified"] for one in said)
    assert all(one["taken"] for one in said)
    found: dict[str, list[float]] = {}
    for one in sorted(said, key=lambda one: str(one["code"])):
        for name in one["settings"]:
            found.setdefault(name, []).append(one["value"])
    assert found == {
        "rotor.concave_gap": [25.0, 24.0],
        "shoe.chaffer": [16.0],
        "shoe.fan_speed": [990.0],
        "shoe.sieve": [13.0],
    }
    assert {name: setup["settings"][name] for name in found} == {
        "rotor.concave_gap": gap, "shoe.chaffer": "16.0 mm", "shoe.fan_speed": "990.0 r/min", "shoe.sieve": "13.0 mm",
    }  # fmt: skip
    assert other.get("/units/unit-07/clearance").json()["setup"] is None, "and no setup came of it"
