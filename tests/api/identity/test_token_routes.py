"""/tokens and /organisation over HTTP."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.errors import MEDIA, add_handlers
from api.identity.caller import add_identity
from api.identity.rights import Role
from api.identity.tokens import at_command_line, make
from api.routes import organisations as organisation_routes
from api.routes import tokens as token_routes
from api.service.desk import Desk
from api.store import events, organisations
from api.store.database import Store
from tests.api.ready import desk_on

TERMS = {"hold_at": "serious", "most_hours": 20, "most_days": 3.5, "valid_for": 12}


class Asking:
    """One caller at the app."""

    def __init__(self, client: TestClient, secret: str) -> None:
        self.client, self.headers = client, {"Authorization": f"Bearer {secret}"}

    def __call__(self, method: str, path: str, status: int, body: Any = None, **headers: str) -> Any:
        more = {name.replace("_", "-"): value for name, value in headers.items()}
        content = None if body is None else json.dumps(body) if not isinstance(body, str) else body
        if content is not None:
            more["Content-Type"] = "application/json"
        answer = self.client.request(method, path, content=content, headers={**self.headers, **more})
        assert answer.status_code == status, answer.text
        if status >= 400:
            assert answer.headers["content-type"] == MEDIA
        return answer


@pytest.fixture
def desk(store: Store, tmp_path: Path) -> Desk:
    for name in ("ridgeline", "lowfield"):
        with store.connection(writes=True) as connection:
            organisations.make(connection, name, name.title(), "me", 0.0)
    secret = tmp_path / "secret"
    secret.write_bytes(b"s" * 32)
    secret.chmod(0o600)
    return desk_on(store, {"SETUP_AUDIT_SECRET_FILE": str(secret)})


@pytest.fixture
def asking(desk: Desk) -> dict[str, Asking]:
    """An owner, a reader and an approver of one organisation, and the owner of another."""
    app = FastAPI()
    app.state.desk = desk
    add_handlers(app)
    add_identity(app, desk.identity)
    app.include_router(token_routes.router)
    app.include_router(organisation_routes.router)
    client = TestClient(app, raise_server_exceptions=False)
    found = {}
    for who, organisation, role in (
        ("owner", "ridgeline", Role.OWNER), ("reader", "ridgeline", Role.READER),
        ("approver", "ridgeline", Role.APPROVER), ("stranger", "lowfield", Role.OWNER),
    ):  # fmt: skip
        caller = at_command_line(organisation)
        with desk.store.writing(organisation, caller.who, desk.clock()) as work:
            found[who] = Asking(client, make(work, caller, who, role)[1])
    return found


def test_a_token_is_made_used_and_revoked(asking: dict[str, Asking], desk: Desk) -> None:
    sent = {"name": "tablet", "role": "mechanic", "units": ["unit-07"], "days": 30}
    made = asking["owner"]("POST", "/tokens", 201, sent)
    assert made.headers["cache-control"] == "no-store"
    assert made.headers["location"] == f"/tokens/{made.json()['id']}"
    body = made.json()
    tablet = Asking(asking["owner"].client, body["secret"])
    assert tablet("GET", "/organisation", 200).json()["id"] == "ridgeline"
    listed = asking["owner"]("GET", "/tokens", 200)
    assert body["secret"] not in listed.text
    assert "secret" not in listed.json()["items"][0]
    assert [one["name"] for one in listed.json()["items"]][-1] == "tablet"
    ended = asking["owner"]("DELETE", f"/tokens/{body['id']}", 200).json()
    assert ended["revoked"]
    assert not ended["live"]
    tablet("GET", "/organisation", 401)
    with desk.store.reading("ridgeline") as work:
        what = [(one.what, one.who) for one in events.read(work)][-2:]
    assert what == [("token.made", "token:owner"), ("token.revoked", "token:owner")]


def test_a_request_that_is_sent_twice_makes_one_token_and_keeps_no_secret(
    asking: dict[str, Asking], desk: Desk
) -> None:
    sent = {"name": "tablet", "role": "reader"}
    made = asking["owner"]("POST", "/tokens", 201, sent, Idempotency_Key="once").json()
    again = asking["owner"]("POST", "/tokens", 409, sent, Idempotency_Key="once")
    assert made["secret"] not in again.text
    if desk.store.file is not None:
        kept = b"".join(path.read_bytes() for path in desk.store.file.parent.iterdir())
        assert made["secret"].encode() not in kept


@pytest.mark.parametrize("who", ["reader", "approver"])
def test_only_owners_see_make_and_revoke_tokens(asking: dict[str, Asking], who: str) -> None:
    ids = [one["id"] for one in asking["owner"]("GET", "/tokens", 200).json()["items"]]
    asking[who]("GET", "/tokens", 403)
    asking[who]("POST", "/tokens", 403, {"name": "mine", "role": "reader"})
    asking[who]("DELETE", f"/tokens/{ids[0]}", 403)


def test_tokens_of_another_organisation_are_not_there(asking: dict[str, Asking]) -> None:
    ours = asking["owner"]("GET", "/tokens", 200).json()["items"]
    theirs = asking["stranger"]("GET", "/tokens", 200).json()["items"]
    assert [one["name"] for one in theirs] == ["stranger"]
    other = asking["stranger"]("DELETE", f"/tokens/{ours[0]['id']}", 404).json()
    none = asking["stranger"]("DELETE", "/tokens/0000000000000000", 404).json()
    assert other["detail"].replace(ours[0]["id"], "") == none["detail"].replace("0000000000000000", "")
    assert asking["owner"]("GET", "/tokens", 200).json()["items"] == ours


def test_the_last_owner_is_not_revoked_by_mistake(asking: dict[str, Asking]) -> None:
    mine = next(one for one in asking["owner"]("GET", "/tokens", 200).json()["items"] if one["role"] == "owner")
    said = asking["owner"]("DELETE", f"/tokens/{mine['id']}", 409).json()
    assert "Make another owner's token first" in said["detail"]
    asking["owner"]("DELETE", f"/tokens/{mine['id']}?force=true", 200)
    asking["owner"]("GET", "/tokens", 401)


@pytest.mark.parametrize(
    "sent",
    [
        {}, [], 7, {"name": "x"}, {"name": "", "role": "reader"}, {"name": "x", "role": "king"},
        {"name": "x", "role": "reader", "days": 0}, {"name": "x", "role": "reader", "days": "7"},
        {"name": "x", "role": "reader", "days": 1e9}, {"name": "x", "role": "reader", "more": 1},
        {"name": "x", "role": "owner", "units": ["unit-07"]}, {"name": "x", "role": "reader", "units": ["a b"]},
        {"name": "x\u202e", "role": "reader"}, '{"name": "x", "role": "reader", "role": "owner"}',
        '{"name": "x", "role": "reader", "days": NaN}',
    ],
)  # fmt: skip
def test_tokens_that_can_t_be_made(asking: dict[str, Asking], sent: Any) -> None:
    asking["owner"]("POST", "/tokens", 422, sent)
    assert len(asking["owner"]("GET", "/tokens", 200).json()["items"]) == 3


def test_a_token_for_ever(asking: dict[str, Asking]) -> None:
    made = asking["owner"]("POST", "/tokens", 201, {"name": "x", "role": "reader", "days": None}).json()
    assert made["expires"] is None


def test_terms_are_set_by_an_owner_who_has_seen_them(asking: dict[str, Asking], desk: Desk) -> None:
    seen = asking["reader"]("GET", "/organisation", 200)
    sent = {"terms": TERMS, "effects": {"chaffer-too-open": "shown", "chaffer-too-closed": "holds"}}
    asking["owner"]("PUT", "/organisation", 428, sent)
    asking["owner"]("PUT", "/organisation", 412, sent, If_Match='"other"')
    asking["approver"]("PUT", "/organisation", 403, sent, If_Match=seen.headers["etag"])
    changed = asking["owner"]("PUT", "/organisation", 200, sent, If_Match=seen.headers["etag"])
    assert changed.json()["terms"] == TERMS
    assert changed.json()["effects"] == {"chaffer-too-open": "shown"}
    assert changed.json()["revoked_starts"] == []
    again = asking["reader"]("GET", "/organisation", 200)
    assert again.headers["etag"] == changed.headers["etag"] != seen.headers["etag"]
    asking["reader"]("GET", "/organisation", 304, If_None_Match=again.headers["etag"])
    asking["owner"]("PUT", "/organisation", 412, sent, If_Match=seen.headers["etag"])
    assert asking["stranger"]("GET", "/organisation", 200).json()["terms"]["hold_at"] == "high"
    with desk.store.reading("ridgeline") as work:
        assert [one.who for one in events.read(work, what="organisation.changed")] == ["token:owner"]


@pytest.mark.parametrize(
    "change",
    [
        {"terms": {**TERMS, "hold_at": "never"}}, {"terms": {**TERMS, "most_hours": 0}},
        {"terms": {**TERMS, "most_days": 1e6}}, {"terms": {**TERMS, "valid_for": 10_000}},
        {"terms": {**TERMS, "most_hours": "20"}}, {"terms": {"hold_at": "high"}}, {"terms": {**TERMS, "more": 1}},
        {"effects": {"no-such-rule": "shown"}}, {"effects": {"chaffer-too-open": "ignored"}}, {"name": "Other"},
    ],
)  # fmt: skip
def test_terms_that_can_t_be_set(asking: dict[str, Asking], change: dict[str, Any]) -> None:
    seen = asking["owner"]("GET", "/organisation", 200)
    sent = {"terms": TERMS, "effects": {}, **change}
    asking["owner"]("PUT", "/organisation", 422, sent, If_Match=seen.headers["etag"])
    assert asking["owner"]("GET", "/organisation", 200).json() == seen.json()


def test_danger_to_people_always_holds(asking: dict[str, Asking], desk: Desk) -> None:
    rule = next(one.id for one in desk.in_force.shipped.rulebook.rules.values() if one.harm.people)
    seen = asking["owner"]("GET", "/organisation", 200)
    for effect, status in (("shown", 422), ("warned", 422), ("holds", 200)):
        sent = {"terms": TERMS, "effects": {rule: effect}}
        asking["owner"]("PUT", "/organisation", status, sent, If_Match=seen.headers["etag"])
