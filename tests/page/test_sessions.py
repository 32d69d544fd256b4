"""Who is logged in, and until when."""

from __future__ import annotations

import pytest

from daemon.page import sessions
from daemon.page.sessions import ENDS_S, Sessions
from daemon.page.visitor import Rank


class Later:
    """A clock that is set."""

    def __init__(self) -> None:
        self.s = 1000.0

    def __call__(self) -> float:
        return self.s


@pytest.fixture
def later() -> Later:
    """The clock of the sessions."""
    return Later()


def test_a_session_is_known_by_what_only_the_browser_has(later: Later) -> None:
    """It cannot be guessed, nor read out of what is kept here."""
    kept = Sessions(later)
    identity, session = kept.begin(Rank.HOLDER)
    other, another = kept.begin(Rank.HOLDER)
    assert len({identity, other, session.token, another.token}) == 4
    assert len(identity) >= 43
    assert kept.of(identity) is session
    assert [kept.of(guess) for guess in ("", "x", identity[:-1], session.token, "\ud800")] == [None] * 5
    assert identity not in repr(vars(kept))


@pytest.mark.parametrize("rank", [Rank.HOLDER, Rank.GUEST])
def test_it_ends_without_a_look_and_at_the_latest(later: Later, rank: Rank) -> None:
    """A phone that lies about; and one that looks each hour."""
    idle_s, longest_s = ENDS_S[rank]
    kept = Sessions(later)
    identity, _ = kept.begin(rank)
    later.s += idle_s - 1.0
    assert kept.of(identity) is not None
    later.s += idle_s
    assert kept.of(identity) is None
    identity, session = kept.begin(rank)
    while later.s - session.begun_s < longest_s - 3600.0:
        later.s += 3600.0
        found = kept.of(identity)
        assert found is session
    later.s = session.begun_s + longest_s
    assert kept.of(identity) is None


def test_a_page_that_renews_itself_does_not_make_it_last(later: Later) -> None:
    """Only a person's look does."""
    kept = Sessions(later)
    identity, _ = kept.begin(Rank.HOLDER)
    idle_s = ENDS_S[Rank.HOLDER][0]
    later.s += idle_s - 1.0
    assert kept.of(identity, by_itself=True) is not None
    later.s += 1.0
    assert kept.of(identity, by_itself=True) is None


def test_logging_out_ends_it_here(later: Later) -> None:
    """One, or all."""
    kept = Sessions(later)
    one, other = kept.begin(Rank.HOLDER)[0], kept.begin(Rank.GUEST)[0]
    kept.end(one)
    kept.end(one)
    assert kept.of(one) is None
    assert kept.of(other) is not None
    kept.end_all()
    assert kept.of(other) is None


def test_no_more_than_a_few_are_kept(later: Later, monkeypatch: pytest.MonkeyPatch) -> None:
    """The one that was longest without a look goes."""
    monkeypatch.setattr(sessions, "MOST", 2)
    kept = Sessions(later)
    first = kept.begin(Rank.HOLDER)[0]
    later.s += 1.0
    second = kept.begin(Rank.HOLDER)[0]
    later.s += 1.0
    kept.of(first)
    third = kept.begin(Rank.HOLDER)[0]
    assert [kept.of(each) is not None for each in (first, second, third)] == [True, False, True]


def test_a_clock_that_makes_no_sense_ends_it(later: Later) -> None:
    """NaN is never within."""
    kept = Sessions(later)
    identity, _ = kept.begin(Rank.HOLDER)
    later.s = float("nan")
    assert kept.of(identity) is None
