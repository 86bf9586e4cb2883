"""setup-audit verify and setup-audit keys, as a person or a program uses them."""

from __future__ import annotations

import argparse
import io
import json
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from api.certificates.certificate import Claims, sign
from api.certificates.keys import SigningKey, make
from api.certificates.keyset import jwks
from api.certificates.revocations import GOOD_FOR, Revocations, mark
from api.certificates.revocations import sign as sign_list
from api.certificates.secret import VARIABLE
from api.certificates.short import short_form
from api.commands import keys as keys_command
from api.commands import verify as verify_command
from api.status import BAD_INPUT, CLEARED, HELD
from api.store.database import Store
from api.store.keys import lines

Ran = tuple[int, str, str]
Run = Callable[..., Ran]


@pytest.fixture
def folder(tmp_path: Path, certificate: str, key: SigningKey, claims: Claims, now: float) -> Path:
    """What a terminal carries: a certificate, the server's keys, and its list of revoked starts."""
    (tmp_path / "start.jws").write_text(certificate + "\n")
    (tmp_path / "jwks.json").write_text(json.dumps(jwks([make().public, key.public])))
    listed = Revocations(claims.issuer, int(now) + 3600, {mark("tarnfield", "start-0030"): int(now)})
    (tmp_path / "revoked.json").write_text(sign_list(listed, key))
    return tmp_path


@pytest.fixture
def verify(folder: Path, now: float, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command two hours after the certificate was issued, with the folder's certificate and keys."""

    def run(*options: str, file: str = "start.jws", keys: str = "jwks.json", later: float = 7200) -> Ran:
        parser = argparse.ArgumentParser()
        verify_command.add(parser, "verify")
        name = file if file == "-" else str(folder / file)
        arguments = parser.parse_args([name, "--keys", str(folder / keys), *options])
        status = verify_command.run(arguments, "verify", lambda: now + later)
        return (status, *capsys.readouterr())

    return run


def test_a_good_one_says_for_what_and_until_when(verify: Run) -> None:
    status, out, err = verify()
    assert (status, err) == (CLEARED, "")
    assert out.splitlines()[:6] == [
        "GOOD: unit-07 may start corn with corn-head.",
        "  Until:     2026-09-22 14:13 UTC, 21 hours from now",
        "  Issued:    2026-09-21 14:13 UTC by https://audit.tarnfield.example for tarnfield",
        "  Start:     start-0031, record 512 (c3c3c3c3c3c3c3c3)",
        "  Setup:     setup-0112 (a1a1a1a1a1a1a1a1), judged by rulebook b2b2b2b2b2b2",
        "  Accepted:  2 findings, by acceptance-04, acceptance-09",
    ]
    for said in ("Revocation was not looked at", "engine off, key out", "(--unit", "(--crop", "(--header"):
        assert said in out


def test_what_was_compared_is_not_left_to_the_reader(verify: Run) -> None:
    status, out, _ = verify(
        "--unit", "unit-07", "--crop", "corn", "--header", "corn-head", "--organisation", "tarnfield"
    )
    assert status == CLEARED
    assert "Not compared" not in out


@pytest.mark.parametrize(
    ("option", "value", "flaw"),
    [
        ("--unit", "unit-08", "for-another-unit"),
        ("--crop", "soybean", "for-another-job"),
        ("--header", "draper", "for-another-job"),
        ("--organisation", "hollowmere", "for-another-organisation"),
        ("--issuer", "https://elsewhere.example", "other-issuer"),
        ("--short", "https://audit.tarnfield.example/starts/start-0031/0123456789abcdef", "other-short-form"),
    ],
)
def test_one_for_something_else_is_not_good(verify: Run, option: str, value: str, flaw: str) -> None:
    status, out, _ = verify(option, value)
    assert status == HELD
    assert out.startswith(f"NOT GOOD ({flaw}): ")
    assert "GOOD: unit" not in out
    status, out, _ = verify(option, value, "--json")
    answer = json.loads(out)
    assert (status, answer["good"], answer["flaw"]) == (HELD, False, flaw)


def test_an_expired_one_is_not_good(verify: Run) -> None:
    assert verify(later=86399)[0] == CLEARED
    status, out, _ = verify(later=86400)
    assert status == HELD
    assert "NOT GOOD (expired): It expired at 2026-09-22 14:13 UTC." in out


def test_a_changed_one_is_not_good(verify: Run, folder: Path, certificate: str) -> None:
    (folder / "start.jws").write_text(certificate[:-2] + ("A" if certificate[-2] != "A" else "B") + certificate[-1])
    status, out, _ = verify()
    assert status == HELD
    assert "NOT GOOD (wrong-signature)" in out


@pytest.mark.parametrize("some", [b"", b"\xff\xfe\x00", b"A" * 100_000, b"a.b.c"])
def test_no_certificate_at_all_is_not_good(verify: Run, folder: Path, some: bytes) -> None:
    (folder / "start.jws").write_bytes(some)
    status, out, err = verify()
    assert (status, err) == (HELD, "")
    assert out.startswith("NOT GOOD")


def test_a_pipe(verify: Run, certificate: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(f" {certificate}\r\n".encode())))
    assert verify(file="-")[0] == CLEARED


def test_the_code_on_the_machine(verify: Run, certificate: str) -> None:
    assert (
        verify("--short", short_form("https://audit.tarnfield.example/starts", "start-0031", certificate))[0] == CLEARED
    )


def test_an_answer_for_programs(verify: Run, folder: Path, claims: Claims, now: float) -> None:
    status, out, _ = verify("--json", "--revoked", str(folder / "revoked.json"))
    answer = json.loads(out)
    assert status == CLEARED
    assert answer.pop("revocation") == {
        "looked_at": True, "made": int(now) + 3600, "good_until": int(now) + 3600 + GOOD_FOR, "age_s": 3600,
    }  # fmt: skip
    assert answer.pop("good") is True
    assert Claims(**{**answer, "accepted": tuple(answer["accepted"])}) == claims
    assert json.loads(verify("--json")[1])["revocation"] == {"looked_at": False}


def test_a_list_that_does_not_name_it(verify: Run, folder: Path) -> None:
    status, out, _ = verify("--revoked", str(folder / "revoked.json"))
    assert status == CLEARED
    assert "Not revoked by the list of 2026-09-21 15:13 UTC, which is 1 hour old." in out
    assert "not looked at" not in out
    assert "older than the certificate" not in out


def write_list(folder: Path, key: SigningKey, listed: Revocations) -> str:
    (folder / "list.json").write_text(sign_list(listed, key))
    return str(folder / "list.json")


def test_a_list_that_names_it(verify: Run, folder: Path, key: SigningKey, claims: Claims, now: float) -> None:
    starts = {mark(claims.organisation, claims.start): int(now) + 60}
    path = write_list(folder, key, Revocations(claims.issuer, int(now) + 90, starts))
    status, out, _ = verify("--revoked", path)
    assert status == HELD
    assert "NOT GOOD (revoked): It was revoked at 2026-09-21 14:14 UTC." in out


def test_a_list_that_is_older_than_the_certificate_says_nothing_about_it(
    verify: Run, folder: Path, key: SigningKey, claims: Claims, now: float
) -> None:
    path = write_list(folder, key, Revocations(claims.issuer, int(now) - 60, {}))
    status, out, _ = verify("--revoked", path)
    assert status == CLEARED
    assert "older than the certificate" in out


def test_a_list_that_is_too_old_is_no_list(
    verify: Run, folder: Path, key: SigningKey, claims: Claims, now: float
) -> None:
    """Until when it is good stands in what is signed; whoever checks may say otherwise, either way."""
    path = write_list(folder, key, Revocations(claims.issuer, int(now) - 3600, {}, good_for=3601))
    assert "good_until" in verify("--revoked", path, "--json", "--most-age", "4")[1]
    status, out, err = verify("--revoked", path)
    assert (status, out) == (BAD_INPUT, "")
    assert "It is too old: made at 2026-09-21 13:13 UTC, it was good until 2026-09-21 14:13 UTC" in err
    assert "'--most-age HOURS'" in err
    assert verify("--revoked", path, "--most-age", "3.5")[0] == CLEARED
    assert verify("--revoked", str(folder / "revoked.json"), "--most-age", "0.5")[0] == BAD_INPUT
    for odd in ("0", "-1", "nan", "inf", "soon"):
        with pytest.raises(SystemExit):
            verify("--revoked", path, "--most-age", odd)


def test_a_list_of_another_server(verify: Run, folder: Path, key: SigningKey, now: float) -> None:
    path = write_list(folder, key, Revocations("https://elsewhere.example", int(now), {}))
    status, out, err = verify("--revoked", path)
    assert (status, out) == (BAD_INPUT, "")
    assert "https://elsewhere.example" in err


def test_a_list_that_is_not_signed_is_no_list(verify: Run, folder: Path) -> None:
    (folder / "revoked.json").write_text("[]")
    status, out, err = verify("--revoked", str(folder / "revoked.json"))
    assert (status, out) == (BAD_INPUT, "")
    assert "list of revoked starts is not good" in err


def test_a_list_can_call_the_certificates_key_compromised(
    verify: Run, folder: Path, key: SigningKey, claims: Claims, now: float
) -> None:
    """The terminal's keys are from before; the list is signed by the next key."""
    new = make()
    (folder / "jwks.json").write_text(json.dumps(jwks([key.public, new.public])))
    path = write_list(folder, new, Revocations(claims.issuer, int(now), {}, (key.id,)))
    assert verify()[0] == CLEARED
    status, out, _ = verify("--revoked", path)
    assert status == HELD
    assert "NOT GOOD (compromised-key)" in out


@pytest.mark.parametrize("name", ["start.jws", "jwks.json", "revoked.json"])
def test_a_file_that_is_not_there(verify: Run, folder: Path, name: str) -> None:
    (folder / name).unlink()
    status, out, err = verify("--revoked", str(folder / "revoked.json"))
    assert (status, out) == (BAD_INPUT, "")
    assert f"{name}: can't be read: No such file or directory." in err


def test_keys_that_are_none(verify: Run, folder: Path) -> None:
    (folder / "jwks.json").write_text("{}")
    status, out, err = verify()
    assert (status, out) == (BAD_INPUT, "")
    assert "jwks.json: is no key set that can be relied on" in err


def test_a_unit_of_unknown_header_that_accepted_nothing(
    verify: Run, folder: Path, claims: Claims, key: SigningKey
) -> None:
    (folder / "start.jws").write_text(sign(replace(claims, header_kind="", accepted=()), key))
    status, out, _ = verify()
    assert status == CLEARED
    assert "GOOD: unit-07 may start corn with a header of unknown kind." in out
    assert "Accepted" not in out


# keys


@pytest.fixture
def keys(address: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    """Runs one of the commands on an empty store, at a time in s since 1970."""
    secret = tmp_path / "named"
    secret.write_bytes(bytes(32))
    secret.chmod(0o600)
    monkeypatch.setenv(VARIABLE, str(secret))

    def run(name: str, *options: str, store: str = address, at: float = 1_790_000_000.0) -> Ran:
        parser = argparse.ArgumentParser()
        keys_command.add(parser, name)
        arguments = parser.parse_args([*options, "--store", store])
        status = keys_command.run(arguments, name, lambda: at)
        return (status, *capsys.readouterr())

    return run


def stored(address: str) -> list[str]:
    store = Store(address)
    with store.connection() as connection:
        found = [line.id for line in lines(connection)]
    store.close()
    return found


def test_keys_are_made_listed_rotated_and_given_up(keys: Run, address: str) -> None:
    assert keys("list") == (CLEARED, "No key was made yet; the first certificate makes one.\n", "")
    status, out, _ = keys("rotate")
    (first,) = stored(address)
    assert status == CLEARED
    assert out.startswith(f"{first} signs from now on.")
    assert keys("rotate", at=1_790_000_600.0)[0] == CLEARED
    second, _ = stored(address)
    status, out, _ = keys("compromised", first, at=1_790_000_900.0)
    assert status == CLEARED
    assert "nothing that it signed counts" in out
    assert keys("list")[1].splitlines() == [
        f"{second}  signs        made 2026-09-21 14:23 UTC",
        f"{first}  compromised  made 2026-09-21 14:13 UTC, retired 2026-09-21 14:23 UTC",
    ]


def test_a_key_nobody_made(keys: Run) -> None:
    status, out, err = keys("compromised", "nobody")
    assert (status, out) == (BAD_INPUT, "")
    assert "'nobody'" in err


def test_a_store_that_is_none(keys: Run, tmp_path: Path) -> None:
    for store in ("nothing", "sqlite://", f"sqlite:///{tmp_path / 'missing' / 'record.db'}"):
        status, out, err = keys("list", store=store)
        assert (status, out) == (BAD_INPUT, "")
        assert err


def test_a_secret_that_others_can_read_makes_no_key(keys: Run, address: str, tmp_path: Path) -> None:
    (tmp_path / "named").chmod(0o644)
    status, out, err = keys("rotate")
    assert (status, out) == (BAD_INPUT, "")
    assert "chmod 600" in err
    assert stored(address) == []
