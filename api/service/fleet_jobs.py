"""Fleet audits of the service: each in a process of its own, over files in a folder of its own.

A job is a row, an input and an outputs folder. Its process holds a lock on the outputs, so any server can see whether
somebody is at work on it; a job that runs by its row with nobody at work is taken up again, and goes on from its
checkpoint. So it survives a restart of the server, and comes out with the same bytes.
"""

from __future__ import annotations

import fcntl
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from typing import Any

from api.fleet.outputs import LOG, InTheWay
from api.fleet.run import Progress, Stopped, Wanted
from api.fleet.run import run as audit_fleet
from api.service.in_force import InForce, NoSuchRulebook, Unreadable, read_shipped
from api.store import ADDRESS, events, fleet_audits
from api.store.database import Store
from api.store.fleet_audits import CANCELLED, DONE, FAILED, FleetAudit
from audit.nouns.problem import BadInput
from audit.nouns.risk import Level

OUT, PROGRESS, CANCEL = "out", "progress.json", "cancel"
VARIABLE = "SETUP_AUDIT_FLEET_FOLDER"
EVERY = 0.5
"""Seconds between two notes of how far a job is."""
AT_ONCE = 2
"""Jobs of a server that run at once; others wait for their turn."""


class NoFolder(Exception):
    """There is no place for the files of fleet audits, and what to do."""


@dataclass
class Jobs:
    """The fleet audits of one server.

    Attributes:
        folder: where their files are; None where there is no place.
    """

    address: str
    folder: Path | None
    sites: tuple[Path, ...] = ()
    at_once: int = AT_ONCE
    _running: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def place(self, organisation: str, id: str) -> Path:
        """The folder of a job. Raises NoFolder."""
        if self.folder is None:
            raise NoFolder(f"a database server has no place beside it for files: name a folder in {VARIABLE}")
        return self.folder / organisation / id

    def take_up(self, store: Store) -> None:
        """Starts the processes of jobs that nobody is at work on, as far as there are turns."""
        if self.folder is None:
            return
        with store.connection() as connection:
            waiting = fleet_audits.running(connection)
        with self._lock:
            for id in [id for id, process in self._running.items() if process.poll() is not None]:
                del self._running[id]
            for job in waiting:
                if len(self._running) >= self.at_once:
                    return
                place = self.place(job.organisation, job.id)
                if job.id not in self._running and place.is_dir() and not at_work(place):
                    self._running[job.id] = self._begin(job, place)

    def _begin(self, job: FleetAudit, place: Path) -> subprocess.Popen[bytes]:
        words = [sys.executable, "-m", "api.fleet_job", job.organisation, job.id, str(place)]
        log = (place / "job.log").open("ab")
        try:
            return subprocess.Popen(
                [*words, *map(str, self.sites)],
                stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True,
                env={**os.environ, ADDRESS: self.address, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            )  # fmt: skip
        finally:
            log.close()

    def close(self) -> None:
        """Stops the processes; their jobs go on when a server starts again."""
        with self._lock:
            for process in self._running.values():
                process.terminate()
            for process in self._running.values():
                process.wait()
            self._running.clear()


def folder_beside(store: Store) -> Path | None:
    """Where the files go: the folder that the environment names, else beside the database's file."""
    named = os.environ.get(VARIABLE)
    if named:
        return Path(named)
    return None if store.file is None else store.file.with_name(f"{store.file.name}.fleet")


def at_work(place: Path) -> bool:
    """Whether a process holds the job's outputs."""
    log = place / OUT / LOG
    if not log.exists():
        return False
    with log.open("a") as stream:
        try:
            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return True
    return False


def progress_of(place: Path) -> dict[str, Any] | None:
    """How far a job is, None where nothing was noted yet."""
    try:
        found: dict[str, Any] = json.loads((place / PROGRESS).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return found


def cancel(store: Store, place: Path, organisation: str, id: str, who: str, now: float) -> bool:
    """Ends a running job; its process stops after the block it is at. False if it had ended before."""
    with store.writing(organisation, who, now) as work:
        done = fleet_audits.end(work, id, CANCELLED)
        if done:
            events.append(work, "fleet-audit.cancelled", f"fleet-audit/{id}", {})
    if done:
        (place / CANCEL).touch()
    return done


def run_job(
    address: str, organisation: str, id: str, place: Path, sites: tuple[Path, ...], stop: Callable[[], bool]
) -> None:
    """Does one job to its end, in a process of its own. Raises StoreUnavailable, Stopped."""
    store = Store(address)
    try:
        with store.reading(organisation) as work:
            job = fleet_audits.find(work, id)
            if job is None or job.state != fleet_audits.RUNNING:
                return
        state, why, summary = _outcome(store, job, place, sites, stop)
        with store.writing(organisation, "fleet audit", time.time()) as work:
            if fleet_audits.end(work, id, state, why, summary):
                content = {"state": state, "why": why, "summary": json.loads(summary) if summary else None}
                events.append(work, "fleet-audit.ended", f"fleet-audit/{id}", content)
    finally:
        store.close()


def _outcome(
    store: Store, job: FleetAudit, place: Path, sites: tuple[Path, ...], stop: Callable[[], bool]
) -> tuple[str, str, str]:
    try:
        in_force = InForce(store, read_shipped(sites))
        with store.reading(job.organisation) as work:
            rulebook = in_force.version(work, job.rulebook).rulebook
        wanted = Wanted(
            (str(place / job.input),), place / OUT, rulebook, hold_at=Level[job.hold_at], plan=job.plan, resume=True
        )
        note = _Note(place)
        summary = audit_fleet(wanted, progress=note, stop=lambda: stop() or (place / CANCEL).exists())
    except Stopped:
        if stop():
            raise
        return CANCELLED, "", ""
    except BadInput as error:
        return FAILED, str(error)[:2000], ""
    except NoSuchRulebook:
        return FAILED, f"rulebook {job.rulebook[:16]} is not on record", ""
    except (InTheWay, Unreadable) as error:
        return FAILED, str(error)[:2000], ""
    except OSError as error:
        return FAILED, f"The files of the audit can't be read or written: {error.strerror or error}.", ""
    return DONE, "", json.dumps({**summary, "inputs": [{**one, "name": job.input} for one in summary["inputs"]]})


class _Note:
    """Writes how far a job is, now and then."""

    def __init__(self, place: Path) -> None:
        self.place, self.said, self.began = place, 0.0, time.monotonic()

    def __call__(self, progress: Progress) -> None:
        now = time.monotonic()
        if now - self.said < EVERY:
            return
        self.said = now
        seconds = max(now - self.began, 1e-3)
        content = {
            "setups": progress.setups, "set_aside": progress.set_aside, "held": progress.held, "read": progress.read,
            "size": progress.size, "setups_per_second": round((progress.setups - progress.before) / seconds, 1),
        }  # fmt: skip
        beside = self.place / f"{PROGRESS}.part"
        beside.write_text(json.dumps(content), encoding="utf-8")
        beside.replace(self.place / PROGRESS)
