"""Signing in by the organisation's own sign-on, with a provider at work on this machine."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, quote, urlsplit

import httpx2
import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, BrowserContext, Page, expect

from api.app import create_app
from api.identity.attempts import AT_ONCE
from api.identity.browser import BEGUN_COOKIE, BEGUN_FOR, COOKIE, GOOD_FOR, Browsers
from api.identity.session import Begun, Session
from api.identity.sign_on import BadSettings
from api.identity.words import Words
from api.opening import open_desk
from api.pages.sign_in import MOST_BEGUN
from api.pages.view import POLICY
from api.store.database import Store
from tests.api.identity.provider import SECOND, SECRET, Provider, providing
from tests.api.pages.browsing import DESK, PHONE, Watch, accessible, fits, house
from tests.api.whole import whole_app

OWN = {"Sec-Fetch-Site": "same-origin"}
HERE = "http://127.0.0.1:8000"


@pytest.fixture
def provider() -> Iterator[Provider]:
    with providing(secret=SECRET) as found:
        yield found


@contextmanager
def browsing(folder: Path, provider: Provider, address: str = HERE, **changes: Any) -> Iterator[TestClient]:
    """A client of a server that trusts the provider."""
    app, token = whole_app(folder, address, provider.environment(**changes))
    with TestClient(app, follow_redirects=False, headers=OWN, base_url=address) as client:
        client.token = token  # type: ignore[attr-defined]
        yield client


@pytest.fixture
def client(tmp_path: Path, provider: Provider) -> Iterator[TestClient]:
    with browsing(tmp_path, provider) as found:
        yield found


def led_back(client: TestClient, next: str = "/fleet") -> str:
    """Begins to sign in, goes through the provider, and gives the address that it sends the browser back to."""
    begun = client.get(f"/sign-in/organisation?next={quote(next, safe='')}")
    assert begun.status_code == 303, begun.text
    answer = httpx2.get(begun.headers["location"], follow_redirects=False)
    assert answer.status_code == 302, answer.text
    return answer.headers["location"]


def come_back(client: TestClient, there: str, **headers: str) -> Any:
    """The page that a browser sees which another site led back."""
    parts = urlsplit(there)
    return client.get(f"{parts.path}?{parts.query}", headers={"Sec-Fetch-Site": "cross-site", **headers})


def signed_in(client: TestClient, next: str = "/fleet") -> Any:
    return come_back(client, led_back(client, next))


def cookies_set(answer: Any) -> dict[str, str]:
    """What an answer says of each cookie, by its name."""
    return {one.partition("=")[0]: one for one in answer.headers.get_list("set-cookie")}


def test_who_signs_in_has_the_roles_that_the_settings_give(client: TestClient) -> None:
    assert client.get("/units").status_code == 401
    answer = signed_in(client, "/fleet?sort=unit")
    assert answer.status_code == 200
    assert 'content="0; url=/fleet?sort=unit"' in answer.text
    assert answer.headers["content-security-policy"] == POLICY
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["cache-control"] == "private, no-store"
    assert client.get("/units").status_code == 200
    assert "sign-on:ana" in client.get("/fleet").text
    assert client.put("/units/unit-07", json={"card": "axial-single"}, headers=OWN).status_code == 201
    assert client.post("/tokens", json={"name": "x", "role": "reader"}, headers=OWN).status_code == 403, "no owner"
    record = client.get("/record/events").json()
    assert record["items"][-1]["who"] == "sign-on:ana"


def test_what_the_cookies_are(client: TestClient) -> None:
    begun = cookies_set(client.get("/sign-in/organisation"))
    (name,) = begun
    assert name.startswith(f"{BEGUN_COOKIE}_")
    for part in ("HttpOnly", "SameSite=lax", "Path=/", f"Max-Age={BEGUN_FOR}"):
        assert part in begun[name]
    assert "Secure" not in begun[name]
    there = led_back(client)
    answer = come_back(client, there)
    found = cookies_set(answer)
    assert "SameSite=strict" in found[COOKIE]
    assert "HttpOnly" in found[COOKIE]
    most_age = int(found[COOKIE].partition("Max-Age=")[2].partition(";")[0])
    assert 600 < most_age <= 660, "as long as the ID token and a minute for clocks that differ"
    (ended,) = [one for name, one in found.items() if name != COOKIE]
    assert "Max-Age=0" in ended, "what was begun is ended"
    assert "ana" not in found[COOKIE]


def test_cookies_by_https_are_of_this_host_alone(tmp_path: Path, provider: Provider) -> None:
    provider.comes_back = "https://audit.ridgeline.example/sign-in/return"
    with browsing(tmp_path, provider, "https://audit.ridgeline.example") as client:
        for found in (cookies_set(client.get("/sign-in/organisation")), cookies_set(signed_in(client))):
            assert found
            assert all(name.startswith("__Host-") and "Secure" in one for name, one in found.items())
        assert client.get("/units").status_code == 200


def test_the_secret_of_the_client_is_on_no_page_and_in_no_address(client: TestClient, provider: Provider) -> None:
    begun = client.get("/sign-in/organisation")
    told = begun.headers["location"] + client.get("/sign-in").text + signed_in(client).text
    assert SECRET not in told
    assert quote(SECRET, safe="") not in told
    asked = parse_qs(urlsplit(begun.headers["location"]).query)
    assert asked["redirect_uri"] == [f"{HERE}/sign-in/return"]
    assert asked["code_challenge_method"] == ["S256"]
    assert asked["scope"] == ["openid groups"]
    assert all("client_secret" not in one for one in provider.seen)


def test_the_log_says_what_is_out_of_order_and_holds_nothing_secret(
    tmp_path: Path, provider: Provider, capsys: pytest.CaptureFixture[str]
) -> None:
    with browsing(tmp_path, provider) as client:
        signed_in(client)
        provider.secret = "changed"
        there = led_back(client)
        assert come_back(client, there).status_code == 400
    log = capsys.readouterr().err
    assert '"trouble":"sign-on: the issuer does not know this server as its client"' in log
    code = parse_qs(urlsplit(there).query)["code"][0]
    assert not any(secret in log for secret in (SECRET, code, *provider.grants, provider.seen[-1]["code_verifier"]))


@pytest.mark.parametrize(
    "next",
    ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "", "javascript:alert(1)", "/\t/elsewhere.example",
     "/" + "a" * 2000],
)  # fmt: skip
def test_nobody_is_led_to_another_site(client: TestClient, next: str) -> None:
    assert 'content="0; url=/"' in signed_in(client, next).text


def test_a_path_to_go_on_to_stays_text(client: TestClient) -> None:
    text = signed_in(client, "/fleet?q=\"><script>alert(1)</script>'; url=//elsewhere.example").text
    assert "<script>alert" not in text
    assert 'content="0; url=/fleet?q=&#34;&gt;' in text


def test_another_site_can_t_begin_it(client: TestClient) -> None:
    for site in ("cross-site", "same-site"):
        answer = client.get("/sign-in/organisation?next=/fleet", headers={"Sec-Fetch-Site": site})
        assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in?next=%2Ffleet")
        assert not cookies_set(answer)


def test_an_answer_that_another_browser_began(client: TestClient, provider: Provider) -> None:
    """RFC 6749, section 10.12: nobody is signed in as whoever sent them the link."""
    there = led_back(client)
    with TestClient(client.app, follow_redirects=False, headers=OWN, base_url=HERE) as victim:
        answer = come_back(victim, there)
        assert answer.status_code == 400
        assert "not begun in this browser" in answer.text
        assert COOKIE not in cookies_set(answer)
        led_back(victim)
        answer = come_back(victim, there)
        assert answer.status_code == 400, "not even while they are signing in themselves"
        assert victim.get("/units").status_code == 401
    assert provider.seen == []


def test_an_answer_whose_state_was_changed(client: TestClient, provider: Provider) -> None:
    there = led_back(client)
    state = parse_qs(urlsplit(there).query)["state"][0]
    answer = come_back(client, there.replace(state, state[:-1] + ("A" if state[-1] != "A" else "B")))
    assert answer.status_code == 400
    assert "does not belong to this sign-in" in answer.text
    assert provider.seen == []
    assert come_back(client, there).status_code == 400, "what went wrong once is begun again"


def test_an_answer_that_is_sent_again(client: TestClient) -> None:
    there = led_back(client)
    kept = dict(client.cookies)
    assert come_back(client, there).status_code == 200
    again = come_back(client, there)
    assert (again.status_code, "was ended already" in again.text) == (400, True)
    assert client.get("/units").status_code == 200, "who is signed in stays so"
    client.cookies.clear()
    client.cookies.update(kept)
    stolen = come_back(client, there)
    assert (stolen.status_code, "was used already" in stolen.text) == (400, True)
    assert client.get("/units").status_code == 401


def test_several_sign_ins_in_one_browser(client: TestClient) -> None:
    first, second = led_back(client, "/cards"), led_back(client, "/rules")
    assert "url=/cards" in come_back(client, first).text
    assert "url=/rules" in come_back(client, second).text
    for _ in range(3 * MOST_BEGUN):
        client.get("/sign-in/organisation")
        assert sum(name.startswith(BEGUN_COOKIE) for name in client.cookies) <= MOST_BEGUN


def test_what_was_begun_too_long_ago() -> None:
    ours = Browsers(b"one secret of a server")
    begun = Begun("state", "nonce", "verifier", "/fleet")
    cookie = ours.begun_sealed(begun, 1000.0)
    assert ours.begun_opened(cookie, 1000.0 + BEGUN_FOR - 1) == begun
    assert ours.begun_opened(cookie, 1000.0 + BEGUN_FOR + 2) is None
    assert ours.begun_opened("", 1000.0) is None
    session = Session("1", "https://sign-on.ridgeline.example", Words("ana", "", ("crew",)), 2000.0)
    sealed = ours.sealed(session, 1000.0)
    assert ours.opened(sealed, 1001.0) == session
    assert ours.opened(sealed, 1000.0 + GOOD_FOR + 2) is None
    assert ours.begun_opened(sealed, 1001.0) is None, "one kind of cookie is no other"
    assert ours.opened(cookie, 1001.0) is None
    assert Browsers(b"another secret of a server").opened(sealed, 1001.0) is None


STOPS: list[tuple[str, dict[str, Any], int, str, str]] = [
    ("denied", {"sends_back": {"code": None, "error": "access_denied"}}, 403, "did not let you through", "niemanden durchgelassen"),
    ("refused", {"sends_back": {"code": None, "error": "invalid_scope"}}, 400, "refused to sign you in", "abgelehnt"),
    ("not ours", {"sends_back": {"iss": "https://another.example"}}, 400, "does not belong to this sign-in", "gehört nicht"),
    ("spent", {"sends_back": {"code": "made-up"}}, 400, "was used already", "schon verwendet"),
    ("not known", {"secret": "changed"}, 400, "does not know this server", "kennt diesen Server nicht"),
    ("down", {"answers": (503, b"")}, 503, "be reached just now", "gerade nicht erreichbar"),
    ("clock", {"made": 7200.0}, 400, "differ by more than a minute", "mehr als eine Minute"),
    ("not good", {"key": SECOND}, 400, "could not be verified", "nicht geprüft werden"),
    ("another issuer", {"claims": {"iss": "https://another.example"}}, 400, "could not be verified", "nicht geprüft werden"),
    ("no role", {"claims": {"groups": ["choir"]}}, 403, "gives you no role here", "keine Rolle"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "status", "said", "german"), [one[1:] for one in STOPS], ids=[one[0] for one in STOPS]
)
@pytest.mark.parametrize("language", ["en", "de"])
def test_pages_of_what_goes_wrong(
    client: TestClient, provider: Provider, changes: dict[str, Any], status: int, said: str, german: str, language: str
) -> None:
    for name, value in changes.items():
        setattr(provider, name, value)
    answer = come_back(client, led_back(client), **{"Accept-Language": language})
    assert answer.status_code == status
    assert (said if language == "en" else german) in answer.text
    assert '<a class="button" href="/sign-in?next=/fleet">' in answer.text
    assert answer.headers["content-security-policy"] == POLICY
    assert COOKIE not in cookies_set(answer)
    assert client.get("/units").status_code == 401


@pytest.mark.parametrize(
    ("language", "said"), [("en", "not begun in this browser"), ("de", "nicht in diesem Browser begonnen")]
)
def test_an_answer_that_nobody_began(client: TestClient, language: str, said: str) -> None:
    assert client.get("/sign-in/return").headers["location"] == "/sign-in"
    for query in ("?code=x&state=y", "?state=%00%0d%0aSet-Cookie:x=y", "?state=" + "a" * 5000):
        answer = client.get(f"/sign-in/return{query}", headers={"Accept-Language": language})
        assert (answer.status_code, said in answer.text) == (400, True)
        assert HERE in answer.text
        assert not cookies_set(answer)


@pytest.mark.parametrize(("language", "said"), [("en", "does not offer what"), ("de", "bietet nicht")])
def test_an_issuer_that_lacks_what_is_needed(client: TestClient, provider: Provider, language: str, said: str) -> None:
    provider.metadata = {"code_challenge_methods_supported": ["plain"]}
    answer = client.get("/sign-in/organisation", headers={"Accept-Language": language})
    assert (answer.status_code, said in answer.text) == (400, True)


def test_an_issuer_that_is_down_leaves_the_way_by_token(tmp_path: Path) -> None:
    with providing() as gone:
        pass
    with browsing(tmp_path, gone) as client:
        answer = client.get("/sign-in/organisation?next=/fleet")
        assert (answer.status_code, "sign in with a token" in answer.text) == (503, True)
        assert client.post("/sign-in", data={"token": client.token}).status_code == 303  # type: ignore[attr-defined]


def test_an_organisation_that_is_not_known_here(tmp_path: Path, provider: Provider) -> None:
    with browsing(tmp_path, provider, organisation="elsewhere") as client:
        answer = signed_in(client)
        assert (answer.status_code, "no organisation that is known here" in answer.text) == (403, True)


def test_who_has_more_roles_than_a_cookie_holds(tmp_path: Path, provider: Provider) -> None:
    words = [f"harvest crew of yard number {number:04}" for number in range(200)]
    provider.claims = {"groups": words}
    with browsing(tmp_path, provider, roles=dict.fromkeys(words, "mechanic")) as client:
        answer = signed_in(client)
        assert (answer.status_code, "more of you than a browser can keep" in answer.text) == (400, True)
        assert COOKIE not in cookies_set(answer)


def test_who_tries_one_made_up_code_after_another_is_slowed(client: TestClient, provider: Provider) -> None:
    provider.sends_back = {"code": "made-up"}
    tries = [signed_in(client).status_code for _ in range(AT_ONCE)]
    while (slowed := signed_in(client)).status_code != 429 and len(tries) < 3 * AT_ONCE:
        tries.append(slowed.status_code)
    assert set(tries) == {400}
    assert slowed.status_code == 429
    assert int(slowed.headers["retry-after"]) > 0
    assert "Too many sign-ins" in slowed.text
    assert len(provider.seen) == len(tries), "the provider is not asked any more"


def test_a_session_ends_with_the_id_token(tmp_path: Path, provider: Provider) -> None:
    """By the cookie's own end, which a browser could pass over, and by what is sealed in it."""
    provider.made = -600 - 57
    with browsing(tmp_path, provider) as client:
        assert signed_in(client).status_code == 200
        kept = client.cookies[COOKIE]
        assert client.get("/units").status_code == 200
        time.sleep(4)
        client.cookies.clear()
        client.cookies.set(COOKIE, kept)
        answer = client.get("/units")
        assert (answer.status_code, "has expired" in answer.text) == (401, True)
        assert client.get("/fleet").headers["location"] == "/sign-in?next=%2Ffleet"


def test_signing_out_ends_the_session_wherever_its_cookie_is(client: TestClient) -> None:
    signed_in(client)
    kept = client.cookies[COOKIE]
    answer = client.post("/sign-out", headers=OWN)
    assert answer.headers["location"] == "/sign-in?left=organisation"
    assert client.get("/units").status_code == 401
    client.cookies.set(COOKIE, kept)
    refused = client.get("/units")
    assert (refused.status_code, "You signed out" in refused.text) == (401, True)
    assert client.post("/sign-out", headers=OWN).status_code == 303
    client.cookies.clear()
    assert signed_in(client).status_code == 200, "and signs in anew"
    assert client.get("/units").status_code == 200


def test_another_site_can_sign_nobody_out(client: TestClient) -> None:
    signed_in(client)
    assert client.post("/sign-out", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert (
        client.put("/units/u", json={"card": "axial-single"}, headers={"Sec-Fetch-Site": "same-site"}).status_code
        == 403
    )
    assert client.get("/units").status_code == 200


def test_leaving_the_organisation_s_sign_on_too_is_offered_where_it_can_be(
    client: TestClient, provider: Provider
) -> None:
    assert "Sign out of your organisation" not in client.get("/sign-in?left=organisation").text
    assert "You are signed out here" in client.get("/sign-in?left=organisation").text
    provider.metadata = {"end_session_endpoint": f"{provider.url}/leave"}
    client.app.state.identity.flow._issuer._fetched = float("-inf")  # type: ignore[attr-defined]
    client.app.state.identity.flow._issuer._tried = float("-inf")  # type: ignore[attr-defined]
    assert f'href="{provider.url}/leave?client_id=setup-audit"' in client.get("/sign-in?left=organisation").text
    assert "Sign out of your organisation" not in client.get("/sign-in").text


def test_settings_that_are_changed_hold_for_who_is_signed_in(tmp_path: Path, provider: Provider) -> None:
    with browsing(tmp_path, provider) as client:
        signed_in(client)
        kept = client.cookies[COOKIE]
    for changes, status in (
        ({}, 200), ({"roles": {"harvest crew": "owner"}}, 200), ({"roles": {"choir": "owner"}}, 401),
        ({"organisation": "elsewhere"}, 401), ({"client_id": None, "client_secret": None, "scopes": None}, 401),
        ({"issuer": "https://another.example"}, 401),
    ):  # fmt: skip
        desk = open_desk(Store(f"sqlite:///{tmp_path / 'record.db'}"), environment=provider.environment(**changes))
        with TestClient(create_app(desk=desk), cookies={COOKIE: kept}, base_url=HERE) as later:
            assert later.get("/units").status_code == status, changes
            if "harvest crew" in json.dumps(changes):
                assert later.get("/tokens").status_code == 200, "an owner now"


def test_a_key_that_is_changed_ends_no_session(client: TestClient, provider: Provider) -> None:
    signed_in(client)
    provider.key, provider.published = SECOND, [SECOND]
    assert client.get("/units").status_code == 200
    client.cookies.clear()
    assert signed_in(client).status_code == 200, "and the new key is found at once"


def test_without_a_client_there_is_no_such_way(tmp_path: Path, provider: Provider) -> None:
    with browsing(tmp_path, provider, client_id=None, client_secret=None, scopes=None) as client:
        assert "/sign-in/organisation" not in client.get("/sign-in").text
        assert client.get("/sign-in/organisation?next=/fleet").headers["location"] == "/sign-in?next=%2Ffleet"
        assert client.get("/sign-in/return?code=x&state=y").status_code == 400


def test_an_address_that_nobody_can_be_sent_back_to(tmp_path: Path, provider: Provider) -> None:
    store = Store(f"sqlite:///{tmp_path / 'record.db'}")
    with pytest.raises(BadSettings, match="--address"):
        open_desk(store, environment=provider.environment(), address="http://0.0.0.0:8000")
    store.close()


@contextmanager
def windows(
    chromium: Browser, folder: Path, provider: Provider, size: dict[str, int], expected: tuple[str, ...] = ()
) -> Iterator[tuple[str, Page, BrowserContext]]:
    """A page before a running server that trusts the provider; only the provider may be asked besides."""
    with house(folder, provider.environment()) as at:
        provider.comes_back = f"{at.address}/sign-in/return"
        context = chromium.new_context(viewport=size)  # type: ignore[arg-type]
        watch = Watch(urlsplit(at.address).netloc)
        watch.expected = expected
        watch.over(context)
        yield at.address, context.new_page(), context
        context.close()
        watch.elsewhere = [url for url in watch.elsewhere if not url.startswith(f"{provider.url}/")]
        watch.clean()


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_in_a_browser(chromium: Browser, tmp_path: Path, provider: Provider, size: dict[str, int]) -> None:
    """There and back over another site (localhost, for a server at 127.0.0.1), with the policy of our pages in force."""
    provider.asks_person = True
    provider.metadata = {"end_session_endpoint": f"{provider.url}/leave"}
    with windows(chromium, tmp_path, provider, size) as (address, page, context):
        page.goto(f"{address}/cards?x=1")
        accessible(page)
        fits(page)
        page.get_by_role("link", name="Sign in with your organisation").click()
        expect(page.get_by_role("heading", name="Sign on")).to_be_visible()
        assert page.url.startswith(provider.url)
        page.get_by_role("button", name="Yes").click()
        page.wait_for_url(f"{address}/cards?x=1")
        expect(page.locator(".top")).to_contain_text("sign-on:ana")
        assert {one["name"]: one["sameSite"] for one in context.cookies(address)} == {COOKIE: "Strict"}
        page.get_by_role("button", name="Sign out").click()
        expect(page.get_by_role("status")).to_contain_text("signed out here")
        accessible(page)
        fits(page)
        page.get_by_role("link", name="Sign out of your organisation").click()
        expect(page.get_by_role("heading", name="Signed out")).to_be_visible()
        assert provider.left == [{"client_id": "setup-audit"}]
        page.goto(f"{address}/cards")
        assert "/sign-in" in page.url


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_in_a_browser_where_it_goes_wrong(
    chromium: Browser, tmp_path: Path, provider: Provider, size: dict[str, int]
) -> None:
    provider.sends_back = {"code": None, "error": "access_denied"}
    with windows(chromium, tmp_path, provider, size, ("status of 403",)) as (address, page, _):
        page.goto(f"{address}/sign-in?next=/cards")
        with page.expect_response(lambda one: "/sign-in/return" in one.url):
            page.get_by_role("link", name="Sign in with your organisation").click()
        expect(page.get_by_role("heading", name="Not signed in")).to_be_visible()
        accessible(page)
        fits(page)
        page.get_by_role("link", name="Back to signing in").click()
        page.wait_for_url(f"{address}/sign-in?next=/cards")
