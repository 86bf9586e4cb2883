"""Which build a unit has: by serial, by year, by what is stated, or 'cannot decide'."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.builds import Series, decide
from audit.nouns.machine import Break, Build, MachineCard
from audit.nouns.problem import NOWHERE
from audit.nouns.setup import Unit
from audit.nouns.source import Basis, Ground

TENSIONER = Build(
    "feeder.chain_tensioner",
    "How the conveyor chain is tensioned",
    (("spring-gauge", "spring"), ("slot-turnbuckle", "slot")),
    (
        Break("spring-gauge", serial_from="KX-01500"),
        Break("slot-turnbuckle", serial_to="KX-01499"),
        Break("spring-gauge", year_from=2019),
        Break("slot-turnbuckle", year_to=2016),
    ),
    NOWHERE,
)


def card(*builds: Build) -> MachineCard:
    """A machine card that has nothing but builds."""
    basis = Basis(Ground.MACHINE_CARD)
    return MachineCard("test", "Test", basis, "manual", "engine", builds, (), (), (), (), (), (), NOWHERE)


def decided(build: Build, serial: str = "", year: int | None = None, fitted: str = "") -> str | None:
    stated = ((build.name, fitted),) if fitted else ()
    return decide(card(build), Unit("u", "test", serial, year, stated))[f"build.{build.name}"]


@pytest.mark.parametrize(
    ("serial", "year", "expected"),
    [
        pytest.param("KX-01500", None, "spring-gauge", id="first serial of the newer style"),
        pytest.param("KX-01499", None, "slot-turnbuckle", id="last serial of the older style"),
        pytest.param("KX-1500", None, "spring-gauge", id="leading zeros do not count"),
        pytest.param("KX-99999", None, "spring-gauge", id="far above"),
        pytest.param("KX-0", None, "slot-turnbuckle", id="far below"),
        pytest.param("", 2019, "spring-gauge", id="first year of the newer style"),
        pytest.param("", 2016, "slot-turnbuckle", id="last year of the older style"),
        pytest.param("", 2017, None, id="between the years"),
        pytest.param("", 2018, None, id="last year between"),
        pytest.param("KX-01499", 2024, "slot-turnbuckle", id="the serial goes before the year"),
        pytest.param("ZZ-01500", None, None, id="a serial of another series"),
        pytest.param("ZZ-01500", 2020, "spring-gauge", id="another series, but the year decides"),
        pytest.param("kx-01500", None, None, id="letters are compared as written"),
        pytest.param("KX", None, None, id="a serial without a number"),
        pytest.param("01500", None, None, id="a number without its letters"),
        pytest.param("", None, None, id="neither serial nor year"),
    ],
)
def test_serial_and_year_breaks(serial: str, year: int | None, expected: str | None) -> None:
    assert decided(TENSIONER, serial, year) == expected


@pytest.mark.parametrize("choice", ["spring-gauge", "slot-turnbuckle"])
@pytest.mark.parametrize("serial", ["KX-01500", "KX-00001", "ZZ-1", ""])
@pytest.mark.parametrize("year", [None, 2010, 2025])
def test_what_is_stated_as_fitted_wins(choice: str, serial: str, year: int | None) -> None:
    assert decided(TENSIONER, serial, year, choice) == choice


def test_the_first_break_that_fits_decides() -> None:
    build = Build(
        "a.b", "", (("one", ""), ("two", "")), (Break("one", year_from=2000), Break("two", year_from=2000)), NOWHERE
    )
    assert decided(build, year=2010) == "one"


def test_a_break_may_ask_for_serial_and_year_together() -> None:
    build = Build("a.b", "", (("one", ""),), (Break("one", "A-10", "A-20", 2000, 2005),), NOWHERE)
    assert decided(build, "A-10", 2000) == "one"
    assert decided(build, "A-20", 2005) == "one"
    for serial, year in [("A-9", 2000), ("A-21", 2000), ("A-15", 1999), ("A-15", 2006), ("", 2003), ("A-15", None)]:
        assert decided(build, serial, year) is None, (serial, year)


def test_serials_of_several_numbers_are_compared_number_by_number() -> None:
    build = Build("a.b", "", (("new", ""),), (Break("new", serial_from="A9-100"),), NOWHERE)
    assert decided(build, "A10-1") == "new"
    assert decided(build, "A9-99") is None


def test_every_build_of_a_card_is_answered() -> None:
    other = Build("shoe.stroke", "", (("long", ""),), (Break("long", year_to=2014),), NOWHERE)
    found = decide(card(TENSIONER, other), Unit("u", "test", "KX-01500", 2020))
    assert found == {"build.feeder.chain_tensioner": "spring-gauge", "build.shoe.stroke": None}


@given(st.integers(0, 99_999))
def test_a_serial_break_leaves_no_gap_and_no_overlap(number: int) -> None:
    expected = "spring-gauge" if number >= 1500 else "slot-turnbuckle"
    assert decided(TENSIONER, f"KX-{number:05d}") == expected


SERIALS = st.builds(
    "{}{}{}".format,
    st.sampled_from(["KX-", "KX", "ZZ-", ""]),
    st.integers(1490, 1510) | st.just(""),
    st.sampled_from(["", "A", "-2"]),
)
BREAKS = st.lists(
    st.builds(
        Break,
        st.sampled_from(["spring-gauge", "slot-turnbuckle"]),
        serial_from=SERIALS,
        serial_to=SERIALS,
        year_from=st.none() | st.integers(2015, 2020),
        year_to=st.none() | st.integers(2015, 2020),
    ),
    max_size=4,
)


@given(BREAKS, st.lists(SERIALS, min_size=2, max_size=12), st.none() | st.integers(2014, 2021))
def test_serials_of_a_class_are_decided_alike(breaks: list[Break], serials: list[str], year: int | None) -> None:
    build = replace(TENSIONER, breaks=tuple(breaks))
    series = Series(card(build))
    found: dict[object, set[str | None]] = {}
    for serial in serials:
        found.setdefault(series.class_of(serial), set()).add(decided(build, serial, year))
    assert all(len(choices) == 1 for choices in found.values())


def test_a_fleet_has_few_classes_of_serials() -> None:
    series = Series(card(TENSIONER))
    assert len({series.class_of(f"KX-{number:05}") for number in range(3000)}) == 4  # below, on and above each edge
