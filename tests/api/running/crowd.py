"""Many people at once, at several servers on one store, and what was promised to them."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from api.store.events import Event
from tests.api.running.servers import Answer, Line, NoAnswer

UNITS = tuple(f"unit-{number:02}" for number in range(1, 5))
UNIT = {"card": "axial-single", "serial": "KX-01822"}
JOB = {"crop": "corn", "header_kind": "corn-head"}
SIDE_DOWN = "drum-set-for-another-crop"
USUAL = {"hold_at": "high", "most_hours": 50.0, "most_days": 14.0, "valid_for": 24.0}
STRICTER = {"hold_at": "serious", "most_hours": 20.0, "most_days": 14.0, "valid_for": 24.0}
LATER = frozenset({429, 503})
"""Nothing was done; the request may be sent again."""
REFUSED = frozenset({404, 409, 412, 428})
"""Nothing was done, because of how things were just then."""


def spoilt(setup: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """By what is wrong with it, a setup that keeps every rule: nothing, what may be accepted, and what may not."""

    def one(section: str, name: str, value: Any) -> dict[str, Any]:
        return {**setup, section: {**setup[section], name: value}}

    return {
        "nothing": dict(setup),
        "side down": one("settings", "feeder.drum", {"left": "raised", "right": "lowered"}),
        "lever": one("readings", "rotor.range_lever_home", False),
        "screen": one("readings", "engine.screen_clean", False),  # serious, so that it holds under stricter terms only
        "shields": one("readings", "people.shields_on", False),
        "not looked": one("readings", "people.shields_on", None),
    }


@dataclass
class Promises:
    """What was sent, and what was answered to it.

    Attributes:
        done: by kind of event, the answers that say that it happened, by key.
        open: by kind of event, keys of requests that wait for an answer, or had none.
        lost: how many answers did not come.   later: how many were put off.
        strange: answers that no server should give.
    """

    done: dict[str, dict[str, list[Answer]]] = field(default_factory=dict)
    open: dict[str, set[str]] = field(default_factory=dict)
    lost: int = 0
    later: int = 0
    answers: int = 0
    strange: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def broken(self, record: Iterable[Event]) -> list[str]:
        """Promises that a record does not keep."""
        found: dict[str, list[str]] = {}
        for one in record:
            found.setdefault(one.what, []).append(one.subject.partition("/")[2])
        with self.lock:
            return [*self.strange, *self._broken(found)]

    def _broken(self, found: Mapping[str, Sequence[str]]) -> Iterator[str]:
        for what, by_key in self.done.items():
            on_record, told = found.get(what, ()), set[str]()
            for key, answers in by_key.items():
                if any(one.plain != answers[0].plain for one in answers):
                    yield f"{what}: {key} was answered in several ways, so it was done more than once"
                told.add(_id(answers[0].plain))
            yield from (f"{what}: {id} was answered and is not on record" for id in sorted(told - set(on_record)))
            if what in ONCE:
                most = len(by_key) + len(self.open.get(what, set()) - set(by_key))
                if len(told) != len(by_key) or not len(told) <= len(on_record) <= most:
                    yield f"{what}: {len(by_key)} requests gave {len(told)} of {len(on_record)}, at most {most}"


def _id(plain: Any) -> str:
    """The id of what an answer is about."""
    return str(plain["setup"]["id"] if "audit" in plain else plain["id"])


ONCE = ("setup.recorded", "acceptance.given", "start.cleared")
"""Events that each make a thing of its own, so that they can be counted."""


@dataclass
class Crowd:
    """People with tokens at several servers.

    Attributes:
        setups: by what is wrong with it, a setup as JSON, without the unit's id.
        patience: s for which a request is sent again where no answer comes.
        over: set when everybody should go home.
        hours: engine hours of each unit, as its people read them.
    """

    ports: Sequence[int]
    tokens: Mapping[str, str]
    setups: Mapping[str, dict[str, Any]]
    patience: float = 120.0
    promises: Promises = field(default_factory=Promises)
    over: threading.Event = field(default_factory=threading.Event)
    hours: dict[str, float] = field(default_factory=lambda: dict.fromkeys(UNITS, 1000.0))

    def put_units(self) -> None:
        """Puts the units on record."""
        line = Line(self.ports[0])
        for unit in UNITS:
            answer = line.ask("PUT", f"/units/{unit}", self.tokens["mechanic"], UNIT)
            assert answer.status == 201, answer
        line.close()

    def work(self, requests: int, people: int = 12) -> None:
        """Sends about so many requests, if it is not over before."""
        with ThreadPoolExecutor(people) as pool:
            futures = [pool.submit(Person(self, seed).work, requests // people) for seed in range(people)]
            try:
                for future in futures:
                    future.result()
            finally:
                self.over.set()


class Person:
    """Does one thing after another, at whatever server comes to hand; some send a request twice at once."""

    def __init__(self, crowd: Crowd, seed: int) -> None:
        self.crowd, self.chance = crowd, random.Random(seed)
        self.lines = {port: (Line(port), Line(port)) for port in crowd.ports}
        self.left = 0

    def work(self, requests: int) -> None:
        self.left = requests
        deeds = {
            self.record: 30,
            self.start: 34,
            self.accept: 22,
            self.withdraw: 8,
            self.repaint: 3,
            self.change_terms: 3,
        }
        try:
            while self.left > 0 and not self.crowd.over.is_set():
                deed = self.chance.choices(list(deeds), list(deeds.values()))[0]
                deed(self.chance.choice(UNITS))
        finally:
            for line in (line for pair in self.lines.values() for line in pair):
                line.close()

    def record(self, unit: str) -> None:
        """A setup, in order or not; now and then one that was taken a while ago."""
        kind = self.chance.choices(list(self.crowd.setups), (50, 18, 12, 10, 5, 5))[0]
        setup = {**self.crowd.setups[kind], "unit": {"engine_hours": self.crowd.hours[unit]}}
        if self.chance.random() < 0.04:
            earlier = datetime.now(UTC) - timedelta(seconds=self.chance.uniform(0, 20))
            setup["taken"] = {"at": earlier.isoformat()}
        self.write("setup.recorded", "recorder", "POST", f"/units/{unit}/setups", setup)

    def start(self, unit: str) -> None:
        """A harvest start; now and then the engine has run for long since."""
        run = self.chance.choices((None, 0.0, 25.0, 60.0), (30, 60, 7, 3))[0]
        hours = None if run is None else self.crowd.hours[unit] + run
        self.write("start.cleared", "mechanic", "POST", f"/units/{unit}/harvest-starts", {**JOB, "engine_hours": hours})
        if hours is not None:
            self.crowd.hours[unit] = max(self.crowd.hours[unit], hours)

    def accept(self, unit: str) -> None:
        """Accepts one finding that holds, if there is one."""
        found = self.ask(f"/units/{unit}/clearance?plan=false")
        open_ = [reason["finding"] for reason in found["reasons"] if reason["finding"]] if found else []
        if found and found["setup"] and open_:
            finding = self.chance.choice(open_)
            body = {
                "setup": found["setup"]["id"], "rule": finding["rule"], "on": finding["on"], "by": "Foreman, north yard",
                "reason": "New parts come on Friday; half load until then.",
                "until": (datetime.now(UTC) + timedelta(days=2)).isoformat(),
            }  # fmt: skip
            self.write("acceptance.given", "approver", "POST", f"/units/{unit}/acceptances", body)

    def withdraw(self, unit: str) -> None:
        """Takes an acceptance back, if there is one."""
        found = self.ask(f"/units/{unit}/acceptances")
        given = [one["id"] for one in found["items"] if one["withdrawn"] is None] if found else []
        if given:
            path = f"/units/{unit}/acceptances/{self.chance.choice(given)}"
            self.write("acceptance.withdrawn", "approver", "DELETE", path)

    def repaint(self, unit: str) -> None:
        """The unit is another: its setups say nothing of it any more."""
        body = {**UNIT, "serial": f"KX-{self.chance.randrange(1800, 1803):05}"}
        self.write("unit.changed", "mechanic", "PUT", f"/units/{unit}", body)

    def change_terms(self, _: str) -> None:
        """Other terms; or a rule that only warns."""
        terms, effect = self.chance.choice((USUAL, STRICTER)), self.chance.choice(("warned", "holds"))
        body = {"terms": terms, "effects": {SIDE_DOWN: effect}}
        self.write("organisation.changed", "owner", "PUT", "/organisation", body)

    def write(self, what: str, role: str, method: str, path: str, body: object = None) -> None:
        """Sends a request that writes, one in five of them twice at once, with one key."""
        key = f"{self.chance.getrandbits(128):032x}"
        more = {"idempotency-key": key, **({"if-match": "*"} if method == "PUT" else {})}
        ports = [self.chance.choice(self.crowd.ports) for _ in range(2 if self.chance.random() < 0.2 else 1)]
        promises = self.crowd.promises
        with promises.lock:
            promises.open.setdefault(what, set()).add(key)

        def send(turn: int) -> Answer | None:
            return self.answered(turn, ports[turn], method, path, role, body, more)

        with ThreadPoolExecutor(len(ports)) as pool:
            answers = list(pool.map(send, range(len(ports))))
        with promises.lock:
            for answer in answers:
                if answer is not None and answer.status in (200, 201):
                    promises.done.setdefault(what, {}).setdefault(key, []).append(answer)
                elif answer is not None and answer.status not in REFUSED:
                    promises.strange.append(f"{method} {path}: {answer.status} {answer.plain}")
            if None not in answers:
                promises.open[what].discard(key)

    def ask(self, path: str) -> Any:
        answer = self.answered(0, self.chance.choice(self.crowd.ports), "GET", path, "reader", None, {})
        if answer is None:
            return None
        if answer.status != 200:
            with self.crowd.promises.lock:
                self.crowd.promises.strange.append(f"GET {path}: {answer.status} {answer.plain}")
            return None
        return answer.plain

    def answered(
        self, turn: int, port: int, method: str, path: str, role: str, body: object, more: Mapping[str, str]
    ) -> Answer | None:
        """An answer that says what was done; None where none came while there was patience."""
        line, promises, until = self.lines[port][turn], self.crowd.promises, time.monotonic() + self.crowd.patience
        while time.monotonic() < until:
            self.left -= 1
            try:
                answer = line.ask(method, path, self.crowd.tokens[role], body, more)
            except NoAnswer:
                with promises.lock:
                    promises.lost += 1
                if self.crowd.over.is_set():
                    return None
                time.sleep(0.1)
                continue
            with promises.lock:
                promises.answers += 1
                promises.later += answer.status in LATER
            if answer.status not in LATER:
                return answer
            time.sleep(0.2)
        return None
