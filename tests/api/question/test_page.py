"""The page's examples, copied from it and run against a real server; outside checks of the offline recipe."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import time
import urllib.request
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from joserfc import jws as outside_jws
from joserfc.jwk import KeySet, KeySetSerialization

from api.routes.question import CONTRACT
from audit.nouns.rulebook import Rulebook
from tests.api.question.conftest import Place
from tests.api.question.page import HEADER, blocks, put_right, spoilt


def kept(place: Place) -> tuple[dict[str, Any], dict[str, Any]]:
    """The two files that a terminal keeps."""
    keys, revoked = (
        place.line.ask("GET", "/.well-known/jwks.json"),
        place.line.ask("GET", "/.well-known/revoked-starts.json"),
    )
    assert (keys.status, revoked.status) == (200, 200)
    return keys.plain, revoked.plain


def started(place: Place, unit: str = "unit-07") -> dict[str, Any]:
    found: dict[str, Any] = place.example.may_start(
        place.url, place.tokens["mechanic"], unit, "maize", HEADER, 1001, f"key-{time.monotonic_ns()}"
    )
    assert found["answer"] == "cleared", found
    return found


def about(found: dict[str, Any]) -> dict[str, str]:
    return {name: found[name] for name in ("issuer", "organisation", "unit", "crop", "header_kind")}


def test_the_page_is_served_as_it_is(place: Place) -> None:
    with urllib.request.urlopen(f"{place.url}/may-start/contract") as answer:
        assert answer.headers["content-type"].startswith("text/markdown")
        assert answer.read() == CONTRACT.read_bytes()


def test_the_page_names_every_kind_of_header(rulebook: Rulebook) -> None:
    text = CONTRACT.read_text(encoding="utf-8")
    for word, _ in rulebook.vocabulary.fixed["job.header_kind"].words:
        assert f"`{word}`" in text


@pytest.mark.skipif(shutil.which("curl") is None, reason="no curl here")
@pytest.mark.parametrize(("unit", "answer"), [("unit-07", "cleared"), ("unit-08", "held")])
def test_curl(place: Place, unit: str, answer: str) -> None:
    (script,) = [block["text"] for block in blocks() if block["run"]]
    script = script.replace("task-4711-start-1", f"task-{unit}")
    done = subprocess.run(
        ["sh", "-c", script], capture_output=True, text=True, check=True,
        env={**os.environ, "AUDIT": place.url, "TOKEN": place.tokens["mechanic"], "UNIT": unit},
    )  # fmt: skip
    decoder = json.JSONDecoder()
    asked, end = decoder.raw_decode(done.stdout)
    sent, _ = decoder.raw_decode(done.stdout[end:].strip())
    assert (asked["answer"], sent["answer"]) == (answer, answer)
    assert asked["certificate"] is None
    assert (sent["certificate"] is not None) == (answer == "cleared")


def test_python_asks_and_is_held_with_the_reason(place: Place) -> None:
    found = place.example.may_start(place.url, place.tokens["reader"], "unit-08", "ZEAMX", HEADER)
    assert found["answer"] == "held"
    assert found["say"].startswith("HELD: unit-08 may not start corn with corn-head: ")
    assert "drum" in " ".join(reason["text"] for reason in found["reasons"])


def test_python_starts_and_checks_offline(place: Place) -> None:
    found = started(place)
    claims = place.example.still_good(found["certificate"], *kept(place), *about(found).values())
    assert claims["jti"] == found["start"]


def test_an_independent_library_reads_the_same_certificate(place: Place) -> None:
    """joserfc, which knows nothing of ours, verifies it with the published keys (RFC 7515, RFC 8037)."""
    found = started(place)
    keys, _ = kept(place)
    read = outside_jws.deserialize_compact(
        found["certificate"], KeySet.import_key_set(KeySetSerialization(keys=keys["keys"])), algorithms=["Ed25519"]
    )
    assert json.loads(read.payload)["jti"] == found["start"]


def test_the_recipes_signature_check_is_that_of_rfc_8037(place: Place) -> None:
    """RFC 8037, A.2 and A.4: the published key and JWS; only the algorithm's name differs, so step 1 must refuse it."""
    jws = (
        "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc."
        "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
    )
    keys = {"keys": [{"kty": "OKP", "crv": "Ed25519", "kid": "a", "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"}]}
    with pytest.raises(ValueError, match="not what it should be"):
        place.example.signed(jws, "start-certificate+jwt", keys)
    head, content, signature = jws.split(".")
    public = place.example.Ed25519PublicKey.from_public_bytes(place.example.decoded(keys["keys"][0]["x"]))
    public.verify(place.example.decoded(signature), f"{head}.{content}".encode())
    assert place.example.decoded(content) == b"Example of Ed25519 signing"


def test_offline_every_wrong_certificate_is_refused(place: Place) -> None:
    found = started(place)
    keys, revoked = kept(place)
    good = place.example.still_good
    right = about(found)
    for name in right:
        with pytest.raises(ValueError, match="not "):
            good(found["certificate"], keys, revoked, *{**right, name: "another"}.values())
    head, content, signature = found["certificate"].split(".")
    forged = Ed25519PrivateKey.generate().sign(f"{head}.{content}".encode())
    other = place.example.base64.urlsafe_b64encode(forged).rstrip(b"=").decode()
    for wrong, what in (
        (f"{head}.{content}.{other}", "forged"),
        (f"{head}.{content[:-2]}AA.{signature}", "forged|Invalid|JSON|decode"),
        (found["certificate"] + ".x", "unpack"),
        (revoked["revoked_starts"], "not what it should be"),
    ):
        with pytest.raises(ValueError, match=what):
            good(wrong, keys, revoked, *right.values())
    with pytest.raises(ValueError, match="not relied on"):
        good(found["certificate"], {"keys": []}, revoked, *right.values())


def test_a_list_from_before_the_certificate_says_too_little_and_a_revoked_start_is_refused(place: Place) -> None:
    put_right(place.line, place.tokens["mechanic"], "unit-09", place.setup)
    started(place)
    keys, before = kept(place)
    time.sleep(1.1)  # times of the list are whole seconds
    found = started(place, "unit-09")
    right = about(found).values()
    with pytest.raises(ValueError, match="too old"):
        place.example.still_good(found["certificate"], keys, before, *right)
    assert place.line.ask("POST", "/units/unit-09/setups", place.tokens["mechanic"], spoilt(place.setup)).status == 201
    with pytest.raises(ValueError, match="revoked"):
        place.example.still_good(found["certificate"], *kept(place), *right)


def test_python_no_answer_is_held(place: Place) -> None:
    may_start, token = place.example.may_start, place.tokens["reader"]
    for url, who in (("http://127.0.0.1:9", token), (place.url, "nobody"), (f"{place.url}/nowhere", token)):
        found = may_start(url, who, "unit-07", "corn", HEADER)
        assert (found["answer"], found["certificate"]) == ("held", None)
    assert may_start(place.url, token, "unit-07", "wheet", HEADER)["answer"] == "held"


@pytest.mark.skipif(shutil.which("node") is None, reason="no node here; .ci/run brings it")
def test_javascript_asks_starts_and_checks_offline(place: Place) -> None:
    put_right(place.line, place.tokens["mechanic"], "unit-10", place.setup)
    script = """
      import { mayStart, stillGood } from "./may-start.mjs";
      const [server, token] = process.argv.slice(2);
      const job = (unit) => ({ unit, crop: "maize", header_kind: "corn-head", engine_hours: 1001 });
      const get = async (path) => (await fetch(server + path)).json();
      const found = await mayStart(server, token, job("unit-10"), "js-1");
      const files = [await get("/.well-known/jwks.json"), await get("/.well-known/revoked-starts.json")];
      const right = { issuer: found.issuer, organisation: found.organisation, unit: "unit-10", crop: "corn", headerKind: "corn-head" };
      const refused = (...all) => { try { stillGood(...all); return "taken"; } catch (error) { return error.message; } };
      const [head, content] = found.certificate.split(".");
      console.log(JSON.stringify({
        asked: await mayStart(server, token, job("unit-08")),
        jti: stillGood(found.certificate, ...files, right).jti, start: found.start,
        otherUnit: refused(found.certificate, ...files, { ...right, unit: "unit-11" }),
        forged: refused(`${head}.${content}.${"A".repeat(86)}`, ...files, right),
        noKey: refused(found.certificate, { keys: [] }, files[1], right),
        away: await mayStart("http://127.0.0.1:9", token, job("unit-10")),
        badToken: await mayStart(server, "nobody", job("unit-10")),
      }));
    """
    (place.folder / "try.mjs").write_text(script, encoding="utf-8")
    done = subprocess.run(
        ["node", "try.mjs", place.url, place.tokens["mechanic"]],
        cwd=place.folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["asked"]["answer"] == "held"
    assert found["asked"]["reasons"]
    assert found["jti"] == found["start"]
    assert found["otherUnit"] == "sub is unit-10, not unit-11"
    assert found["forged"] == "forged or broken"
    assert "not relied on" in found["noKey"]
    assert (found["away"]["answer"], found["badToken"]["answer"]) == ("held", "held")
