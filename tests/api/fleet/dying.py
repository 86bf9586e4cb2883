"""Audits a fleet in processes that kill themselves at one effect on the disk after another, and prints how it went.

Run as a program, so that what it forks from has started no threads: ``dying.py FOLDER SEED INPUT...``. Each process
goes on where the last one was and dies, with SIGKILL, just before or half way through its n-th write or change of
name, n at random; the last one is let alone.
"""

from __future__ import annotations

import io
import os
import random
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import api.fleet.outputs as outputs
import rules
from api.fleet.run import Wanted, run
from audit.auditor import Auditor
from audit.intake.rulebook import read_rulebook

DEATHS = 25


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


class Dying:
    """Counts effects down, and dies at the last."""

    def __init__(self, left: int) -> None:
        self.left = left

    def step(self, half: Callable[[], object]) -> None:
        self.left -= 1
        if self.left == 0:
            half()
            die()


def arm(dying: Dying) -> None:
    """Makes every write and change of name of the outputs a step."""
    replace, open_list = os.replace, outputs.Outputs._open

    def dying_replace(*names: Any) -> None:
        dying.step(lambda: None)
        replace(*names)

    class List(io.BytesIO):
        def __init__(self, file: Any) -> None:
            super().__init__()
            self.file = file

        def write(self, text: Any) -> int:
            dying.step(lambda: (self.file.write(text[: len(text) // 2]), self.file.flush()))
            return int(self.file.write(text))

        def flush(self) -> None:
            self.file.flush()

        def close(self) -> None:
            self.file.close()

    outputs.EVERY = 0.0  # a checkpoint after every block
    os.replace = dying_replace  # type: ignore[assignment]
    outputs.Outputs._open = lambda self, name: List(open_list(self, name))  # type: ignore[method-assign]


def main(folder: str, seed: str, inputs: list[str]) -> None:
    chance = random.Random(int(seed))
    rulebook = read_rulebook(rules.root())
    wanted = Wanted(tuple(inputs), Path(folder), rulebook, resume=True, size=60_000)
    auditor = Auditor(rulebook)
    list(auditor.answer_all(Path(inputs[0]).read_bytes().splitlines()[:2], str))
    deaths = finished = 0
    while not finished:
        child = os.fork()
        if not child:
            if deaths < DEATHS:
                arm(Dying(chance.choice((1, 2, 3, 4, 5, 6))))
            run(wanted)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        if os.WIFSIGNALED(status):
            assert os.WTERMSIG(status) == signal.SIGKILL
            deaths += 1
            chance.random()  # the child drew from a copy
        else:
            finished = 1
            assert os.WEXITSTATUS(status) == 0
    print(deaths)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3:])
