"""Asks a source for its fleet snapshot, page by page, and never sooner than its shortest period allows."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from hashlib import sha256
from urllib.parse import urljoin, urlsplit

from api.exchange.addresses import Network, NotReached, Unsafe, ask, looked_at
from api.exchange.reading.files import opened
from api.exchange.reading.nouns import Read
from api.exchange.reading.registry import known
from api.identity.kept import NotKept, kept, why_not_kept
from api.service.importing import Prepared, check_size
from api.store import events, import_sources
from api.store.database import Work
from api.store.import_sources import Source

MOST_PAGES = 200
SHORTEST_PERIOD = 60.0
LONGEST_PERIOD = 366 * 86400.0
"""s. The standard has each sender state its own; the command's quarter of an hour is usual (from memory)."""
ACCEPT = "application/json;q=0.9, application/xml;q=0.8, text/xml;q=0.7"
_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")


class BadSource(Exception):
    """The source can't be kept or asked, and why."""


def add(work: Work, one: Source, own: Sequence[Network] = ()) -> Source:
    """Puts a source on record. Raises BadSource."""
    if not _ID.fullmatch(one.id):
        raise BadSource("its id must have 1 to 40 small letters, digits and hyphens")
    if import_sources.find(work, one.id) is not None:
        raise BadSource(f"there is or was a source '{one.id}'; choose another id")
    if one.format not in known():
        raise BadSource(f"there is no format '{one.format}'; formats are {', '.join(known())}")
    if not SHORTEST_PERIOD <= one.period <= LONGEST_PERIOD:
        raise BadSource("its period must be at least a minute and at most a year")
    if one.token and (why := why_not_kept(one.token)):
        raise BadSource(f"its token: {why}; the token itself is not kept")
    try:
        looked_at(one.address, own)
    except Unsafe as error:
        raise BadSource(str(error)) from error
    import_sources.add(work, one)
    content = {"format": one.format, "address": one.address, "period": one.period, "token": one.token}
    events.append(work, "import_source.added", f"import-source/{one.id}", content)
    return one


def end(work: Work, id: str) -> None:
    """A source that is asked no more. Raises BadSource."""
    found = import_sources.find(work, id)
    if found is None or found.ended is not None:
        raise BadSource(f"there is no source '{id}'")
    import_sources.end(work, id)
    events.append(work, "import_source.ended", f"import-source/{id}", {})


def due(work: Work, id: str) -> Source:
    """A source that may be asked now. Raises BadSource."""
    found = import_sources.find(work, id)
    if found is None or found.ended is not None:
        raise BadSource(f"there is no source '{id}'")
    if found.polled is not None and work.now < found.polled + found.period:
        raise BadSource(f"it may be asked again in {found.polled + found.period - work.now:.0f} s, not before")
    return found


def poll(source: Source, environment: Mapping[str, str], own: Sequence[Network] = ()) -> Prepared:
    """Asks a source for all its pages. Raises BadSource, NotRead; nothing is written."""
    headers = {"Accept": ACCEPT, **_authorisation(source, environment)}
    found, reads, url, seen = sha256(f"{source.id}\0".encode()), list[Read](), source.address, set[str]()
    while url:
        if url in seen:
            break  # a page that leads back to one before it is the last
        if len(seen) == MOST_PAGES:
            raise BadSource(f"it has more than {MOST_PAGES} pages")
        seen.add(url)
        body = _page(url, headers, own)
        found.update(sha256(body).digest())
        read = known()[source.format].read(opened(f"page {len(seen)}", body), b"", None)
        reads.append(read)
        url = _next(url, read.next)
    whole = _together(reads)
    check_size(source.id, whole)
    return Prepared(source.format, source.address[:200], source.id, source.id, found.hexdigest(), whole)


def _page(url: str, headers: Mapping[str, str], own: Sequence[Network]) -> bytes:
    try:
        reply = ask(looked_at(url, own), "GET", headers)
    except (Unsafe, NotReached) as error:
        raise BadSource(str(error)) from error
    if 300 <= reply.status < 400:
        raise BadSource("it sends us elsewhere (a redirect), which is not followed; put its real address on record")
    if reply.status in (401, 403):
        raise BadSource(f"it answers {reply.status}: the token is missing, wrong or without rights")
    if reply.status == 429:
        raise BadSource("it answers 429: we ask too often; put a longer period on record")
    if reply.status != 200:
        raise BadSource(f"it answers {reply.status}")
    return reply.body


def _next(here: str, link: str) -> str:
    """The next page's address. Raises BadSource for one that leads to another server, which would get our token."""
    if not link:
        return ""
    try:
        found = urljoin(here, link)
        same = [(parts.scheme, parts.hostname, parts.port) for parts in (urlsplit(here), urlsplit(found))]
    except ValueError:
        raise BadSource(f"its link '{link[:80]}' can't be read") from None
    if same[0] != same[1]:
        raise BadSource(f"its next page is on another server ({found[:80]}), which is not asked")
    return found


def _together(reads: Sequence[Read]) -> Read:
    """Pages as one, each row's place with its page."""
    units = tuple(one for read in reads for one in read.units)
    return replace(
        reads[0], units=units, rows=tuple(one for read in reads for one in read.rows), next="",
        crops=tuple(one for read in reads for one in read.crops),
        tasks=tuple(one for read in reads for one in read.tasks),
        notes=tuple(dict.fromkeys(one for read in reads for one in read.notes)),
    )  # fmt: skip


def _authorisation(source: Source, environment: Mapping[str, str]) -> dict[str, str]:
    if not source.token:
        return {}
    try:
        return {"Authorization": f"Bearer {kept(source.token, environment)}"}
    except NotKept as error:
        raise BadSource(f"its token: {error}") from error
