"""Many people at several servers on one store at once: what the record says is right, one request after another."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from api.certificates.jws import named_key
from api.certificates.secret import secret_of
from api.service.withdrawing import withdraw_key
from api.store import starts
from api.store.database import Store
from api.store.events import Event
from api.store.keys import current_id
from audit.nouns.rulebook import Rulebook
from tests.api.legal import legal_setup
from tests.api.running.crowd import UNITS, USUAL, Crowd, Promises, spoilt
from tests.api.running.proving import Proof
from tests.api.running.serial_order import Open, Walk
from tests.api.running.servers import HOME, Answer, found_house, serving

REQUESTS = int(os.environ.get("SETUP_AUDIT_RACES", "1000"))
SERVERS = 3


def test_what_many_did_at_once_could_have_come_one_after_another(
    address: str, around: dict[str, str], tmp_path: Path, rulebook: Rulebook
) -> None:
    tokens = found_house(address)
    with serving(address, around, tmp_path, SERVERS) as servers:
        crowd = Crowd([server.port for server in servers], tokens, spoilt(legal_setup(rulebook)))
        crowd.put_units()
        crowd.work(REQUESTS)
    wrong, counts = Proof(address, rulebook).wrong(crowd.promises)
    assert wrong == []
    for what in ("setup.recorded", "start.cleared", "start.held", "start.revoked", "acceptance.given"):
        assert counts[what] > 0, f"nobody saw {what}; send more than {REQUESTS} requests"


def test_a_key_is_given_up_while_others_start(
    address: str, around: dict[str, str], tmp_path: Path, rulebook: Rulebook
) -> None:
    """Whichever comes first, no start stays good on a key that somebody else may have."""
    tokens, secret, given_up = found_house(address), secret_of(None, around), set[str]()
    with serving(address, around, tmp_path, SERVERS) as servers:
        crowd = Crowd([server.port for server in servers], tokens, spoilt(legal_setup(rulebook)))
        crowd.put_units()
        crew = threading.Thread(target=crowd.work, args=(REQUESTS // 4,))
        crew.start()
        store = Store(address)
        while crew.is_alive():
            with store.connection() as connection:
                signing = current_id(connection)
            if signing is not None:
                withdraw_key(store, signing, secret, "command line", time.time())
                given_up.add(signing)
            crew.join(timeout=0.2)
    with store.reading(HOME) as work:
        found = [start for unit in UNITS for start in starts.page(work, unit, None, REQUESTS)]
    store.close()
    keys = {start.id: named_key(start.certificate) for start in found}
    good = [start for start in found if start.revoked is None]
    assert not [start.id for start in good if keys[start.id] in given_up]
    assert len(given_up & set(keys.values())) > 1, "no two keys that were given up had signed; send more requests"
    wrong, _ = Proof(address, rulebook).wrong(crowd.promises)
    assert wrong == []


NOW = 1_790_000_000.0
DRUM = Open("drum-set-for-another-crop", "", frozenset({("feeder.drum", "right", "lowered")}), True, False)
SHIELDS = Open("shields-off", "", frozenset({("people.shields_on", "", False)}), False, True)
BELOW = Open("cooling-screen-dirty", "", frozenset({("engine.screen_clean", "", False)}), True, False)
FOUND: Mapping[tuple[str, str], Sequence[Open]] = {
    ("side down", "high"): [DRUM], ("shields", "high"): [SHIELDS], ("screen", "serious"): [BELOW],
}  # fmt: skip
"""What holds, by a setup's digest and the level: the digests of these records are the faults' names."""
HOURS = {"later": 1040.0}
JOB = {"crop": "corn", "header_kind": "corn-head"}


class Told:
    """A record that is told event by event, a second apart."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.setups = 0
        self.add("unit.added", "unit/unit-01", {"card": "axial-single", "engine_hours": None})

    def add(self, what: str, subject: str, content: Mapping[str, Any], after: str = "") -> Told:
        number = len(self.events) + 1
        self.events.append(Event("ridgeline", number, NOW + number, "test", what, subject, "", after, content, "", ""))
        return self

    def setup(self, digest: str, back: float = 0.0, hold_at: str = "HIGH", held: bool | None = None) -> Told:
        self.setups += 1
        holds = bool(FOUND.get((digest, hold_at.lower()))) if held is None else held
        content = {
            "unit": "unit-01", "number": self.setups, **JOB, "taken": NOW + len(self.events) + 1 - back,
            "hold_at": hold_at, "clearance": "held" if holds else "cleared",
        }  # fmt: skip
        return self.add("setup.recorded", f"setup/s{self.setups}", content, digest)

    def cleared(self, id: str, setup: str, digest: str, hours: float | None = 1000.0, **more: Any) -> Told:
        content = {
            "unit": "unit-01", **JOB, "setup": setup, "accepted": [], "engine_hours": hours, "expires": NOW + 3600, **more,
        }  # fmt: skip
        return self.add("start.cleared", f"start/{id}", content, digest)

    def held(self, hours: float | None = 1000.0) -> Told:
        return self.add("start.held", "unit/unit-01", {**JOB, "engine_hours": hours, "reasons": [{}]})

    def revoked(self, id: str) -> Told:
        return self.add("start.revoked", f"start/{id}", {"unit": "unit-01"})

    def accepted(
        self, id: str, found: Sequence[Any] = ("feeder.drum", "right", "lowered"), rule: str = DRUM.rule
    ) -> Told:
        content = {"unit": "unit-01", **JOB, "rule": rule, "on": "", "found": [list(found)], "until": NOW + 3600}
        return self.add("acceptance.given", f"acceptance/{id}", content)

    def withdrawn(self, id: str) -> Told:
        return self.add("acceptance.withdrawn", f"acceptance/{id}", {"unit": "unit-01"})

    def terms(self, effects: Mapping[str, str] | None = None, **terms: Any) -> Told:
        content = {"terms": {**USUAL, **terms}, "effects": effects or {}}
        return self.add("organisation.changed", "organisation/ridgeline", content)

    def repainted(self) -> Told:
        content = {"card": "axial-single", "serial": "KX-2", "engine_hours": 1000.0}
        return self.add("unit.changed", "unit/unit-01", content)

    def faults(self) -> list[str]:
        walk = Walk(lambda digest, level: FOUND.get((digest, level), ()), lambda digest: HOURS.get(digest, 1000.0))
        return list(walk.faults(self.events))


RIGHT = {
    "cleared": Told().setup("clean").cleared("a", "s1", "clean"),
    "held, then put right": Told().setup("side down").held().setup("clean").cleared("a", "s2", "clean"),
    "revoked by a later fault": Told().setup("clean").cleared("a", "s1", "clean").setup("side down").revoked("a").held(),
    "accepted, and taken back": Told().setup("side down").accepted("x").cleared("a", "s1", "side down", accepted=["x"])
    .withdrawn("x").revoked("a").held(),
    "only warned": Told().terms({DRUM.rule: "warned"}).setup("side down").cleared("a", "s1", "side down"),
    "stricter terms": Told().setup("screen").cleared("a", "s1", "screen").terms(hold_at="serious").revoked("a").held(),
    "hours": Told().setup("clean").cleared("a", "s1", "clean").held(1051.0).revoked("a").setup("later").held(1100.0),
    "overtaken": Told().setup("clean").setup("clean", back=60.0).held(),
    "another machine": Told().setup("clean").cleared("a", "s1", "clean").repainted().revoked("a").held(),
    "good no longer": Told().setup("clean").cleared("a", "s1", "clean", expires=NOW + 4).setup("side down"),
}  # fmt: skip
WRONG = {
    "cleared with a fault": Told().setup("side down").cleared("a", "s1", "side down"),
    "cleared without a setup": Told().cleared("a", "s1", "clean"),
    "cleared by the setup before": Told().setup("clean").setup("side down").cleared("a", "s1", "clean"),
    "stands on the setup before": Told().setup("clean").setup("clean").cleared("a", "s1", "clean"),
    "stands on another text": Told().setup("clean").cleared("a", "s1", "side down"),
    "cleared with a fault that only warns, but for people":
    Told().terms({SHIELDS.rule: "warned"}).setup("shields").cleared("a", "s1", "shields"),
    "accepted danger to people": Told().setup("shields").accepted("x", ("people.shields_on", "", False), SHIELDS.rule)
    .cleared("a", "s1", "shields", accepted=["x"]),
    "accepted after": Told().setup("side down").cleared("a", "s1", "side down", accepted=["x"]).accepted("x"),
    "taken back before": Told().setup("side down").accepted("x").withdrawn("x")
    .cleared("a", "s1", "side down", accepted=["x"]),
    "accepted with other values": Told().setup("side down").accepted("x", ("feeder.drum", "left", "lowered"))
    .cleared("a", "s1", "side down", accepted=["x"]),
    "not named": Told().setup("side down").accepted("x").cleared("a", "s1", "side down"),
    "good for too long": Told().setup("clean").cleared("a", "s1", "clean", expires=NOW + 86500.0),
    "still good after a fault": Told().setup("clean").cleared("a", "s1", "clean").setup("side down"),
    "still good for a moment": Told().setup("clean").cleared("a", "s1", "clean").setup("side down").held().revoked("a"),
    "still good when taken back": Told().setup("side down").accepted("x")
    .cleared("a", "s1", "side down", accepted=["x"]).withdrawn("x"),
    "still good after stricter terms": Told().setup("screen").cleared("a", "s1", "screen").terms(hold_at="serious"),
    "still good after hours": Told().setup("clean").cleared("a", "s1", "clean").held(1051.0),
    "still good for another machine": Told().setup("clean").cleared("a", "s1", "clean").repainted(),
    "fewer hours than were known": Told().setup("later").cleared("a", "s1", "later", 1000.0),
    "revoked for nothing": Told().setup("clean").cleared("a", "s1", "clean").revoked("a"),
    "revoked twice": Told().setup("clean").cleared("a", "s1", "clean").setup("side down").revoked("a").revoked("a"),
    "held for nothing": Told().setup("clean").held(),
    "held though accepted": Told().setup("side down").accepted("x").held(),
    "overtaken": Told().setup("clean").setup("clean", back=60.0).cleared("a", "s1", "clean"),
    "audited by old terms": Told().terms(hold_at="serious").setup("screen"),
    "audited wrongly": Told().setup("side down", held=False),
    "a number too many": Told().setup("clean").setup("clean").setup("clean"),
}  # fmt: skip
WRONG["a number too many"].events.pop(-2)


@pytest.mark.parametrize("told", RIGHT.values(), ids=RIGHT)
def test_the_walk_lets_a_right_record_pass(told: Told) -> None:
    assert told.faults() == []


@pytest.mark.parametrize("told", WRONG.values(), ids=WRONG)
def test_the_walk_sees_a_wrong_record(told: Told) -> None:
    assert len(told.faults()) >= 1


def test_a_promise_that_is_not_kept_is_seen() -> None:
    """Lost, done twice for one key, answered in two ways, and one that nobody asked for."""
    record = Told().setup("clean").setup("clean").events
    first, second = ({"setup": {"id": id}, "audit": {}} for id in ("s1", "s2"))

    def broken(open_: int = 0, **by_key: Sequence[Mapping[str, Any]]) -> list[str]:
        done = {key: [Answer(201, {}, plain) for plain in plains] for key, plains in by_key.items()}
        return Promises({"setup.recorded": done}, {"setup.recorded": {f"open {n}" for n in range(open_)}}).broken(
            record
        )

    assert broken(k1=[first, first], k2=[second]) == []
    assert broken(1, k1=[first]) == []
    assert broken(k1=[first])
    assert broken(k1=[first], k2=[first])
    assert broken(k1=[first, second], k2=[second])
    assert broken(k1=[first], k2=[second], k3=[{"setup": {"id": "s3"}, "audit": {}}])
