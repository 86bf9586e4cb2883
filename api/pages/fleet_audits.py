"""Fleet audits as pages: begin one, see how far it is, and what came of it."""

from __future__ import annotations

import secrets
from hashlib import sha256
from typing import Annotated

from fastapi import File, Form, Request, Response, UploadFile

from api.errors import Refusal
from api.pages.door import must_be_own, pages_router, see
from api.pages.starts import plain_of
from api.pages.view import page
from api.routes import fleet_audits as doors
from api.routes.desk import desk_of
from api.routes.fleet_audits import AuditId, Reader, Recorder

router = pages_router(prefix="/fleet/audits")

ENDINGS = [f"{kind}{coding}" for coding in (".gz", ".zst", "") for kind in doors.KINDS.values()]
Text = Annotated[str, Form(max_length=200)]


@router.get("")
def audits(request: Request, caller: Reader) -> Response:
    """Fleet audits, the last begun first, and a form that begins another."""
    listed = plain_of(doors.list_audits(request, caller, before=None, most=50))["items"]
    return page(request, "fleet-audits.html", audits=listed)


@router.post("/of-record")
def begin_of_record(request: Request, caller: Recorder, name: Text = "", plan: Text = "") -> Response:
    """Audits the newest setup of every unit on record."""
    must_be_own(request)
    desk, id = desk_of(request), f"fleet-{secrets.token_hex(8)}"
    place = desk.jobs.place(caller.organisation, id)
    begun = plain_of(doors.begin_of_record(request, desk, caller, id, place, name, bool(plan)))
    return see(f"/fleet/audits/{begun['id']}")


@router.post("/of-file")
def begin_of_sent(
    request: Request, caller: Recorder, fleet: Annotated[UploadFile, File()], name: Text = "", plan: Text = ""
) -> Response:
    """Audits the setups of a file."""
    must_be_own(request)
    ending = next((one for one in ENDINGS if (fleet.filename or "").lower().endswith(f".{one}")), "")
    if not ending:
        raise Refusal(415, "Not taken", f"Send a file that ends in one of: {', '.join(ENDINGS)}.")
    desk, id = desk_of(request), f"fleet-{secrets.token_hex(8)}"
    place = desk.jobs.place(caller.organisation, id)
    place.mkdir(parents=True)
    found = sha256()
    with (place / f"fleet.{ending}").open("wb") as out:
        while part := fleet.file.read(1 << 20):
            found.update(part)
            out.write(part)
    begun = plain_of(
        doors.begin_of_file(
            request, desk, caller, id, place, f"fleet.{ending}", found.hexdigest(), name or (fleet.filename or ""),
            bool(plan),
        )
    )  # fmt: skip
    return see(f"/fleet/audits/{begun['id']}")


@router.get("/{audit}")
def audit(request: Request, caller: Reader, audit: AuditId) -> Response:
    """How far one is; once it is done, its summary and its lists."""
    found = plain_of(doors.get_audit(request, caller, audit))
    return page(request, "fleet-audit.html", audit=found)


@router.post("/{audit}/cancel")
def cancel(request: Request, caller: Recorder, audit: AuditId) -> Response:
    """Stops one that is at work."""
    must_be_own(request)
    doors.cancel_audit(request, caller, audit)
    return see(f"/fleet/audits/{audit}")
