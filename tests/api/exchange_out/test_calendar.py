"""The calendar: read by a library, folded and escaped, and open to nobody without its address.

Outside reference: the icalendar library (RFC 5545).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from api.exchange.out.calendar_text import MOST_OCTETS, Entry, calendar, folded
from tests.api.exchange_out.conftest import Place, Setup, adjust_belt, record, spoilt, start
from tests.api.starts.conftest import OTHER

NOW = datetime(2026, 9, 21, 14, 13, 20, tzinfo=UTC)


def read(text: bytes) -> list[Any]:
    found = Calendar.from_ical(text)
    for part in found.walk():  # what the library could not read as its type stands there, instead of being raised
        assert part.errors == []
        assert set(part.required) <= {name.upper() for name in part}, "RFC 5545, 3.6 and 3.6.1: REQUIRED"
        once: tuple[str, ...] = part.singletons
        for name in once:
            assert not isinstance(part.get(name), list), f"{name} stands twice"
    read_again = Calendar.from_ical(found.to_ical())
    assert [one.to_ical() for one in read_again.walk()] == [one.to_ical() for one in found.walk()]
    uids = [str(one["uid"]) for one in found.walk("VEVENT")]
    assert len(set(uids)) == len(uids)
    return list(found.walk("VEVENT"))


def feed(house: Place, **more: Any) -> dict[str, Any]:
    answer = house.client().post("/calendar-feeds", json={"name": "office", **more})
    assert answer.status_code == 201
    assert answer.headers["cache-control"] == "no-store"
    found: dict[str, Any] = answer.json()
    return found


def entries(house: Place, address: str) -> list[Any]:
    anybody = house.client()
    del anybody.headers["Authorization"]
    answer = anybody.get(address)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    return read(answer.content)


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])), st.text())
def test_any_text_comes_back(summary: str, description: str) -> None:
    entry = Entry("one", date(2026, 9, 21), summary, description, "https://audit.example/units/unit-07", "held")
    text = calendar("Combines", [entry], NOW)
    assert all(len(line) <= MOST_OCTETS for line in text.split(b"\r\n"))
    assert b"\n" not in text.replace(b"\r\n", b"")
    (found,) = read(text)
    assert str(found["summary"]) == cleaned(summary)
    assert found["dtstart"].dt == date(2026, 9, 21)
    assert found["dtend"].dt == date(2026, 9, 22)


def cleaned(text: str) -> str:
    """Without what no calendar may hold (RFC 5545, 3.1: CONTROL), line ends as one character."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(sign for sign in plain if sign in "\n\t" or (ord(sign) >= 32 and ord(sign) != 127))


@given(st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"])))
def test_a_folded_line_unfolds_to_itself(line: str) -> None:
    assert folded(line).replace(b"\r\n ", b"").removesuffix(b"\r\n").decode() == line


def test_a_moment_is_in_utc_and_has_an_end() -> None:
    entry = Entry("one", NOW, "ends", "", "https://audit.example/", "start ends")
    (found,) = read(calendar("Combines", [entry], NOW))
    assert found["dtstart"].dt == NOW
    assert found["dtend"].dt > NOW
    assert str(found["uid"]) == "one"


def test_a_held_unit_a_cleared_start_and_an_acceptance_are_in_the_calendar(house: Place, unit: Setup) -> None:
    address = feed(house)["address"].removeprefix(house.desk.address)
    record(house, unit)
    assert start(house).status_code == 201
    kinds = [str(one["categories"].to_ical().decode()) for one in entries(house, address)]
    assert "start ends" in kinds
    assert "held" not in kinds
    setup = record(house, spoilt(unit))
    (held,) = [one for one in entries(house, address) if one["categories"].to_ical() == b"held"]
    assert held["dtstart"].dt == datetime.fromtimestamp(house.clock(), UTC).date()
    assert "unit-07" in str(held["summary"])
    assert str(held["url"]) == "https://audit.ridgeline.example/units/unit-07/clearance"
    report = house.client().get("/units/unit-07/findings").json()["findings"]
    finding = next(one for one in report if one["holds_start"])
    sent = {
        "setup": setup["setup"]["id"], "rule": finding["rule"], "on": finding["on"], "by": "Grace, the \"boss\"; A\\B",
        "reason": "seen in the field\nEND:VEVENT", "until": "2026-09-25T06:30:00Z",
    }  # fmt: skip
    assert house.client("approver").post("/units/unit-07/acceptances", json=sent).status_code == 201
    found = entries(house, address)
    (ends,) = [one for one in found if one["categories"].to_ical() == b"acceptance ends"]
    assert ends["dtstart"].dt == datetime(2026, 9, 25, 6, 30, tzinfo=UTC)
    assert 'Grace, the "boss"; A\\B: seen in the field\nEND:VEVENT' in str(ends["description"])
    assert len({str(one["uid"]) for one in found}) == len(found)


def test_what_is_due_to_be_looked_at_again(house: Place, unit: Setup) -> None:
    address = feed(house)["address"].removeprefix(house.desk.address)
    adjust_belt(house, unit)
    (due,) = [one for one in entries(house, address) if one["categories"].to_ical() == b"re-check"]
    assert due["dtstart"].dt == datetime.fromtimestamp(house.clock(), UTC).date()
    assert "Adjust the feeder variable-speed belt" in str(due["description"])
    assert str(due["url"]).endswith("/units/unit-07/history")


def visit(unit: str = "unit-07", **other: Any) -> dict[str, Any]:
    """A visit that somebody says."""
    return {
        "technician": "tech-01", "farm": "Oxgill; Farm", "begins": "2026-09-24T08:15", "leaves": "2026-09-24T10:00",
        "work": [{"unit": unit, "minutes": 105, "parts": ["belt"], "tools": ["rule", "spanner, 19 mm"]}], **other,
    }  # fmt: skip


def put(house: Place, number: int, said: dict[str, Any]) -> str:
    id = f"visit-{number:016x}"
    path = f"/visits/{id}"
    there = house.client().get(path).status_code == 200
    answer = house.client().put(path, json=said, headers={"If-Match": "*"} if there else {})
    assert answer.status_code in (200, 201), answer.text
    return id


def visits_in(house: Place, address: str) -> dict[str, Any]:
    return {str(one["uid"]): one for one in entries(house, address) if one["categories"].to_ical() == b"visit"}


def test_a_visit_keeps_its_uid_through_changes_and_says_when_it_is_off(house: Place, unit: Setup) -> None:
    """RFC 5545, 3.8.7.4: SEQUENCE grows with every revision; 3.8.1.11: CANCELLED; 3.3.5: floating local times."""
    assert unit
    address = feed(house)["address"].removeprefix(house.desk.address)
    id = put(house, 1, visit())
    (planned,) = visits_in(house, address).values()
    assert planned["uid"] == id
    assert planned["dtstart"].dt == datetime(2026, 9, 24, 8, 15)
    assert planned["dtstart"].dt.tzinfo is None, "the clock on the farm's wall"
    assert planned["dtend"].dt == datetime(2026, 9, 24, 10, 0)
    assert (planned["sequence"], str(planned["status"]), str(planned["transp"])) == (0, "CONFIRMED", "OPAQUE")
    assert str(planned["location"]) == "Oxgill; Farm"
    said = str(planned["description"])
    assert "unit-07: 105 min; parts: belt; tools: rule, spanner, 19 mm" in said
    assert "engine off, key out" in said
    made = planned["last-modified"].dt
    house.clock.at += 60.0
    put(house, 1, visit(begins="2026-09-25T13:00", leaves="2026-09-25T14:45"))
    (moved,) = visits_in(house, address).values()
    assert (moved["uid"], moved["sequence"], moved["dtstart"].dt) == (id, 1, datetime(2026, 9, 25, 13, 0))
    assert (moved["last-modified"].dt - made).total_seconds() == 60.0
    assert house.client().delete(f"/visits/{id}", headers={"If-Match": "*"}).status_code == 200
    (off,) = visits_in(house, address).values()
    assert (off["uid"], off["sequence"], str(off["status"]), str(off["transp"])) == (id, 2, "CANCELLED", "TRANSPARENT")
    house.clock.at += 20 * 86400.0
    assert visits_in(house, address) == {}


def test_a_calendar_of_one_technician_and_one_of_some_units(house: Place, unit: Setup) -> None:
    record(house, spoilt(unit))
    assert house.client("mechanic").put("/units/unit-08", json={"card": "axial-single"}).status_code == 201
    both = visit(work=[{"unit": "unit-07", "minutes": 60}, {"unit": "unit-08", "minutes": 45}])
    first = put(house, 1, both)
    second = put(house, 2, visit("unit-08", technician="tech-03"))
    made = house.client().post("/calendar-feeds", json={"name": "tech", "technician": "tech-03"}).json()
    assert made["technician"] == "tech-03"
    own = entries(house, made["address"].removeprefix(house.desk.address))
    assert [str(one["uid"]) for one in own] == [second], "nothing else, not even that a unit is held"
    some = feed(house, units=["unit-07"])["address"].removeprefix(house.desk.address)
    (seen,) = visits_in(house, some).values()
    assert seen["uid"] == first
    assert "unit-08" not in f"{seen['summary']}{seen['description']}"


def test_entries_of_two_organisations_do_not_take_each_others_place(house: Place, unit: Setup) -> None:
    """RFC 5545, 3.8.4.7: a UID is globally unique; both organisations have a unit-07 that is held."""
    assert unit
    owner = house.client("owner", OTHER)
    assert owner.put("/units/unit-07", json={"card": "axial-single"}).status_code == 201
    theirs = owner.post("/calendar-feeds", json={"name": "office"}).json()["address"].removeprefix(house.desk.address)
    (one,) = entries(house, theirs)
    (other,) = entries(house, feed(house)["address"].removeprefix(house.desk.address))
    assert one["summary"] == other["summary"]
    assert one["uid"] != other["uid"]


LOCAL = st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31)).map(lambda at: at.replace(second=0, microsecond=0))


@given(
    LOCAL,
    st.integers(1, 1440),
    st.integers(0, 50),
    st.booleans(),
    st.text(st.characters(exclude_categories=["Cs", "Cc"])),
)
def test_any_visit_is_read_as_it_was_written(
    begins: datetime, minutes: int, changes: int, cancelled: bool, place: str
) -> None:
    ends = begins + timedelta(minutes=minutes)
    entry = Entry(
        "visit-1", begins, place, place, "https://audit.example/", "visit", ends=ends, place=place, changes=changes,
        changed=NOW, cancelled=cancelled, busy=True,
    )  # fmt: skip
    (found,) = read(calendar(place or "Combines", [entry], NOW))
    assert (found["dtstart"].dt, found["dtend"].dt, found["sequence"]) == (begins, ends, changes)
    assert found["last-modified"].dt == NOW
    assert str(found["status"]) == ("CANCELLED" if cancelled else "CONFIRMED")
    assert str(found.get("location", "")) == place


def test_an_address_can_be_for_some_units_and_be_revoked(house: Place, unit: Setup) -> None:
    record(house, spoilt(unit))
    assert house.client("mechanic").put("/units/unit-08", json={"card": "axial-single"}).status_code == 201
    made = feed(house, units=["unit-08"])
    assert house.client().post("/calendar-feeds", json={"name": "Office"}).status_code == 409, "sent twice, made once"
    address = made["address"].removeprefix(house.desk.address)
    assert {str(one["summary"])[:7] for one in entries(house, address)} == {"unit-08"}
    listed = house.client().get("/calendar-feeds")
    assert address.removeprefix("/calendar/").removesuffix(".ics") not in listed.text
    assert house.client("mechanic").get("/calendar-feeds").status_code == 403
    assert house.client().delete(f"/calendar-feeds/{made['id']}").json()["revoked"]
    assert house.client().get(address).status_code == 404
    assert house.client().get(f"/calendar/{'x' * 43}.ics").status_code == 404
    assert house.client().delete("/calendar-feeds/calendar-0000000000000000").status_code == 404
