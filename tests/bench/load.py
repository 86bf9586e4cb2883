"""A small load generator: kept connections to one server on this machine, requests in turn from a file.

    python tests/bench/load.py PORT CONNECTIONS REQUESTS FILE

FILE holds a JSON array of whole requests as text. Prints a JSON object: seconds, and the times of all answers in ms.
Fails if an answer is not 200.
"""

from __future__ import annotations

import asyncio
import json
import re
import sys
import time
from collections.abc import Iterator
from pathlib import Path

_LENGTH = re.compile(rb"(?i)\r\ncontent-length: *([0-9]+)")


async def connection(port: int, turns: Iterator[bytes], times: list[float]) -> None:
    """Sends requests one after another until there are no more."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    for request in turns:
        began = time.perf_counter()
        writer.write(request)
        head = await reader.readuntil(b"\r\n\r\n")
        length = _LENGTH.search(head)
        body = await reader.readexactly(int(length[1]) if length else 0)
        times.append((time.perf_counter() - began) * 1000)
        if not head.startswith(b"HTTP/1.1 200"):
            raise SystemExit(f"{head.decode()}{body.decode()}")
    writer.close()


async def load(port: int, connections: int, requests: list[bytes]) -> dict[str, object]:
    turns, times = iter(requests), list[float]()
    began = time.perf_counter()
    await asyncio.gather(*(connection(port, turns, times) for _ in range(connections)))
    return {"seconds": time.perf_counter() - began, "times": times}


if __name__ == "__main__":
    given = [one.encode() for one in json.loads(Path(sys.argv[4]).read_text())]
    wanted = [given[turn % len(given)] for turn in range(int(sys.argv[3]))]
    print(json.dumps(asyncio.run(load(int(sys.argv[1]), int(sys.argv[2]), wanted))))
