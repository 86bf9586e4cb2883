"""The calendar: read by a library, folded and escaped, and open to nobody without its address.

Outside reference: the icalendar library (RFC 5545).
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from api.exchange.out.calendar_text import MOST_OCTETS, Entry, calendar, folded
from tests.api.exchange_out.conftest import Place, Setup, adjust_belt, record, spoilt, start

NOW = datetime(2026, 9, 21, 14, 13, 20, tzinfo=UTC)


def read(text: bytes) -> list[Any]:
    return list(Calendar.from_ical(text).walk("VEVENT"))


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


def test_what_is_due_is_a_visit(house: Place, unit: Setup) -> None:
    address = feed(house)["address"].removeprefix(house.desk.address)
    adjust_belt(house, unit)
    (visit,) = [one for one in entries(house, address) if one["categories"].to_ical() == b"visit"]
    assert visit["dtstart"].dt == datetime.fromtimestamp(house.clock(), UTC).date()
    assert "Adjust the feeder variable-speed belt" in str(visit["description"])
    assert str(visit["url"]).endswith("/units/unit-07/history")


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
