"""/rulebooks over HTTP: rights, refusals, and what strangers see."""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import update

from api.certificates.keys import jwk_of, make
from api.identity.rights import Role
from api.identity.tokens import at_command_line
from api.identity.tokens import make as make_token
from api.routes import rulebooks as routes
from api.service.in_force import Shipped
from api.service.rulebooks import sign
from api.store.tables import rulebooks as table
from tests.api.legal import NOW
from tests.api.ready import app_on, desk_on
from tests.api.service.conftest import Place

RULE = "packs/feeder/slat-loose.yaml"
Clients = Callable[..., TestClient]


@pytest.fixture
def clients(place: Place, tmp_path: Path) -> Clients:
    """Requests of somebody with a role in an organisation, '' for nobody."""
    secret = tmp_path / "secret"
    secret.write_bytes(b"s" * 32)
    secret.chmod(0o600)
    around = {"SETUP_AUDIT_SECRET_FILE": str(secret)}
    app = app_on(desk_on(place.store, around, "https://audit.home.example", lambda: NOW))

    numbers = count()

    def client(role: str, organisation: str = "home") -> TestClient:
        headers = {}
        if role:
            with place.store.writing(organisation, "test", NOW) as work:
                name = f"{role} {next(numbers)}"
                token = make_token(work, at_command_line(organisation), name, Role(role))[1]
            headers["Authorization"] = f"Bearer {token}"
        return TestClient(app, headers=headers, raise_server_exceptions=False)

    return client


@pytest.fixture(scope="session")
def loose(shipped: Shipped) -> str:
    return shipped.layers[0].files[RULE].decode()


def candidate(loose: str, title: str = "Ours; ") -> dict[str, Any]:
    return {"files": {RULE: loose.replace("title: ", f"title: {title}", 1)}, "note": "our own words"}


def test_from_a_candidate_to_what_judges(clients: Clients, shipped: Shipped, loose: str) -> None:
    author = clients("author")
    added = author.post("/rulebooks", json=candidate(loose))
    assert added.status_code == 201, added.text
    digest = added.json()["digest"]
    assert added.headers["location"] == f"/rulebooks/{digest}"
    assert author.get("/rulebooks/in-force").json() == {
        "digest": shipped.rulebook.digest, "follows_shipped": True,
    }  # fmt: skip
    replayed = author.post(f"/rulebooks/{digest}/replay").json()
    assert (replayed["before"], replayed["after"], replayed["setups"]) == (shipped.rulebook.digest, digest, 0)
    activated = author.put("/rulebooks/in-force", json={"digest": digest})
    assert activated.status_code == 200, activated.text
    assert activated.json()["in_force"] is True
    assert author.get("/rulebooks/in-force").json()["digest"] == digest
    listed = author.get("/rulebooks").json()["items"]
    assert [(one["digest"], one["in_force"]) for one in listed] == [(digest, True)]
    files = author.get(f"/rulebooks/{digest}/files").json()
    assert files["site"] == candidate(loose)["files"]
    assert files["shipped"] == {name: text.decode() for name, text in shipped.layers[0].files.items()}
    back = author.put("/rulebooks/in-force", json={"digest": "shipped"})
    assert (back.status_code, back.json()["digest"]) == (200, shipped.rulebook.digest)


def test_the_same_candidate_twice(clients: Clients, loose: str) -> None:
    author = clients("author")
    first, second = (author.post("/rulebooks", json=candidate(loose)) for _ in range(2))
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json() == second.json()


def test_a_request_sent_again_is_done_once(clients: Clients, loose: str) -> None:
    author = clients("author")
    headers = {"Idempotency-Key": "abc"}
    first, second = (author.post("/rulebooks", json=candidate(loose), headers=headers) for _ in range(2))
    assert (first.status_code, first.content) == (second.status_code, second.content)
    other = author.post("/rulebooks", json=candidate(loose, "Other; "), headers=headers)
    assert other.status_code == 422


def test_a_bad_candidate_is_answered_with_every_problem(clients: Clients, loose: str) -> None:
    answer = clients("author").post(
        "/rulebooks", json={"files": {RULE: loose.replace("why:", "wy:"), "crops/x.yaml": "a: 1"}, "note": "x"}
    )
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")
    problem = answer.json()
    assert (problem["title"], problem["type"]) == ("Rulebook refused", routes.REFUSED)
    assert {one["source"] for one in problem["problems"]} == {f"site/{RULE}", "site/crops/x.yaml"}
    assert clients("reader").get("/rulebooks").json()["items"] == []


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"{", 400), (b"[]", 422), (b"{}", 422), (b'{"files": {}, "note": "x"}', 422),
        (b'{"files": {"a.yaml": 1}, "note": "x"}', 422), (b'{"files": {"../a.yaml": ""}, "note": "x"}', 422),
        (b'{"files": {"a.yaml": "", "a.yaml": ""}, "note": "x"}', 422),
        (b'{"files": {"packs/a/x.yaml": "\\ud800"}, "note": "x"}', 422),
        (b'{"files": {"retired.yaml": "[a]"}, "note": ""}', 422), (b'{"files": {}, "note": "x", "extra": 1}', 422),
    ],
)  # fmt: skip
def test_bodies_that_are_none(clients: Clients, body: bytes, status: int) -> None:
    answer = clients("author").post("/rulebooks", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"


AUTHORS, OWNERS = {"author", "owner"}, {"owner"}


@pytest.mark.parametrize(
    ("method", "path", "body", "allowed"),
    [
        ("POST", "/rulebooks", {"files": {}, "note": ""}, AUTHORS),
        ("PUT", "/rulebooks/in-force", {"digest": "0" * 64}, AUTHORS),
        ("POST", f"/rulebooks/{'0' * 64}/replay", None, AUTHORS),
        ("PUT", "/rulebooks/in-force/rules/slat-loose", {"effect": "holds"}, OWNERS),
        ("PUT", "/rulebooks/key", {"kty": "OKP", "crv": "Ed25519", "x": "short"}, OWNERS),
        ("DELETE", "/rulebooks/key", None, OWNERS),
        ("GET", "/rulebooks", None, {role.value for role in Role}),
        ("GET", "/rulebooks/in-force", None, {role.value for role in Role}),
    ],
)  # fmt: skip
def test_who_may(clients: Clients, method: str, path: str, body: Any, allowed: set[str]) -> None:
    assert clients("").request(method, path, json=body).status_code == 401
    for role in Role:
        answer = clients(role.value).request(method, path, json=body)
        assert (answer.status_code == 403) == (role.value not in allowed), (role, answer.text)


def test_a_version_whose_files_were_changed(clients: Clients, place: Place, loose: str) -> None:
    author = clients("author")
    digest = author.post("/rulebooks", json=candidate(loose)).json()["digest"]
    with place.store.connection(writes=True) as connection:
        connection.execute(update(table).where(table.c.digest == digest).values(files=b"gone"))
    for answer in (
        author.put("/rulebooks/in-force", json={"digest": digest}),
        author.post(f"/rulebooks/{digest}/replay"),
        author.get(f"/rulebooks/{digest}/files"),
    ):
        assert (answer.status_code, answer.json()["title"]) == (409, "Unreadable")
    assert author.get("/rulebooks/in-force").json()["follows_shipped"] is True


def test_another_organisation_finds_nothing(clients: Clients, loose: str) -> None:
    digest = clients("author").post("/rulebooks", json=candidate(loose)).json()["digest"]
    clients("author").put("/rulebooks/in-force", json={"digest": digest})
    stranger = clients("owner", "other")
    answers = [
        stranger.get(f"/rulebooks/{digest}"),
        stranger.get(f"/rulebooks/{digest}/files"),
        stranger.post(f"/rulebooks/{digest}/replay"),
        stranger.put("/rulebooks/in-force", json={"digest": digest}),
    ]
    absent = stranger.get(f"/rulebooks/{'0' * 64}")
    assert {answer.status_code for answer in answers} == {absent.status_code} == {404}
    plain = {answer.text.replace(digest, "0" * 64).partition('"instance"')[0] for answer in answers}
    assert plain == {absent.text.partition('"instance"')[0]}
    assert stranger.get("/rulebooks").json()["items"] == []
    assert stranger.get("/rulebooks/in-force").json()["follows_shipped"] is True


def test_a_key_once_set(clients: Clients, loose: str) -> None:
    owner, author, key = clients("owner"), clients("author"), make()
    assert owner.put("/rulebooks/key", json=jwk_of(key.private.public_key())).json() == {"key": key.id}
    assert author.get("/rulebooks/key").json() == {"key": key.id}
    unsigned = author.post("/rulebooks", json=candidate(loose))
    assert (unsigned.status_code, unsigned.json()["title"]) == (409, "Not signed")
    digest = next(word for word in unsigned.json()["detail"].split() if len(word) == 64)
    signed = author.post("/rulebooks", json={**candidate(loose), "signature": sign(digest, key)})
    assert (signed.status_code, signed.json()["signed_by"]) == (201, key.id)
    assert author.put("/rulebooks/in-force", json={"digest": "shipped"}).status_code == 409
    assert author.put("/rulebooks/in-force", json={"digest": digest}).status_code == 200
    assert owner.delete("/rulebooks/key").json() == {"key": ""}
    assert author.put("/rulebooks/in-force", json={"digest": "shipped"}).status_code == 200


def test_the_private_half_of_a_key_is_not_taken(clients: Clients) -> None:
    jwk = {**jwk_of(make().private.public_key()), "d": "A" * 43}
    answer = clients("owner").put("/rulebooks/key", json=jwk)
    assert answer.status_code == 422
    assert "A" * 43 not in answer.text


def test_rules_over_the_fleet(clients: Clients, record_demo: Callable[..., list[str]], shipped: Shipped) -> None:
    record_demo(4)
    owner = clients("owner")
    people = next(rule.id for rule in shipped.rulebook.rules.values() if rule.harm.people)
    changed = owner.put("/rulebooks/in-force/rules/slat-loose", json={"effect": "warned"})
    assert changed.json() == {"rule": "slat-loose", "effect": "warned", "revoked_starts": []}
    assert owner.put(f"/rulebooks/in-force/rules/{people}", json={"effect": "shown"}).status_code == 409
    missing = owner.put("/rulebooks/in-force/rules/slat-lose", json={"effect": "shown"})
    assert missing.status_code == 404
    assert "Did you mean 'slat-loose'?" in missing.json()["detail"]
    found = clients("reader").get("/rulebooks/in-force/rules").json()
    assert (found["setups"], found["not_read"], found["digest"]) == (4, 0, shipped.rulebook.digest)
    effects = {rule["id"]: rule["effect"] for rule in found["rules"]}
    assert (effects["slat-loose"], effects[people]) == ("warned", "holds")
    assert sum(rule["fleet"]["broken"] + rule["fleet"]["unknown"] for rule in found["rules"]) > 0


def test_someone_kept_to_some_units_counts_those_only(
    clients: Clients, record_demo: Callable[..., list[str]], place: Place
) -> None:
    ids = record_demo(3)
    with place.store.writing("home", "test", NOW) as work:
        secret = make_token(work, at_command_line("home"), "tablet", Role.READER, [ids[1]])[1]
    tablet = clients("")
    answer = tablet.get("/rulebooks/in-force/rules", headers={"Authorization": f"Bearer {secret}"})
    assert answer.json()["setups"] == 1


def test_the_openapi_document_describes_them(clients: Clients) -> None:
    document = json.loads(clients("").get("/openapi.json").text)
    for path in ("/rulebooks", "/rulebooks/in-force", "/rulebooks/{digest}/replay", "/rulebooks/key"):
        assert path in document["paths"]
