"""Over TLS the name is checked, although the connection goes to an address that was looked up before.

Outside reference: RFC 9525 (a certificate is for a name), by the ssl library.
"""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from ipaddress import ip_network
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from api.exchange.addresses import NotReached, ask, looked_at

NAME = "plans.ridgeline.example"
OWN = (ip_network("127.0.0.0/8"),)


def made(folder: Path) -> tuple[Path, Path]:
    """A certificate for ``NAME`` that signs itself, and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, NAME)])
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(NAME)]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    files = folder / "certificate.pem", folder / "key.pem"
    files[0].write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    files[1].write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    return files


@pytest.fixture
def certificate(tmp_path: Path) -> tuple[Path, Path]:
    return made(tmp_path)


@pytest.fixture
def port(certificate: tuple[Path, Path]) -> Iterator[int]:
    """A server with that certificate."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.rfile.read(int(self.headers["content-length"]))
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    class Server(HTTPServer):
        def handle_error(self, *_: Any) -> None:
            """A handshake that is broken off is what is tested."""

    server = Server(("127.0.0.1", 0), Handler)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(*certificate)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True).start()
    yield server.server_address[1]
    server.shutdown()
    server.server_close()


def sent_to(name: str, port: int) -> int:
    def resolve(_: str, at: int) -> Any:
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", ("127.0.0.1", at))]

    return ask(looked_at(f"https://{name}:{port}/hook", OWN, resolve), "POST", body=b"{}", patience=20.0).status


def trust(monkeypatch: pytest.MonkeyPatch, file: Path) -> None:
    """Lets clients of this test trust one more certificate."""
    usual = ssl.SSLContext.wrap_socket

    def wrap(self: ssl.SSLContext, *some: Any, **more: Any) -> Any:
        if not more.get("server_side"):
            self.load_verify_locations(file)
        return usual(self, *some, **more)

    monkeypatch.setattr(ssl.SSLContext, "wrap_socket", wrap)


def test_a_certificate_that_nobody_vouches_for_is_refused(port: int) -> None:
    with pytest.raises(NotReached):
        sent_to(NAME, port)


def test_a_certificate_is_taken_for_its_own_name_only(
    port: int, certificate: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    trust(monkeypatch, certificate[0])
    assert sent_to(NAME, port) == 204
    with pytest.raises(NotReached):
        sent_to("elsewhere.example", port)
