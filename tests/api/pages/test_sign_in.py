"""Signing on in a browser."""

from __future__ import annotations

from fastapi.testclient import TestClient

from api.identity.browser import GOOD_FOR, Browsers
from api.pages.view import POLICY


def test_a_token_opens_pages_and_the_json_door_in_the_same_browser(stranger: TestClient) -> None:
    assert stranger.get("/units").status_code == 401
    answer = stranger.post("/sign-in", data={"token": stranger.token, "next": "/fleet"})  # type: ignore[attr-defined]
    assert (answer.status_code, answer.headers["location"]) == (303, "/fleet")
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert stranger.token not in cookie  # type: ignore[attr-defined]
    assert stranger.get("/units").status_code == 200


def test_a_wrong_token_is_told_of_on_the_page_itself(stranger: TestClient) -> None:
    answer = stranger.post("/sign-in", data={"token": "csa_wrong"})
    assert answer.status_code == 401
    assert "mistyped" in answer.text
    assert answer.headers["content-security-policy"] == POLICY


def test_signing_off_ends_it(owner: TestClient) -> None:
    assert owner.post("/sign-out").headers["location"] == "/sign-in"
    assert owner.get("/units").status_code == 401


def test_a_page_of_another_site_can_change_nothing(owner: TestClient) -> None:
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}):
        assert owner.put("/units/unit-07", json={"card": "axial-single"}, headers=headers).status_code == 403
        assert owner.post("/sign-out", headers=headers).status_code == 403
    assert owner.put("/units/unit-07", json={"card": "axial-single", "serial": "KX-01822"}).status_code == 201


def test_nobody_is_led_to_another_site(stranger: TestClient) -> None:
    for next in ("//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", ""):
        answer = stranger.post("/sign-in", data={"token": stranger.token, "next": next})  # type: ignore[attr-defined]
        assert answer.headers["location"] == "/"


def test_a_cookie_ends_after_half_a_day_and_opens_nothing_elsewhere() -> None:
    ours, others = Browsers(b"one secret of a server"), Browsers(b"another secret of a server")
    sealed = ours.sealed("csa_token", 1000.0)
    assert ours.opened(sealed, 1000.0 + GOOD_FOR - 1) == "csa_token"
    assert ours.opened(sealed, 1000.0 + GOOD_FOR + 2) is None
    assert others.opened(sealed, 1001.0) is None
    assert ours.opened(sealed[:-2] + "AA", 1001.0) is None
    assert ours.opened("é", 1001.0) is None
