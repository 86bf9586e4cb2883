"""Who asks, from the headers of a request to a caller or a refusal."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any

import pytest
from fastapi import Depends, FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import update

from api.errors import MEDIA, add_handlers
from api.identity.attempts import AT_ONCE, EVERY
from api.identity.bearer import Bearer
from api.identity.caller import AccessRefused, Caller, add_identity, needs
from api.identity.door import MOST_KNOWN, Holder, Identity
from api.identity.rights import Right, Role
from api.identity.tokens import at_command_line, hash_of, make, new_secret, revoke
from api.lately import GOOD_FOR
from api.store import organisations
from api.store.database import Store
from api.store.tables import tokens as table
from api.store.tokens import Token

ADDRESS = "192.0.2.7"


@dataclass
class House:
    """A store with an organisation, who asks at its door, and a clock for both."""

    store: Store
    identity: Identity
    clock: Any
    made: int = field(default=0)

    def token(
        self, role: Role, *units: str, expires: float | None = None, organisation: str = "ridgeline"
    ) -> tuple[Token, str]:
        self.made += 1
        caller = at_command_line(organisation)
        with self.store.writing(organisation, caller.who, self.clock()) as work:
            return make(work, caller, f"token {self.made}", role, units, expires)

    def revoke(self, token: Token) -> None:
        caller = at_command_line(token.organisation)
        with self.store.writing(token.organisation, caller.who, self.clock()) as work:
            revoke(work, caller, token.id, force=True)

    def ask(self, secret: str, address: str = ADDRESS) -> Caller:
        return self.identity.caller([f"Bearer {secret}"], address)

    def refused(self, secret: str, status: int = 401, address: str = ADDRESS) -> AccessRefused:
        with pytest.raises(AccessRefused) as caught:
            self.ask(secret, address)
        assert caught.value.status == status
        return caught.value


@pytest.fixture
def house(store: Store, bearer: Bearer, clock: Any) -> House:
    for name in ("ridgeline", "lowfield"):
        with store.connection(writes=True) as connection:
            organisations.make(connection, name, name.title(), "me", clock())
    return House(store, Identity(store, bearer, clock, clock), clock)


@pytest.fixture
def client(house: House) -> TestClient:
    """An app with one door for readers and one for owners."""
    app = FastAPI()
    add_handlers(app)
    add_identity(app, house.identity)

    @app.get("/read")
    def read(caller: Annotated[Caller, Depends(needs(Right.READ))]) -> list[str]:
        return [caller.organisation, caller.who]

    @app.get("/own")
    def own(caller: Annotated[Caller, Depends(needs(Right.ADMINISTER))]) -> str:
        return caller.who

    return TestClient(app, raise_server_exceptions=False)


def test_a_token_says_who_asks(house: House) -> None:
    _, secret = house.token(Role.MECHANIC, "unit-01")
    caller = house.ask(secret)
    assert (caller.organisation, caller.who, caller.roles) == ("ridgeline", "token:token 1", frozenset({Role.MECHANIC}))


def test_a_token_that_is_restricted_to_other_units(house: House) -> None:
    _, secret = house.token(Role.MECHANIC, "unit-01")
    caller = house.ask(secret)
    assert caller.sees("unit-01")
    assert not caller.sees("unit-02")
    assert not caller.sees("")


def test_a_token_of_another_organisation_stays_there(house: House) -> None:
    _, here = house.token(Role.OWNER)
    _, there = house.token(Role.OWNER, organisation="lowfield")
    assert [house.ask(one).organisation for one in (here, there, here)] == ["ridgeline", "lowfield", "ridgeline"]


def test_a_revoked_token_stops_at_once_where_it_was_revoked(house: House) -> None:
    token, secret = house.token(Role.READER)
    house.ask(secret)
    house.revoke(token)
    house.identity.forget()
    assert "revoked" in house.refused(secret).detail


def test_a_revoked_token_stops_within_a_second_elsewhere(house: House, clock: Any) -> None:
    token, secret = house.token(Role.READER)
    elsewhere = Identity(house.store, None, clock, clock)
    elsewhere.caller([f"Bearer {secret}"], ADDRESS)
    house.revoke(token)
    clock.at += GOOD_FOR
    with pytest.raises(AccessRefused, match="revoked"):
        elsewhere.caller([f"Bearer {secret}"], ADDRESS)


def test_a_look_up_that_began_before_a_revocation_is_not_kept(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """The token is read, then revoked and forgotten by another thread, and only then remembered."""
    token, secret = house.token(Role.READER)
    holder = house.identity._holder

    def late(hashed: str) -> Holder:
        found = holder(hashed)
        house.revoke(token)
        house.identity.forget()
        return found

    monkeypatch.setattr(house.identity, "_holder", late)
    house.ask(secret)
    monkeypatch.undo()
    house.refused(secret)


def test_an_expired_token(house: House, clock: Any) -> None:
    _, secret = house.token(Role.READER, expires=clock() + 10)
    house.ask(secret)
    clock.at += 10
    assert "expired" in house.refused(secret).detail


def test_a_clock_that_is_turned_back_revives_no_token(house: House, clock: Any) -> None:
    _, secret = house.token(Role.READER, expires=clock() + 10)
    clock.at += 10
    house.token(Role.READER)  # an event, whose time stays on the record
    clock.at -= 10
    house.refused(secret)


@pytest.mark.parametrize("row", [{"role": "king"}, {"role": ""}, {"units": "x"}, {"units": "{}"}, {"role": "owner"}])
def test_a_row_that_can_t_be_read_opens_nothing(house: House, row: dict[str, str]) -> None:
    _, secret = house.token(Role.READER, "unit-01")
    with house.store.connection(writes=True) as connection:
        connection.execute(update(table).values(**row))
    assert "can't be read" in house.refused(secret).detail


def test_unknown_secrets_open_nothing(house: House) -> None:
    token, secret = house.token(Role.OWNER)
    for forged in (new_secret(), secret[:-1], secret + "0", secret.upper(), hash_of(secret), "csa_", token.id, "a.b.c"):
        house.refused(forged)


def test_a_hash_is_no_secret(house: House) -> None:
    """Who reads the database can't sign on with what is there."""
    _, secret = house.token(Role.OWNER)
    house.refused("csa_" + hash_of(secret))


@pytest.mark.parametrize(
    "headers",
    [["Bearer"], ["Bearer "], ["Basic {0}"], ["{0}"], ["Bearer {0},Bearer {0}"], ["Bearer {0} {0}"], ["Bearer {0}\n"],
     ["Bearer\t{0}"], ["Token {0}"], ["Bearer {0}", "Bearer {0}"], ["Bearer " + "a" * 20_000], ["Bearer café"],
     ["Bearer \x00{0}"], [""]],
)  # fmt: skip
def test_headers_that_carry_no_one_token(house: House, headers: list[str]) -> None:
    _, secret = house.token(Role.OWNER)
    with pytest.raises(AccessRefused) as caught:
        house.identity.caller([one.replace("{0}", secret) for one in headers], ADDRESS)
    assert caught.value.status == 401


def test_the_scheme_is_written_in_any_case(house: House) -> None:
    """RFC 9110, section 11.1."""
    _, secret = house.token(Role.OWNER)
    assert house.identity.caller([f"bEaReR  {secret}"], ADDRESS).may(Right.ADMINISTER)


def test_a_sign_on_says_who_asks(house: House, local: Any) -> None:
    caller = house.ask(local.token())
    assert (caller.organisation, caller.who) == ("ridgeline", "sign-on:ana")


def test_a_sign_on_without_role_is_forbidden_and_not_slowed(house: House, local: Any) -> None:
    token = local.token(local.claims(groups=["choir"]))
    for _ in range(3 * AT_ONCE):
        assert house.refused(token, 403).detail.startswith("Your sign-on gives you no role")


def test_a_sign_on_of_an_organisation_that_is_not_there(store: Store, bearer: Bearer, clock: Any, local: Any) -> None:
    with pytest.raises(AccessRefused) as caught:
        Identity(store, bearer, clock, clock).caller([f"Bearer {local.token()}"], ADDRESS)
    assert caught.value.status == 403


def test_a_sign_on_that_is_down(house: House, local: Any) -> None:
    local.up = False
    refusal = house.refused(local.token(), 503)
    assert refusal.headers["Retry-After"] == "10"
    _, secret = house.token(Role.READER)
    assert house.ask(secret).may(Right.READ), "tokens of ours do not depend on it"


def test_without_a_sign_on_its_tokens_open_nothing(house: House, clock: Any, local: Any) -> None:
    with pytest.raises(AccessRefused, match="no other sign-on"):
        Identity(house.store, None, clock, clock).caller([f"Bearer {local.token()}"], ADDRESS)


def test_one_bad_token_after_another_is_slowed(house: House, clock: Any) -> None:
    _, secret = house.token(Role.READER)
    _, other = house.token(Role.READER)
    house.ask(secret)
    for _ in range(AT_ONCE):
        house.refused(new_secret())
    refusal = house.refused(new_secret(), 429)
    assert refusal.headers["Retry-After"] == str(int(EVERY))
    assert house.ask(secret), "who was good a while ago is not locked out"
    house.refused(other, 429)
    assert house.ask(other, "192.0.2.8"), "other addresses are not slowed"
    clock.at += EVERY
    assert house.ask(other)
    house.refused(new_secret())
    house.refused(new_secret(), 429)


def test_a_revoked_token_is_no_way_round_the_slowing(house: House) -> None:
    token, secret = house.token(Role.READER)
    house.ask(secret)
    house.revoke(token)
    house.identity.forget()
    for _ in range(AT_ONCE):
        house.refused(secret)
    house.refused(secret, 429)


def test_what_is_remembered_is_bounded(house: House) -> None:
    assert house.identity._lately.most == MOST_KNOWN
    house.identity._lately.most = 3
    secrets = [house.token(Role.READER)[1] for _ in range(5)]
    for secret in secrets * 2:
        house.ask(secret)
    assert len(house.identity._lately) == 3
    assert MOST_KNOWN > 3


def test_refusals_are_problems_that_say_how_to_ask(client: TestClient, house: House) -> None:
    """RFC 6750, section 3: a challenge without an error where no token was sent."""
    nobody = client.get("/read")
    assert (nobody.status_code, nobody.headers["content-type"]) == (401, MEDIA)
    assert nobody.headers["www-authenticate"] == 'Bearer realm="setup audit"'
    bad = client.get("/read", headers={"Authorization": f"Bearer {new_secret()}"})
    assert bad.status_code == 401
    assert bad.headers["www-authenticate"] == 'Bearer realm="setup audit", error="invalid_token"'
    assert bad.json()["title"] == "Not signed on"
    _, reader = house.token(Role.READER)
    missing = client.get("/own", headers={"Authorization": f"Bearer {reader}"})
    assert (missing.status_code, missing.headers["content-type"]) == (403, MEDIA)
    assert 'error="insufficient_scope"' in missing.headers["www-authenticate"]
    assert "administer the organisation, which reader does not bring" in missing.json()["detail"]
    assert client.get("/read", headers={"Authorization": f"Bearer {reader}"}).json() == ["ridgeline", "token:token 1"]


def test_a_token_in_the_address_or_a_cookie_opens_nothing(client: TestClient, house: House) -> None:
    """RFC 6750, section 2.3: addresses end up in logs."""
    _, secret = house.token(Role.OWNER)
    assert client.get(f"/read?access_token={secret}").status_code == 401
    assert client.get("/read", headers={"Cookie": f"access_token={secret}"}).status_code == 401


def test_two_headers_open_nothing(client: TestClient, house: House) -> None:
    _, secret = house.token(Role.OWNER)
    headers = [("Authorization", f"Bearer {secret}"), ("Authorization", f"Bearer {secret}")]
    assert client.get("/read", headers=headers).status_code == 401


def test_the_scheme_is_in_the_document(client: TestClient) -> None:
    document = client.get("/openapi.json").json()
    assert document["components"]["securitySchemes"]["token"]["scheme"] == "bearer"
    assert document["paths"]["/read"]["get"]["security"] == [{"token": []}]


def test_a_server_without_a_record_has_nothing_to_ask_for() -> None:
    app = FastAPI()
    add_handlers(app)
    add_identity(app, None)

    @app.get("/read")
    def read(caller: Annotated[Caller, Depends(needs(Right.READ))]) -> str:
        return caller.who

    assert TestClient(app).get("/read").status_code == 404
