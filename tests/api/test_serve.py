"""`setup-audit serve` says where a browser finds it, and it is there."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import httpx2
import pytest

from tests.api.running.servers import free_port

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
@pytest.mark.parametrize("kept", [True, False])
def test_the_address_that_is_printed_opens_a_page(tmp_path: Path, host: str, kept: bool) -> None:
    store = ["--store", f"sqlite:///{tmp_path / 'record.db'}"] if kept else ["--no-store"]
    command = [sys.executable, "-m", "api.cli", "serve", "--host", host, "--port", str(free_port()), *store]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, cwd=tmp_path, env=environment, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            said = next(line for line in process.stdout if line.startswith("In a browser: "))
            address = said.removeprefix("In a browser: ").strip()
            reach = httpx2.HTTPTransport(retries=30)  # it is printed just before the server listens
            with httpx2.Client(transport=reach, follow_redirects=True, timeout=60) as client:
                answer = client.get(address, headers={"Accept": "text/html"})
            assert answer.status_code == 200
            assert answer.url.path == ("/sign-in" if kept else "/rules")
            assert answer.headers["content-type"].startswith("text/html")
        finally:
            process.terminate()
            process.wait(30)
