"""The plain reading: each relation on its limit, past it and without a value; the logic against a plain reference.

The three-valued tables are Kleene's strong logic (S. C. Kleene, Introduction to Metamathematics, 1952, section 64).
"""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.checking import Outcome, Surroundings, evaluate, judge
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
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
    Known,
    Limit,
    Literal,
    Near,
    Not,
    OneOf,
    Pointer,
    RecordedAfter,
    Relation,
    Same,
    Verdict,
)

Truth = bool | None
TRUTHS: tuple[Truth, ...] = (False, None, True)


def quantity(name: str, form: Form, unit: str = "", sided: bool = False) -> Quantity:
    return Quantity(name, Role.READING, form, name, unit, sided=sided)


NAMES = {
    found.name: found
    for found in (
        quantity("gap", Form.NUMBER, "mm"),
        quantity("other.gap", Form.NUMBER, "mm"),
        quantity("pair.gap", Form.NUMBER, "mm", sided=True),
        quantity("second.gap", Form.NUMBER, "mm", sided=True),
        quantity("drum", Form.WORD, sided=True),
        quantity("other.drum", Form.WORD, sided=True),
        quantity("range", Form.WORD),
        quantity("wanted.range", Form.WORD),
        quantity("home", Form.YES_NO),
        quantity("pins", Form.YES_NO, sided=True),
        quantity("first", Form.TIME),
        quantity("second", Form.TIME),
        *(quantity(f"truth.{letter}", Form.YES_NO) for letter in "abcd"),
    )
}


def hold(condition: Condition, **values: Value | Sided) -> Outcome:
    """The outcome of a condition; a name is written with '__' for its dot."""
    known = {name.replace("__", "."): value for name, value in values.items()}
    return evaluate(condition, Surroundings(known, NAMES, {"gap": "nobody took the gap"}))


def mm(value: float) -> Literal:
    return Literal(value, f"{value:g} mm")


def word(text: str) -> Literal:
    return Literal(text, text)


# relation on a number, value, truth, distance past the limit, share of the limit
NUMBERS: list[tuple[Relation, float, Truth, float | None, float]] = [
    (AtMost(mm(20)), 20, True, None, 0),
    (AtMost(mm(20)), 20.5, False, 0.5, 0.025),
    (AtMost(mm(20)), 20 * (1 + 0.9e-9), True, None, 0),
    (AtMost(mm(20)), -5, True, None, 0),
    (AtLeast(mm(20)), 20, True, None, 0),
    (AtLeast(mm(20)), 19, False, 1, 0.05),
    (AtLeast(mm(20)), 20 * (1 - 0.9e-9), True, None, 0),
    (AtLeast(mm(-4)), -5, False, 1, 0.25),
    (AtMost(mm(0)), 3, False, 3, 1),
    (Between(mm(10), mm(20)), 10, True, None, 0),
    (Between(mm(10), mm(20)), 20, True, None, 0),
    (Between(mm(10), mm(20)), 15, True, None, 0),
    (Between(mm(10), mm(20)), 8, False, 2, 0.2),
    (Between(mm(10), mm(20)), 25, False, 5, 0.25),
    (Near(mm(50), 2, False, "2 mm"), 52, True, None, 0),
    (Near(mm(50), 2, False, "2 mm"), 48, True, None, 0),
    (Near(mm(50), 2, False, "2 mm"), 53, False, 1, 0.02),
    (Near(mm(50), 2, False, "2 mm"), 46, False, 2, 0.04),
    (Near(mm(50), 0.1, True, "10 %"), 55, True, None, 0),
    (Near(mm(50), 0.1, True, "10 %"), 45, True, None, 0),
    (Near(mm(50), 0.1, True, "10 %"), 56, False, 1, 0.02),
    (Is(mm(20)), 20, True, None, 0),
    (Is(mm(20)), 21, False, None, 1),
    (OneOf((mm(20), mm(30))), 30, True, None, 0),
    (OneOf((mm(20), mm(30))), 25, False, None, 1),
]


@pytest.mark.parametrize(
    ("relation", "value", "truth", "past", "share"),
    [pytest.param(*row, id=f"{type(row[0]).__name__} {row[1]:g} {row[2]}") for row in NUMBERS],
)
def test_relations_on_numbers(relation: Relation, value: float, truth: Truth, past: float | None, share: float) -> None:
    found = hold(Compare("gap", relation), gap=float(value))
    assert found.truth is truth
    assert found.share == pytest.approx(share, abs=1e-12)
    (comparison,) = found.comparisons
    assert comparison.holds is truth
    assert comparison.past == (None if past is None else pytest.approx(past))
    assert (comparison.quantity, comparison.side, comparison.found) == ("gap", "", value)


@pytest.mark.parametrize(
    "relation", [*dict.fromkeys(type(row[0]) for row in NUMBERS), Same, RecordedAfter], ids=lambda kind: kind.__name__
)
def test_no_value_is_unknown_in_every_relation(relation: type) -> None:
    example: dict[type, Condition] = {
        Same: Compare("gap", Same("other.gap", 0, "")),
        RecordedAfter: Compare("second", RecordedAfter("first")),
    }
    for row in NUMBERS:
        example.setdefault(type(row[0]), Compare("gap", row[0]))
    found = hold(example[relation], other__gap=3.0, first=1.0)
    assert (found.truth, found.share) == (None, 0.0)
    assert [c.holds for c in found.comparisons] == [None]
    assert found.comparisons[0].why_unknown


def test_why_unknown_is_the_reason_on_record() -> None:
    assert hold(Compare("gap", AtMost(mm(3)))).comparisons[0].why_unknown == "nobody took the gap"
    assert hold(Compare("home", Is(Literal(True, "yes")))).comparisons[0].why_unknown == "home is not known"


NO_LIMIT = Literal(None, "no card states it")


@pytest.mark.parametrize(
    ("relation", "value", "truth"),
    [
        (AtMost(NO_LIMIT), 5, None),
        (AtLeast(NO_LIMIT), 5, None),
        (Near(NO_LIMIT, 1, False, "1 mm"), 5, None),
        (Is(NO_LIMIT), 5, None),
        (OneOf((mm(5), NO_LIMIT)), 5, True),
        (OneOf((mm(4), NO_LIMIT)), 5, None),
        (Between(NO_LIMIT, mm(10)), 5, None),
        (Between(NO_LIMIT, mm(10)), 11, False),
        (Between(mm(3), NO_LIMIT), 5, None),
        (Between(mm(3), NO_LIMIT), 2, False),
        (AtMost(Pointer("other.gap")), 5, None),
    ],
    ids=str,
)
def test_a_limit_nobody_states_leaves_open_what_it_would_decide(relation: Relation, value: float, truth: Truth) -> None:
    found = hold(Compare("gap", relation), gap=float(value))
    assert found.truth is truth
    if truth is None:
        wanted = (
            "other.gap is not known" if isinstance(relation, AtMost) and relation.limit != NO_LIMIT else NO_LIMIT.text
        )
        assert found.comparisons[0].why_unknown == wanted


@pytest.mark.parametrize(
    ("value", "truth"), [(18.0, True), (18.1, False), (None, None)], ids=["on the limit", "past it", "unknown"]
)
def test_a_limit_may_be_a_factor_of_another_quantity(value: Value, truth: Truth) -> None:
    found = hold(Compare("gap", AtMost(Pointer("other.gap", 0.9))), gap=value, other__gap=20.0)
    assert found.truth is truth
    assert found.comparisons[0].wanted == "at most 18 mm (other.gap)"


def test_a_limit_taken_left_and_right_is_compared_side_by_side() -> None:
    at_most = Compare("pair.gap", AtMost(Pointer("second.gap")))
    assert hold(at_most, pair__gap=(1.0, 5.0), second__gap=(1.0, 5.0)).truth is True
    found = hold(at_most, pair__gap=(1.0, 5.0), second__gap=(5.0, 1.0))
    assert [(c.side, c.holds) for c in found.comparisons] == [("right", False)]
    # one value against a pair: there is no side to take
    assert hold(Compare("gap", AtMost(Pointer("second.gap"))), gap=1.0, second__gap=(5.0, 5.0)).truth is None


@pytest.mark.parametrize(
    ("relation", "value", "truth"),
    [
        (Is(word("low")), "low", True),
        (Is(word("low")), "high", False),
        (OneOf((word("low"), word("mid"))), "mid", True),
        (OneOf((word("low"), word("mid"))), "high", False),
        (Is(Pointer("wanted.range")), "high", True),
        (Is(Pointer("wanted.range")), "low", False),
        (Same("wanted.range", 0, ""), "high", True),
        (Same("wanted.range", 0, ""), "low", False),
    ],
    ids=str,
)
def test_relations_on_words(relation: Relation, value: str, truth: Truth) -> None:
    found = hold(Compare("range", relation), range=value, wanted__range="high")
    assert found.truth is truth
    assert (found.share, found.comparisons[0].past) == (0.0 if truth else 1.0, None)


@pytest.mark.parametrize("wanted", [True, False])
@pytest.mark.parametrize("value", [True, False])
def test_yes_and_no(value: bool, wanted: bool) -> None:
    found = hold(Compare("home", Is(Literal(wanted, "yes" if wanted else "no"))), home=value)
    assert found.truth is (value is wanted)
    assert found.comparisons[0].wanted == ("yes" if wanted else "no")


@pytest.mark.parametrize(
    ("second", "first", "truth"),
    [(5.0, 5.0, True), (5.1, 5.0, True), (4.9, 5.0, False), (None, 5.0, None), (5.0, None, None), (None, None, None)],
)
def test_an_order_of_events(second: Value, first: Value, truth: Truth) -> None:
    assert hold(Compare("second", RecordedAfter("first")), second=second, first=first).truth is truth


@pytest.mark.parametrize(
    ("pair", "truth", "sides"),
    [
        (("raised", "raised"), True, ["left", "right"]),
        (("raised", "lowered"), False, ["right"]),
        (("lowered", "raised"), False, ["left"]),
        (("lowered", "lowered"), False, ["left", "right"]),
        (("raised", None), None, ["right"]),
        ((None, "raised"), None, ["left"]),
        (("lowered", None), False, ["left"]),
        ((None, "lowered"), False, ["right"]),
        ((None, None), None, ["left", "right"]),
        (None, None, ["left", "right"]),
    ],
)
def test_a_sided_quantity_must_hold_on_both_sides(pair: Sided | None, truth: Truth, sides: list[str]) -> None:
    found = hold(Compare("drum", Is(word("raised"))), drum=pair)
    assert found.truth is truth
    assert [c.side for c in found.comparisons] == sides


def test_the_worse_side_gives_the_share() -> None:
    found = hold(Compare("pair.gap", AtMost(mm(10))), pair__gap=(11.0, 15.0))
    assert found.share == pytest.approx(0.5)
    assert [c.past for c in found.comparisons] == [pytest.approx(1), pytest.approx(5)]


@pytest.mark.parametrize(
    ("pair", "within", "truth", "past", "share"),
    [
        ((10.0, 10.0), 0.0, True, None, 0),
        ((10.0, 12.0), 2.0, True, None, 0),
        ((10.0, 12.5), 2.0, False, 0.5, 0.04),
        ((12.5, 10.0), 2.0, False, 0.5, 0.04),
        ((10.0, None), 2.0, None, None, 0),
        ((None, 10.0), 2.0, None, None, 0),
        (None, 2.0, None, None, 0),
    ],
)
def test_left_and_right_the_same(
    pair: Sided | None, within: float, truth: Truth, past: float | None, share: float
) -> None:
    found = hold(Compare("pair.gap", Same("", within, f"{within:g} mm")), pair__gap=pair)
    assert found.truth is truth
    assert found.share == pytest.approx(share)
    assert found.comparisons[0].past == (None if past is None else pytest.approx(past))


def test_left_and_right_the_same_word() -> None:
    same = Compare("drum", Same("", 0, ""))
    assert hold(same, drum=("raised", "raised")).truth is True
    found = hold(same, drum=("raised", "lowered"))
    assert (found.truth, found.comparisons[0].found) == (False, "raised and lowered")
    assert hold(same, drum=("raised", None)).truth is None


def test_the_same_as_another_quantity_side_by_side() -> None:
    same = Compare("pair.gap", Same("second.gap", 1.0, "1 mm"))
    assert hold(same, pair__gap=(1.0, 9.0), second__gap=(2.0, 8.0)).truth is True
    found = hold(same, pair__gap=(1.0, 9.0), second__gap=(9.0, 9.0))
    assert [(c.side, c.holds) for c in found.comparisons] == [("left", False)]
    assert hold(Compare("drum", Same("other.drum", 0, "")), drum=("a", "b"), other__drum=("a", "b")).truth is True


def test_known_looks_at_the_value_alone() -> None:
    assert hold(Known("first"), first=0.0).truth is True
    assert hold(Known("first")).truth is False


# ------------------------------------------------------------------------------------------------ the logic


def is_true(letter: str) -> Compare:
    return Compare(f"truth.{letter}", Is(Literal(True, "yes")))


def reference(condition: Condition, values: dict[str, Truth]) -> Truth:
    """Kleene's strong logic as least and greatest of false < unknown < true."""
    rank: dict[Truth, int] = {False: 0, None: 1, True: 2}
    truth = {0: False, 1: None, 2: True}

    def of(part: Condition) -> int:
        if isinstance(part, Compare):
            return rank[values[part.quantity[-1]]]
        if isinstance(part, Not):
            return 2 - of(part.part)
        if isinstance(part, IfThen):
            return max(2 - of(part.given), of(part.then))
        assert isinstance(part, (All, Any, Evidence))
        inner = [of(kid) for kid in part.parts]
        if isinstance(part, Any):
            return max(inner)
        if isinstance(part, Evidence):
            given = [one for one in inner if one != 1]
            return min(given) if given else 1
        return min(inner)

    return truth[of(condition)]


TWO: dict[str, tuple[Condition, str]] = {
    "all": (All((is_true("a"), is_true("b"))), "FFFFUUFUT"),
    "any": (Any((is_true("a"), is_true("b"))), "FUTUUTTTT"),
    "if a then b": (IfThen(is_true("a"), is_true("b")), "TTTUUTFUT"),
    "evidence": (Evidence((is_true("a"), is_true("b"))), "FFFFUTFTT"),
}
LETTER: dict[str, Truth] = {"F": False, "U": None, "T": True}


@pytest.mark.parametrize("name", TWO)
def test_tables_of_two(name: str) -> None:
    """Rows by a, columns by b, both in the order false, unknown, true."""
    condition, table = TWO[name]
    for letter, (a, b) in zip(table, itertools.product(TRUTHS, repeat=2), strict=True):
        assert hold(condition, truth__a=a, truth__b=b).truth is LETTER[letter], (a, b)


@pytest.mark.parametrize(("value", "truth"), [(True, False), (False, True), (None, None)])
def test_table_of_not(value: Truth, truth: Truth) -> None:
    found = hold(Not(is_true("a")), truth__a=value)
    assert found.truth is truth
    assert found.comparisons[0].wanted == "not yes"


def trees(leaves: st.SearchStrategy[Condition]) -> st.SearchStrategy[Condition]:
    def several(parts: st.SearchStrategy[Condition]) -> st.SearchStrategy[Condition]:
        lists = st.lists(parts, min_size=1, max_size=4).map(tuple)
        return st.one_of(
            lists.map(All), lists.map(Any), lists.map(Evidence), parts.map(Not), st.builds(IfThen, parts, parts)
        )

    return st.recursive(leaves, several, max_leaves=12)


CONDITIONS = trees(st.sampled_from("abcd").map(is_true))
VALUES = st.fixed_dictionaries({letter: st.sampled_from(TRUTHS) for letter in "abcd"})


@given(CONDITIONS, VALUES)
def test_any_condition_agrees_with_the_reference(condition: Condition, values: dict[str, Truth]) -> None:
    found = hold(condition, **{f"truth__{letter}": value for letter, value in values.items()})
    assert found.truth is reference(condition, values)


def kinds(condition: Condition) -> set[type]:
    """Every kind of condition in a condition."""
    inner: tuple[Condition, ...] = ()
    if isinstance(condition, (All, Any, Evidence)):
        inner = condition.parts
    elif isinstance(condition, IfThen):
        inner = (condition.given, condition.then)
    elif isinstance(condition, Not):
        inner = (condition.part,)
    return {type(condition)}.union(*map(kinds, inner))


@given(CONDITIONS, VALUES, st.sampled_from("abcd"), st.booleans())
def test_finding_out_more_never_turns_a_decided_answer(
    condition: Condition, values: dict[str, Truth], letter: str, value: bool
) -> None:
    """Holds for Kleene's logic; evidence alone may change its mind when a second way speaks against the first."""
    before = hold(condition, **{f"truth__{key}": known for key, known in values.items()}).truth
    if before is None or Evidence in kinds(condition) or values[letter] is not None:
        return
    after = hold(condition, **{f"truth__{key}": known for key, known in (values | {letter: value}).items()}).truth
    assert after is before


@given(CONDITIONS, VALUES)
def test_comparisons_shown_are_those_that_decide(condition: Condition, values: dict[str, Truth]) -> None:
    found = hold(condition, **{f"truth__{letter}": value for letter, value in values.items()})
    if found.truth is None:
        assert any(c.holds is None for c in found.comparisons)
    if found.truth is False and IfThen not in kinds(condition):  # an 'if' that fails shows nothing
        assert any(c.holds is False for c in found.comparisons)


# ---------------------------------------------------------------------------------------------- share and verdict


def over(limit: float) -> Compare:
    return Compare("gap", AtMost(mm(limit)))


def test_share_of_several_failures() -> None:
    """All that fail: the worst counts. Alternatives that all fail: the nearest would have been enough."""
    assert hold(All((over(10), over(20))), gap=22.0).share == pytest.approx(1.2)
    assert hold(Evidence((over(10), over(20))), gap=22.0).share == pytest.approx(1.2)
    assert hold(Any((over(10), over(20))), gap=22.0).share == pytest.approx(0.1)
    assert hold(IfThen(Compare("home", Is(Literal(True, "yes"))), over(20)), gap=22.0, home=True).share == (
        pytest.approx(0.1)
    )


ASKED = {
    # given, hold: verdict
    (False, False): Verdict.NOT_ASKED,
    (False, None): Verdict.NOT_ASKED,
    (False, True): Verdict.NOT_ASKED,
    (None, False): Verdict.UNKNOWN,
    (None, None): Verdict.UNKNOWN,
    (None, True): Verdict.KEPT,
    (True, False): Verdict.BROKEN,
    (True, None): Verdict.UNKNOWN,
    (True, True): Verdict.KEPT,
}


@pytest.mark.parametrize(("a", "b"), ASKED)
def test_verdict_of_given_and_hold(a: Truth, b: Truth) -> None:
    around = Surroundings({"truth.a": a, "truth.b": b}, NAMES, {})
    verdict, outcome = judge(is_true("a"), is_true("b"), around)
    assert verdict is ASKED[a, b]
    if verdict is Verdict.UNKNOWN:
        assert {c.quantity for c in outcome.comparisons if c.holds is None}
        assert outcome.share == 0.0


@pytest.mark.parametrize(
    ("b", "verdict"), [(True, Verdict.KEPT), (False, Verdict.BROKEN), (None, Verdict.UNKNOWN)], ids=str
)
def test_verdict_without_given(b: Truth, verdict: Verdict) -> None:
    assert judge(None, is_true("b"), Surroundings({"truth.b": b}, NAMES, {}))[0] is verdict


@pytest.mark.parametrize(
    ("limit", "wanted"),
    [
        pytest.param(Literal(6.35, "1/4 in"), "at most 6.35 mm (1/4 in)", id="as its author wrote it too"),
        pytest.param(Literal(20.0, "20 mm"), "at most 20 mm", id="in the unit it is shown in"),
    ],
)
def test_wanted_is_said_in_the_unit_shown(limit: Limit, wanted: str) -> None:
    assert hold(Compare("gap", AtMost(limit)), gap=1.0).comparisons[0].wanted == wanted
