"""The one piece of middleware: plain ASGI, because each layer around a route costs every request."""

from __future__ import annotations

import time
from typing import Any

from starlette.datastructures import State
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import FAILED, Problem
from api.middleware.bounds import FREE, Bounds, TooLarge, counted, says_too_large
from api.middleware.identifiers import request_id
from api.middleware.log import Log, failure
from api.middleware.meters import Meters
from api.middleware.rates import Charge, Spending, fields, key_of_address, key_of_token

METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
GONE = 499
"""What the log and the counts show for a client that left before it was answered."""
NOWHERE = "none"
"""Route of a request that none was found for. Its path is not written down: it is the client's text."""


class Passage:
    """Gives each request an id, holds it to the bounds, makes a problem of every failure, counts it and logs it.

    Args:
        state: the app's; ``state.leaving`` is true once the server is about to stop.
    """

    def __init__(self, app: ASGIApp, bounds: Bounds, log: Log, meters: Meters, state: State) -> None:
        self.app, self.bounds, self.log, self.meters, self.state = app, bounds, log, meters, state
        self.by_token = Spending(bounds.by_token, bounds.most_keys) if bounds.by_token else None
        self.by_address = Spending(bounds.by_address, bounds.most_keys) if bounds.by_address else None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Passes a request through."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        passing = Passing(self, scope, send)
        try:
            await passing.run(receive)
        finally:  # a request that is cut off when the server stops is logged too
            passing.end()

    def charges(self, scope: Scope) -> list[Charge]:
        """What a request costs its sender, by each rate that there is."""
        if (self.by_address is None and self.by_token is None) or scope["path"] == FREE:
            return []
        now, found = time.monotonic(), []
        if self.by_address is not None:
            client = scope.get("client")
            found.append(self.by_address.charge(key_of_address(client[0] if client else ""), now))
        if self.by_token is not None and not any(one.wait for one in found):
            token = next((value for name, value in scope["headers"] if name == b"authorization"), None)
            if token is not None:
                found.append(self.by_token.charge(key_of_token(token), now))
        return found


class Passing:
    """One request on its way."""

    def __init__(self, passage: Passage, scope: Scope, send: Send) -> None:
        self.passage, self.scope, self._send = passage, scope, send
        self.began, self.at = time.perf_counter(), time.time()
        self.id = request_id(scope["headers"])
        scope.setdefault("state", {})["request_id"] = self.id
        self.headers: list[tuple[bytes, bytes]] = [(b"x-request-id", self.id.encode())]
        self.most = passage.bounds.most_bytes(scope["path"])
        self.status, self.size = 0, 0
        self.failure: dict[str, Any] = {}

    async def run(self, receive: Receive) -> None:
        """Answers it, by the app or by a problem."""
        refusal = self.refusal()
        if refusal is not None:
            await refusal(self.scope, receive, self.send)
            return
        try:
            await self.passage.app(self.scope, counted(receive, self.most), self.send)
        except ClientDisconnect:
            self.status = self.status or GONE
        except Exception as error:
            self.failure = failure(error)
            if self.status:  # half an answer is out; cutting the connection is the only way to say that it is half
                raise
            await Problem(500, "Internal error", FAILED)(self.scope, receive, self.send)

    def refusal(self) -> Problem | None:
        """Why it goes no further, None if it does."""
        charges = self.passage.charges(self.scope)
        if charges:
            self.headers += fields(charges)
        if wait := max((one.wait for one in charges), default=0):
            answer = Problem(429, "Too many requests", f"Ask again in {wait} s.")
            answer.headers["retry-after"] = str(wait)
            return answer
        if says_too_large(self.scope["headers"], self.most):
            return Problem(413, "Content too large", TooLarge(self.most).detail)
        return None

    async def send(self, message: Message) -> None:
        """Notes and passes on a part of the answer."""
        if message["type"] == "http.response.start":
            self.status = message["status"]
            leaving = [(b"connection", b"close")] if getattr(self.passage.state, "leaving", False) else []
            message = {**message, "headers": [*message.get("headers", ()), *self.headers, *leaving]}
        elif message["type"] == "http.response.body":
            self.size += len(message.get("body", b""))
        await self._send(message)

    def end(self) -> None:
        """Counts and logs it."""
        seconds = time.perf_counter() - self.began
        scope, state = self.scope, self.scope["state"]
        method = scope["method"] if scope["method"] in METHODS else "other"
        route = getattr(scope.get("route"), "path", NOWHERE)
        status = self.status or GONE
        self.passage.meters.answered(method, route, status, seconds)
        line: dict[str, Any] = {
            "request": self.id, "method": method, "route": route, "status": status,
            "ms": round(seconds * 1000, 2), "bytes": self.size,
        }  # fmt: skip
        caller = state.get("caller")
        if caller is not None:
            line |= {"organisation": caller.organisation, "who": caller.who}
        if "trouble" in state:
            self.passage.meters.troubles.inc()
            line["trouble"] = state["trouble"]
        self.passage.log.write(self.at, line | self.failure)
