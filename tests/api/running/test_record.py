"""The record: verified in the store and from an export, and read over HTTP."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from api.cli import main
from api.identity.rights import Role
from api.identity.tokens import at_command_line, make
from api.store import events, organisations, tokens
from api.store.database import Store
from api.store.events import FIRST, canonical, hash_of
from api.store.record_lines import NotALine, line_of, verified
from api.store.verifying import TRACED, faults
from tests.api.ready import app_on, desk_on

NOW = 1_790_900_000.0


def tamper(store: Store, *statements: str) -> None:
    """Changes the database as someone could who has its file: past the service and past its triggers."""
    connection = sqlite3.connect(str(store.file), isolation_level=None)
    for table in ("events", "setups"):
        for deed in ("update", "delete"):
            connection.execute(f"DROP TRIGGER {table}_no_{deed}")
    for statement in statements:
        assert connection.execute(statement).rowcount > 0, statement
    connection.close()


def told(store: Store, organisation: str = "ridgeline", head: tuple[int, str] | None = None) -> list[str]:
    with store.reading(organisation) as work:
        return [fault.text for fault in faults(work, head)]


def run(*words: str) -> int:
    """One of the commands, as the command line would run it."""
    return main(["record", *words])


def url(store: Store) -> str:
    return f"sqlite:///{store.file}"


def test_what_the_service_wrote_is_as_it_was_written(lived: Store) -> None:
    assert told(lived) == []
    assert told(lived, "meltwater") == []


def test_every_kind_of_row_has_been_written_and_every_end_reached(lived: Store) -> None:
    """Else the checks below would show nothing."""
    with lived.reading("ridgeline") as work:
        seen = {one.what for one in events.read(work)}
    assert seen >= {traced.first for traced in TRACED}
    assert seen >= {what for traced in TRACED for what in (*traced.later, *(end for _, end in traced.ends))}


TAMPERED = {
    "setup text": "UPDATE setups SET text = CAST(replace(text, 'corn', 'soya') AS BLOB) WHERE unit = 'unit-03'",
    "setup text of another kind": "UPDATE setups SET text = CAST(text AS TEXT) WHERE unit = 'unit-03'",
    "setup digest": f"UPDATE setups SET digest = '{'0' * 64}' WHERE unit = 'unit-03'",
    "setup time": "UPDATE setups SET taken = taken + 86400 WHERE unit = 'unit-03'",
    "setup crop": "UPDATE setups SET crop = 'soybean' WHERE unit = 'unit-03'",
    "setup gone": "DELETE FROM setups WHERE unit = 'unit-03'",
    "unit type": "UPDATE units SET card = 'axial-hybrid' WHERE id = 'unit-03'",
    "unit serial": "UPDATE units SET serial = '' WHERE id = 'unit-03'",
    "unit fitted": "UPDATE units SET fitted = '{\"shoe.stroke\":\"long\"}' WHERE id = 'unit-01'",
    "unit owner": "UPDATE units SET owner = 'Someone else' WHERE id = 'unit-03'",
    "unit back in the fleet": "UPDATE units SET retired = NULL WHERE id = 'unit-02'",
    "unit out of the fleet": "UPDATE units SET retired = 1 WHERE id = 'unit-03'",
    "unit gone": "DELETE FROM units WHERE id = 'unit-03'",
    "acceptance longer": "UPDATE acceptances SET until = until + 86400",
    "acceptance of another rule": "UPDATE acceptances SET rule = 'shaft-speed-off'",
    "acceptance of another part": "UPDATE acceptances SET part = 'rotor'",
    "acceptance of another value": "UPDATE acceptances SET found = '[]'",
    "acceptance by another": "UPDATE acceptances SET \"by\" = 'Someone else'",
    "acceptance not withdrawn": "UPDATE acceptances SET withdrawn = NULL WHERE withdrawn IS NOT NULL",
    "acceptance never given": "INSERT INTO acceptances SELECT organisation, 'made-up', unit, setup, rule, part, crop, "
    'header_kind, found, "by", reason, at, until, NULL, NULL FROM acceptances LIMIT 1',
    "start longer": "UPDATE starts SET expires = expires + 86400",
    "start of another unit": "UPDATE starts SET unit = 'unit-03', number = 7 WHERE unit = 'unit-04'",
    "start not revoked": "UPDATE starts SET revoked = NULL WHERE revoked IS NOT NULL",
    "start gone": "DELETE FROM starts WHERE unit = 'unit-04'",
    "token of another role": "UPDATE tokens SET role = 'owner' WHERE name = 'viewer'",
    "token of another secret": "UPDATE tokens SET hash = '0' WHERE name = 'viewer'",
    "token for every unit": "UPDATE tokens SET units = '[]' WHERE name = 'tablet'",
    "token for ever": "UPDATE tokens SET expires = NULL WHERE name = 'viewer'",
    "token not revoked": "UPDATE tokens SET revoked = NULL WHERE name = 'tablet'",
    "token never made": "INSERT INTO tokens SELECT organisation, 'made-up', 'made-up', 'made-up', role, units, created, "
    "created_by, expires, revoked FROM tokens WHERE name = 'owner' AND organisation = 'ridgeline'",
    "webhook to another address": "UPDATE webhooks SET address = 'https://elsewhere.example/' WHERE name = 'planning'",
    "webhook of more units": "UPDATE webhooks SET units = '[]' WHERE name = 'planning'",
    "webhook of other kinds": "UPDATE webhooks SET kinds = '[]' WHERE name = 'planning'",
    "webhook not ended": "UPDATE webhooks SET ended = NULL WHERE name = 'workshop'",
    "calendar of another secret": "UPDATE calendar_feeds SET hash = '0' WHERE name = 'planning'",
    "calendar of more units": "UPDATE calendar_feeds SET units = '[]' WHERE name = 'planning'",
    "calendar not revoked": "UPDATE calendar_feeds SET revoked = NULL WHERE name = 'workshop'",
    "calendar of another technician": "UPDATE calendar_feeds SET technician = 'tech-01' WHERE name = 'planning'",
    "visit on another day": "UPDATE visits SET begins = '2026-10-09T08:00' WHERE id = 'visit-0000000000000001'",
    "visit of other work": "UPDATE visits SET work = replace(work, '120', '12') WHERE id = 'visit-0000000000000001'",
    "visit by another": "UPDATE visits SET technician = 'tech-02' WHERE cancelled IS NULL",
    "visit not cancelled": "UPDATE visits SET cancelled = NULL WHERE cancelled IS NOT NULL",
    "visit gone": "DELETE FROM visits WHERE id = 'visit-0000000000000001'",
    "plan of visits": "UPDATE visit_plans SET text = CAST('{}' AS BLOB) WHERE number = 1",
    "plan of another audit": "UPDATE visit_plans SET fleet_audit = 'fleet-0000000000000002'",
    "terms": "UPDATE organisations SET terms = replace(terms, '\"high\"', '\"low\"') WHERE id = 'ridgeline'",
    "effects": "UPDATE organisations SET effects = '{\"shaft-speed-off\":\"shown\"}' WHERE id = 'ridgeline'",
    "rulebook in force": "UPDATE organisations SET rulebook = 'another' WHERE id = 'ridgeline'",
    "rulebook's note": "UPDATE rulebooks SET note = 'changed'",
    "rulebook gone": "DELETE FROM rulebooks",
    "no JSON": "UPDATE units SET fitted = '{' WHERE id = 'unit-03'",
    "clock": "UPDATE organisations SET clock = clock - 86400 WHERE id = 'ridgeline'",
    "head": f"UPDATE organisations SET head = '{'0' * 64}' WHERE id = 'ridgeline'",
    "count": "UPDATE organisations SET events = events + 1 WHERE id = 'ridgeline'",
    "event changed": "UPDATE events SET who = 'someone else' WHERE number = 9 AND organisation = 'ridgeline'",
    "event gone": "DELETE FROM events WHERE number = 9 AND organisation = 'ridgeline'",
    "last event gone": "DELETE FROM events WHERE organisation = 'ridgeline' AND number = (SELECT max(number) FROM events)",
    "event no JSON": "UPDATE events SET content = '{' WHERE number = 9 AND organisation = 'ridgeline'",
    "event no object": "UPDATE events SET content = '[]' WHERE number = 9 AND organisation = 'ridgeline'",
    "event number past JSON": "UPDATE events SET content = '{\"a\":1e999}' WHERE number = 9 AND organisation = 'ridgeline'",
}


@pytest.mark.parametrize("name", TAMPERED)
def test_whatever_is_changed_in_the_database_is_found(lived: Store, name: str) -> None:
    tamper(lived, TAMPERED[name])
    assert told(lived)
    assert told(lived, "meltwater") == []


def reseal(store: Store, number: int, **changes: Any) -> None:
    """Changes an event and works every later hash out anew, as someone could who knows how."""
    with store.reading("ridgeline") as work:
        found = list(events.read(work))
    previous, statements = FIRST, []
    for one in found:
        changed = replace(one, previous=previous, **(changes if one.number == number else {}))
        previous = hash_of(changed)
        content = canonical(changed.content).decode().replace("'", "''")
        statements.append(
            f"UPDATE events SET who = '{changed.who}', content = '{content}', previous = '{changed.previous}', "
            f"hash = '{previous}' WHERE organisation = 'ridgeline' AND number = {one.number}"
        )
    tamper(store, *statements, f"UPDATE organisations SET head = '{previous}' WHERE id = 'ridgeline'")


def test_a_record_written_anew_is_found_by_a_head_kept_elsewhere(lived: Store) -> None:
    with lived.reading("ridgeline") as work:
        kept = events.head(work)
        early = next(iter(events.read(work, after=3)))
    reseal(lived, 9, who="someone else")
    assert told(lived) == []  # nothing in the store itself shows it
    assert told(lived, head=kept) == [f"the record holds no event {kept[0]} with hash {kept[1]}"]
    assert told(lived, head=(early.number, early.hash)) == []  # what was before it is the same


def test_the_commands_tell_good_from_faulty(
    lived: Store, capfdbinary: pytest.CaptureFixture[bytes], tmp_path: Path
) -> None:
    assert run("verify", "--store", url(lived)) == 0
    assert b"as it was written" in capfdbinary.readouterr().out
    assert run("export", "--store", url(lived)) == 0
    export = tmp_path / "kept.ndjson"
    out, err = capfdbinary.readouterr()
    export.write_bytes(out)
    head = next(line.split()[-1] for line in err.decode().splitlines() if line.startswith("ridgeline"))
    one = ("--organisation", "ridgeline")
    assert run("verify", str(export)) == 0
    assert run("verify", str(export), "--head", head, *one) == 0
    assert run("verify", "--store", url(lived), "--export", str(export)) == 0
    assert run("verify", "--store", url(lived), "--head", head, *one) == 0
    assert run("verify", "--store", url(lived), "--head", f"3:{'0' * 64}", *one) == 1
    assert run("verify", str(export), "--head", f"3:{'0' * 64}", *one) == 1
    with lived.writing("ridgeline", "someone", NOW) as work:
        events.append(work, "unit.looked-at", "unit/unit-03", {})
    assert run("verify", "--store", url(lived), "--export", str(export), "--head", head, *one) == 0  # it went on
    reseal(lived, 9, who="someone else")
    assert run("verify", "--store", url(lived), *one) == 0
    assert run("verify", "--store", url(lived), "--export", str(export)) == 1
    assert b"event 9 is another one on record now" in capfdbinary.readouterr().out


def test_an_export_is_held_to_the_organisation_that_is_named(
    lived: Store, capfdbinary: pytest.CaptureFixture[bytes], tmp_path: Path
) -> None:
    assert run("export", "--store", url(lived), "--organisation", "meltwater") == 0
    export = tmp_path / "kept.ndjson"
    export.write_bytes(capfdbinary.readouterr().out)
    both = ("--store", url(lived), "--export", str(export))
    assert run("verify", *both) == 0
    assert run("verify", *both, "--organisation", "meltwater") == 0
    assert run("verify", *both, "--organisation", "ridgeline") == 2  # the export says nothing of it
    assert run("verify", "--store", url(lived), "--organisation", "nobody") == 2


def test_what_was_exported_and_is_gone_is_a_fault(lived: Store) -> None:
    lines = lines_of(lived)
    with lived.reading("ridgeline") as work:
        found = [
            fault.text for one in verified(lines, kept=lambda _: list(events.read(work))[:-1]) for fault in one.faults
        ]
    assert found == [f"event {len(lines)} is on record no more"]


def test_bad_input_is_said(lived: Store, tmp_path: Path) -> None:
    for name, written in (("empty", b""), ("text", b"hello\n"), ("number", b"1\n"), ("deep", b"[" * 100_000)):
        (tmp_path / name).write_bytes(written)
        assert run("verify", str(tmp_path / name)) == 2
    assert run("verify", str(tmp_path / "not-there")) == 2
    assert run("verify", "--store", f"sqlite:///{tmp_path / 'not-there.db'}") == 2
    assert not (tmp_path / "not-there.db").exists()
    assert run("export", "--store", f"sqlite:///{tmp_path / 'not-there.db'}") == 2
    assert run("verify", "--store", "nothing") == 2
    assert run("verify", "--store", url(lived), "--head", f"3:{'0' * 64}") == 2  # of which record?
    with pytest.raises(SystemExit):
        run("verify", "--store", url(lived), "--head", "3")
    assert run("verify", "--store", url(lived), str(tmp_path / "text"), "--export", str(tmp_path / "text")) == 2


def lines_of(store: Store, organisation: str = "ridgeline") -> list[bytes]:
    with store.reading(organisation) as work:
        return [line_of(one) + b"\n" for one in events.read(work)]


def faults_of(lines: list[bytes]) -> list[str]:
    """Faults of an export, refused lines among them."""
    try:
        return [fault.text for one in verified(lines) for fault in one.faults]
    except NotALine as error:
        return [str(error)]


@pytest.fixture(scope="session")
def exported(lived_in: Path, tmp_path_factory: pytest.TempPathFactory) -> list[bytes]:
    copy = tmp_path_factory.mktemp("exported") / "copy.db"
    copy.write_bytes(lived_in.read_bytes())
    store = Store(f"sqlite:///{copy}")
    lines = lines_of(store)
    store.close()
    return lines


@given(data=st.data())
@settings(max_examples=300)
def test_no_byte_of_an_export_can_be_changed(exported: list[bytes], data: st.DataObject) -> None:
    number = data.draw(st.integers(0, len(exported) - 1))
    line = bytearray(exported[number])
    place = data.draw(st.integers(0, len(line) - 2))  # its end may be missing
    line[place] ^= data.draw(st.integers(1, 255))
    assert faults_of([*exported[:number], bytes(line), *exported[number + 1 :]])


@given(data=st.data())
@settings(max_examples=100)
def test_no_line_of_an_export_can_be_taken_out_repeated_or_moved(exported: list[bytes], data: st.DataObject) -> None:
    assert faults_of(exported) == []
    one = data.draw(st.integers(0, len(exported) - 2))  # only a head kept elsewhere shows that the last one is gone
    other = data.draw(st.integers(0, len(exported) - 1).filter(lambda place: place != one))
    rest = exported[:one] + exported[one + 1 :]
    assert faults_of(rest)
    assert faults_of([*rest[:other], exported[one], *rest[other:]])
    assert faults_of([*exported[:one], exported[one], *exported[one:]])


def test_lines_are_taken_in_one_form_only(exported: list[bytes]) -> None:
    plain = json.loads(exported[0])
    assert faults_of([json.dumps(plain).encode()]) == ["line 1 is not in the form in which it was written (RFC 8785)"]
    twice = exported[0].replace(b'{"after"', b'{"who":"x","after"')
    assert faults_of([twice]) == ["line 1 is not in the form in which it was written (RFC 8785)"]
    wrongs: list[dict[str, Any]] = [
        {"number": 1.5}, {"number": True}, {"at": "1"}, {"at": True}, {"content": []}, {"extra": 1}, {"who": 1},
    ]  # fmt: skip
    for wrong in wrongs:
        assert faults_of([canonical({**plain, **wrong})]) == ["line 1 is no event of a record"]


def test_records_of_an_export_lie_each_in_one_piece(lived: Store) -> None:
    ridge, melt = lines_of(lived), lines_of(lived, "meltwater")
    assert faults_of(ridge + melt) == []
    assert any("one piece" in fault for fault in faults_of([*ridge[:5], *melt, *ridge[5:]]))


def test_a_line_is_the_event_that_was_written(lived: Store) -> None:
    """The hash can be worked out by hand from a line: RFC 8785 of it without its hash, SHA-256 in hex (FIPS 180-4)."""
    for line in lines_of(lived):
        plain = json.loads(line)
        said = plain.pop("hash")
        written = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        if all(not isinstance(value, float) for value in (plain["at"], *plain["content"].values())):
            assert sha256(written.encode()).hexdigest() == said


@pytest.fixture
def asking(lived: Store) -> Callable[..., TestClient]:
    """Makes a client with a token of a role."""
    app = app_on(desk_on(lived, clock=lambda: NOW))

    def client(organisation: str, role: Role = Role.READER, units: tuple[str, ...] = ()) -> TestClient:
        name = f"{role.value} {len(units)}"
        with lived.writing(organisation, "command line", NOW) as work:
            _, secret = make(work, at_command_line(organisation), name, role, list(units), None)
        return TestClient(app, headers={"authorization": f"Bearer {secret}"})

    return client


def test_events_are_read_page_by_page(lived: Store, asking: Callable[..., TestClient]) -> None:
    client = asking("ridgeline")
    with lived.reading("ridgeline") as work:
        wanted = [one.hash for one in events.read(work)]
        number, hash = events.head(work)
    assert client.get("/record/head").json() == {"number": number, "hash": hash}
    path, found = "/record/events?most=7", []
    while path:
        answer = client.get(path)
        body = answer.json()
        found += [one["hash"] for one in body["items"]]
        assert len(body["items"]) <= 7
        assert ("link" in answer.headers) == (body["next"] is not None)
        if body["next"]:
            assert answer.headers["link"] == f'<{body["next"]}>; rel="next"'
        path = body["next"]
    assert found == wanted


def test_events_are_read_by_subject_and_kind(asking: Callable[..., TestClient]) -> None:
    client = asking("ridgeline")
    items = client.get("/record/events", params={"subject": "unit/unit-01"}).json()["items"]
    assert [one["what"] for one in items] == ["unit.added", "unit.changed"]
    items = client.get("/record/events", params={"what": "start.held"}).json()["items"]
    assert [one["subject"] for one in items] == ["unit/unit-02", "unit/unit-03"]
    items = client.get("/record/events", params={"what": "start.held", "subject": "unit/unit-03", "after": 12}).json()[
        "items"
    ]
    assert len(items) == 1
    for wrong in ({"most": 0}, {"most": 501}, {"after": -1}, {"after": "x"}, {"after": 2**60}):
        assert client.get("/record/events", params=wrong).status_code == 422


def test_events_over_http_verify(asking: Callable[..., TestClient]) -> None:
    items = asking("ridgeline").get("/record/events?most=500").json()["items"]
    assert faults_of([canonical(one) for one in items]) == []


def test_another_organisation_reads_its_own_record_only(asking: Callable[..., TestClient]) -> None:
    items = asking("meltwater").get("/record/events").json()["items"]
    assert {one["organisation"] for one in items} == {"meltwater"}
    assert (
        asking("meltwater", Role.RECORDER).get("/record/events", params={"subject": "unit/unit-01"}).json()["items"]
        == []
    )


def test_nobody_and_a_token_kept_to_some_units_read_nothing(asking: Callable[..., TestClient]) -> None:
    kept = asking("ridgeline", Role.MECHANIC, ("unit-03",))
    for path in ("/record/events", "/record/head"):
        assert kept.get(path).status_code == 403
        assert kept.get(path, headers={"authorization": ""}).status_code == 401


def test_a_record_is_verified_on_every_database(store: Store) -> None:
    with store.connection(writes=True) as connection:
        work = organisations.make(connection, "ridgeline", "Ridgeline", "command line", NOW)
        make(work, at_command_line("ridgeline"), "owner", Role.OWNER, [], None)
    assert told(store) == []
    with store.connection(writes=True) as connection:
        connection.execute(text("UPDATE tokens SET role = 'reader'"))
        connection.execute(text("UPDATE organisations SET terms = '{}'"))
    with store.reading("ridgeline") as work:
        id = tokens.every(work)[0].id
    assert told(store) == [
        f"role of token/{id} is not what event 2 says",
        "terms of organisation/ridgeline is not what event 1 says",
    ]
