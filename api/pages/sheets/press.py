"""A sheet laid out as PDF, by a process of its own: layout is slow and takes much memory, and a server has other work.

``python -m api.pages.sheets.press`` reads HTML and writes PDF. It opens no connection and no file: the HTML carries
all that it shows, and whatever else it names is left out.
"""

from __future__ import annotations

import os
import subprocess
import sys
from hashlib import sha256
from threading import BoundedSemaphore

AT_ONCE = 2
"""Sheets laid out at once; others wait."""
PATIENCE = 20.0
"""Longest that a sheet waits for its turn, s."""
LONGEST = 240.0
"""Longest that the layout of one sheet may take, s."""
LACKS = 3
"""Exit status where something of the layout library is not installed."""
INSTALL = (
    "PDF is laid out by WeasyPrint with Pango, and one of them is not installed where this runs. On Debian: "
    "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core. Until then print the "
    "HTML form from a browser."
)

_SAME = {"SOURCE_DATE_EPOCH": "0", "PYTHONHASHSEED": "0"}
"""What keeps a font's subset from carrying the time of its making, and sets in one order."""

_turns = BoundedSemaphore(AT_ONCE)


class LacksLayout(Exception):
    """What lays sheets out is not installed, and what to do."""


class Busy(Exception):
    """Too many sheets at once, or one that is too long."""


def pressed(html: str) -> bytes:
    """A sheet's PDF; the same bytes for the same text on one machine. Raises LacksLayout, Busy."""
    if not _turns.acquire(timeout=PATIENCE):
        raise Busy("Other sheets are being laid out; try again in a minute.")
    try:
        done = subprocess.run(
            [sys.executable, "-m", "api.pages.sheets.press"],
            input=html.encode("utf-8", "replace"), capture_output=True, timeout=LONGEST, check=False,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path)), **_SAME},
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise Busy(
            f"It was not laid out in {LONGEST:g} seconds; take the workbook or the HTML form, or fewer units."
        ) from None
    finally:
        _turns.release()
    if done.returncode == LACKS:
        raise LacksLayout(INSTALL)
    if done.returncode:
        raise RuntimeError(done.stderr.decode("utf-8", "replace")[-2000:])
    return done.stdout


def lay_out(html: bytes) -> bytes:
    """The same in this process."""
    from weasyprint import HTML  # type: ignore[import-untyped]
    from weasyprint.urls import (  # type: ignore[import-untyped]
        FatalURLFetchingError,
        URLFetcher,
        URLFetcherResponse,
    )

    class Nothing(URLFetcher):  # type: ignore[misc]
        """Refuses whatever is not in the address itself."""

        def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
            if not url.startswith("data:"):
                raise FatalURLFetchingError(f"a sheet asked for {url}")
            return super().fetch(url, headers)

    # the identifier is of the content, where it would be of chance
    identifier = sha256(html).digest()[:16]
    page = HTML(string=html.decode("utf-8"), url_fetcher=Nothing())
    found: bytes = page.write_pdf(pdf_identifier=identifier, pdf_tags=True)
    return found


def main() -> int:
    """Standard input to standard output."""
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError) as error:  # OSError: it is there, and a library of the system that it loads is not
        print(error, file=sys.stderr)
        return LACKS
    sys.stdout.buffer.write(lay_out(sys.stdin.buffer.read()))
    return 0


if __name__ == "__main__":
    sys.exit(main())
