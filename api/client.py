"""A typed client of the HTTP door, for programs of the organisation's own.

    from api.client import Client, Held

    with Client("http://127.0.0.1:8000", token) as audit:
        answer = audit.start("unit-07", crop="corn", header_kind="corn-head", engine_hours=1842.0)
        if isinstance(answer, Held):
            print(answer.problem.detail)

Answers are the models that the server documents. A request that writes carries an Idempotency-Key, so it is sent again
after a lost answer without being done twice.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from types import TracebackType
from typing import Any, Self, TypeVar
from urllib.parse import quote

import httpx2
from pydantic import BaseModel

from api.models import Audit
from api.record_models import (
    AcceptanceAnswer,
    ClearanceAnswer,
    HeldProblem,
    PageOf,
    SetupAnswer,
    SetupLine,
    SetupRecorded,
    StartAnswer,
    UnitAnswer,
)
from api.visit_models import VisitAnswer, VisitPlanAnswer, VisitSent

TRIES = 4
"""How often a request is sent before it counts as failed; the last wait is 4 s."""
_AGAIN = (429, 502, 503, 504)

Shape = TypeVar("Shape", bound=BaseModel)


class Refused(Exception):
    """The server refused: its RFC 9457 problem."""

    def __init__(self, status: int, problem: Mapping[str, Any]) -> None:
        super().__init__(f"{status} {problem.get('title', '')}: {problem.get('detail', '')}")
        self.status, self.problem = status, problem


class Unreachable(Exception):
    """No answer came, however often it was tried; whether it was done is known when it is sent again."""


@dataclass(frozen=True, slots=True)
class Held:
    """A start that is held, and why."""

    problem: HeldProblem


class Client:
    """The door of one server for the holder of one token.

    Args:
        address: ``http://127.0.0.1:8000``.
        transport: how requests travel, where not by the network: an app of this process.
    """

    def __init__(
        self, address: str, token: str, timeout: float = 30.0, transport: httpx2.BaseTransport | None = None
    ) -> None:
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        self._http = httpx2.Client(base_url=address, headers=headers, timeout=timeout, transport=transport)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        self._http.close()

    def audit(self, setup: Mapping[str, Any]) -> Audit:
        """Audits one setup; nothing is stored."""
        return self._read(Audit, self._send("POST", "/audits", json=dict(setup)))

    def units(self, card: str = "", owner: str = "") -> Iterator[UnitAnswer]:
        """Every unit, page by page."""
        yield from self._pages(UnitAnswer, "/units", {"card": card, "owner": owner})

    def unit(self, id: str) -> UnitAnswer:
        return self._read(UnitAnswer, self._send("GET", _unit(id)))

    def put_unit(self, id: str, card: str, edition: int | None = None, **says: Any) -> UnitAnswer:
        """Puts a unit on record, or changes the edition that was last seen."""
        headers = {"If-None-Match": "*"} if edition is None else {"If-Match": f'"{edition}"'}
        return self._read(UnitAnswer, self._send("PUT", _unit(id), json={"card": card, **says}, headers=headers))

    def record_setup(self, unit: str, setup: Mapping[str, Any], key: str = "") -> SetupRecorded:
        """Records a setup as found or as left."""
        return self._read(SetupRecorded, self._write(f"{_unit(unit)}/setups", setup, key))

    def setups(self, unit: str) -> Iterator[SetupLine]:
        """Setups of a unit, the last recorded first."""
        yield from self._pages(SetupLine, f"{_unit(unit)}/setups", {})

    def setup(self, unit: str, id: str) -> SetupAnswer:
        return self._read(SetupAnswer, self._send("GET", f"{_unit(unit)}/setups/{quote(id, safe='')}"))

    def findings(self, unit: str) -> Audit:
        """What is wrong with a unit now."""
        return self._read(Audit, self._send("GET", f"{_unit(unit)}/findings"))

    def clearance(self, unit: str, crop: str = "", header_kind: str = "", plan: bool = True) -> ClearanceAnswer:
        """Whether a unit may start a job; without one, that of its newest setup."""
        query = {"plan": str(plan).lower(), **({"crop": crop, "header_kind": header_kind} if crop else {})}
        return self._read(ClearanceAnswer, self._send("GET", f"{_unit(unit)}/clearance", params=query))

    def start(
        self, unit: str, crop: str, header_kind: str, engine_hours: float | None = None, key: str = ""
    ) -> StartAnswer | Held:
        """Asks for a harvest start."""
        body = {"crop": crop, "header_kind": header_kind, "engine_hours": engine_hours}
        answer = self._write(f"{_unit(unit)}/harvest-starts", body, key, also=(409,))
        if answer.status_code == 409:
            plain = answer.json()
            if "decision" not in plain:
                raise Refused(409, plain)
            return Held(HeldProblem.model_validate(plain))
        return self._read(StartAnswer, answer)

    def starts(self, unit: str) -> Iterator[StartAnswer]:
        """Starts of a unit, the latest first."""
        yield from self._pages(StartAnswer, f"{_unit(unit)}/harvest-starts", {})

    def accept(
        self, unit: str, setup: str, rule: str, on: str, by: str, reason: str, until: datetime, key: str = ""
    ) -> AcceptanceAnswer:
        """Accepts one finding as it was found."""
        body = {"setup": setup, "rule": rule, "on": on, "by": by, "reason": reason, "until": until.isoformat()}
        return self._read(AcceptanceAnswer, self._write(f"{_unit(unit)}/acceptances", body, key))

    def withdraw(self, unit: str, acceptance: str) -> AcceptanceAnswer:
        """Takes an acceptance back."""
        path = f"{_unit(unit)}/acceptances/{quote(acceptance, safe='')}"
        return self._read(AcceptanceAnswer, self._send("DELETE", path))

    def visits(self, first: str = "", last: str = "", technician: str = "", unit: str = "") -> Iterator[VisitAnswer]:
        """Visits that stand, in the order in which they begin; ``first`` and ``last`` are dates."""
        query = {"first": first, "last": last, "technician": technician, "unit": unit}
        yield from self._pages(VisitAnswer, "/visits", query)

    def visit(self, id: str) -> VisitAnswer:
        return self._read(VisitAnswer, self._send("GET", _visit(id)))

    def put_visit(self, id: str, visit: VisitSent, edition: int | None = None) -> VisitAnswer:
        """Puts a visit by hand, or changes the edition that was last seen."""
        headers = {"If-None-Match": "*"} if edition is None else {"If-Match": f'"{edition}"'}
        return self._read(VisitAnswer, self._send("PUT", _visit(id), json=visit.model_dump(), headers=headers))

    def cancel_visit(self, id: str, edition: int) -> VisitAnswer:
        """Takes the edition that was last seen off, for ever."""
        return self._read(VisitAnswer, self._send("DELETE", _visit(id), headers={"If-Match": f'"{edition}"'}))

    def visits_edition(self) -> str:
        """What all visits together are at: a plan in their place is sent with it."""
        return str(self._send("GET", "/visits", params={"most": 1}).headers["ETag"])

    def plan_visits(
        self, fleet_audit: str, file: bytes, seen: str, effort: float | None = None, key: str = ""
    ) -> VisitPlanAnswer:
        """Plans the visits that do the work of a fleet audit, in place of the planned ones that were seen.

        Args:
            file: the visits file, YAML or JSON.   seen: as ``visits_edition`` gave it.
        """
        headers = {
            "Idempotency-Key": key or secrets.token_hex(16),
            "If-Match": seen,
            "Content-Type": "application/yaml",
        }
        query = {"fleet_audit": fleet_audit, **({} if effort is None else {"effort": str(effort)})}
        answer = self._send("POST", "/visit-plans", content=file, headers=headers, params=query)
        return self._read(VisitPlanAnswer, answer)

    def _write(self, path: str, body: Mapping[str, Any], key: str, also: tuple[int, ...] = ()) -> httpx2.Response:
        headers = {"Idempotency-Key": key or secrets.token_hex(16)}
        return self._send("POST", path, json=dict(body), headers=headers, also=also)

    def _send(self, method: str, path: str, also: tuple[int, ...] = (), **more: Any) -> httpx2.Response:
        """Sends, and sends again after a lost answer or a server that is busy. Raises Refused, Unreachable."""
        again = method == "GET" or "Idempotency-Key" in more.get("headers", {})
        trouble: Exception | None = None
        for turn in range(TRIES if again else 1):
            if turn:
                time.sleep(0.5 * 2 ** (turn - 1))
            try:
                answer = self._http.request(method, path, **more)
            except httpx2.TransportError as error:
                trouble = Unreachable(f"{method} {path}: {error}")
                continue
            if answer.is_success or answer.status_code in also:
                return answer
            trouble = Refused(answer.status_code, _problem(answer))
            if answer.status_code not in _AGAIN:
                break
        assert trouble is not None
        raise trouble

    def _pages(self, shape: type[Shape], path: str, query: Mapping[str, str]) -> Iterator[Shape]:
        next: str | None = path
        params: dict[str, str] | None = {name: value for name, value in query.items() if value}
        while next is not None:
            answer = self._send("GET", next, params=params)
            found = PageOf[shape].model_validate(answer.json())  # type: ignore[valid-type]
            yield from found.items
            next, params = found.next, None

    def _read(self, shape: type[Shape], answer: httpx2.Response) -> Shape:
        return shape.model_validate(answer.json())


def _problem(answer: httpx2.Response) -> Mapping[str, Any]:
    try:
        found = answer.json()
    except ValueError:
        found = None
    return found if isinstance(found, dict) else {"title": answer.reason_phrase, "detail": answer.text[:300]}


def _visit(id: str) -> str:
    return f"/visits/{quote(id, safe='')}"


def _unit(id: str) -> str:
    return f"/units/{quote(id, safe='')}"
