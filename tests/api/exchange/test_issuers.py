"""Asking the issuer of a sign-on: its own host wherever it is, any other host only where any other address may be."""

from __future__ import annotations

from ipaddress import ip_network
from urllib.parse import parse_qs

import pytest

from api.exchange.issuers import Asking
from api.identity.fetch import MOST_BYTES, NotFetched
from tests.api.exchange.serving import Asked, serving
from tests.api.exchange.test_addresses import resolving

ANSWERS: dict[str, tuple[int, dict[str, str], bytes]] = {
    "/good": (200, {}, b'{"a": [1, 2.5]}'),
    "/moved": (302, {"Location": "/good"}, b""),
    "/missing": (404, {}, b"{}"),
    "/refused": (400, {}, b'{"error": "invalid_grant"}'),
    "/broken": (500, {}, b"{}"),
    "/huge": (200, {}, b'"' + b"x" * MOST_BYTES + b'"'),
    "/page": (200, {}, b"<html>"),
    "/packed": (200, {"Content-Encoding": "gzip"}, b"\x1f\x8b\x08\x00"),
}


def answer(asked: Asked) -> None:
    """As the path says."""
    status, headers, body = ANSWERS[asked.path]
    asked.answer(status, body, **headers)


def test_a_document() -> None:
    with serving(answer) as port:
        assert Asking(f"http://127.0.0.1:{port}").get(f"http://127.0.0.1:{port}/good") == {"a": [1, 2.5]}


@pytest.mark.parametrize("path", ["moved", "missing", "refused", "broken", "huge", "page", "packed"])
def test_documents_that_are_not_taken(path: str) -> None:
    asked = []

    def noted(one: Asked) -> None:
        asked.append(one.path)
        answer(one)

    with serving(noted) as port, pytest.raises(NotFetched):
        Asking(f"http://127.0.0.1:{port}").get(f"http://127.0.0.1:{port}/{path}")
    assert asked == [f"/{path}"], "no redirect is followed"


def test_a_form_and_what_it_is_answered() -> None:
    def read(asked: Asked) -> None:
        body = asked.rfile.read(int(asked.headers["Content-Length"])).decode("ascii")
        assert parse_qs(body) == {"code": ["a&b=é"]}
        assert asked.headers["Content-Type"] == "application/x-www-form-urlencoded"
        assert asked.headers["Authorization"] == "Basic x"
        asked.answer(400, b'{"error": "invalid_grant"}')

    with serving(read) as port:
        found = Asking(f"http://127.0.0.1:{port}").post(
            f"http://127.0.0.1:{port}/token", {"code": "a&b=é"}, {"Authorization": "Basic x"}
        )
    assert found == (400, {"error": "invalid_grant"})


@pytest.mark.parametrize("path", ["moved", "broken", "huge", "page", "packed"])
def test_answers_to_a_form_that_are_not_taken(path: str) -> None:
    with serving(answer) as port, pytest.raises(NotFetched):
        Asking(f"http://127.0.0.1:{port}").post(f"http://127.0.0.1:{port}/{path}", {}, {})


def test_nobody_there() -> None:
    with pytest.raises(NotFetched, match="can't be reached"):
        Asking("http://127.0.0.1:1").get("http://127.0.0.1:1/good")


def test_the_issuer_may_stand_in_a_network_that_is_not_public() -> None:
    """It is asked, and not reached, as nobody is there; a document of another host is not even asked for."""
    asking = Asking("https://sign-on.ridgeline.example", resolve=resolving("127.0.0.2"))
    with pytest.raises(NotFetched, match="can't be reached"):
        asking.get("https://sign-on.ridgeline.example:1/keys")
    with pytest.raises(NotFetched, match="not public"):
        asking.get("https://keys.ridgeline.example:1/keys")
    with pytest.raises(NotFetched, match="not public"):
        asking.post("https://metadata.ridgeline.example:1/token", {}, {})


def test_other_hosts_in_networks_of_ones_own() -> None:
    with serving(answer) as port:
        named = f"http://127.0.0.1:{port}/good"
        with pytest.raises(NotFetched, match="not public"):
            Asking("http://localhost:1").get(named)
        assert Asking("http://localhost:1", (ip_network("127.0.0.0/8"),)).get(named) == {"a": [1, 2.5]}


@pytest.mark.parametrize("url", ["http://sign-on.ridgeline.example/x", "file:///etc/passwd", "https://a:b@host/", ""])
def test_addresses_that_are_not_asked(url: str) -> None:
    with pytest.raises(NotFetched):
        Asking("https://sign-on.ridgeline.example", resolve=resolving("93.184.215.14")).get(url)
