"""The words for what was found fit where they go, and leave no number out."""

from __future__ import annotations

import pytest

from daemon import words
from daemon.dose.finding import Finding, Surprise
from daemon.dose.ledger_file import LINE_LENGTH
from daemon.runs import Watch
from daemon.values import Cap, Role

NUMBERS = {
    Surprise.NO_EFFECT: {"doses": 8, "ml": 160.0, "expected_ph": 0.333, "seen_ph": -0.021},
    Surprise.UNPROVEN: {"doses": 1, "ml": 16.0, "expected_ph": 0.151, "seen_ph": -0.021},
    Surprise.WRONG_SIGN: {"ml": 16.0, "expected_ph": -0.26, "seen_ph": 0.181},
    Surprise.RUNAWAY: {"ml": 16.0, "expected_ph": -0.13, "moved_ph": -1.105},
    Surprise.STILL: {"ml": 16.0, "expected_ph": 0.151},
    Surprise.LITTLE_EFFECT: {"ml": 16.0, "expected_ph": 0.151, "seen_ph": 0.0214, "times": 7.1},
    Surprise.TOO_STRONG: {"ml": 16.0, "usual_ph": 0.051, "seen_ph": 0.149},
    Surprise.MOVED_ALONE: {"moved_ph": -0.131, "over_s": 1200.0},
    Surprise.STEPPED: {"from_ph": 6.021, "to_ph": 6.249},
    Surprise.EC_NO_EFFECT: {"doses": 3, "ml": 160.0, "expected_ms_per_cm": 0.333, "seen_ms_per_cm": -0.021},
    Surprise.EC_RUNAWAY: {"ml": 16.0, "seen_ms_per_cm": 1.105},
    Surprise.EC_MOVED_ALONE: {"moved_ms_per_cm": 0.231, "over_s": 10800.0},
    Surprise.REVERSALS: {"reversals": 3, "hours": 24.0},
}


@pytest.mark.parametrize("surprise", Surprise)
def test_a_finding_fits_into_a_line_of_the_ledger(surprise: Surprise) -> None:
    """It becomes the reason of a lock, and its end says what to look at."""
    text = words.finding(Finding(surprise, Role.PH_DOWN, NUMBERS[surprise]))
    assert "{" not in text
    assert len(text) <= LINE_LENGTH


def test_a_finding_says_its_numbers() -> None:
    """Expected and seen, so that a person can check them."""
    text = words.finding(Finding(Surprise.NO_EFFECT, Role.PH_DOWN, NUMBERS[Surprise.NO_EFFECT]))
    assert "8 doses of pH down, 160.0 mL, should have moved pH by 0.33 and moved it by -0.02" in text


def test_everything_that_may_refuse_or_watch_has_words() -> None:
    """No enum member is without them."""
    assert set(words.CAP) == set(Cap)
    assert set(words.FINDING) == set(Surprise)
    assert set(words.WATCH) == set(Watch)
