"""The rulebook in force of every organisation, read once and kept.

An organisation judges by the version that it activated. As long as it has activated none, it follows the rulebook that
came with the program; the first write after an upgrade puts on record that another one judges from then on.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from pathlib import Path
from threading import Lock

from api.environment import shipped_rules
from api.lately import Lately
from api.store import events
from api.store import rulebooks as rows
from api.store.database import Store, Work
from api.store.rulebooks import Damaged, RulebookRow
from audit.auditor import Auditor
from audit.intake.rulebook import Layer, digest_of, layer_of, read_layers
from audit.nouns.problem import BadInput
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.planning.planner import Planner

MOST_KEPT = 8
"""Rulebooks that are kept read; each takes some megabytes, with its compiled readings about twenty."""
SHIPPED = "shipped"
"""Stands for a digest where an organisation follows the rulebook that came with the program."""
MOST_ORGANISATIONS = 1024
UPGRADE = "upgrade"
"""Who activates the shipped rulebook where nobody did."""


class NoSuchRulebook(Exception):
    """The organisation has no rulebook of this digest."""


class Unreadable(Exception):
    """A rulebook on record can't be read or is not what was put there, so nothing is judged by it."""


@dataclass(frozen=True, slots=True)
class Shipped:
    """The rulebook that came with the program, the site folders that the server was started with laid over it."""

    layers: tuple[Layer, ...]
    rulebook: Rulebook


class Engines:
    """Audits and plans by one rulebook; each engine is made when it is first asked for and then shared."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        first = Auditor(rulebook)
        self._auditors = {level: first.holding_at(level) for level in Level}
        self._planners = {level: Planner(rulebook, level) for level in Level}

    def auditor(self, hold_at: Level) -> Auditor:
        return self._auditors[hold_at]

    def planner(self, hold_at: Level) -> Planner:
        return self._planners[hold_at]


class InForce:
    """Gives the rulebook in force of an organisation, and what audits and plans by it. One for a process.

    Args:
        engines: by the shipped rulebook, where they were made before.
        most: rulebooks that are kept read, the shipped one apart.
    """

    def __init__(self, store: Store, shipped: Shipped, engines: Engines | None = None, most: int = MOST_KEPT) -> None:
        self.store, self.shipped, self.most = store, shipped, most
        self._shipped = engines or Engines(shipped.rulebook)
        self._kept: OrderedDict[str, Engines] = OrderedDict()
        self._lately = Lately[Engines](MOST_ORGANISATIONS)
        self._lock, self._reading = Lock(), Lock()

    @property
    def shipped_engines(self) -> Engines:
        """What audits and plans by the shipped rulebook."""
        return self._shipped

    def digest(self, work: Work) -> str:
        """Digest of the rulebook in force."""
        return rows.chosen(work) or self.shipped.rulebook.digest

    def rulebook(self, work: Work) -> Rulebook:
        """The rulebook in force. Raises Unreadable."""
        return self._engines(work).rulebook

    def auditor(self, work: Work, hold_at: Level) -> Auditor:
        """Audits by the rulebook in force. Raises Unreadable."""
        return self._engines(work).auditor(hold_at)

    def planner(self, work: Work, hold_at: Level) -> Planner:
        """Plans by the rulebook in force. Raises Unreadable."""
        return self._engines(work).planner(hold_at)

    def engines(self, organisation: str) -> Engines:
        """Engines by the rulebook in force, which is looked up once a second; for answers that nothing stands on.

        Raises: NoSuchOrganisation, Unreadable, StoreUnavailable.
        """
        return self._lately.looked_up(organisation, partial(self._engines_now, organisation))

    def engines_at_hand(self, organisation: str) -> Engines | None:
        """In an event loop: the same where it was looked up a moment ago, else None."""
        return self._lately.at_hand(organisation, partial(self._engines_now, organisation))

    async def engines_soon(self, organisation: str) -> Engines:
        """In an event loop: what is not at hand. Raises as ``engines``."""
        at_hand, look_up = partial(self.engines_at_hand, organisation), partial(self.engines, organisation)
        return await self._lately.soon(organisation, at_hand, look_up)

    def version(self, work: Work, digest: str) -> Engines:
        """Engines by a version on record of the organisation, or by the shipped one.

        Raises: NoSuchRulebook, Unreadable.
        """
        if digest in (SHIPPED, self.shipped.rulebook.digest):
            return self._shipped
        if rows.find(work, digest) is None:
            raise NoSuchRulebook(digest)
        return self._stored(work, digest)

    def prepare(self, organisation: str, digest: str = "") -> None:
        """Reads a version, else the one in force, before a transaction that writes: reading takes a part of a second.

        Raises: NoSuchOrganisation, NoSuchRulebook, Unreadable, StoreUnavailable.
        """
        with self.store.reading(organisation) as work:
            wanted = digest or self.digest(work)
            if wanted in (SHIPPED, self.shipped.rulebook.digest) or self._find(wanted) is not None:
                return
            layers = checked_layers(work, wanted)
        self._read(wanted, layers)

    def follow(self, work: Work) -> None:
        """Lets the organisation follow the shipped rulebook from now on, and puts that on record."""
        digest, before = self.shipped.rulebook.digest, rows.last_said(work)
        self.keep_shipped(work)
        rows.put_in_force(work, digest, follow=True)
        content, told = {"follows": "shipped"}, {"rulebook": digest}
        events.append(work, "rulebook.activated", rows.IN_FORCE, content, before, digest, told)

    def keep_shipped(self, work: Work) -> RulebookRow:
        """Puts the files of the shipped rulebook on record, so that it can be looked up after the next upgrade."""
        digest = self.shipped.rulebook.digest
        found = rows.find(work, digest)
        if found is not None:
            return found
        layers, rulebook = self.shipped.layers, self.shipped.rulebook
        row = rows.add(work, digest, layers, stands_for(layers, rulebook), "came with the program", "", "")
        events.append(
            work, "rulebook.added", f"rulebook/{digest}", {"number": row.number, "note": row.note}, "", digest
        )
        return row

    def _engines_now(self, organisation: str) -> Engines:
        with self.store.reading(organisation) as work:
            return self._engines(work)

    def _engines(self, work: Work) -> Engines:
        chosen = rows.chosen(work)
        if chosen:
            return self._shipped if chosen == self.shipped.rulebook.digest else self._stored(work, chosen)
        if work.who and rows.last_said(work) != self.shipped.rulebook.digest:
            self.follow(replace(work, who=UPGRADE))
        return self._shipped

    def _stored(self, work: Work, digest: str) -> Engines:
        return self._find(digest) or self._read(digest, checked_layers(work, digest))

    def _find(self, digest: str) -> Engines | None:
        with self._lock:
            found = self._kept.get(digest)
            if found is not None:
                self._kept.move_to_end(digest)
            return found

    def _read(self, digest: str, layers: Sequence[Layer]) -> Engines:
        """Reads layers whose digest was checked; one thread at a time, so that nothing is read twice at once."""
        with self._reading:
            found = self._find(digest)
            if found is not None:
                return found
            try:
                found = Engines(read_layers(layers))
            except BadInput as error:
                count = len(error.problems)
                raise Unreadable(
                    f"this program can't read rulebook {digest[:16]}: {error.problems[0]}"
                    + (f" And {count - 1} more." if count > 1 else "")
                ) from error
            with self._lock:
                self._kept[digest] = found
                while len(self._kept) > self.most:
                    self._kept.popitem(last=False)
            return found


def read_shipped(sites: Sequence[Path] = ()) -> Shipped:
    """What came with the program, as it is now. Raises BadInput, WrongPackage."""
    layers = (layer_of(shipped_rules(), ""), *(layer_of(site, str(site)) for site in sites))
    return Shipped(layers, read_layers(layers))


def checked_layers(work: Work, digest: str) -> tuple[Layer, ...]:
    """The stored files of a version, which make its digest. Raises NoSuchRulebook, Unreadable."""
    try:
        layers = rows.layers_of(work, digest)
    except Damaged as error:
        raise Unreadable(f"rulebook {digest[:16]}: {error}") from error
    if layers is None:
        raise NoSuchRulebook(digest)
    if digest_of(layers) != digest:
        raise Unreadable(f"rulebook {digest[:16]}: the stored files are not those that were put on record")
    return layers


def stands_for(layers: Sequence[Layer], rulebook: Rulebook) -> dict[str, str]:
    """What each id stands for: a hash of the rule's file, '' for an id that no rule has any more."""
    texts = {f"{layer.name}/{name}": text for layer in layers for name, text in layer.files.items()}
    found = {rule.id: sha256(texts[rule.place.source]).hexdigest()[:32] for rule in rulebook.rules.values()}
    gone = rulebook.retired.union(*(rule.was for rule in rulebook.rules.values()))
    return {**dict.fromkeys(sorted(gone), ""), **found}
