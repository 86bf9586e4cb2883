"""Rulebooks on record, on every database."""

from __future__ import annotations

import zlib

import pytest
from sqlalchemy import update

from api.store import organisations, rulebooks
from api.store.database import Store
from api.store.rulebooks import Damaged, pack, unpack
from api.store.tables import rulebooks as table
from audit.intake.rulebook import Layer

NOW = 1_790_000_000.0
LAYERS = (
    Layer("rules", "", {"quantities.yaml": b"a: 1\n", "packs/feeder/x.yaml": "title: 5/32 Größe\n".encode()}),
    Layer("site", "site", {"packs/feeder/x.yaml": b"title: ours\r\n"}),
)


@pytest.fixture
def home(store: Store) -> Store:
    for name in ("home", "other"):
        with store.connection(writes=True) as connection:
            organisations.make(connection, name, name, "me", NOW)
    return store


def test_files_come_back_to_the_byte() -> None:
    assert unpack(pack(LAYERS)) == LAYERS


@pytest.mark.parametrize(
    "packed",
    [b"", b"no", pack(LAYERS)[:-9], zlib.compress(b"[1]"), zlib.compress(b"nonsense"), zlib.compress(b"\xff"),
     zlib.compress(b'[{"name": "x", "origin": "", "files": {"a": 1}}]'), zlib.compress(b"[" * 100_000)],
)  # fmt: skip
def test_what_is_not_whole_is_damaged(packed: bytes) -> None:
    with pytest.raises(Damaged):
        unpack(packed)


def test_a_bomb_is_not_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rulebooks, "MOST_UNPACKED", 1000)
    with pytest.raises(Damaged, match="larger"):
        unpack(pack((Layer("rules", "", {"a.yaml": b"x" * 2000}),)))


def test_versions_are_numbered_for_each_organisation(home: Store) -> None:
    for organisation in ("home", "other"):
        for digest in ("a1", "b2", "c3"):
            with home.writing(organisation, "me", NOW) as work:
                rulebooks.add(work, digest, LAYERS, {"x": digest}, "note", "", "")
    with home.reading("home") as work:
        assert [(row.number, row.digest) for row in rulebooks.page(work, None, 10)] == [(3, "c3"), (2, "b2"), (1, "a1")]
        assert [row.number for row in rulebooks.page(work, 3, 1)] == [2]
        assert rulebooks.layers_of(work, "a1") == LAYERS
        assert rulebooks.find(work, "d4") is None
        assert rulebooks.layers_of(work, "d4") is None


def test_only_what_was_in_force_stood_for_anything(home: Store) -> None:
    with home.writing("home", "me", NOW) as work:
        for digest in ("a1", "b2"):
            rulebooks.add(work, digest, LAYERS, {"x": digest}, "note", "", "")
        rulebooks.put_in_force(work, "a1")
    with home.reading("home") as work:
        assert list(rulebooks.stood_for(work)) == [(1, "a1", {"x": "a1"})]
        assert rulebooks.chosen(work) == "a1"
    with home.reading("other") as work:
        assert list(rulebooks.stood_for(work)) == []
        assert rulebooks.chosen(work) == ""


def test_another_organisation_sees_and_changes_nothing(home: Store) -> None:
    with home.writing("home", "me", NOW) as work:
        rulebooks.add(work, "a1", LAYERS, {"x": "1"}, "note", "", "")
    with home.writing("other", "me", NOW) as work:
        assert rulebooks.find(work, "a1") is None
        assert rulebooks.layers_of(work, "a1") is None
        assert rulebooks.page(work, None, 10) == []
        rulebooks.sign(work, "a1", "sig", "key")
        rulebooks.put_in_force(work, "a1")
    with home.reading("home") as work:
        row = rulebooks.find(work, "a1")
        assert row is not None
        assert (row.signature, row.activated, rulebooks.chosen(work)) == ("", None, "")


def test_damage_in_the_store_is_found(home: Store) -> None:
    with home.writing("home", "me", NOW) as work:
        rulebooks.add(work, "a1", LAYERS, {"x": "1"}, "note", "", "")
        work.connection.execute(update(table).values(files=b"gone"))
        with pytest.raises(Damaged):
            rulebooks.layers_of(work, "a1")


def test_a_key_is_kept(home: Store) -> None:
    with home.writing("home", "me", NOW) as work:
        assert rulebooks.key(work) is None
        rulebooks.set_key(work, {"kty": "OKP"})
    with home.reading("home") as work:
        assert rulebooks.key(work) == {"kty": "OKP"}
    with home.writing("home", "me", NOW) as work:
        rulebooks.set_key(work, None)
        assert rulebooks.key(work) is None
