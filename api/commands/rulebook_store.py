"""setup-audit rulebook: an organisation's own rulebooks on record, from a candidate to what judges."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from api.certificates.moment import shown
from api.commands.options import add_site, add_store
from api.commands.token import Refused, organisation_of, with_store
from api.environment import say_problems
from api.status import BAD_INPUT, CLEARED

if TYPE_CHECKING:
    from api.certificates.keys import SigningKey
    from api.service.in_force import InForce
    from api.service.replay import Replay
    from api.store.database import Store

SAYS = {
    "list": "every rulebook on record, the last one first",
    "add": "put a candidate on record; it judges nothing yet",
    "replay": "what a rulebook would say of the fleet, before it goes in force",
    "activate": "let a rulebook judge from now on, wholly or not at all",
    "rules": "the rules in force: what each does if broken, and how often it is",
    "key": "the key that must sign what goes in force: show, make, set or remove",
    "sign": "sign the rulebook that a folder makes; needs no store",
}
EXAMPLES = {
    "list": ("setup-audit rulebook list --store sqlite:///audit.db",),
    "add": ("setup-audit rulebook add our-rules --note 'tighter limit for the slats' --store sqlite:///audit.db",),
    "replay": ("setup-audit rulebook replay 5f0c1d2e3a4b --store sqlite:///audit.db",),
    "activate": (
        "setup-audit rulebook activate 5f0c1d2e3a4b --store sqlite:///audit.db",
        "setup-audit rulebook activate shipped --store sqlite:///audit.db",
    ),
    "rules": ("setup-audit rulebook rules --store sqlite:///audit.db",),
    "key": (
        "setup-audit rulebook key --make author.jwk --store sqlite:///audit.db",
        "setup-audit rulebook key --remove --store sqlite:///audit.db",
    ),
    "sign": ("setup-audit rulebook sign our-rules --key author.jwk",),
}
SHORTEST = 8
"""Fewest characters that name a digest."""
MOST_OF_A_KEY = 4096


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name in ("add", "sign"):
        command.add_argument("folder", type=Path, metavar="DIR", help="folder of the organisation's own files")
    if name in ("replay", "activate"):
        command.add_argument("digest", help="of a rulebook on record (its first characters will do), or 'shipped'")
    if name == "add":
        command.add_argument("--note", required=True, help="what is new")
        command.add_argument("--signature", default="", metavar="TEXT", help="as 'rulebook sign' prints it")
    if name == "key":
        what = command.add_mutually_exclusive_group()
        what.add_argument("--make", type=Path, metavar="FILE", help="make a pair, keep it in this file, and set it")
        what.add_argument("--set", type=Path, metavar="FILE", help="set the public key of this file, a JWK")
        what.add_argument("--remove", action="store_true", help="ask for no signature any more")
    if name == "sign":
        command.add_argument("--key", type=Path, required=True, metavar="FILE", help="the pair, a private JWK")
    if name in ("list", "replay", "rules"):
        command.add_argument("--json", action="store_true", help="for programs")
    if name != "sign":
        command.add_argument("--organisation", metavar="ID", help="where there are several")
        add_store(command)
    add_site(command)


def run(arguments: argparse.Namespace, name: str, clock: Callable[[], float] = time.time) -> int:
    """Run one of the commands; status 0 done, 2 bad input."""
    from api.service.in_force import InForce, NoSuchRulebook, Unreadable, read_shipped
    from api.service.rulebooks import BadKey, BadNote, NotSigned
    from audit.nouns.problem import BadInput

    def on_store(store: Store) -> int:
        in_force = InForce(store, read_shipped(arguments.site))
        return _RUN[name](arguments, in_force, organisation_of(arguments, store), clock())

    try:
        if name == "sign":
            return _sign(arguments)
        return with_store(arguments, on_store)
    except BadInput as error:
        say_problems(error.problems)
        print(f"{len(error.problems)} problems; nothing was changed.", file=sys.stderr)
    except NoSuchRulebook as error:
        print(f"There is no rulebook {error} on record; 'setup-audit rulebook list' lists them.", file=sys.stderr)
    except (BadKey, BadNote, NotSigned, Unreadable, Refused) as error:
        print(f"Nothing was changed: {error}.", file=sys.stderr)
    return BAD_INPUT


def _list(arguments: argparse.Namespace, in_force: InForce, organisation: str, now: float) -> int:
    from api.rulebook_wire import version_json
    from api.store import rulebooks as rows

    with in_force.store.reading(organisation, now) as work:
        found, digest, follows = rows.page(work, None, 1000), in_force.digest(work), not rows.chosen(work)
    if arguments.json:
        print(json.dumps([version_json(row, digest) for row in found], ensure_ascii=False, indent=1))
        return CLEARED
    for row in found:
        mark = "in force" if row.digest == digest else ""
        signed = f", signed by {row.signed_by[:12]}" if row.signed_by else ""
        print(f"{row.number:4} {row.digest[:16]} {mark:8} {shown(row.added)} by {row.added_by}{signed}: {row.note}")
    if follows:
        print(f"{digest[:16]} judges: what comes with the program.")
    return CLEARED


def _add(arguments: argparse.Namespace, in_force: InForce, organisation: str, now: float) -> int:
    from api.identity.tokens import at_command_line
    from api.service.rulebooks import add as put
    from api.service.rulebooks import read_candidate

    candidate = read_candidate(in_force.shipped, _files(arguments.folder))
    with in_force.store.writing(organisation, at_command_line(organisation).who, now) as work:
        row, new = put(work, in_force, candidate, arguments.note, arguments.signature)
    said = "is on record" if new else "was on record already"
    print(f"{row.digest} {said} as number {row.number}.")
    print(f"See what it would do: setup-audit rulebook replay {row.digest[:16]}")
    return CLEARED


def _replay(arguments: argparse.Namespace, in_force: InForce, organisation: str, now: float) -> int:
    from api.rulebook_wire import replay_json
    from api.service.replay import replay

    digest = _digest(arguments.digest, in_force, organisation)
    with in_force.store.reading(organisation, now) as work:
        found = replay(work, in_force, digest)
    print(json.dumps(replay_json(found), ensure_ascii=False) if arguments.json else "\n".join(_told(found)))
    return CLEARED


def _activate(arguments: argparse.Namespace, in_force: InForce, organisation: str, now: float) -> int:
    from api.identity.tokens import at_command_line
    from api.service.gate import Gate
    from api.service.rulebooks import activate, prepare

    gate = Gate(in_force, "")
    digest = _digest(arguments.digest, in_force, organisation)
    prepare(in_force, gate, organisation, digest)
    with in_force.store.writing(organisation, at_command_line(organisation).who, now) as work:
        row, gone = activate(work, in_force, gate, digest)
    print(f"{row.digest} judges from now on.")
    for start in gone:
        print(f"  revoked: start {start.id} of {start.unit}, which it would not clear")
    return CLEARED


def _rules(arguments: argparse.Namespace, in_force: InForce, organisation: str, now: float) -> int:
    from api.rulebook_wire import rules_json
    from api.service.replay import fleet
    from api.store.organisations import read

    with in_force.store.reading(organisation, now) as work:
        plain = rules_json(in_force.rulebook(work), read(work).effects, fleet(work, in_force))
    if arguments.json:
        print(json.dumps(plain, ensure_ascii=False))
        return CLEARED
    print(f"Over the newest setup of {plain['setups']} units, by {plain['digest'][:16]}:")
    for rule in plain["rules"]:
        does = "on trial" if rule["standing"] == "trial" else rule["effect"]
        counts = rule["fleet"]
        print(f"  {does:8} {counts['broken']:5} broken {counts['unknown']:5} unknown  {rule['id']}: {rule['title']}")
    return CLEARED


def _key(arguments: argparse.Namespace, in_force: InForce, organisation: str, now: float) -> int:
    from api.certificates.keys import jwk_of
    from api.identity.tokens import at_command_line
    from api.service.rulebooks import key_in_use, set_key

    jwk: Mapping[str, object] | None = None
    if arguments.make:
        jwk = jwk_of(_make_pair(arguments.make).private.public_key())
    elif arguments.set:
        jwk = _jwk(arguments.set)
    elif not arguments.remove:
        with in_force.store.reading(organisation, now) as work:
            found = key_in_use(work)
        print(f"Key {found} must sign what goes in force." if found else "No signature is asked for.")
        return CLEARED
    with in_force.store.writing(organisation, at_command_line(organisation).who, now) as work:
        found = set_key(work, in_force, jwk)
    print(f"From now on key {found} must sign what goes in force." if found else "No signature is asked for any more.")
    return CLEARED


def _sign(arguments: argparse.Namespace) -> int:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from api.certificates.keys import SigningKey, jwk_of, thumbprint
    from api.certificates.text import from_base64url
    from api.service.in_force import read_shipped
    from api.service.rulebooks import read_candidate, sign

    try:
        private = Ed25519PrivateKey.from_private_bytes(from_base64url(str(_jwk(arguments.key).get("d", ""))))
    except ValueError:
        raise Refused(f"{arguments.key} holds no private Ed25519 key") from None
    key = SigningKey(thumbprint(jwk_of(private.public_key())), private)
    candidate = read_candidate(read_shipped(arguments.site), _files(arguments.folder))
    print(f"Key {key.id} signs rulebook {candidate.digest}:", file=sys.stderr)
    print(sign(candidate.digest, key))
    return CLEARED


def _told(found: Replay) -> list[str]:
    from api.rulebook_wire import replay_json

    plain = replay_json(found)
    lines = [
        f"{found.setups} units by {found.before[:16]} now, by {found.after[:16]} then:",
        *(f"  {one['setups']:5} {one['before']} now, {one['after']} then" for one in plain["states"]),
    ]
    for rule in plain["rules"]:
        before, after = (_counts(rule[side]) for side in ("before", "after"))
        lines.append(f"  {rule['rule']}: {before} now, {after} then")
    for one in found.changes:
        by = [f"held by {_named(where)}" for where in one.held_by]
        by += [f"no longer held by {_named(where)}" for where in one.freed_of]
        lines.append(f"  {one.unit}: {one.before.value} now, {one.after.value} then; {'; '.join(by)}")
    lines += [f"  {one.unit} can't be read: {' '.join(one.problems)}" for one in found.not_read]
    more = found.more_changes + found.more_not_read
    return [*lines, f"  and {more} units more"] if more else lines


def _counts(side: Mapping[str, int] | None) -> str:
    if side is None:
        return "no such rule"
    return f"{side['broken']} broken, {side['unknown']} unknown, holds {side['holds']}"


def _named(where: tuple[str, str]) -> str:
    return where[0] + (f" ({where[1]})" if where[1] else "")


def _digest(text: str, in_force: InForce, organisation: str) -> str:
    """The one digest that begins so. Raises Refused."""
    from api.service.in_force import SHIPPED
    from api.store import rulebooks as rows

    if text == SHIPPED:
        return text
    with in_force.store.reading(organisation) as work:
        known = {in_force.shipped.rulebook.digest, *(row.digest for row in rows.page(work, None, 10_000))}
    found = sorted(digest for digest in known if len(text) >= SHORTEST and digest.startswith(text))
    if len(found) != 1:
        raise Refused(
            f"'{text[:64]}' names {len(found) or 'no'} rulebooks on record; write at least {SHORTEST} characters of a "
            "digest that 'setup-audit rulebook list' shows"
        )
    return found[0]


def _files(folder: Path) -> dict[str, str]:
    """Texts of a folder by path. Raises BadInput."""
    from audit.intake.rulebook import layer_of
    from audit.nouns.problem import BadInput, Place, Problem

    found, problems = {}, []
    for name, content in layer_of(folder, "").files.items():
        try:
            found[name] = content.decode()
        except UnicodeDecodeError as error:
            place = Place(f"{folder.name}/{name}")
            problems.append(Problem(place, f"is not UTF-8 (byte {error.start}).", "Save the file as UTF-8."))
    if problems:
        raise BadInput(problems)
    return found


def _jwk(file: Path) -> dict[str, object]:
    from api.certificates.text import json_object

    try:
        with file.open("rb") as stream:
            return json_object(stream.read(MOST_OF_A_KEY))
    except OSError as error:
        raise Refused(f"{file} can't be read: {error.strerror}") from None
    except ValueError as error:
        raise Refused(f"{file} holds no key: {error}") from None


def _make_pair(file: Path) -> SigningKey:
    """A new pair, kept in a file that was not there and that nobody else may read."""
    from api.certificates.keys import jwk_of, make
    from api.certificates.text import to_base64url

    key = make()
    jwk = {**jwk_of(key.private.public_key()), "d": to_base64url(key.private.private_bytes_raw()), "kid": key.id}
    try:
        with open(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as stream:
            json.dump(jwk, stream)
    except OSError as error:
        raise Refused(f"{file} can't be made: {error.strerror}") from None
    return key


_RUN = {
    "list": _list, "add": _add, "replay": _replay, "activate": _activate, "rules": _rules, "key": _key,
}  # fmt: skip
