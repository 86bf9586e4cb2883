"""Webhooks over HTTP and from the command line: who may, what is refused, what is shown once."""

from __future__ import annotations

import json

import pytest

from api.commands import webhook as command
from api.exchange.addresses import ALLOWED
from api.store.verifying import faults
from tests.api.exchange_out.conftest import Place, Setup, record
from tests.api.exchange_out.receiving import Receiver
from tests.api.starts.conftest import HOME, OTHER


def test_only_owners_see_and_make_webhooks(house: Place, receiver: Receiver) -> None:
    sent = {"name": "planning", "address": receiver.url}
    for role in ("reader", "mechanic", "approver", "author"):
        client = house.client(role)
        assert client.get("/webhooks").status_code == 403
        assert client.post("/webhooks", json=sent).status_code == 403
    hook = house.hook(receiver)
    other = house.client("owner", OTHER)
    for method, path in (
        ("GET", ""), ("PUT", ""), ("DELETE", ""), ("GET", "/deliveries"), ("POST", "/secrets"), ("POST", "/replays"),
    ):  # fmt: skip
        body = {"PUT": {"address": receiver.url}, "POST": {"dead": True} if path == "/replays" else {}}.get(method)
        answer = other.request(method, f"/webhooks/{hook['id']}{path}", json=body, headers={"If-Match": "*"})
        assert answer.status_code == 404, (method, path, answer.text)


def test_secrets_are_shown_once_and_kept_sealed(house: Place, receiver: Receiver) -> None:
    client = house.client()
    answer = client.post("/webhooks", json={"name": "planning", "address": receiver.url})
    assert answer.headers["cache-control"] == "no-store"
    secret = answer.json()["secret"]
    assert secret.startswith("whsec_")
    assert answer.json()["public_key"].startswith("whpk_")
    for path in ("/webhooks", f"/webhooks/{answer.json()['id']}", "/record/events"):
        assert secret not in client.get(path).text
    file = house.desk.store.file
    if file is not None:
        for one in (file, file.with_name(f"{file.name}-wal")):
            assert secret.removeprefix("whsec_").encode() not in one.read_bytes()


def test_what_may_be_a_secret_in_an_address_is_not_on_the_record(house: Place, receiver: Receiver) -> None:
    client = house.client()
    made = client.post("/webhooks", json={"name": "planning", "address": f"{receiver.url}?key=hidden"}).json()
    assert made["address"].endswith("?key=hidden")
    seen = house.client("reader").get("/record/events").text
    assert receiver.url in seen
    assert "hidden" not in seen


def test_a_request_that_is_sent_twice_makes_one(house: Place, receiver: Receiver) -> None:
    client, sent = house.client(), {"name": "planning", "address": receiver.url}
    assert client.post("/webhooks", json=sent).status_code == 201
    assert client.post("/webhooks", json={**sent, "name": "PLANNING"}).status_code == 409
    assert len(client.get("/webhooks").json()["items"]) == 1


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"kinds": ["start.hold"]}, "start.held"),
        ({"units": ["no unit!"]}, "units"),
        ({"name": ""}, "name"),
        ({"name": "\u0000\u0001"}, "control"),
        ({"secret": "mine"}, "secret"),
    ],
)
def test_what_is_wrong_is_said(house: Place, receiver: Receiver, more: dict[str, object], why: str) -> None:
    answer = house.client().post("/webhooks", json={"name": "planning", "address": receiver.url, **more})
    assert answer.status_code == 422
    assert why in answer.json()["detail"]


def test_a_change_needs_the_edition_that_was_seen(house: Place, receiver: Receiver) -> None:
    client, hook = house.client(), house.hook(receiver)
    path, sent = f"/webhooks/{hook['id']}", {"address": receiver.url, "kinds": ["start.held"]}
    seen = client.get(path).headers["etag"]
    assert client.put(path, json=sent).status_code == 428
    assert client.put(path, json=sent, headers={"If-Match": seen}).status_code == 200
    assert client.put(path, json=sent, headers={"If-Match": seen}).status_code == 412
    assert client.delete(path).status_code == 428
    assert client.delete(path, headers={"If-Match": "*"}).status_code == 200
    assert client.get(path).status_code == 404


def test_an_ended_webhook_is_sent_nothing(house: Place, unit: Setup, receiver: Receiver) -> None:
    hook = house.hook(receiver)
    record(house, unit)
    assert house.client().delete(f"/webhooks/{hook['id']}", headers={"If-Match": "*"}).status_code == 200
    house.send()
    assert receiver.got == []


def test_deliveries_are_paged(house: Place, unit: Setup, receiver: Receiver) -> None:
    hook = house.hook(receiver, kinds=["setup.recorded"])
    for _ in range(5):
        record(house, unit)
    found, path = [], f"/webhooks/{hook['id']}/deliveries?most=2"
    while path:
        answer = house.client().get(path).json()
        found += [one["sequence"] for one in answer["items"]]
        path = answer["next"]
    assert found == [5, 4, 3, 2, 1]


def test_all_of_it_is_on_the_record_and_the_record_is_whole(house: Place, unit: Setup, receiver: Receiver) -> None:
    hook = house.hook(receiver)
    record(house, unit)
    house.send()
    house.client().post(f"/webhooks/{hook['id']}/secrets", json={})
    house.client().delete(f"/webhooks/{hook['id']}", headers={"If-Match": "*"})
    items = house.client().get("/record/events", params={"subject": f"webhook/{hook['id']}"}).json()["items"]
    assert [one["what"] for one in items] == [
        "webhook.made", "webhook.secret-made", "webhook.secret-made", "webhook.ended",
    ]  # fmt: skip
    with house.desk.store.reading(HOME) as work:
        assert list(faults(work)) == []


def test_the_commands(
    house: Place, unit: Setup, receiver: Receiver, monkeypatch: pytest.MonkeyPatch, tmp_path: object,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    import argparse

    monkeypatch.setenv(ALLOWED, "127.0.0.0/8")
    monkeypatch.setenv("SETUP_AUDIT_SECRET_FILE", f"{tmp_path}/secret")

    def run(name: str, *words: str) -> tuple[int, str, str]:
        parser = argparse.ArgumentParser()
        command.add(parser, name)
        more = [] if name == "send" else ["--organisation", HOME]
        given = parser.parse_args([*words, "--store", house.desk.store.address, *more])
        status = command.run(given, name, house.clock)
        said = capsys.readouterr()
        return status, said.out, said.err

    status, secret, _ = run("make", "--name", "planning", "--address", receiver.url, "--kind", "setup.recorded")
    assert status == 0
    assert secret.startswith("whsec_")
    status, _, said = run("make", "--name", "more", "--address", "https://10.0.0.7/")
    assert (status, "not public" in said) == (2, True)
    status, _, said = run("make", "--name", "more", "--address", receiver.url, "--kind", "setup.record")
    assert (status, "setup.recorded" in said) == (2, True)
    record(house, unit)
    assert run("send")[1] == "1 delivered, 0 failed; of these 0 given up, 0 disabled\n"
    assert "1 delivered" in run("list")[1]
    (line,) = json.loads(run("list", "--json")[1])
    assert run("replay", line["id"], "--since", "2026-01-01T00:00:00Z")[1] == "1 to be sent again.\n"
    assert run("send")[1].startswith("1 delivered")
    assert run("replay", "webhook-0000000000000000", "--dead")[0] == 2
    assert len(set(receiver.ids())) == 1
