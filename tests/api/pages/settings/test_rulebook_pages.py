"""Versions of the rulebook by forms: put on record out of an archive, tried on the fleet, put in force."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping
from typing import Any

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from api.certificates.keys import jwk_of, make
from api.environment import rulebook, shipped_rules
from api.service.rulebooks import sign
from tests.api.pages.browsing import House, Remote, accessible, fits, sign_in
from tests.api.pages.test_work_and_starts import hidden, text_of
from tests.api.pages.whole_unit import WHOLE, whole
from tests.api.service.test_replay import RULE, stricter

AT = "/settings/rulebook"
JOB = {"crop": "corn", "header_kind": "corn-head", "engine_hours": 901}
TITLE = rulebook().rules["slat-loose"].title


def turned() -> str:
    """The rule turned round: every machine that is in order breaks it."""
    return stricter((shipped_rules() / RULE).read_text())


def packed(files: Mapping[str, str]) -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return written.getvalue()


def sent(client: TestClient, files: Mapping[str, str], **form: str) -> Any:
    """Sends the form with an archive."""
    archive = {"files": ("ours.zip", packed(files), "application/zip")}
    return client.post(AT, data={"note": "Ours", **form}, files=archive)


def put_on_record(client: TestClient, files: Mapping[str, str]) -> str:
    answer = sent(client, files)
    assert answer.status_code == 303, text_of(answer.text)
    return str(answer.headers["location"].rpartition("/")[2])


def as_role(client: TestClient, role: str) -> dict[str, str]:
    secret = client.post("/tokens", json={"name": role, "role": role}).json()["secret"]
    return {"Authorization": f"Bearer {secret}"}


def test_from_an_archive_to_what_judges(owner: TestClient) -> None:
    whole(owner)
    start = owner.post(f"/units/{WHOLE}/harvest-starts", json=JOB).json()["id"]
    digest = put_on_record(owner, {RULE: turned()})
    page = owner.get(f"{AT}/{digest}")
    assert RULE in page.text
    assert owner.get("/rulebooks/in-force").json()["follows_shipped"] is True, "it judges nothing yet"
    tried = owner.get(f"{AT}/{digest}/replay")
    said = text_of(tried.text)
    assert "1 unit would be newly held, 0 newly cleared" in said
    assert TITLE in said
    assert f'href="/unit/{WHOLE}"' in tried.text
    before = hidden(tried.text, "before")
    done = owner.post(f"{AT}/{digest}/activate", data={"before": before})
    assert done.status_code == 200
    assert f"/start/{start}" in done.text, "which start was revoked is said"
    assert owner.get("/rulebooks/in-force").json() == {"digest": digest, "follows_shipped": False}
    again = owner.post(f"{AT}/shipped/activate", data={"before": before})
    assert again.status_code == 412, "it was compared with what no longer judges"
    assert owner.get("/rulebooks/in-force").json()["digest"] == digest
    back = owner.get(f"{AT}/shipped/replay")
    assert "0 units would be newly held, 1 newly cleared" in text_of(back.text)
    assert owner.post(f"{AT}/shipped/activate", data={"before": hidden(back.text, "before")}).status_code == 303
    history = owner.get(AT).text.partition("What went in force when")[2]
    shown = re.findall(rf"{AT}/([0-9a-f]{{64}})", history)
    shipped = owner.get("/rulebooks/in-force").json()["digest"]
    assert shown == [shipped, digest, shipped], "the newest first"


def test_its_files_come_back_as_they_were_sent(owner: TestClient) -> None:
    files = {RULE: turned(), "retired.yaml": "[an-old-one]\n"}
    digest = put_on_record(owner, files)
    answer = owner.get(f"{AT}/{digest}/files.zip")
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert {name: archive.read(name).decode() for name in archive.namelist()} == files
    again = owner.post(AT, data={"note": "Again"}, files={"files": ("x.zip", answer.content, "application/zip")})
    assert again.headers["location"].endswith(digest), "the same files are the same rulebook"


def test_a_folder_around_all_files_is_left_out(owner: TestClient) -> None:
    plain = put_on_record(owner, {RULE: turned()})
    twins = {"__MACOSX/ours/._x.yaml": "no", "ours/README.txt": "not ours to read"}
    assert put_on_record(owner, {f"ours/{RULE}": turned(), **twins}) == plain


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"title: x\n", "is no zip archive"),
        (packed({"README.txt": "x"}), "holds no file that ends in .yaml"),
        (packed({"packs/feeder/x.yaml": "title: ["}), "packs/feeder/x.yaml, line"),
        (packed({"../x.yaml": "x"}), "holds a file with the path '../x.yaml'"),
        (packed({RULE: "title: x\n"}), RULE),
        (packed({RULE: turned().replace("gives: broken", "gives: kept")}), "slat-loose"),
    ],
)
def test_what_cannot_be_a_rulebook_is_refused_with_its_place_and_keeps_the_note(
    owner: TestClient, content: bytes, said: str
) -> None:
    answer = owner.post(AT, data={"note": "Tighter slats"}, files={"files": ("ours.zip", content)})
    assert answer.status_code == 422
    assert said in text_of(answer.text)
    assert "Tighter slats</textarea>" in answer.text
    assert owner.get("/rulebooks").json()["items"] == []


def test_who_may_not_sees_no_forms_and_is_refused(owner: TestClient) -> None:
    digest = put_on_record(owner, {RULE: turned()})
    roles = {role: as_role(owner, role) for role in ("reader", "approver", "author")}
    owner.post("/sign-out")
    before = {"before": "0" * 64}
    for role, headers in roles.items():
        author = role == "author"
        for path in (AT, f"{AT}/{digest}", f"{AT}/shipped", "/settings/rules"):
            page = owner.get(path, headers=headers)
            assert page.status_code == 200
            assert bool(re.search(r'<main.*method="post".*</main>', page.text, re.DOTALL)) == (author and path == AT)
        assert owner.get(f"{AT}/{digest}/replay", headers=headers).status_code == (200 if author else 403)
        assert owner.post("/settings/rules/slat-loose", data={"effect": "shown"}, headers=headers).status_code == 403
        if not author:
            archive = {"files": ("ours.zip", packed({RULE: turned()}))}
            assert owner.post(AT, data={"note": "x"}, files=archive, headers=headers).status_code == 403
            assert owner.post(f"{AT}/{digest}/activate", data=before, headers=headers).status_code == 403
    assert owner.get(f"{AT}/{'0' * 64}", headers=roles["reader"]).status_code == 404


def test_nothing_of_another_site_changes_the_rulebook(owner: TestClient) -> None:
    digest = put_on_record(owner, {RULE: turned()})
    foreign = {"Sec-Fetch-Site": "cross-site"}
    before = {"before": owner.get("/rulebooks/in-force").json()["digest"]}
    assert owner.post(f"{AT}/{digest}/activate", data=before, headers=foreign).status_code == 403
    archive = {"files": ("ours.zip", packed({RULE: turned()}))}
    assert owner.post(AT, data={"note": "x"}, files=archive, headers=foreign).status_code == 403
    assert owner.post("/settings/rules/slat-loose", data={"effect": "shown"}, headers=foreign).status_code == 403


def test_where_a_key_is_asked_for_only_what_it_signed_can_go_in_force(owner: TestClient) -> None:
    unsigned = put_on_record(owner, {RULE: turned()})
    key = make()
    assert owner.put("/rulebooks/key", json=jwk_of(key.public.public)).status_code == 200
    tried = owner.get(f"{AT}/{unsigned}/replay")
    assert "must have signed it first" in text_of(tried.text)
    assert "/activate" not in tried.text
    assert sent(owner, {RULE: turned()}).status_code == 409, "without a signature"
    signed = sent(owner, {RULE: turned()}, signature=sign(unsigned, key))
    assert signed.headers["location"].endswith(unsigned)
    assert key.id in owner.get(f"{AT}/{unsigned}").text
    tried = owner.get(f"{AT}/{unsigned}/replay")
    assert owner.post(f"{AT}/{unsigned}/activate", data={"before": hidden(tried.text, "before")}).status_code == 303


def test_what_a_rule_does_is_set_and_starts_that_fall_are_named(owner: TestClient) -> None:
    digest = put_on_record(owner, {RULE: turned()})
    before = owner.get("/rulebooks/in-force").json()["digest"]
    owner.post(f"{AT}/{digest}/activate", data={"before": before})
    whole(owner)
    form = {"effect": "warned", "pack": "feeder", "only": ""}
    done = owner.post("/settings/rules/slat-loose", data=form)
    assert done.headers["location"] == "/settings/rules?pack=feeder&only=#slat-loose"
    start = owner.post(f"/units/{WHOLE}/harvest-starts", json=JOB)
    assert start.status_code == 201, start.text
    lowered = owner.get("/settings/rules?only=lowered").text
    assert re.findall(r'<tr id="([^"]+)"', lowered) == ["slat-loose"]
    broken = re.findall(r'<tr id="([^"]+)"', owner.get("/settings/rules?only=broken").text)
    rules = owner.get("/rulebooks/in-force/rules").json()["rules"]
    assert set(broken) == {one["id"] for one in rules if one["fleet"]["broken"]} != set()
    raised = owner.post("/settings/rules/slat-loose", data={"effect": "holds"})
    assert f"/start/{start.json()['id']}" in raised.text
    people = next(one["id"] for one in rules if one["people"])
    assert f'action="/settings/rules/{people}"' not in owner.get("/settings/rules").text
    assert owner.post(f"/settings/rules/{people}", data={"effect": "shown"}).status_code == 409


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_rulebook_pages_in_a_browser(at: House, size: str, request: pytest.FixtureRequest) -> None:
    page: Page = request.getfixturevalue(size)
    whole(Remote(at))
    sign_in(page, at)
    page.goto(f"{at.address}{AT}")
    archive = {"name": "ours.zip", "mimeType": "application/zip", "buffer": packed({RULE: turned()})}
    page.set_input_files("#files", archive)  # type: ignore[arg-type]
    page.fill("#note", "Turned round, to see that it is noticed")
    page.get_by_role("button", name="Put it on record").click()
    for name in ("Try it on the fleet", "Let it judge from now on", None):
        accessible(page)
        fits(page)
        if name:
            page.locator("main").get_by_text(name, exact=True).click()
    assert page.get_by_text("Turned round").first.is_visible()
    page.goto(f"{at.address}/settings/rules?only=broken")
    accessible(page)
    fits(page)
