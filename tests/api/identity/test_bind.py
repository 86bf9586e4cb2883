"""Where the service may be reached."""

from __future__ import annotations

import pytest

from api.identity.bind import may_bind

REACHED = ["0.0.0.0", "::", "", "10.0.0.5", "192.168.1.2", "audit.example", "2001:db8::1"]


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.0.0.53"])
@pytest.mark.parametrize("given", [False, True])
def test_this_machine_alone_always(host: str, given: bool) -> None:
    assert may_bind(host, given, given, given) is None


@pytest.mark.parametrize("host", REACHED)
@pytest.mark.parametrize("behind", [False, True])
def test_never_where_nobody_could_sign_on(host: str, behind: bool) -> None:
    assert "token make" in (may_bind(host, tokens=False, sign_on=False, behind_proxy=behind) or "")


@pytest.mark.parametrize("host", REACHED)
@pytest.mark.parametrize(("tokens", "sign_on"), [(True, False), (False, True), (True, True)])
def test_others_only_behind_what_encrypts(host: str, tokens: bool, sign_on: bool) -> None:
    assert "plain text" in (may_bind(host, tokens, sign_on, behind_proxy=False) or "")
    assert may_bind(host, tokens, sign_on, behind_proxy=True) is None
