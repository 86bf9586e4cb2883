"""Quotas: never more than the quota in a burst, all of it over time, and no more keys than are kept."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from api.middleware.rates import Rate, Spending, key_of_address, key_of_token


@given(
    quota=st.integers(1, 50),
    window=st.integers(1, 100),
    gaps=st.lists(st.floats(0, 20, allow_nan=False), min_size=1, max_size=200),
)
@example(quota=1, window=33, gaps=[0.0, 0.99999])
def test_no_window_takes_more_than_twice_the_quota_and_every_pause_is_enough(
    quota: int, window: int, gaps: list[float]
) -> None:
    """A burst of the whole quota, and what grows back in the window: the bound of the algorithm (ITU-T I.371)."""
    spending, now, taken = Spending(Rate("a", quota, window), 10), 0.0, []
    for gap in gaps:
        now += gap
        charge = spending.charge(b"key", now)
        assert 0 <= charge.left < quota
        if charge.wait:
            assert charge.left == 0
            waited = Spending(spending.rate, 10)
            waited._whole.update(spending._whole)
            assert waited.charge(b"key", now + charge.wait).wait == 0
        else:
            taken.append(now)
    for start in taken:
        assert sum(start <= at < start + window for at in taken) <= 2 * quota


@given(quota=st.integers(1, 200), window=st.integers(1, 3600), now=st.floats(0, 1e8))
def test_a_burst_is_the_quota_exactly(quota: int, window: int, now: float) -> None:
    spending = Spending(Rate("a", quota, window), 10)
    charges = [spending.charge(b"key", now) for _ in range(quota + 3)]
    assert [charge.wait == 0 for charge in charges] == [True] * quota + [False] * 3
    assert [charge.left for charge in charges[:quota]] == list(range(quota - 1, -1, -1))
    assert all(before.full <= after.full for before, after in pairwise(charges))
    assert charges[-1].full == window


def test_keys_do_not_spend_each_others_quota() -> None:
    spending = Spending(Rate("a", 1, 60), 10)
    assert [spending.charge(key, 0.0).wait for key in (b"one", b"two", b"one")] == [0, 0, 60]


def test_refused_requests_cost_nothing() -> None:
    spending = Spending(Rate("a", 1, 60), 10)
    spending.charge(b"key", 0.0)
    for second in range(1, 59):
        assert spending.charge(b"key", float(second)).wait == 60 - second
    assert spending.charge(b"key", 60.0).wait == 0


def test_memory_is_bounded_and_the_longest_idle_goes_first() -> None:
    spending = Spending(Rate("a", 1, 1000), 100)
    for number in range(5000):
        spending.charge(b"%d" % number, number / 100)
    assert len(spending) == 100
    assert spending.charge(b"4999", 50.0).wait > 0
    assert spending.charge(b"0", 50.0).wait == 0


def test_keys_hold_no_token_and_take_a_client_by_its_network() -> None:
    assert b"secret" not in key_of_token(b"Bearer secret")
    assert key_of_token(b"Bearer a") != key_of_token(b"Bearer b")
    assert key_of_address("2001:db8:1:2::7") == key_of_address("2001:db8:1:2:ffff::1")
    assert key_of_address("2001:db8:1:2::7") != key_of_address("2001:db8:1:3::7")
    assert key_of_address("::ffff:192.0.2.1") == key_of_address("192.0.2.1")
    assert key_of_address("192.0.2.1") != key_of_address("192.0.2.2")
    assert len(key_of_address("x" * 1000)) <= 64


@pytest.mark.parametrize(("quota", "window"), [(0, 60), (1, 0), (-1, 60)])
def test_a_rate_of_nothing_is_refused(quota: int, window: int) -> None:
    with pytest.raises(ValueError, match="at least 1"):
        Rate("a", quota, window)
