"""How soon a password may be tried again."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.page.attempts import FORGOTTEN_S, FREE, IN_ALL, LONGEST_S, MOST_REMEMBERED, WITHIN_S, Attempts


def wrong(attempts: Attempts, address: str, now_s: float) -> None:
    """One wrong password."""
    attempts.begins(address, now_s)
    attempts.wrong(address, now_s)


def test_after_a_few_each_wait_is_twice_as_long() -> None:
    """Up to a quarter of an hour."""
    attempts, now_s, waits = Attempts(), 0.0, []
    for _ in range(FREE + 12):
        wrong(attempts, "192.0.2.4", now_s)
        wait_s = attempts.wait_s("192.0.2.4", now_s)
        waits.append(wait_s)
        now_s += max(wait_s, WITHIN_S)  # so that the bound on all does not show
    assert waits[: FREE - 1] == [0.0] * (FREE - 1)
    assert waits[FREE - 1 :] == [min(LONGEST_S, 2.0**power) for power in range(13)]


def test_an_address_that_waits_keeps_no_other_waiting() -> None:
    """Unless there are too many in all."""
    attempts = Attempts()
    for _ in range(FREE + 3):
        wrong(attempts, "192.0.2.4", 0.0)
    assert attempts.wait_s("192.0.2.4", 0.0) == 8.0
    assert attempts.wait_s("192.0.2.5", 0.0) == 0.0


def test_a_network_of_ipv6_is_one_address() -> None:
    """A household has as many as it likes."""
    attempts = Attempts()
    for count in range(FREE):
        wrong(attempts, f"2001:db8::{count:x}", 0.0)
    assert attempts.wait_s("2001:db8::ffff", 0.0) == 1.0
    assert attempts.wait_s("2001:db8:0:1::1", 0.0) == 0.0


def test_all_together_are_bounded() -> None:
    """However many addresses there are."""
    attempts = Attempts()
    for count in range(IN_ALL):
        assert attempts.wait_s(f"192.0.2.{count}", 1.0) == 0.0
        wrong(attempts, f"192.0.2.{count}", 1.0)
    assert attempts.wait_s("198.51.100.1", 1.0) == WITHIN_S
    assert attempts.wait_s("198.51.100.1", 1.0 + WITHIN_S) == 0.0


def test_tries_at_the_same_time_count_before_they_are_known() -> None:
    """Sending a hundred at once is no way around it."""
    attempts = Attempts()
    for _ in range(FREE):
        attempts.begins("192.0.2.4", 0.0)
    assert attempts.wait_s("192.0.2.4", 0.0) > 0.0


def test_the_right_one_of_the_holder_forgets_the_wrong_ones() -> None:
    """A guest's does not: else it would make room for guessing at the other."""
    for forgets, wait_s in ((True, 0.0), (False, 1.0)):
        attempts = Attempts()
        for _ in range(FREE):
            wrong(attempts, "192.0.2.4", 0.0)
        attempts.begins("192.0.2.4", 2.0)
        attempts.right("192.0.2.4", forgets=forgets)
        assert attempts.wait_s("192.0.2.4", 2.0) == wait_s


def test_after_an_hour_it_is_forgotten() -> None:
    """Not sooner."""
    attempts = Attempts()
    for _ in range(FREE + 20):
        wrong(attempts, "192.0.2.4", 0.0)
    assert attempts.wait_s("192.0.2.4", LONGEST_S - 1.0) == 1.0
    wrong(attempts, "192.0.2.4", FORGOTTEN_S)
    assert attempts.wait_s("192.0.2.4", FORGOTTEN_S) == 0.0


def test_what_is_remembered_is_bounded() -> None:
    """A flood of addresses fills no memory."""
    attempts = Attempts()
    for count in range(MOST_REMEMBERED + 50):
        wrong(attempts, f"10.0.{count // 250}.{count % 250}", count * WITHIN_S)
    assert len(attempts._tried) == MOST_REMEMBERED
    assert len(attempts._all) == IN_ALL


@given(st.lists(st.tuples(st.integers(0, 30), st.floats(0.0, 30.0)), max_size=80))
def test_no_minute_has_more_wrong_ones_than_the_bound(tries: list[tuple[int, float]]) -> None:
    """Whoever tries, from wherever, as soon as they may."""
    attempts, now_s, begun = Attempts(), 0.0, []
    for address, pause_s in tries:
        now_s += pause_s
        if attempts.wait_s(f"192.0.2.{address}", now_s) == 0.0:
            wrong(attempts, f"192.0.2.{address}", now_s)
            begun.append(now_s)
    for first in begun:
        assert sum(first <= each < first + WITHIN_S for each in begun) <= IN_ALL


@pytest.mark.parametrize("address", ["", "testclient", "fe80::1%eth0"])
def test_any_address_is_counted(address: str) -> None:
    """Whatever it looks like."""
    attempts = Attempts()
    for _ in range(FREE):
        wrong(attempts, address, 0.0)
    assert attempts.wait_s(address, 0.0) == 1.0
