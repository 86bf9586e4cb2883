"""Shipped rules written out for general-purpose engines, from the rulebook and by program.

A question is transcribed if it looks at settings, readings and words of the job alone, with limits that are constant for
the card and crop. Setups are made complete first, each number bare and in its display unit, so that a question is either
broken or not: what other engines make of missing values differs, and is not what is measured.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any as Anything

from audit.auditor import Auditor
from audit.checking import ROUNDING
from audit.compiling import Reading
from audit.measures import from_canonical
from audit.nouns.quantity import SIDES, Form, Quantity, Role, Value
from audit.nouns.rule import (
    All,
    Any,
    AtLeast,
    AtMost,
    Between,
    Compare,
    Condition,
    Evidence,
    IfThen,
    Is,
    Limit,
    Literal,
    Near,
    Not,
    OneOf,
    Pointer,
)
from audit.nouns.rulebook import Rulebook

Path = tuple[str, ...]
Test = tuple[Anything, ...]
"""('and' | 'or', tests), ('not', test), ('in', path, values), ('<=' | '>=', path, number)."""


class Untold(Exception):
    """A condition that is not transcribed."""


class Transcriber:
    """Transcribes the questions of a card and crop."""

    def __init__(self, auditor: Auditor, card: str, crop: str, line: bytes) -> None:
        self.reading: Reading = auditor.quick().read(line).run.reading
        self.names = self.reading.sheet.names
        assert (self.reading.sheet.card.id, self.reading.sheet.crop.id) == (card, crop)

    def paths(self, name: str) -> list[Path]:
        """Where the values of a quantity stand in a setup."""
        quantity = self.names[name]
        if quantity.role not in (Role.SETTING, Role.READING) or name not in self.reading.inputs:
            raise Untold(name)
        place = (f"{quantity.role.value}s", name)
        return [(*place, side) for side in SIDES] if quantity.sided else [place]

    def number(self, limit: Limit, quantity: Quantity) -> float:
        """A limit in the display unit of what it limits."""
        value = self.limit(limit)
        if not isinstance(value, float):
            raise Untold(limit)
        return from_canonical(value, quantity.unit)

    def limit(self, limit: Limit) -> Value:
        if isinstance(limit, Literal):
            return limit.value
        assert isinstance(limit, Pointer)
        if self.reading.constants.get(limit.name) is None:
            raise Untold(limit.name)
        value = self.reading.constants[limit.name]
        return value * limit.times if isinstance(value, float) else value

    def test(self, condition: Condition) -> Test:
        """A condition as a test. Raises Untold."""
        if isinstance(condition, (All, Evidence, Any)):
            return ("or" if isinstance(condition, Any) else "and", [self.test(part) for part in condition.parts])
        if isinstance(condition, Not):
            return ("not", self.test(condition.part))
        if isinstance(condition, IfThen):
            return ("or", [("not", self.test(condition.given)), self.test(condition.then)])
        if not isinstance(condition, Compare):
            raise Untold(condition)
        tests = [self.compare(condition, path) for path in self.paths(condition.quantity)]
        return tests[0] if len(tests) == 1 else ("and", tests)

    def compare(self, compare: Compare, path: Path) -> Test:
        quantity, relation = self.names[compare.quantity], compare.relation
        if isinstance(relation, (Is, OneOf)) and quantity.form is not Form.NUMBER:
            limits = (relation.limit,) if isinstance(relation, Is) else relation.limits
            values = [self.limit(limit) for limit in limits]
            if not all(isinstance(value, (str, bool)) for value in values):
                raise Untold(relation)
            return ("in", path, values)
        ends: list[tuple[str, float]] = []
        if isinstance(relation, (AtLeast, Between)):
            ends.append(
                (">=", self.number(relation.limit if isinstance(relation, AtLeast) else relation.low, quantity))
            )
        if isinstance(relation, (AtMost, Between)):
            ends.append(
                ("<=", self.number(relation.limit if isinstance(relation, AtMost) else relation.high, quantity))
            )
        if isinstance(relation, Near) and not relation.share:
            middle = self.limit(relation.limit)
            if isinstance(middle, float):
                ends = [
                    (sign, from_canonical(middle + way * relation.within, quantity.unit))
                    for sign, way in ((">=", -1), ("<=", 1))
                ]
        if not ends:
            raise Untold(relation)
        tests: list[Test] = [
            (sign, path, end - abs(end) * ROUNDING if sign == ">=" else end + abs(end) * ROUNDING) for sign, end in ends
        ]
        return tests[0] if len(tests) == 1 else ("and", tests)

    def broken(self) -> dict[str, list[tuple[tuple[str, str], Test]]]:
        """The rules all of whose questions are transcribed: each question with the test that is true if it is broken."""
        found: dict[str, list[tuple[tuple[str, str], Test]]] = {}
        left: set[str] = set()
        for question in self.reading.sheet.questions:
            try:
                hold: Test = ("not", self.test(question.hold))
                test = hold if question.given is None else ("and", [self.test(question.given), hold])
                found.setdefault(question.rule.id, []).append(((question.rule.id, question.on), test))
            except Untold:
                left.add(question.rule.id)
        return {rule: tests for rule, tests in found.items() if rule not in left}


def with_rules(rulebook: Rulebook, rules: Sequence[str]) -> Rulebook:
    """The rulebook with some of its rules only."""
    return replace(rulebook, rules={key: rulebook.rules[key] for key in rules}, digest="subset")


def bare(auditor: Auditor, line: bytes) -> bytes | None:
    """A setup with every number bare in its display unit and every sided value a pair, without events; None if it lacks
    anything that the card has."""
    read = auditor.quick().read(line)
    reading = read.run.reading
    setup = json.loads(line)
    plain: dict[str, Anything] = {"unit": setup["unit"], "job": setup["job"], "settings": {}, "readings": {}}
    for (name, table), written in zip(reading.inputs.items(), read.written, strict=True):
        quantity = reading.sheet.names.get(name)
        if quantity is None or quantity.role not in (Role.SETTING, Role.READING):
            continue
        value = written if table is None else table[written]
        section = plain[f"{quantity.role.value}s"]
        if quantity.sided:
            assert isinstance(value, tuple)
            if None not in value:
                section[name] = {side: _shown(each, quantity) for side, each in zip(SIDES, value, strict=True)}
        elif value is not None:
            section[name] = _shown(value, quantity)  # type: ignore[arg-type]
    return json.dumps(plain, separators=(",", ":")).encode()


def _shown(value: Value, quantity: Quantity) -> Value:
    if quantity.form is Form.NUMBER and isinstance(value, float):
        return float(f"{from_canonical(value, quantity.unit):.6g}")
    return value


def as_schema(tests: Sequence[Test]) -> dict[str, Anything]:
    """JSON Schema (draft 2020-12): an error of ``allOf/n`` is question n broken."""
    return {"allOf": [_schema(("not", test)) for test in tests]}


def _schema(test: Test) -> dict[str, Anything]:
    kind = test[0]
    if kind in ("and", "or"):
        return {"allOf" if kind == "and" else "anyOf": [_schema(part) for part in test[1]]}
    if kind == "not":
        return _schema(test[1][1]) if test[1][0] == "not" else {"not": _schema(test[1])}
    inner: dict[str, Anything] = (
        {"enum": test[2]} if kind == "in" else {"minimum" if kind == ">=" else "maximum": test[2]}
    )
    for key in reversed(test[1]):
        inner = {"properties": {key: inner}}
    return inner


def as_text(
    test: Test, name: Callable[[Path], str], words: dict[str, str], literal: Callable[[Value], str], within: str
) -> str:
    """A test in a language with infix operators.

    Args:
        words: of 'and', 'or', 'not'.   within: pattern for membership, with {} for the value and the list.
    """
    kind = test[0]
    if kind in ("and", "or"):
        parts = [as_text(part, name, words, literal, within) for part in test[1]]
        return f"({f' {words[kind]} '.join(parts)})"
    if kind == "not":
        return f"({words['not']} {as_text(test[1], name, words, literal, within)})"
    if kind == "in":
        return within.format(name(test[1]), ", ".join(literal(value) for value in test[2]))
    return f"({name(test[1])} {kind} {literal(test[2])})"


def as_cel(tests: Sequence[Test]) -> str:
    """One CEL expression: the list of what is broken."""

    def name(path: Path) -> str:
        return path[0] + "".join(f'["{key}"]' for key in path[1:])

    words = {"and": "&&", "or": "||", "not": "!"}
    return f"[{', '.join(as_text(test, name, words, json.dumps, '({} in [{}])') for test in tests)}]"


def as_logic(test: Test) -> Anything:
    """JSON logic."""
    kind = test[0]
    if kind in ("and", "or"):
        return {kind: [as_logic(part) for part in test[1]]}
    if kind == "not":
        return {"!": [as_logic(test[1])]}
    value = {"val": list(test[1])}
    return {"in": [value, test[2]]} if kind == "in" else {kind: [value, test[2]]}


def as_rego(tests: Sequence[Test]) -> str:
    """A Rego module whose set ``broken`` has the numbers of the broken questions."""
    lines = ["package fleet"]
    count = 0

    def rule(bodies: Sequence[str]) -> str:
        nonlocal count
        count += 1
        lines.extend(f"r{count} {{ {body} }}" for body in bodies)
        return f"r{count}"

    def write(test: Test) -> str:
        kind = test[0]
        if kind == "and":
            return "; ".join(write(part) for part in test[1])
        if kind == "or":
            return rule([write(part) for part in test[1]])
        if kind == "not":
            return f"not {rule([write(test[1])])}"
        place = "input" + "".join(f'["{key}"]' for key in test[1])
        if kind == "in":
            return rule([f"{place} == {json.dumps(value)}" for value in test[2]])
        return f"{place} {kind} {test[2]!r}"

    for number, test in enumerate(tests):
        lines.append(f"broken[{number}] {{ {write(test)} }}")
    return "\n".join(lines)


def as_sql(tests: Sequence[Test], file: str, types: dict[Path, str]) -> str:
    """A query of DuckDB over a file of lines, a column for each question."""
    words = {"and": "AND", "or": "OR", "not": "NOT"}

    def name(path: Path) -> str:
        return ".".join(f'"{key}"' for key in path)

    def literal(value: Value) -> str:
        return (
            f"'{value}'" if isinstance(value, str) else repr(value).upper() if isinstance(value, bool) else repr(value)
        )

    columns = ", ".join(
        f"{as_text(test, name, words, literal, '({} IN ({}))')} AS q{n}" for n, test in enumerate(tests)
    )
    sections = {section: _struct(section, types) for section in ("settings", "readings")}
    shape = ", ".join(f"{section}: '{fields}'" for section, fields in sections.items())
    return f"SELECT {columns} FROM read_json('{file}', format = 'newline_delimited', columns = {{{shape}}})"


def _struct(section: str, types: dict[Path, str]) -> str:
    fields: dict[str, list[str]] = {}
    for path, kind in types.items():
        if path[0] == section:
            fields.setdefault(path[1], []).append(f'"{path[2]}" {kind}' if len(path) == 3 else kind)
    shown = [
        f'"{name}" STRUCT({", ".join(kinds)})' if kinds[0].startswith('"') else f'"{name}" {kinds[0]}'
        for name, kinds in fields.items()
    ]
    return f"STRUCT({', '.join(shown)})".replace("'", "''")


def types_of(tests: Sequence[Test]) -> dict[Path, str]:
    """Every place that the tests look at, with its SQL type."""
    found: dict[Path, str] = {}

    def visit(test: Test) -> None:
        if test[0] in ("and", "or"):
            for part in test[1]:
                visit(part)
        elif test[0] == "not":
            visit(test[1])
        elif test[0] == "in":
            found[test[1]] = "BOOLEAN" if isinstance(test[2][0], bool) else "VARCHAR"
        else:
            found[test[1]] = "DOUBLE"

    for test in tests:
        visit(test)
    return found
