"""YAML 1.2, strict: core schema scalars (YAML 1.2.2, section 10.3), one document, no key twice, nothing clever."""

from __future__ import annotations

import pytest

from audit.intake.tree import Problems
from audit.intake.yaml_text import decode_yaml, parse_yaml


def plain(text: str) -> object:
    problems = Problems()
    tree = parse_yaml(text, "file.yaml", problems)
    assert problems.found == []
    assert tree is not None
    return tree.plain()


def refused(text: str) -> list[str]:
    problems = Problems()
    parse_yaml(text, "file.yaml", problems)
    return [str(problem) for problem in problems.found]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("no", "no"),
        ("yes", "yes"),
        ("on", "on"),
        ("off", "off"),
        ("y", "y"),
        ("true", True),
        ("True", True),
        ("FALSE", False),
        ("tRUE", "tRUE"),
        ("null", None),
        ("~", None),
        ("12", 12),
        ("-12", -12),
        ("+12", 12),
        ("012", 12),
        ("1_000", "1_000"),
        ("12:30", "12:30"),
        ("12:30:45", "12:30:45"),
        ("1.5", 1.5),
        (".5", 0.5),
        ("1.", 1.0),
        ("1e3", 1000.0),
        ("1.5e-3", 0.0015),
        ("2026-08-10", "2026-08-10"),
        ("0x1F", "0x1F"),
        (".inf", ".inf"),
        ("1/8 in", "1/8 in"),
        ("'12'", "12"),
        ('"true"', "true"),
        ("'null'", "null"),
    ],
)
def test_scalars(text: str, value: object) -> None:
    found = plain(f"key: {text}")
    assert found == {"key": value}
    assert isinstance(found, dict)
    assert type(found["key"]) is type(value)


def test_containers_and_places() -> None:
    problems = Problems()
    tree = parse_yaml("a:\n  b: [1, x]\n  c: {d: 2}\n", "file.yaml", problems)
    assert tree is not None
    assert tree.plain() == {"a": {"b": [1, "x"], "c": {"d": 2}}}
    assert isinstance(tree.value, dict)
    inner = tree.value["a"].value
    assert isinstance(inner, dict)
    assert str(inner["c"].place) == "file.yaml:3:6"


@pytest.mark.parametrize(
    ("text", "place", "said"),
    [
        pytest.param("a: 1\nb: 2\na: 3\n", "file.yaml:3:1", "key 'a' stands twice", id="a key twice"),
        pytest.param("a: {b: 1, b: 1}", "file.yaml:1:11", "key 'b' stands twice", id="a key twice in one line"),
        pytest.param("a: &x 1\n", "file.yaml:1:4", "anchors and aliases are not used here", id="an anchor"),
        pytest.param("a: *x\n", "file.yaml:1:4", "anchors and aliases are not used here", id="an alias"),
        pytest.param(
            "a: &x [1, *x]\n", "file.yaml:1:4", "anchors and aliases are not used here", id="an anchored list"
        ),
        pytest.param("a: &x {b: [1, 2], c: 3}\n", "file.yaml:1:4", "anchors and aliases", id="an anchored mapping"),
        pytest.param("a: {<<: *x}\n", "file.yaml:1:9", "anchors and aliases", id="a merge key"),
        pytest.param("a: !!str 1\n", "file.yaml:1:4", "tag 'tag:yaml.org,2002:str' is not used here", id="a tag"),
        pytest.param("a: !python/object:os.system x\n", "file.yaml:1:4", "is not used here", id="an object tag"),
        pytest.param("a: 1\n---\nb: 2\n", "file.yaml:2:1", "holds more than one document", id="several documents"),
        pytest.param("", "file.yaml", "is empty", id="empty"),
        pytest.param("# nothing but a remark\n", "file.yaml", "is empty", id="a remark alone"),
        pytest.param("a: [1, 2\nb: 3\n", "file.yaml:2:2", "is not YAML", id="an open bracket"),
        pytest.param("a: 'x\n", "file.yaml:2:1", "is not YAML", id="an open quote"),
        pytest.param("a: b: c\n", "file.yaml:1:5", "is not YAML", id="two colons"),
        pytest.param("a: 1\n\tb: 2\n", "file.yaml:2:1", "is not YAML", id="a tab"),
        pytest.param("true: 1\n", "file.yaml:1:1", "a key must be a word", id="a key that is no word"),
        pytest.param("null: 1\n", "file.yaml:1:1", "a key must be a word", id="an empty key"),
        pytest.param("[a, b]: 1\n", "file.yaml:1:1", "a key must be a word", id="a list as key"),
        pytest.param("a: \x07\n", "file.yaml", "is not YAML", id="a control character"),
    ],
)
def test_refused_with_place(text: str, place: str, said: str) -> None:
    found = refused(text)
    assert found
    assert found[0].startswith(place)
    assert said in found[0]


def test_all_repeated_keys_are_found_at_once() -> None:
    assert len(refused("a: 1\na: 2\nb: {c: 1, c: 2}\nb: 1\n")) == 3


def test_quoted_words_may_be_keys() -> None:
    assert plain("'true': 1\n\"null\": 2\n") == {"true": 1, "null": 2}


def test_not_utf8() -> None:
    problems = Problems()
    assert decode_yaml(b"a: caf\xe9\n", "x.yaml", problems) is None
    assert [str(problem) for problem in problems.found] == ["x.yaml: is not UTF-8 (byte 6). Save the file as UTF-8."]


@pytest.mark.parametrize(("opening", "closing"), [("[", "]"), ("{a: ", "}"), ("{? [", "] : 1}")])
@pytest.mark.parametrize("deep", [60, 20_000])
def test_very_deep_nesting_is_refused(opening: str, closing: str, deep: int) -> None:
    problems = Problems()
    assert parse_yaml(opening * deep + closing * deep, "file.yaml", problems) is None
    assert "is nested deeper than 50" in str(problems.found[-1])


@pytest.mark.parametrize("number", ["9" * 5000, "1e999", "-1e999", "0." + "1" * 400])
def test_a_number_that_no_float_holds_is_refused(number: str) -> None:
    assert "no number that can be worked with" in refused(f"a: {number}\n")[0]
