"""Slowing by address."""

from __future__ import annotations

from typing import Any

import pytest

from api.identity.attempts import AT_ONCE, EVERY, Attempts


def fail(attempts: Attempts, address: str, times: int) -> None:
    for _ in range(times):
        attempts.failed(address)


def test_some_at_once_and_then_one_by_one(clock: Any) -> None:
    attempts = Attempts(clock)
    fail(attempts, "192.0.2.1", AT_ONCE - 1)
    assert attempts.wait("192.0.2.1") == 0
    fail(attempts, "192.0.2.1", 1)
    assert attempts.wait("192.0.2.1") == EVERY
    clock.at += EVERY
    assert attempts.wait("192.0.2.1") == 0
    fail(attempts, "192.0.2.1", 1)
    assert attempts.wait("192.0.2.1") == EVERY
    clock.at += AT_ONCE * EVERY
    fail(attempts, "192.0.2.1", AT_ONCE - 1)
    assert attempts.wait("192.0.2.1") == 0


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [("2001:db8:1:2::1", "2001:db8:1:2:ffff::9", True), ("2001:db8:1:2::1", "2001:db8:1:3::1", False),
     ("::ffff:192.0.2.1", "192.0.2.1", True), ("192.0.2.1", "192.0.2.2", False), ("fe80::1%eth0", "fe80::1", True),
     ("", "", True), ("a-socket", "another", False)],
)  # fmt: skip
def test_which_addresses_count_as_one(clock: Any, one: str, other: str, same: bool) -> None:
    attempts = Attempts(clock)
    fail(attempts, one, AT_ONCE)
    assert (attempts.wait(other) > 0) is same


def test_memory_is_bounded_and_the_oldest_goes_first(clock: Any) -> None:
    attempts = Attempts(clock, most=10)
    for number in range(11):
        fail(attempts, f"192.0.2.{number}", AT_ONCE)
    assert attempts.wait("192.0.2.0") == 0
    assert attempts.wait("192.0.2.1") > 0
    assert len(attempts._empty_at) == 10
