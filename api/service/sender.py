"""Sends to webhooks while a server runs: a thread that looks every second whether anything is due."""

from __future__ import annotations

import json
import sys
from threading import Event, Thread

from api.service.telling import PATIENCE, Teller, note_expired, send_due

EVERY = 1.0
"""s between two looks for what is due."""
EXPIRY_EVERY = 60
"""Looks between two looks for what has expired."""


class Sender:
    """A thread that begins with its server and ends with it. Attempts in flight when it is told to end are finished."""

    def __init__(self, teller: Teller, every: float = EVERY) -> None:
        self.teller, self.every = teller, every
        self._stop = Event()
        self._thread = Thread(target=self._run, name="sender", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Returns once nothing is being sent any more."""
        self._stop.set()
        self._thread.join(2 * PATIENCE)

    def _run(self) -> None:
        looks = 0
        while not self._stop.is_set():
            try:
                if looks % EXPIRY_EVERY == 0:
                    note_expired(self.teller)
                send_due(self.teller, self._stop)
            except Exception as error:  # whatever it was must not end the sending; what is due stays due
                line = {"level": "warning", "sender": f"{type(error).__name__}: {error}"}
                print(json.dumps(line), file=sys.stderr, flush=True)
            looks += 1
            self._stop.wait(self.every)
