"""Whether stocks raised strength, and whether strength rises with no dose."""

from __future__ import annotations

from dataclasses import replace

import pytest

from daemon.dose.finding import Finding, Surprise
from daemon.dose.newest import READINGS
from daemon.dose.strength_response import Feeding, disturbed, fed, watch_strength
from daemon.values import Quality, Role, VerdictReason
from tests.dose.test_strength import ec

MIXING_S = 120.0
MIXED_S = 3.0 * MIXING_S
HOUR_S = 3600.0


class Water:
    """Strength seen every ten seconds, and what was found."""

    def __init__(self, strength: float = 1.0) -> None:
        self.strength = strength
        self.now_s = 1000.0
        self.feeding = Feeding()

    def look(self, seconds: float, per_h: float = 0.0) -> Finding | None:
        """So long, rising by itself; the first finding."""
        for _ in range(round(seconds / 10.0)):
            self.now_s += 10.0
            self.strength += per_h * 10.0 / HOUR_S
            finding, self.feeding = watch_strength(self.feeding, ec(self.strength, self.now_s))
            if finding is not None:
                return finding
        return None

    def dose(self, expected: float, seen: float, pump: Role = Role.STOCK_A, ml: float = 10.0) -> Finding | None:
        """A dose that should do this and does that, and what is found once it has mixed."""
        self.look(60.0)
        self.feeding = fed(self.feeding, pump, ml, expected, self.now_s, MIXING_S)
        self.strength += seen
        return self.look(MIXED_S + 60.0)


@pytest.mark.parametrize("expected", [0.05, 0.1])
def test_a_stock_without_effect_is_found_after_three_doses_at_most(expected: float) -> None:
    """Two if they should have brought 0.1 mS/cm together."""
    water = Water()
    found = [water.dose(expected, 0.0) for _ in range(2 if expected >= 0.05 else 3)]
    assert found[:-1] == [None] * (len(found) - 1)
    finding = found[-1]
    assert finding is not None
    assert (finding.surprise, finding.pump) == (Surprise.EC_NO_EFFECT, Role.STOCK_A)
    assert finding.latches
    assert finding.numbers["doses"] == len(found)
    assert finding.numbers["expected_ms_per_cm"] == pytest.approx(expected * len(found))


def test_a_dose_is_judged_as_soon_as_the_next_may_be_asked_for() -> None:
    """Or the next would begin anew what nobody had judged yet: looks from 2.5 mixing times, the newest at 3."""
    water = Water()
    water.look(60.0)
    for _ in range(2):
        water.feeding = fed(water.feeding, Role.STOCK_A, 10.0, 0.1, water.now_s, MIXING_S)
        assert water.look(3.0 * MIXING_S - 10.0) is None
        found = water.look(10.0)
    assert found is not None
    assert found.surprise is Surprise.EC_NO_EFFECT


def test_three_small_doses_are_enough() -> None:
    """Of 0.02 each; those of 0.01 are not told from noise."""
    water = Water()
    assert [water.dose(0.02, 0.0) is None for _ in range(3)] == [True, True, False]
    tiny = Water()
    assert [tiny.dose(0.01, 0.0) for _ in range(3)] == [None] * 3


@pytest.mark.parametrize("share", [0.3, 0.5, 1.0, 2.0])
def test_a_stock_that_works_is_never_taken_for_dead(share: float) -> None:
    """Weaker or stronger than believed."""
    water = Water()
    assert [water.dose(0.1, 0.1 * share) for _ in range(10)] == [None] * 10


def test_one_that_works_begins_the_count_anew() -> None:
    """Somebody may have added water just then."""
    water = Water()
    for _ in range(5):
        assert water.dose(0.1, 0.0) is None
        assert water.dose(0.1, 0.1) is None


def test_each_stock_is_counted_by_itself() -> None:
    """A works, B is empty."""
    water = Water()
    assert water.dose(0.1, 0.1) is None
    assert water.dose(0.1, 0.0, Role.STOCK_B) is None
    assert water.dose(0.1, 0.1) is None
    finding = water.dose(0.1, 0.0, Role.STOCK_B)
    assert finding is not None
    assert finding.pump is Role.STOCK_B


def test_far_too_much_is_a_pump_that_did_not_stop() -> None:
    """Three times what was expected and 0.2 mS/cm more."""
    assert Water().dose(0.1, 0.49) is None
    finding = Water().dose(0.1, 0.51)
    assert finding is not None
    assert finding.surprise is Surprise.EC_RUNAWAY


@pytest.mark.parametrize("per_h", [0.1, 0.3, 1.0])
def test_strength_that_rises_with_no_dose_is_found(per_h: float) -> None:
    """A siphon of 1 mL a minute raises 60 L by a tenth of a mS/cm an hour."""
    water = Water()
    finding = water.look(4.0 * HOUR_S, per_h)
    assert finding is not None
    assert finding.surprise is Surprise.EC_MOVED_ALONE
    assert finding.numbers["moved_ms_per_cm"] >= 0.2


@pytest.mark.parametrize("per_h", [0.03, 0.0, -0.5])
def test_drinking_and_feeding_are_no_siphon(per_h: float) -> None:
    """Plants leave salts behind, or take them."""
    assert Water(2.0).look(3.5 * HOUR_S, per_h) is None


def test_a_hand_that_feeds_is_no_siphon() -> None:
    """Its step is sudden, however large."""
    water = Water()
    water.look(HOUR_S)
    water.strength += 0.8
    assert water.look(4.0 * HOUR_S) is None


def test_what_was_disturbed_is_not_judged() -> None:
    """Water went in, or a person was at work."""
    water = Water()
    for _ in range(4):
        water.look(60.0)
        water.feeding = fed(water.feeding, Role.STOCK_A, 10.0, 0.1, water.now_s, MIXING_S)
        water.feeding = disturbed(water.feeding)
        assert water.look(MIXED_S + 60.0) is None


def test_a_dose_before_which_strength_was_not_known_is_not_judged() -> None:
    """Nor one whose mixing was seen hours later."""
    water = Water()
    water.feeding = fed(water.feeding, Role.STOCK_A, 10.0, 0.5, water.now_s, MIXING_S)
    assert water.look(MIXED_S + 60.0) is None
    late = Water()
    for _ in range(3):
        late.look(60.0)
        late.feeding = fed(late.feeding, Role.STOCK_A, 10.0, 0.5, late.now_s, MIXING_S)
        late.now_s += HOUR_S
        assert late.look(60.0) is None


def test_looks_that_cannot_be_used_find_nothing() -> None:
    """However often."""
    feeding = Feeding()
    for i in range(READINGS * 2):
        finding, feeding = watch_strength(feeding, ec(1.0 + i, 10.0 * i, Quality.BAD))
        assert finding is None


def test_a_stock_that_runs_in_is_found_by_strength_that_moves_as_never_before() -> None:
    """No dose rests on an unusual reading, and yet it tells of a siphon."""
    feeding, found = Feeding(), []
    for pass_ in range(360):
        look = replace(ec(1.0 + 0.003 * pass_, 10.0 * pass_, Quality.UNCERTAIN), reason=VerdictReason.UNUSUAL)
        finding, feeding = watch_strength(feeding, look)
        found.append(finding)
    assert any(finding is not None and finding.surprise is Surprise.EC_MOVED_ALONE for finding in found)
