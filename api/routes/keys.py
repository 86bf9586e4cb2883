"""GET /.well-known/jwks.json and /.well-known/revoked-starts.json: all that a terminal needs to check certificates."""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Any

from fastapi import APIRouter, Request, Response

from api.certificates.keyset import jwks
from api.certificates.revocations import sign
from api.errors import Refusal
from api.routes.desk import desk_of
from api.routes.state import tagged
from api.store.keys import current, published, revocations

KEYS_FRESH = 300
"""Seconds for which a client may keep the keys without asking again."""
REVOKED_FRESH = 60
"""The same for the list of revoked starts."""

router = APIRouter(prefix="/.well-known", tags=["certificates"])

_KEPT: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"application/jwk-set+json": {}},
        "headers": {"ETag": {"description": "changes with the keys", "schema": {"type": "string"}}},
    },
    304: {"description": "the keys are still those of the ETag sent as If-None-Match"},
}


@router.get("/jwks.json", summary="Public keys of start certificates, a JWK Set (RFC 7517)", responses=_KEPT)
def key_set(request: Request) -> Response:
    desk = desk_of(request)
    with desk.store.connection() as connection:
        keys = published(connection, desk.clock())
    body = json.dumps(jwks(keys), separators=(",", ":")).encode()
    tag = f'"{sha256(body).hexdigest()[:32]}"'
    return tagged(request, lambda: body, tag, f"public, max-age={KEYS_FRESH}", "application/jwk-set+json")


@router.get("/revoked-starts.json", summary="Starts that are cleared no longer, as a signed list to carry offline")
def revoked_starts(request: Request) -> Response:
    desk = desk_of(request)
    with desk.store.connection() as connection:
        key = current(connection, desk.secret)
        listed = revocations(connection, desk.address, desk.clock())
    if key is None:
        raise Refusal(404, "Not found", "Nothing was ever signed here, so there is nothing to revoke.")
    headers = {"Cache-Control": f"public, max-age={REVOKED_FRESH}"}
    return Response(sign(listed, key), media_type="application/json", headers=headers)
