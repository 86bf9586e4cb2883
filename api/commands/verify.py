"""setup-audit verify: whether a start certificate is good, without a network."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from api.status import BAD_INPUT, CLEARED, HELD

if TYPE_CHECKING:
    from api.certificates.certificate import Claims
    from api.certificates.keys import PublicKey
    from api.certificates.revocations import Revocations

EXAMPLES = {
    "verify": (
        "setup-audit verify start.jws --keys jwks.json --unit unit-07 --crop corn --header corn-head",
        "setup-audit verify start.jws --keys jwks.json --revoked revoked-starts.json --json",
    )
}
NOT_LOOKED_AT = "Revocation was not looked at: no list was given (--revoked), so it may have been revoked since."
_MOST_HOURS = 24 * 366
STILL = (
    "It says what the record said when it was issued. If the machine was changed since, it must be set up and audited "
    "again. Before any work on it: engine off, key out, everything stopped, header and feeder house on their safety "
    "stops; guards back on before the engine is started."
)


class _BadInput(Exception):
    """A file that can't be used, and why."""


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What was found: the claims of a good certificate, or why there are none."""

    claims: Claims | None
    flaw: str
    why: str


def add(command: argparse.ArgumentParser, _: str) -> None:
    """The command's arguments and options."""
    command.add_argument("file", metavar="FILE", help="the certificate; - for a pipe")
    command.add_argument(
        "--keys",
        required=True,
        type=Path,
        metavar="FILE",
        help="the server's keys, kept from its /.well-known/jwks.json",
    )
    command.add_argument(
        "--revoked", type=Path, metavar="FILE", help="what was revoked, kept from its /.well-known/revoked-starts.json"
    )
    command.add_argument(
        "--most-age", type=_hours, metavar="HOURS",
        help="how old that list may be; else it says itself until when it is good",
    )  # fmt: skip
    command.add_argument("--issuer", metavar="NAME", help="the server that it must be from")
    command.add_argument("--organisation", metavar="ID", help="the organisation that it must be for")
    command.add_argument("--unit", metavar="ID", help="the unit that it must be for")
    command.add_argument("--crop", metavar="CROP", help="the crop that it must be for")
    command.add_argument("--header", metavar="KIND", help="the kind of header that it must be for")
    command.add_argument("--short", metavar="TEXT", help="what a QR code says, to be held against the certificate")
    command.add_argument("--json", action="store_true", help="for programs")


def run(arguments: argparse.Namespace, _: str, clock: Callable[[], float] = time.time) -> int:
    """Say whether a certificate is good, for what and until when; status 0 good, 1 not good, 2 bad input."""
    now = clock()
    try:
        text = _text(arguments.file)
        keys = _keys(arguments.keys)
        listed = _listed(arguments.revoked, keys, now, arguments.most_age) if arguments.revoked else None
        outcome = _outcome(text, keys, listed, arguments, now)
    except _BadInput as error:
        print(error, file=sys.stderr)
        return BAD_INPUT
    if arguments.json:
        print(json.dumps(_plain(outcome, listed, now), ensure_ascii=False))
    else:
        print("\n".join(_told(outcome, listed, arguments, now)))
    return CLEARED if outcome.claims is not None else HELD


def _outcome(
    text: str,
    keys: dict[str, PublicKey],
    listed: Revocations | None,
    arguments: argparse.Namespace,
    now: float,
) -> _Outcome:
    from api.certificates.certificate import Expected, read
    from api.certificates.flaw import Flaw, NotGood
    from api.certificates.moment import shown
    from api.certificates.short import belongs

    expected = Expected(
        issuer=arguments.issuer,
        organisation=arguments.organisation,
        unit=arguments.unit,
        crop=arguments.crop,
        header_kind=arguments.header,
    )
    try:
        claims = read(text, listed.keys_left(keys) if listed else keys, now, expected)
        revoked = None
        if listed is not None:
            if listed.issuer != claims.issuer:
                raise _BadInput(
                    f"{arguments.revoked}: is of {listed.issuer}, but the certificate is of {claims.issuer}; "
                    "take the list of the same server."
                )
            revoked = listed.revoked(claims)
        if revoked is not None:
            raise NotGood(Flaw.REVOKED, f"It was revoked at {shown(revoked)}.")
        if arguments.short is not None and not belongs(arguments.short, claims, text):
            raise NotGood(Flaw.OTHER_SHORT_FORM, "The code that was read belongs to another certificate.")
    except NotGood as error:
        return _Outcome(None, error.flaw.value, str(error))
    return _Outcome(claims, "", "")


def _plain(outcome: _Outcome, listed: Revocations | None, now: float) -> dict[str, Any]:
    """The answer for programs. Times are whole s since 1970."""
    plain: dict[str, Any] = {"good": outcome.claims is not None}
    if outcome.claims is None:
        plain |= {"flaw": outcome.flaw, "why": outcome.why}
    else:
        claims = outcome.claims
        plain |= {name: getattr(claims, name) for name in type(claims).__slots__}
    plain["revocation"] = (
        {"looked_at": False}
        if listed is None
        else {
            "looked_at": True,
            "made": listed.made,
            "good_until": listed.until,
            "age_s": max(0, int(now) - listed.made),
        }
    )
    return plain


def _told(outcome: _Outcome, listed: Revocations | None, arguments: argparse.Namespace, now: float) -> Iterator[str]:
    """The answer in plain words."""
    from api.certificates.moment import shown, span

    if outcome.claims is None:
        yield f"NOT GOOD ({outcome.flaw}): {outcome.why}"
        yield "Do not start on it. Ask the server, or whoever keeps the record, whether the unit is cleared."
        return
    claims = outcome.claims
    yield f"GOOD: {claims.unit} may start {claims.crop} with {claims.header_kind or 'a header of unknown kind'}."
    yield f"  Until:     {shown(claims.expires)}, {span(claims.expires - now)} from now"
    yield f"  Issued:    {shown(claims.issued)} by {claims.issuer} for {claims.organisation}"
    yield f"  Start:     {claims.start}, record {claims.record_number} ({claims.record_hash[:16]})"
    yield f"  Setup:     {claims.setup} ({claims.setup_digest[:16]}), judged by rulebook {claims.rulebook[:12]}"
    if claims.accepted:
        count = len(claims.accepted)
        yield f"  Accepted:  {count} finding{'s' * (count != 1)}, by {', '.join(claims.accepted)}"
    if listed is None:
        yield NOT_LOOKED_AT
    else:
        yield f"Not revoked by the list of {shown(listed.made)}, which is {span(max(0.0, now - listed.made))} old."
        if listed.made < claims.issued:
            yield "The list is older than the certificate, so it can't say anything about it; fetch it again."
    for option, value in (("--unit", arguments.unit), ("--crop", arguments.crop), ("--header", arguments.header)):
        if value is None:
            yield f"Not compared: see for yourself that it is the {option[2:]} in front of you ({option} compares it)."
    yield STILL


def _text(name: str) -> str:
    """The certificate of a file, without the line end that editors put there."""
    from api.certificates.jws import MOST_BYTES

    try:
        if name == "-":
            some = sys.stdin.buffer.read(MOST_BYTES + 8)
        else:
            with Path(name).open("rb") as stream:
                some = stream.read(MOST_BYTES + 8)
    except OSError as error:
        raise _BadInput(f"{name}: can't be read: {error.strerror}.") from None
    return some.decode("utf-8", "replace").strip()


def _keys(path: Path) -> dict[str, PublicKey]:
    from api.certificates.keyset import MOST_BYTES, BadKeySet, read_jwks

    try:
        return read_jwks(_bytes(path, MOST_BYTES))
    except BadKeySet as error:
        raise _BadInput(f"{path}: is no key set that can be relied on: {error}.") from None


def _listed(path: Path, keys: dict[str, PublicKey], now: float, most_hours: float | None) -> Revocations:
    from api.certificates.flaw import Flaw, NotGood
    from api.certificates.revocations import MOST_BYTES, read

    try:
        return read(_bytes(path, MOST_BYTES), keys, now, None if most_hours is None else most_hours * 3600)
    except NotGood as error:
        way = " '--most-age HOURS' says how old it may be." if error.flaw is Flaw.EXPIRED else ""
        raise _BadInput(f"{path}: the list of revoked starts is not good: {error}{way}") from None


def _hours(text: str) -> float:
    try:
        hours = float(text)
    except ValueError:
        hours = 0.0
    if not 0 < hours <= _MOST_HOURS:
        raise argparse.ArgumentTypeError(f"must be hours above 0 and at most {_MOST_HOURS}")
    return hours


def _bytes(path: Path, most: int) -> bytes:
    """A file, or one byte more than may be read of it."""
    try:
        with path.open("rb") as stream:
            return stream.read(most + 1)
    except OSError as error:
        raise _BadInput(f"{path}: can't be read: {error.strerror}.") from None
