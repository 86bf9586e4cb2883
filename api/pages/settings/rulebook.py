"""Versions of the rulebook: which one judges, what another one would change in the fleet, and putting it in force."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import File, Form, Request, Response, UploadFile

from api.errors import Refusal
from api.exchange.reading.files import is_archive, unpacked
from api.exchange.reading.nouns import NotRead
from api.identity.caller import Caller
from api.pages.asking import plain_of, with_header
from api.pages.door import must_be_own, pages_router, see
from api.pages.telling import teller_of
from api.pages.view import HEADERS, View, page, view_of
from api.routes import rulebooks as doors
from api.routes.desk import Before, desk_of, tag
from api.routes.rulebooks import Author, Digest, Reader
from api.service.in_force import SHIPPED
from api.service.rulebooks import MOST_NOTE
from api.store import events, units
from api.store.database import Work
from api.store.rulebooks import IN_FORCE
from audit.intake.rulebook import FOLDERS
from audit.nouns.machine import MachineCard
from audit.nouns.rulebook import Rulebook

router = pages_router(prefix="/settings/rulebook")

MOST = 30
"""Versions on a page."""
MOST_ACTIVATIONS = 20
MOST_LISTED = 200
"""Units and rules that a replay names; all are counted."""


@router.get("")
def rulebook(request: Request, caller: Reader, before: Before = None) -> Response:
    """What judges and since when, every version on record, and the form that puts a candidate there."""
    return _page(request, caller, before)


@router.post("")
def add(
    request: Request, caller: Author, files: Annotated[UploadFile, File()],
    note: Annotated[str, Form(max_length=2 * MOST_NOTE)] = "", signature: Annotated[str, Form(max_length=400)] = "",
) -> Response:  # fmt: skip
    """Puts a candidate on record out of an archive; one that is refused comes back with every problem."""
    must_be_own(request)
    written = {"note": note, "signature": signature}
    try:
        sent = {"files": _files(files), "note": note.strip(), "signature": signature.strip()}
    except NotRead as error:
        return _page(request, caller, None, 422, [_problem(error.place, error.why, error.advice)], written)
    answer = doors.add(request, caller, json.dumps(sent).encode())
    found = plain_of(answer)
    if answer.status_code >= 400:
        return _page(request, caller, None, answer.status_code, found["problems"], written)
    return see(f"/settings/rulebook/{found['digest']}")


@router.get("/{digest}")
def version(request: Request, caller: Reader, digest: Digest) -> Response:
    """One version: whose it is, and its own files."""
    found = _version(request, caller, digest)
    if found is None:
        raise Refusal(404, "No such rulebook", f"There is no rulebook {digest[:64]} on record.")
    try:
        own = sorted(plain_of(doors.files(request, digest, caller))["site"])
    except Refusal as error:
        unread = teller_of(view_of(request)).refusal(error.detail)
        return page(request, "settings-version.html", version=found, digest=digest, own=[], unread=unread)
    return page(request, "settings-version.html", version=found, digest=digest, own=own, unread="")


@router.get("/{digest}/files.zip")
def own_files(request: Request, caller: Reader, digest: Digest) -> Response:
    """The organisation's own files of a version as an archive, which can be changed and sent again."""
    found: Mapping[str, str] = plain_of(doors.files(request, digest, caller))["site"]
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in sorted(found.items()):
            archive.writestr(zipfile.ZipInfo(name), text.encode(), zipfile.ZIP_DEFLATED)
    name = f"rulebook-{digest[:12]}.zip"
    return Response(
        written.getvalue(), media_type="application/zip",
        headers={**HEADERS, "Content-Disposition": f'attachment; filename="{name}"'},
    )  # fmt: skip


@router.get("/{digest}/replay")
def replay(request: Request, caller: Author, digest: Digest) -> Response:
    """What it would say of the fleet. Nothing is written; it can be put in force from here."""
    found = plain_of(doors.replay_version(request, digest, caller, MOST_LISTED))
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        now, then = desk.in_force.rulebook(work), desk.in_force.version(work, digest).rulebook
        names = _Names(view_of(request), work, now, then)
        changes = [
            {
                **one,
                "held_by": [names.of(one["unit"], where) for where in one["held_by"]],
                "freed_of": [names.of(one["unit"], where) for where in one["freed_of"]],
            }
            for one in found["changes"]
        ]
    tell = teller_of(view_of(request))
    found["not_read"] = [
        {**one, "problems": [tell.refusal(text) for text in one["problems"]]} for one in found["not_read"]
    ]
    rules = [{**one, "title": names.title(one["rule"])} for one in found["rules"]]
    return page(
        request, "settings-replay.html", digest=digest, replay=found, changes=changes, rules=rules[:MOST_LISTED],
        more_rules=max(0, len(rules) - MOST_LISTED), version=_version(request, caller, digest),
        judges=found["before"] == found["after"], needs_key=plain_of(doors.key(request, caller))["key"],
    )  # fmt: skip


@router.post("/{digest}/activate")
def activate(
    request: Request, caller: Author, digest: Digest, before: Annotated[str, Form(pattern=r"^[0-9a-f]{64}$")]
) -> Response:
    """Lets a version judge from now on, if the one that it was compared with still does."""
    must_be_own(request)
    try:
        body = json.dumps({"digest": digest}).encode()
        answer = doors.activate(with_header(request, "if-match", tag(before)), caller, body)
    except Refusal as error:
        if error.status != 412:
            raise
        detail = "Another rulebook went in force meanwhile. Compare this one with it, and decide anew."
        raise Refusal(412, "Changed meanwhile", detail) from None
    found = plain_of(answer)
    if answer.status_code >= 400:
        return _page(request, caller, None, answer.status_code, found["problems"])
    gone = found["revoked_starts"]
    return _page(request, caller, None, gone=gone) if gone else see("/settings/rulebook")


class _Names:
    """What rules and components are called, by either rulebook."""

    def __init__(self, view: View, work: Work, *rulebooks: Rulebook) -> None:
        self.say, self.work, self.rulebooks = view.language.say, work, rulebooks
        self.parts: dict[str, dict[str, str]] = {}

    def title(self, rule: str) -> str:
        """A rule's title, its id where neither has it."""
        found = next((one.rules[rule].title for one in reversed(self.rulebooks) if rule in one.rules), rule)
        return self.say(found)

    def of(self, unit: str, where: Mapping[str, str]) -> dict[str, str]:
        """A rule and the component that it is asked of."""
        if unit not in self.parts:
            row = units.find(self.work, unit)
            cards = (one.machines.get(row.card) for one in self.rulebooks) if row else ()
            card: MachineCard | None = next((one for one in cards if one is not None), None)
            self.parts[unit] = {one.id: self.say(one.title) for one in card.components()} if card else {}
        on = self.parts[unit].get(where["on"], where["on"])
        return {"rule": where["rule"], "title": self.title(where["rule"]), "on": on}


def _page(
    request: Request, caller: Caller, before: int | None, status: int = 200,
    problems: list[dict[str, Any]] | None = None, sent: Mapping[str, str] | None = None, gone: list[str] | None = None,
) -> Response:  # fmt: skip
    found = plain_of(doors.list_versions(request, caller, before, MOST))
    lines = found["items"]
    now = plain_of(doors.in_force(request, caller))
    desk, tell = desk_of(request), teller_of(view_of(request))
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        past = [] if caller.units else list(events.read(work, subject=IN_FORCE))
    told = [
        {**one, "message": tell.refusal(one["message"]), "advice": tell.refusal(one["advice"])}
        for one in problems or ()
    ]
    return page(
        request, "settings-rulebook.html", status, versions=lines, now=now, first=before is None,
        judging=_version(request, caller, now["digest"]), key=plain_of(doors.key(request, caller))["key"],
        further=f"/settings/rulebook?before={lines[-1]['number']}" if found["next"] else "",
        activations=past[: -MOST_ACTIVATIONS - 1 : -1], problems=told, gone=gone or [],
        sent=sent or {"note": "", "signature": ""}, most_note=MOST_NOTE,
    )  # fmt: skip


def _version(request: Request, caller: Caller, digest: str) -> dict[str, Any] | None:
    """A version on record; for the one that comes with the program, what is known of it; None where there is none."""
    try:
        return plain_of(doors.one_version(request, digest, caller))
    except Refusal as error:
        shipped = desk_of(request).in_force.shipped.rulebook.digest
        if error.status != 404 or digest not in (SHIPPED, shipped):
            raise
        now = plain_of(doors.in_force(request, caller))["digest"]
        return {"digest": shipped, "number": None, "note": "came with the program", "signed_by": "", "added": None,
                "added_by": "", "activated": None, "in_force": now == shipped}  # fmt: skip


def _files(sent: UploadFile) -> dict[str, str]:
    """Texts by path out of an archive; one folder around all of them is left out. Raises NotRead."""
    name, content = (sent.filename or "")[-200:] or "archive", sent.file.read()
    if not is_archive(content):
        raise NotRead(name, "is no zip archive", "Send your own files as one, with packs/, crops/ or machines/ in it")
    archive = unpacked(name, content)
    paths = [path for path in archive.paths() if path.endswith((".yaml", ".yml"))]
    if not paths:
        raise NotRead(name, "holds no file that ends in .yaml", "Rules, crops and machine cards are such files")
    around = {path.partition("/")[0] for path in paths if "/" in path}
    wrapped = len(around) == 1 and not any("/" not in path for path in paths) and not around & set(FOLDERS)
    found = {}
    for path in paths:
        try:
            text = archive.read(path).decode()
        except UnicodeDecodeError:
            raise NotRead(f"{name}/{path}", "is not UTF-8", "Save it as UTF-8 text") from None
        found[path.partition("/")[2] if wrapped else path] = text
    return found


def _problem(place: str, why: str, advice: str) -> dict[str, Any]:
    return {"source": place, "line": 0, "path": "", "message": f"{why}.", "advice": f"{advice}." if advice else ""}
