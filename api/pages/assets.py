"""Style sheet, scripts and icons of the pages, each under an address that changes with its content."""

from __future__ import annotations

import gzip
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path

from fastapi import APIRouter, Request, Response

from api.errors import Refusal

FOLDER = Path(__file__).parent / "static"
MEDIA = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".txt": "text/plain; charset=utf-8",
}
"""What may be served. Anything else in the folder is not."""
FOR_EVER = "public, max-age=31536000, immutable"

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class Asset:
    """A file as it is sent."""

    media: str
    digest: str
    body: bytes
    packed: bytes


@cache
def assets() -> Mapping[str, Asset]:
    """Every file by name."""
    found = {}
    for path in sorted(FOLDER.iterdir()):
        if path.suffix in MEDIA:
            body = path.read_bytes()
            digest = sha256(body).hexdigest()[:16]
            found[path.name] = Asset(MEDIA[path.suffix], digest, body, gzip.compress(body, 9, mtime=0))
    return found


def address(name: str) -> str:
    """Where a file is found. Raises KeyError."""
    return f"/static/{assets()[name].digest}/{name}"


@router.get("/static/{digest}/{name}")
def serve(request: Request, digest: str, name: str) -> Response:
    """A file; one of an older page is answered as it is now, and then not kept."""
    found = assets().get(name)
    if found is None:
        raise Refusal(404, "Not found", "There is no such file.")
    headers = {"Cache-Control": FOR_EVER if digest == found.digest else "no-cache", "Vary": "Accept-Encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(found.packed, media_type=found.media, headers={**headers, "Content-Encoding": "gzip"})
    return Response(found.body, media_type=found.media, headers=headers)
