"""A store that has been lived in: two organisations, and every kind of event that the service writes."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from ipaddress import ip_network
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.exchange.addresses import ALLOWED
from api.identity.rights import Role
from api.identity.tokens import at_command_line, make
from api.service import polling
from api.service.draft import Draft
from api.service.visiting import Planned, put_plan
from api.store import organisations, type_cards
from api.store.database import Store
from api.store.events import canonical
from api.store.fleet_audits import FleetAudit
from api.store.import_sources import Source
from api.store.visits import Visit, edition
from tests.api.exchange.samples import machine, snapshot_json
from tests.api.ready import app_on, desk_on

DEMO = Path(__file__).parents[3] / "api" / "demo" / "before-corn.ndjson"
BEGAN = 1_790_000_000.0


def found_organisation(store: Store, id: str) -> str:
    """Makes an organisation and its owner's token; gives the secret."""
    with store.connection(writes=True) as connection:
        work = organisations.make(connection, id, id.title(), "command line", BEGAN)
        _, secret = make(work, at_command_line(id), "owner", Role.OWNER, [], None)
    return secret


def live(store: Store) -> None:
    """Some days of an organisation's work, over HTTP."""
    minutes = count(1)
    secret = found_organisation(store, "ridgeline")
    found_organisation(store, "meltwater")
    desk = desk_on(store, {ALLOWED: "127.0.0.0/8"}, clock=lambda: BEGAN + 60 * next(minutes))
    client = TestClient(app_on(desk), headers={"authorization": f"Bearer {secret}"})

    def send(status: int, method: str, path: str, body: Any = None, seen: bool = False) -> Any:
        answer = client.request(method, path, json=body, headers={"if-match": "*"} if seen else {})
        assert answer.status_code == status, answer.text
        return answer.json() if answer.content else None

    for line in DEMO.read_bytes().splitlines()[:5]:
        setup = json.loads(line)
        unit = setup["unit"]
        id = unit["id"]
        setup["taken"] = {**setup.get("taken", {}), "at": None}
        send(201, "PUT", f"/units/{id}", {key: value for key, value in unit.items() if key != "id"})
        recorded = send(201, "POST", f"/units/{id}/setups", setup)["setup"]["id"]
        job = {"crop": "corn", "header_kind": setup["job"]["header"]["kind"]}
        answer = client.post(f"/units/{id}/harvest-starts", json=job)
        assert answer.status_code in (201, 409), answer.text
        for finding in send(200, "GET", f"/units/{id}/findings")["findings"]:
            body = {
                "setup": recorded, "rule": finding["rule"], "on": finding["on"], "by": "Foreman of the north yard",
                "reason": "New plates come on Friday; half load until then.", "until": "2026-09-25T12:00:00Z",
            }  # fmt: skip
            client.post(f"/units/{id}/acceptances", json=body)
        given = client.get(f"/units/{id}/acceptances").json()["items"]
        if len(given) > 1:
            send(200, "DELETE", f"/units/{id}/acceptances/{given[0]['id']}", seen=True)
    send(200, "PUT", "/units/unit-01", {"card": "axial-single", "serial": "KX-99999", "owner": "Oxgill Farm"}, True)
    send(200, "DELETE", "/units/unit-02", seen=True)
    terms = send(200, "GET", "/organisation")["terms"]
    send(200, "PUT", "/organisation", {"terms": {**terms, "most_days": 2.0}, "effects": {}}, True)
    token = send(201, "POST", "/tokens", {"name": "tablet", "role": "mechanic", "units": ["unit-03"], "days": 7.0})
    send(201, "POST", "/tokens", {"name": "viewer", "role": "reader"})
    send(200, "DELETE", f"/tokens/{token['id']}")
    hook = {"address": "http://127.0.0.1:9/hook?key=hidden", "kinds": ["start.held"]}
    for name in ("planning", "workshop"):
        made = send(201, "POST", "/webhooks", {**hook, "name": name})
        send(200, "PUT", f"/webhooks/{made['id']}", {**hook, "units": ["unit-03"]}, True)
        feed = send(201, "POST", "/calendar-feeds", {"name": name, "units": ["unit-03"]})
    send(200, "DELETE", f"/webhooks/{made['id']}", seen=True)
    send(200, "DELETE", f"/calendar-feeds/{feed['id']}")
    seen = client.get("/units/unit-03/setups").json()["items"][0]["id"]
    photo = client.post(
        f"/units/unit-03/setups/{seen}/photos?quantity=feeder.drum", content=b"\xff\xd8\xff\xe0" + bytes(9)
    )
    assert photo.status_code == 201, photo.text
    send(201, "POST", f"/units/unit-03/setups/{seen}/notes", {"quantity": "feeder.drum", "text": "Bent"})
    exchange(store, client)
    visit(store, client)


def visit(store: Store, client: TestClient) -> None:
    """Visits that are planned, and planned anew; one put by hand, changed and cancelled."""
    said = {
        "technician": "tech-01", "farm": "Oxgill Farm", "begins": "2026-10-05T08:00", "leaves": "2026-10-05T10:00",
        "work": [{"unit": "unit-03", "minutes": 120, "parts": ["belt"]}],
    }  # fmt: skip
    for id in ("visit-0000000000000001", "visit-0000000000000002"):
        assert client.put(f"/visits/{id}", json=said).status_code == 201
    seen = {"if-match": "*"}
    assert client.put(f"/visits/{id}", json={**said, "farm": "Saltlane Farm"}, headers=seen).status_code == 200
    assert client.delete(f"/visits/{id}", headers=seen).status_code == 200
    audit = FleetAudit(
        "ridgeline", "fleet-0000000000000001", 1, "", "fleet.ndjson", "0" * 64, "HIGH", True, "done", "", "", BEGAN, ""
    )
    with store.writing("ridgeline", "command line", BEGAN + 86400) as work:
        asked = canonical({"asked": "", "left_out": []})
        for day in ("2026-10-06", "2026-10-07"):
            made = Visit(
                "", "", "tech-03", "Merrowdale Farm", f"{day}T08:15", f"{day}T08:15", f"{day}T09:15",
                ({"unit": "unit-03", "minutes": 60, "technicians": 1, "part": 1, "parts": [], "tools": []},), 1, 0.0, "",
                0.0,
            )  # fmt: skip
            put_plan(work, Planned(audit, frozenset({made.farm}), "2026-10-01", (made,), asked, edition(work)))


def exchange(store: Store, client: TestClient) -> None:
    """What other systems send, what is asked because of it, and how it ends."""
    done = []
    for name in ("Unit 07", "Unit 08"):
        fleet = snapshot_json([machine(name, f"{name[:1]}-{name[-2:]}", f"XXXMDA1AC000004{name[-2:]}")])
        sent = client.post("/imports", content=fleet, headers={"content-type": "application/json"})
        assert sent.status_code == 201, sent.text
        done.append(sent.json()["id"])
        for asked in client.get("/import-questions").json()["items"]:
            client.post(f"/import-questions/{asked['id']}/answer", json={"card": "axial-single"})
    known = client.get("/units/Unit-07/identities").json()["items"]
    split = client.post(f"/units/Unit-07/identities/{known[0]['id']}/split", json={"to": "", "why": "plates mixed up"})
    assert split.status_code == 200, split.text
    assert client.post(f"/imports/{done[-1]}/undo").status_code == 200
    with store.writing("ridgeline", "command line", BEGAN + 86400) as work:
        for name in ("north", "south"):
            one = Source(name, "fleet-snapshot", "http://127.0.0.1:9/Fleet/1", 900.0, "", work.now)
            polling.add(work, one, (ip_network("127.0.0.0/8"),))
        polling.end(work, "south")
        draft = Draft(work, work.who)
        draft.end_line(type_cards.every(work)[0])
        draft.write(work)


@pytest.fixture(scope="session")
def lived_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of such a store; not to be written to."""
    folder = tmp_path_factory.mktemp("lived-in")
    store = Store(f"sqlite:///{folder / 'record.db'}")
    live(store)
    store.close()
    return folder / "record.db"


@pytest.fixture
def lived(lived_in: Path, tmp_path: Path) -> Iterator[Store]:
    """A copy of it."""
    file = tmp_path / "lived.db"
    shutil.copy(lived_in, file)
    store = Store(f"sqlite:///{file}")
    yield store
    store.close()


@pytest.fixture
def around(tmp_path: Path) -> dict[str, str]:
    """An environment that names a file for the secret, as a database server has no place beside it."""
    file = tmp_path / "secret"
    file.write_bytes(bytes(range(32)))
    file.chmod(0o600)
    return {"SETUP_AUDIT_SECRET_FILE": str(file)}
