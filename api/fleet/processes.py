"""Blocks judged by several processes of this machine.

Each process is given its next block before it has ended the last, so that none waits for the one that reads, and takes
what it is sent in a thread of its own, so that neither ever waits for the other to listen.
"""

from __future__ import annotations

import fcntl
import pickle
import signal
import traceback
from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from queue import SimpleQueue
from threading import Thread

from api.fleet.blocks import Block, Done, Job
from api.fleet.mapping import GaveUp, Judge
from api.fleet.stretches import Changed, without_text

MOST_DEATHS = 3
"""How many processes may die over one block before the audit gives up."""
AHEAD = 2
"""Blocks that a process has: the one that it judges and the next."""
UNDER_WAY = 4
"""Blocks a process that are read and not yet written: one that is slow must not stop the others."""
_PIPE = 1024 * 1024
"""Bytes that a pipe holds, so that what comes of a block goes into it at once."""


@dataclass(slots=True, eq=False)
class Task:
    """A block on its way.

    Attributes:
        done: what came of it, once it is known.   deaths: processes that died over it.
    """

    block: Block
    done: Done | None = None
    deaths: int = 0


class Local:
    """In several processes; if one dies, its blocks are judged again by another.

    Args:
        processes: how many; no more are started than there are blocks to judge at once.
    """

    elsewhere = True

    def __init__(self, processes: int) -> None:
        self.processes = processes

    def map(self, judge: Judge, job: Job, blocks: Iterable[Block]) -> Iterator[tuple[Block, Done]]:
        """Every block with what came of it, in order. Raises GaveUp, and whatever the judge raised."""
        coming = iter(blocks)
        waiting: deque[Task] = deque()
        workers: list[Worker] = []
        try:
            while True:
                while self._room(waiting, workers) and (block := next(coming, None)) is not None:
                    waiting.append(Task(block))
                    self._freest(workers, judge, job).give(waiting[-1])
                if not waiting:
                    return
                if (done := waiting[0].done) is not None:
                    yield waiting.popleft().block, done
                    continue
                heard = wait([worker.answers for worker in workers if worker.tasks])
                for number, worker in enumerate(workers):
                    if worker.answers in heard and not worker.take():
                        workers[number] = _in_place_of(worker, judge, job)
        finally:
            for worker in workers:
                worker.stop()

    def _room(self, waiting: deque[Task], workers: list[Worker]) -> bool:
        """Whether one more block may be read and given away."""
        return len(waiting) < UNDER_WAY * self.processes and (
            len(workers) < self.processes or any(len(worker.tasks) < AHEAD for worker in workers)
        )

    def _freest(self, workers: list[Worker], judge: Judge, job: Job) -> Worker:
        """The one that has the least to do, which is a new one while all are at work and there may be more."""
        if len(workers) < self.processes and all(worker.tasks for worker in workers):
            workers.append(Worker(judge, job))
        return min(workers, key=lambda worker: len(worker.tasks))


def _in_place_of(dead: Worker, judge: Judge, job: Job) -> Worker:
    """A process that goes on with what another died over. Raises GaveUp."""
    dead.stop()
    first = dead.tasks[0]
    first.deaths += 1
    if first.deaths == MOST_DEATHS:
        raise GaveUp(f"the processes died {first.deaths} times over a block of {first.block.shown}")
    worker = Worker(judge, job)
    for task in dead.tasks:
        worker.give(task)
    return worker


class Worker:
    """A process that judges.

    Attributes:
        tasks: that it was given and that are not done, in order.
        answers: what it sends.
    """

    def __init__(self, judge: Judge, job: Job) -> None:
        context = get_context("spawn")
        self.tasks: deque[Task] = deque()
        theirs, self._told = context.Pipe(duplex=False)
        self.answers, answers = context.Pipe(duplex=False)
        with suppress(OSError, AttributeError):  # it may be more than this user may have, or not be known here
            fcntl.fcntl(answers.fileno(), fcntl.F_SETPIPE_SZ, _PIPE)
        self._process = context.Process(target=work, args=(theirs, answers, judge, job), daemon=True)
        self._process.start()
        theirs.close()
        answers.close()

    def give(self, task: Task) -> None:
        """Has a block judged after those that it has."""
        self.tasks.append(task)
        self._send(without_text(task.block))

    def _send(self, block: Block) -> None:
        with suppress(OSError):  # if it died, that is heard where it should answer
            self._told.send(block)

    def take(self) -> bool:
        """What came of the first of its blocks; no if the process died. Raises whatever the judge raised."""
        try:
            found: Done | Exception = self.answers.recv()
        except (OSError, EOFError):
            return False
        task = self.tasks.popleft()
        if isinstance(found, Done):
            task.done = found
        elif isinstance(found, Changed):
            self.tasks.append(task)
            self._send(task.block)
        else:
            raise found
        return True

    def stop(self) -> None:
        """Ends the process."""
        self._told.close()
        self.answers.close()
        self._process.terminate()
        self._process.join()


def work(told: Connection, answers: Connection, judge: Judge, job: Job) -> None:
    """Judges what is told until nobody tells any more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever began the audit is told to stop too, and then ends this
    blocks: SimpleQueue[Block | None] = SimpleQueue()
    Thread(target=_listen, args=(told, blocks), daemon=True).start()
    with suppress(OSError):  # nobody is there any more
        while (block := blocks.get()) is not None:
            answers.send(_judged(judge, job, block))


def _judged(judge: Judge, job: Job, block: Block) -> Done | Exception:
    try:
        return judge(job, block)
    except Exception as error:
        where = traceback.format_exc()  # is not sent otherwise
        try:
            sent: Exception = pickle.loads(pickle.dumps(error))
        except Exception:  # some can't be sent, some not be received
            sent = RuntimeError(f"{type(error).__name__}: {error}")
        sent.add_note(where)
        return sent


def _listen(told: Connection, blocks: SimpleQueue[Block | None]) -> None:
    with suppress(OSError, EOFError):
        while True:
            blocks.put(told.recv())
    blocks.put(None)
