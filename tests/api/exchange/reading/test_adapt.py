"""Documents of the ADAPT Standard 2: member names of its root schema (MIT), which the samples were written from."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator

from api.exchange.adapt_codes import WORDS
from api.exchange.reading.files import opened
from api.exchange.reading.formats.adapt import FACTORS
from api.exchange.reading.nouns import NotRead, Read
from api.exchange.reading.registry import format_of, known
from audit.measures import to_canonical
from tests.api.exchange.adapt_schema import ADAPT
from tests.api.exchange.samples import adapt, zipped

CATALOG = {
    "brands", "crops", "cropZones", "customDataTypeDefinitions", "deviceModels", "devices", "farms", "fieldBoundaries",
    "fields", "growers", "guidanceGroups", "guidancePatterns", "manufacturers", "parties", "products", "seasons",
}  # fmt: skip
DOCUMENTS = {"plans", "recommendations", "workOrders", "workRecords", "referenceLayers"}


def read(content: bytes) -> Read:
    files = opened("adapt.json", content)
    found = format_of(files)
    assert found.name == "adapt"
    return found.read(files, b"", None)


def test_our_sample_has_what_the_standard_requires_and_nothing_else() -> None:
    plain = json.loads(adapt())
    assert set(ADAPT["properties"]["catalog"]["properties"]) <= CATALOG
    assert set(ADAPT["properties"]["documents"]["properties"]) <= DOCUMENTS
    Draft202012Validator(ADAPT, format_checker=Draft202012Validator.FORMAT_CHECKER).validate(plain)


def test_a_combine_with_hours_and_settings() -> None:
    found = read(adapt())
    (unit,) = found.units
    assert (unit.maker, unit.type, unit.serial, unit.fleet_number) == (
        "Sample Works",
        "Type A",
        "U07-000482",
        "Unit 07",
    )
    assert unit.hours is not None
    assert unit.hours.hours == 1482.4
    assert [(value.quantity, value.value, value.measure) for value in unit.values] == [("concave_gap", 12.0, "mm")]
    assert [row.why for row in found.rows] == ["device 'Sprayer' takes part in no harvest"]


def test_crop_and_planned_harvest() -> None:
    found = read(adapt())
    assert [crop.said for crop in found.crops] == [("TRZAX", "Winter wheat")]
    (task,) = found.tasks
    assert (task.name, task.field, task.units, task.crops) == (
        "Harvest North 40",
        "North 40",
        ("d1",),
        ("TRZAX", "Winter wheat"),
    )
    assert (task.begins, task.ends) == (1784527200.0, 1784570400.0)


def test_a_unit_that_is_not_read_for_a_setting_is_said() -> None:
    plain = adapt().replace(b'"unitOfMeasureCode": "mm"', b'"unitOfMeasureCode": "lb"')
    found = read(plain)
    assert found.units[0].values == ()
    assert any("'lb'" in note for note in found.notes)


@pytest.mark.parametrize("text", ["soon", "NaN", "Infinity", ""])
def test_values_that_are_none(text: str) -> None:
    found = read(adapt().replace(b'"valueText": "12"', f'"valueText": "{text}"'.encode()))
    assert found.units[0].values == ()
    assert found.notes


@pytest.mark.parametrize(
    ("quantity", "theirs", "ours"),
    [("concave_gap", "in", "in"), ("concave_gap", "m", "m"), ("fan_speed", "hz", "r/min")],
)
def test_factors(quantity: str, theirs: str, ours: str) -> None:
    """Length: international yard and pound agreement of 1959. A hertz of turning is 60 turns a minute."""
    factor, measure = FACTORS[quantity][theirs]
    assert factor == (60.0 if theirs == "hz" else to_canonical(1.0, ours, "length"))
    assert measure in ("mm", "r/min")
    assert set(WORDS.values()) <= set(FACTORS)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b'{"rootSchemaVersion": "2.0.2"}', "no catalog"),
        (b'{"rootSchemaVersion": "9", "catalog": {}}', "version '9'"),
        (b"[]", "no catalog"),
    ],
)
def test_documents_that_are_none(content: bytes, why: str) -> None:
    with pytest.raises(NotRead, match=why):
        known()["adapt"].read(opened("adapt.json", content), b"", None)


def test_members_of_another_shape_are_passed_over() -> None:
    plain = json.loads(adapt())
    plain["catalog"]["devices"] += [None, 7, {"id": "d9"}, {"id": {"referenceId": "d9"}, "contextItems": "x"}]
    plain["documents"]["plans"] = {"operations": [{"operationTypeCode": "HARVEST", "deviceConfiguration": []}]}
    assert len(read(json.dumps(plain).encode()).units) == 1


def test_in_an_archive_beside_its_maps() -> None:
    files = opened("a.zip", zipped({"adapt.json": adapt(), "rows.parquet": b"PAR1"}))
    assert format_of(files).name == "adapt"
