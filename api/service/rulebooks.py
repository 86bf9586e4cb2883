"""Adding rulebooks, putting one in force, who must have signed it, and what a broken rule does.

A version is the shipped rulebook with the site's own files over it. It is read whole and every rule's own cases are run
before it is put on record; putting it in force is another act, and one that happens wholly or not at all.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from cryptography.exceptions import InvalidSignature

from api.certificates.keys import PublicKey, SigningKey, jwk_of, public_key
from api.service.gate import Gate
from api.service.in_force import SHIPPED, UPGRADE, InForce, NoSuchRulebook, Shipped, checked_layers, stands_for
from api.store import events, organisations, setups, starts
from api.store import rulebooks as rows
from api.store.database import Work
from api.store.rulebooks import RulebookRow
from api.store.starts import StartRow
from audit.cases import failures
from audit.intake.rulebook import Layer, read_layers
from audit.nearest import did_you_mean
from audit.nouns.clearance import Effect
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.rulebook import Rulebook

SITE = "site"
"""Name and origin of the layer that an organisation's own files make."""
MOST_FILES = 1000
MOST_OF_A_FILE = 256 * 1024
MOST_OF_ALL = 3 * 1024 * 1024
MOST_NOTE = 1000
_NAME = re.compile(r"(?:[A-Za-z0-9][\w.-]*/){0,3}[A-Za-z0-9][\w.-]*\.yaml", re.ASCII)
_MOST_NAME = 200
_SIGNATURE = re.compile(r"[0-9a-f]{128}", re.ASCII)


class NotSigned(Exception):
    """The organisation's rulebooks must be signed, and this one is not as it must be."""


class BadKey(Exception):
    """What was given as a public key is none that can be used."""


class BadNote(Exception):
    """The note that comes with a rulebook says nothing, or too much."""


class NoSuchRule(Exception):
    """The rulebook in force has no such rule."""


class NotLowered(Exception):
    """The rule can't be kept from holding a start."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A rulebook that was read whole and whose cases all give what they say."""

    layers: tuple[Layer, ...]
    rulebook: Rulebook

    @property
    def digest(self) -> str:
        return self.rulebook.digest


def read_candidate(shipped: Shipped, files: Mapping[str, str]) -> Candidate:
    """Reads the site's files over the shipped ones. Takes a part of a second; do it outside of a transaction.

    Args:
        files: texts by path, such as ``packs/feeder/chain-too-long.yaml``.

    Raises: BadInput, with every problem.
    """
    problems = list(_unfit(files))
    if problems:
        raise BadInput(problems)
    layers = (*shipped.layers, Layer(SITE, SITE, {name: text.encode() for name, text in files.items()}))
    rulebook = read_layers(layers)
    problems = [problem for rule in rulebook.rules.values() for problem in failures(rule, rulebook.vocabulary)]
    if problems:
        raise BadInput(problems)
    return Candidate(layers, rulebook)


def add(
    work: Work, in_force: InForce, candidate: Candidate, note: str, signature: str = ""
) -> tuple[RulebookRow, bool]:
    """Puts a version on record, True if it is new. It judges nothing until it is activated.

    The same files again change nothing, but bring a signature where there was none.

    Raises: BadNote; NotSigned; BadInput for an id that stood for another rule.
    """
    if not note.strip() or len(note) > MOST_NOTE:
        raise BadNote(f"say in 1 to {MOST_NOTE} characters what is new")
    digest = candidate.digest
    by = signed_by(work, digest, signature)
    standing = stands_for(candidate.layers, candidate.rulebook)
    _check_ids(work, in_force, candidate.rulebook, standing)
    subject = f"rulebook/{digest}"
    found = rows.find(work, digest)
    if found is not None:
        if not by or found.signature == signature:
            return found, False
        rows.sign(work, digest, signature, by)
        events.append(work, "rulebook.signed", subject, {"signed_by": by}, digest, digest)
        return replace(found, signature=signature, signed_by=by), False
    row = rows.add(work, digest, candidate.layers, standing, note.strip(), signature if by else "", by)
    content = {"number": row.number, "note": row.note, "signed_by": by, "files": len(candidate.layers[-1].files)}
    events.append(work, "rulebook.added", subject, content, "", digest)
    return row, True


def activate(work: Work, in_force: InForce, gate: Gate, digest: str) -> tuple[RulebookRow, list[StartRow]]:
    """Lets a version judge from now on, wholly or not at all; starts that it would not clear are revoked.

    Args:
        digest: of a version on record, or 'shipped' to follow the rulebook that comes with the program.

    Returns: the version, and those starts.

    Raises: NoSuchRulebook, Unreadable, NotSigned; BadInput for an id that stood for another rule.
    """
    chosen = rows.chosen(work)
    gone: list[StartRow] = []
    if digest == SHIPPED:
        if rows.key(work) is not None:
            raise NotSigned("what comes with the program is not signed by your key; activate a version that is")
        if chosen or rows.last_said(work) != in_force.shipped.rulebook.digest:
            in_force.follow(work)
            gone = gate.recheck(work)
        return in_force.keep_shipped(work), gone
    row = rows.find(work, digest)
    if row is None:
        raise NoSuchRulebook(digest)
    layers = checked_layers(work, digest)
    by = signed_by(work, digest, row.signature)
    rulebook = in_force.version(work, digest).rulebook
    _check_ids(work, in_force, rulebook, stands_for(layers, rulebook))
    if digest != chosen:
        before = in_force.digest(work)
        rows.put_in_force(work, digest)
        content = {"number": row.number, "signed_by": by}
        events.append(work, "rulebook.activated", rows.IN_FORCE, content, before, digest, {"rulebook": digest})
        gone = gate.recheck(work)
        row = replace(row, activated=work.now)
    return row, gone


def prepare(in_force: InForce, gate: Gate, organisation: str, digest: str) -> None:
    """Does beforehand what ``activate`` would do at length while nobody else may write.

    Raises: NoSuchOrganisation, NoSuchRulebook, Unreadable, StoreUnavailable.
    """
    in_force.prepare(organisation, digest)
    with in_force.store.reading(organisation) as work:
        auditor = in_force.version(work, digest).auditor(organisations.read(work).terms.hold_at)
        for unit in {start.unit for start in starts.good(work)}:
            setup = setups.newest(work, unit)
            if setup is not None:
                gate.judgement(auditor, setup)


def note_upgrades(in_force: InForce, gate: Gate, now: float) -> list[str]:
    """Puts on record where another shipped rulebook judges since the program was upgraded. To be called at the start.

    Returns: ids of the organisations that it is so for; certificates that would not be given now are revoked.
    """
    with in_force.store.connection() as connection:
        ids = organisations.ids(connection)
    changed = []
    for id in ids:
        with in_force.store.writing(id, UPGRADE, now) as work:
            if not rows.chosen(work) and rows.last_said(work) != in_force.shipped.rulebook.digest:
                in_force.follow(work)
                gate.recheck(work)
                changed.append(id)
    return changed


def set_key(work: Work, in_force: InForce, jwk: Mapping[str, object] | None) -> str:
    """From now on no rulebook goes in force that this key has not signed; None asks for no signature any more.

    What is in force stays so. An organisation that followed the shipped rulebook keeps to the one of today, as the next
    one would be in force unsigned.

    Args:
        jwk: an Ed25519 public key (RFC 8037).

    Returns: its RFC 7638 thumbprint, '' for None.
    Raises: BadKey.
    """
    new = None if jwk is None else _usable(jwk)
    before, after = key_in_use(work), (new.id if new else "")
    if before == after:
        return after
    rows.set_key(work, None if new is None else jwk_of(new.public))
    kept = ""
    if new is not None and not rows.chosen(work):
        in_force.rulebook(work)  # says on record what is in force, if it does not yet
        kept = in_force.keep_shipped(work).digest
        rows.put_in_force(work, kept)
    what = "rulebook-key.set" if new else "rulebook-key.removed"
    events.append(work, what, "rulebook/key", {"before": before, "after": after, "keeps_to": kept})
    return after


def key_in_use(work: Work) -> str:
    """Thumbprint of the key that must sign what goes in force, '' for none."""
    key = _key(work)
    return key.id if key else ""


def sign(digest: str, key: SigningKey) -> str:
    """A signature over a rulebook's digest, in hexadecimal."""
    return key.private.sign(_signed_text(digest)).hex()


def signed_by(work: Work, digest: str, signature: str) -> str:
    """Thumbprint of the key that signed, '' where the organisation asks for no signature. Raises NotSigned."""
    key = _key(work)
    if key is None:
        return ""
    if not signature:
        raise NotSigned(f"your rulebooks must be signed; sign digest {digest} with key {key.id}")
    try:
        if not _SIGNATURE.fullmatch(signature):
            raise InvalidSignature
        key.public.verify(bytes.fromhex(signature), _signed_text(digest))
    except InvalidSignature:
        raise NotSigned(f"this is no signature of key {key.id} over digest {digest}") from None
    return key.id


def set_effect(work: Work, in_force: InForce, gate: Gate, rule: str, effect: Effect) -> list[StartRow]:
    """What a broken rule does in this organisation; starts that would not be cleared now are revoked.

    Returns: those starts.
    Raises: NoSuchRule, NotLowered, Unreadable.
    """
    before = organisations.read(work)
    effects = {**before.effects, rule: effect}
    check_effects(in_force.rulebook(work), {rule: effect}, before.effects)
    organisations.set_terms(work, before.terms, effects)
    return gate.recheck(work)


def check_effects(rulebook: Rulebook, effects: Mapping[str, Effect], before: Mapping[str, Effect]) -> None:
    """Whether an organisation may let its rules do this. What it says already of a rule that is gone may stay.

    Raises: NoSuchRule, NotLowered.
    """
    for id, effect in effects.items():
        rule = rulebook.rules.get(id)
        if rule is None:
            if id not in before:
                raise NoSuchRule(f"no rule is called '{id[:60]}'. {did_you_mean(id, rulebook.rules)}".strip())
        elif rule.harm.people and effect is not Effect.HOLDS:
            raise NotLowered(f"'{id}' is about danger to people; it always holds a start")


def _unfit(files: Mapping[str, str]) -> Iterator[Problem]:
    """What speaks against files before they are read."""
    nowhere = Place(SITE)
    if not files:
        yield Problem(nowhere, "holds no file.", "Send at least one.")
    if len(files) > MOST_FILES:
        yield Problem(nowhere, f"holds {len(files)} files; at most {MOST_FILES} are taken.")
        return
    size = 0
    for name, text in files.items():
        place = Place(f"{SITE}/{name[:_MOST_NAME]}")
        if len(name) > _MOST_NAME or not _NAME.fullmatch(name):
            yield Problem(
                place,
                "is no name of a rulebook's file.",
                "Write a path of letters, digits, '.', '_' and '-' that ends in .yaml, such as packs/feeder/x.yaml.",
            )
        try:
            length = len(text.encode())
        except UnicodeEncodeError:
            yield Problem(place, "holds half of a surrogate pair, which is no character.")
            continue
        size += length
        if length > MOST_OF_A_FILE:
            yield Problem(place, f"is larger than {MOST_OF_A_FILE // 1024} KiB.")
    if size > MOST_OF_ALL:
        yield Problem(nowhere, f"is larger than {MOST_OF_ALL // 1024 // 1024} MiB altogether.")


def _check_ids(work: Work, in_force: InForce, rulebook: Rulebook, standing: Mapping[str, str]) -> None:
    """An id that was given up is given again to the same rule only. Raises BadInput.

    A rule that is in force may be changed under its id. One that went out of force may come back as it ever was.
    """
    now = stands_for(in_force.shipped.layers, in_force.shipped.rulebook)
    known = {id: {text} for id, text in now.items()} if not rows.last_said(work) else {}
    chosen = in_force.digest(work)
    last: dict[str, int] = {}
    for number, digest, ids in rows.stood_for(work):
        if digest == chosen:
            now = dict(ids)
        for id, text in ids.items():
            known.setdefault(id, set()).add(text)
            last[id] = number
    problems = [
        Problem(
            rulebook.rules[id].place,
            f"id '{id}' stood for another rule, or was retired, in rulebook {last.get(id, 1)} of this organisation.",
            "Give the rule another name.",
        )
        for id, text in standing.items()
        if text and not now.get(id) and id in known and text not in known[id]
    ]
    if problems:
        raise BadInput(problems)


def _key(work: Work) -> PublicKey | None:
    jwk = rows.key(work)
    return None if jwk is None else public_key(jwk)


def _usable(jwk: Mapping[str, object]) -> PublicKey:
    if "d" in jwk:
        raise BadKey("this is the private half of a key; keep it where you sign, and send the public one")
    try:
        return public_key(jwk)
    except ValueError as error:
        raise BadKey(f"it must be an Ed25519 public key as a JWK (kty OKP, crv Ed25519, x): {error}") from error


def _signed_text(digest: str) -> bytes:
    return f"combine setup audit rulebook {digest}".encode()
