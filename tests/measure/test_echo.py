"""What our own doses say of the pH electrode."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.echo import FIRST, NEWEST, SKIPPED, Echo, EchoNote, heard, with_dose
from tests.strategies import any_float


def after(first: float, newest: float, *, scatter: float = 0.1, seed: int = 1) -> Echo:
    """Doses that at first showed this share of what was expected, and lately that."""
    chance, echo = Random(seed), Echo()
    for share in (9.0,) * SKIPPED + (first,) * FIRST + (newest,) * NEWEST:
        echo = with_dose(echo, share * (1.0 + chance.gauss(0.0, scatter)))
    return echo


@pytest.mark.parametrize("first", [0.4, 1.0, 2.5])
@pytest.mark.parametrize(
    ("share", "note"),
    [
        (0.5, EchoNote.WEAKER),
        (0.8, EchoNote.AS_BEFORE),
        (1.0, EchoNote.AS_BEFORE),
        (1.3, EchoNote.AS_BEFORE),
        (2.0, EchoNote.STRONGER),
    ],
)
def test_it_is_held_against_what_it_was(first: float, share: float, note: EchoNote) -> None:
    """However far the settings' guess was off."""
    said = heard(after(first, first * share, scatter=0.05))
    assert said.note is note
    assert said.share == pytest.approx(share, rel=0.1)
    assert said.doses == SKIPPED + FIRST + NEWEST


def test_too_few_tell_nothing() -> None:
    """Until there are enough of both."""
    echo = Echo()
    for _ in range(SKIPPED + FIRST + NEWEST - 1):
        echo = with_dose(echo, 1.0)
        assert heard(echo).note is EchoNote.TOO_FEW
    assert heard(with_dose(echo, 0.5)).note is EchoNote.AS_BEFORE


def test_one_odd_dose_is_outvoted() -> None:
    """A hand in the water, a bubble: the median does not care."""
    echo = with_dose(with_dose(after(1.0, 1.0), 0.01), 9.0)
    assert heard(echo).note is EchoNote.AS_BEFORE


@pytest.mark.parametrize("seed", range(20))
def test_what_scatters_widely_is_no_evidence(seed: int) -> None:
    """A share of 0.6 that is known to a quarter is not below 0.7."""
    assert heard(after(1.0, 0.65, scatter=0.4, seed=seed)).note is not EchoNote.STRONGER
    assert heard(after(1.0, 1.0, scatter=0.2, seed=seed)).note is EchoNote.AS_BEFORE


@given(st.lists(any_float, max_size=40))
def test_whatever_doses_show_is_borne(shares: list[float]) -> None:
    """What is no number, or nothing, is left out."""
    echo = Echo()
    for share in shares:
        echo = with_dose(echo, share)
    said = heard(echo)
    assert said.doses <= SKIPPED + FIRST + NEWEST
    assert (said.share is None) == (said.note is EchoNote.TOO_FEW)
