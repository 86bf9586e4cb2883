"""What a page of each kind brings over the line to a browser that has nothing of it yet, by what the server sends."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx2
import pytest
from playwright.sync_api import Browser, expect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.pages import adding
from api.pages.languages import languages
from api.service import subscribing
from api.service.fleet_jobs import run_job
from tests.api.exchange.samples import machine, snapshot_json
from tests.api.pages.browsing import PHONE, House, Remote, house, sign_in
from tests.api.pages.whole_unit import DEMO, FAULTY, WHOLE, faulty, whole

MOST_BYTES = 100_000
"""Of a page with all its files and lists, packed as they are sent."""

LONGEST = "de"
"""Of the languages that there are, the one with the longest texts."""

KINDS = {
    "/rules": "/rules", "/rules/{rule}": "/rules/drive-guard-off", "/cards": "/cards",
    "/cards/{card}": "/cards/axial-single?crop=corn", "/crops/{crop}": "/crops/corn", "/sign-in": "/sign-in",
    "/settings": "/settings", "/settings/terms": "/settings/terms", "/settings/tokens": "/settings/tokens",
    "/settings/rulebook": "/settings/rulebook", "/settings/rulebook/{digest}": "/settings/rulebook/{version}",
    "/settings/rulebook/{digest}/replay": "/settings/rulebook/{version}/replay", "/settings/rules": "/settings/rules",
    "/settings/record": "/settings/record", "/settings/webhooks": "/settings/webhooks",
    "/settings/webhooks/{webhook}": "/settings/webhooks/{hook}", "/settings/calendars": "/settings/calendars",
    "/settings/imports": "/settings/imports", "/settings/imports/{id}": "/settings/imports/{read}",
    "/": "/", "/fleet": "/fleet", "/fleet/audits": "/fleet/audits", "/fleet/audits/{audit}": "/fleet/audits/{audit}",
    "/fleet/report.{ending}": "/fleet/report.html", "/fleet/visits": "/fleet/visits",
    "/fleet/visits/{visit}": "/fleet/visits/visit-0000000000000001", "/fleet/audits/{audit}/visits": "/fleet/audits/{audit}/visits", "/unit/{unit}": f"/unit/{FAULTY}",
    "/unit/{unit}/plan": f"/unit/{FAULTY}/plan",
    "/unit/{unit}/changeover": f"/unit/{FAULTY}/changeover?to=soybean&header=draper",
    "/unit/{unit}/start": f"/unit/{FAULTY}/start", "/start/{start}": "/start/{start}",
    "/verify/{start}/{digest}": "{short}", "/unit/{unit}/walk-round": f"/unit/{FAULTY}/walk-round",
    "/unit/{unit}/setup": f"/unit/{FAULTY}/setup?crop=corn&header_kind=corn-head",
    "/unit/{unit}/setups/{setup}": f"/unit/{FAULTY}/setups/{{setup}}", "/unit/{unit}/sheets": f"/unit/{FAULTY}/sheets",
    "/unit/{unit}/sheets/unit-sheet.{ending}": f"/unit/{FAULTY}/sheets/unit-sheet.html",
    "/unit/{unit}/sheets/work-order.{ending}": f"/unit/{FAULTY}/sheets/work-order.html",
    "/unit/{unit}/sheets/changeover.{ending}": f"/unit/{FAULTY}/sheets/changeover.html?to=soybean&header=draper",
}  # fmt: skip
"""A page of each kind by the path of its route; names in braces stand for what is put on record first."""
NO_PAGES = frozenset(
    {"/static/{digest}/{name}", "/sign-in/organisation", "/sign-in/return", "/settings/rulebook/{digest}/files.zip",
     "/unit/{unit}/walk-round.json", "/unit/{unit}/walk-round.webmanifest", "/walk-round/worker.js",
     "/fleet/audits/{audit}/report.{ending}"}
)  # fmt: skip
"""Files, lists and ways through beside them. The report of an audit is the report of the fleet."""


class Scale:
    """Weighs the bodies of everything that a server sends, as they are sent."""

    def __init__(self) -> None:
        self.app: ASGIApp
        self.sent: dict[str, int] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def weighed(message: Message) -> None:
            if message["type"] == "http.response.body":
                path = re.sub(r"/[0-9a-f]{16}/", "/", scope["path"])
                self.sent[path] = self.sent.get(path, 0) + len(message.get("body", b""))
            await send(message)

        await self.app(scope, receive, weighed)


@pytest.fixture
def scale() -> Scale:
    return Scale()


@pytest.fixture
def at(tmp_path: Path, scale: Scale) -> Iterator[House]:
    """A server that stands on the scale."""

    def on_scale(app: ASGIApp) -> ASGIApp:
        scale.app = app
        return scale

    with house(tmp_path, around=on_scale) as found:
        yield found


def test_every_kind_of_page_is_weighed() -> None:
    modules = (*adding.FOR_ALL, *adding.OF_RULES, *adding.OF_RECORD)
    routers = [
        getattr(module, name) for module in modules for name in ("router", "beside_json") if hasattr(module, name)
    ]
    paths = {route.path for router in routers for route in router.routes if "GET" in route.methods}
    assert paths == {*KINDS, *NO_PAGES}


def on_record(at: House, app: Any) -> dict[str, str]:
    """Puts something of every kind on record; ids by the names that stand in braces above."""
    asks, desk = Remote(at), app.state.desk
    for number in range(30):
        asks.put(f"/units/unit-{100 + number}", json={"card": "axial-single", "serial": f"KX-{number:05}"})
    setup = faulty(asks)["setup"]["id"]
    whole(asks)
    asked = {"crop": "corn", "header_kind": "corn-head", "engine_hours": 901}
    start = asks.post(f"/units/{WHOLE}/harvest-starts", json=asked).json()
    sent = {"files": {"retired.yaml": "[chain-too-long]\n"}, "note": "An id that we used on paper."}
    version = asks.post("/rulebooks", json=sent).json()["digest"]
    fleet = httpx2.post(
        f"{at.address}/fleet-audits?plan=true", content=DEMO.read_bytes(), headers=AS_LINES | bearer(at)
    ).json()["id"]
    run_job(desk.store.address, "home", fleet, desk.jobs.place("home", fleet), (), lambda: False)
    farm = snapshot_json([machine(), machine("Unit 08", "U08-000483", "XXXMDA1AC00000483")])
    read = httpx2.post(f"{at.address}/imports", content=farm, headers=AS_JSON | bearer(at)).json()["id"]
    visit = {
        "technician": "tech-01", "farm": "Oxgill Farm", "begins": "2026-10-05T08:00", "leaves": "2026-10-05T10:00",
        "work": [{"unit": FAULTY, "minutes": 120, "parts": ["belt"]}],
    }  # fmt: skip
    assert asks.put("/visits/visit-0000000000000001", json=visit).status_code == 201
    with desk.store.writing("home", "token:first owner", desk.clock()) as work:
        hook, _, _ = subscribing.make(work, "planning", "https://farm.example/hook", (), (), desk.secret)
    return {
        "setup": setup, "start": start["id"], "short": urlsplit(start["short"]).path, "version": version, "audit": fleet,
        "read": read, "hook": hook.id,
    }  # fmt: skip


AS_LINES, AS_JSON = {"Content-Type": "application/x-ndjson"}, {"Content-Type": "application/json"}


def bearer(at: House) -> dict[str, str]:
    return {"Authorization": f"Bearer {at.token}"}


def test_a_page_of_any_kind_is_light_for_who_sees_it_first(at: House, chromium: Browser, scale: Scale) -> None:
    made = on_record(at, scale.app)
    with chromium.new_context() as context:
        sign_in(context.new_page(), at)
        cookies: Any = context.storage_state()
    weights: dict[str, int] = {}
    for kind, path in KINDS.items():
        scale.sent.clear()
        with chromium.new_context(storage_state=cookies, viewport=PHONE, locale=LONGEST) as context:  # type: ignore[arg-type]
            page = context.new_page()
            answer = page.goto(at.address + path.format(**made))
            assert answer is not None
            assert answer.status == 200, (kind, answer.url)
            if kind.endswith("/walk-round"):
                expect(page.locator("#ready")).to_have_text(languages()[LONGEST].say("Works without a signal."))
            page.wait_for_load_state("networkidle")
        assert any(name.endswith(".css") for name in scale.sent), kind
        weights[kind] = sum(scale.sent.values())
    walk = weights["/unit/{unit}/walk-round"]
    assert walk > weights["/sign-in"]
    assert max(weights.values()) < MOST_BYTES, sorted(weights.items(), key=lambda one: -one[1])[:8]
