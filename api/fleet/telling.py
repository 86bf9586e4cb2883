"""How far an audit is, on the error output: a line that renews itself on a terminal, else a line a minute."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TextIO

from api.fleet.run import Progress

EVERY_TERMINAL, EVERY_LOG = 0.5, 60.0
"""Shortest time between two lines, s."""


class Teller:
    """Tells the progress.

    Args:
        out: where to.   clock: seconds from any moment.
    """

    def __init__(self, out: TextIO, clock: Callable[[], float] = time.monotonic) -> None:
        self.out, self.clock = out, clock
        self.terminal = out.isatty()
        self.began = self.said = clock()
        self.read_before: int | None = None

    def __call__(self, progress: Progress) -> None:
        now = self.clock()
        if self.read_before is None:
            self.read_before = progress.read
        if now - self.said >= (EVERY_TERMINAL if self.terminal else EVERY_LOG):
            self.said = now
            line = self.line(progress, now - self.began)
            self.out.write(f"\r\x1b[K{line}" if self.terminal else f"{line}\n")
            self.out.flush()

    def line(self, progress: Progress, seconds: float) -> str:
        """Setups, rate, share, time left, and what was set aside."""
        rate = (progress.setups - progress.before) / seconds if seconds else 0.0
        parts = [f"{progress.setups:,} setups", f"{rate:,.0f}/s"]
        if progress.size:
            parts.append(f"{100 * progress.read / progress.size:.0f} %")
            done = progress.read - (self.read_before or 0)
            if done > 0 and seconds:
                parts.append(f"{_shown(seconds * (progress.size - progress.read) / done)} left")
        parts.append(f"{progress.held:,} held")
        if progress.set_aside:
            parts.append(f"{progress.set_aside:,} set aside")
        return ", ".join(parts)

    def close(self) -> None:
        """Clears the line of a terminal."""
        if self.terminal:
            self.out.write("\r\x1b[K")
            self.out.flush()


def _shown(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
