"""setup-audit rulebook list|add|replay|activate|rules|key|sign, over a store."""

from __future__ import annotations

import argparse
import json
import stat
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from api.commands import rulebook_store
from api.service.in_force import Shipped
from tests.api.legal import NOW
from tests.api.service.conftest import Place

RULE = "packs/feeder/slat-loose.yaml"
Run = Callable[..., int]


@pytest.fixture
def run(place: Place, address: str) -> Run:
    """Runs a command on the store for ``home``."""
    assert place.store.url.render_as_string(hide_password=False) == address

    def go(name: str, *given: str | Path) -> int:
        parser = argparse.ArgumentParser()
        rulebook_store.add(parser, name)
        more = [] if name == "sign" else ["--store", address, "--organisation", "home"]
        return rulebook_store.run(parser.parse_args([*map(str, given), *more]), name, lambda: NOW)

    return go


@pytest.fixture
def ours(site: Callable[[Mapping[str, str | bytes]], Path], shipped: Shipped) -> Path:
    """A folder with a rule in our own words."""
    text = shipped.layers[0].files[RULE].decode()
    return site({RULE: text.replace("title: ", "title: Ours; ", 1)})


def test_every_command_says_what_it_does_and_shows_it_done() -> None:
    assert set(rulebook_store.SAYS) == set(rulebook_store.EXAMPLES)
    for examples in rulebook_store.EXAMPLES.values():
        assert all(example.startswith("setup-audit rulebook ") for example in examples)


def test_from_a_folder_to_what_judges(
    run: Run, ours: Path, place: Place, record_demo: Callable[..., list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    record_demo(2)
    assert run("add", ours, "--note", "our words") == 0
    digest = capsys.readouterr().out.split()[0]
    assert len(digest) == 64
    assert run("replay", digest[:12], "--json") == 0
    replayed = json.loads(capsys.readouterr().out)
    assert (replayed["after"], replayed["setups"], replayed["changes"]) == (digest, 2, [])
    assert run("replay", digest[:12]) == 0
    assert capsys.readouterr().out.startswith("2 units by ")
    assert run("activate", digest[:12]) == 0
    assert capsys.readouterr().out == f"{digest} judges from now on.\n"
    assert run("list", "--json") == 0
    listed = json.loads(capsys.readouterr().out)
    assert [one["digest"] for one in listed if one["in_force"]] == [digest]
    assert run("list") == 0
    assert "in force" in capsys.readouterr().out
    assert run("rules", "--json") == 0
    rules = json.loads(capsys.readouterr().out)
    assert (rules["digest"], rules["setups"]) == (digest, 2)
    assert run("rules") == 0
    assert "slat-loose: Ours; " in capsys.readouterr().out
    assert run("activate", "shipped") == 0
    with place.store.reading("home") as work:
        assert place.in_force.digest(work) == place.in_force.shipped.rulebook.digest


def test_a_replay_names_who_is_held_by_what(
    run: Run,
    site: Callable[[Mapping[str, str | bytes]], Path],
    shipped: Shipped,
    record_legal: Callable[[str], str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    record_legal("unit-70")
    text = shipped.layers[0].files[RULE].decode()
    strict = text.replace("{not: {feeder.slats: {is: loose}}}", "{feeder.slats: {is: loose}}")
    strict = strict.replace("sound}, gives: kept", "sound}, gives: broken").replace(
        "loose}, gives: broken", "loose}, gives: kept"
    )
    assert run("add", site({RULE: strict}), "--note", "x") == 0
    digest = capsys.readouterr().out.split()[0]
    assert run("replay", digest) == 0
    said = capsys.readouterr().out
    assert "  unit-70: cleared now, held then; held by slat-loose\n" in said
    assert "  slat-loose: 0 broken, 0 unknown, holds 0 now, 1 broken, 0 unknown, holds 1 then\n" in said


def test_signing(run: Run, ours: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pair = tmp_path / "author.jwk"
    assert run("key") == 0
    assert "No signature" in capsys.readouterr().out
    assert run("key", "--make", pair) == 0
    assert stat.S_IMODE(pair.stat().st_mode) == 0o600
    assert run("key", "--make", pair) == 2  # it would overwrite the pair
    capsys.readouterr()
    assert run("add", ours, "--note", "x") == 2
    assert "must be signed" in capsys.readouterr().err
    assert run("sign", ours, "--key", pair) == 0
    signature = capsys.readouterr().out.strip()
    assert run("add", ours, "--note", "x", "--signature", signature) == 0
    digest = capsys.readouterr().out.split()[0]
    assert run("activate", "shipped") == 2
    assert run("activate", digest) == 0
    assert run("key", "--set", pair) == 2
    assert "private half" in capsys.readouterr().err
    assert run("key", "--remove") == 0
    assert run("key") == 0
    assert "No signature is asked for." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (("activate", "0123456789"), "names no rulebooks"),
        (("replay", "0123"), "at least 8 characters"),
        (("add", "missing", "--note", "x"), "is not a folder"),
        (("sign", "missing", "--key", "missing.jwk"), "can't be read"),
        (("key", "--set", "missing.jwk"), "can't be read"),
    ],
)
def test_what_can_not_be_done_is_said(
    run: Run, given: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*given) == 2
    assert says in capsys.readouterr().err


def test_every_problem_of_a_folder_is_told(
    run: Run, site: Callable[[Mapping[str, str | bytes]], Path], place: Place, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("add", site({RULE: "titel: x\n", "packs/a/y.yaml": b"a: \xe9\n"}), "--note", "x") == 2
    assert "packs/a/y.yaml: is not UTF-8" in capsys.readouterr().err
    assert run("add", site({RULE: "titel: x\n", "crops/y.yaml": "a: 1\n"}), "--note", "x") == 2
    said = capsys.readouterr().err
    assert f"site/{RULE}:1:1" in said
    assert "site/crops/y.yaml" in said
    with place.store.reading("home") as work:
        assert place.in_force.digest(work) == place.in_force.shipped.rulebook.digest
