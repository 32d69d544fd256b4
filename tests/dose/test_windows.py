"""Proven time across boots, and the sums over rolling windows."""

from __future__ import annotations

from datetime import datetime, timedelta
from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.dose.windows import (
    DAY_S,
    HOUR_S,
    RUN_MARGIN_S,
    WALL_TOLERANCE_S,
    Boot,
    Stamp,
    Tally,
    Totals,
    join,
    observe,
    offsets,
)
from daemon.values import Role
from tests.strategies import NOON, stamp


def at(hours: float) -> datetime:
    """Wall time some hours after noon."""
    return NOON + timedelta(hours=hours)


def proven_s(boots: tuple[Boot, ...], number: int, at_s: float) -> float:
    """Proven time of a monotonic time in one boot."""
    return at_s + offsets(boots)[number]


def test_within_a_boot_the_monotonic_clock_counts() -> None:
    """A process that starts again in the same boot goes on in the same stretch, its own pause included."""
    first = join((), stamp(50.0))
    assert first == (Boot(1, "boot-1", 50.0, 50.0),)
    assert join(first, stamp(900.0)) == first
    assert proven_s(first, 1, 900.0) - proven_s(first, 1, 50.0) == 850.0


def test_across_boots_only_recorded_uptime_counts() -> None:
    """Two boots of 100 s and 30 s recorded give 130 s, however long the power was off."""
    one = (Boot(1, "a", first_s=5.0, last_s=105.0),)
    two = join(one, stamp(7.0, boot="b"))
    assert proven_s(two, 2, 37.0) - proven_s(two, 1, 5.0) == 130.0


def test_a_clock_that_went_back_is_another_boot_whatever_its_name() -> None:
    """A rig that names every boot alike cannot make time run backwards."""
    one = (Boot(1, "same", first_s=0.0, last_s=500.0),)
    two = join(one, stamp(3.0, boot="same"))
    assert len(two) == 2
    assert proven_s(two, 2, 3.0) == proven_s(two, 1, 500.0)


def two_boots(first_trusted: bool, second_trusted: bool, off_h: float) -> float:
    """Off-time credited between a boot of 100 s and the next, by the wall clock."""
    boots = observe(join((), stamp(0.0, boot="a", utc=NOON, trusted=first_trusted)), stamp(0.0, boot="a"))
    boots = observe(boots, stamp(0.0, boot="a", utc=NOON, trusted=first_trusted))
    boots = (*boots[:-1], Boot(1, "a", 0.0, 100.0, 0.0, boots[-1].anchor_s, boots[-1].anchor_utc_s))
    utc = NOON + timedelta(seconds=100.0, hours=off_h)
    now = stamp(0.0, boot="b", utc=utc, trusted=second_trusted)
    return observe(join(boots, now), now)[-1].off_s


def test_off_time_is_credited_when_both_ends_were_synchronised() -> None:
    """Five hours off, wall clock synchronised before and after: five hours, less the tolerance."""
    assert two_boots(True, True, 5.0) == pytest.approx(5 * HOUR_S - WALL_TOLERANCE_S)


@pytest.mark.parametrize(
    ("first", "second", "off_h"),
    [(True, False, 5.0), (False, True, 5.0), (False, False, 87600.0), (True, True, -5.0), (True, True, -87600.0)],
)
def test_off_time_counts_zero_unless_proven(first: bool, second: bool, off_h: float) -> None:
    """One end unsynchronised, or a wall clock that went back: nothing is credited."""
    assert two_boots(first, second, off_h) == 0.0


def test_a_credit_ages_only_what_came_before_the_gap() -> None:
    """With an unsynchronised boot in between, nobody knows on which side of it the power was off."""
    boots: tuple[Boot, ...] = (
        Boot(1, "a", 0.0, 100.0, anchor_s=0.0, anchor_utc_s=NOON.timestamp()),
        Boot(2, "b", 0.0, 50.0),
    )
    now = stamp(0.0, boot="c", utc=at(10), trusted=True)
    boots = observe(join(boots, now), now)
    assert [boot.off_s > 0.0 for boot in boots] == [False, True, False]
    assert proven_s(boots, 3, 0.0) - proven_s(boots, 2, 0.0) == 50.0
    assert proven_s(boots, 3, 0.0) - proven_s(boots, 1, 0.0) == pytest.approx(10 * HOUR_S - WALL_TOLERANCE_S)


@pytest.mark.parametrize("step_s", [-3600.0, 3600.0, 3.2e8, -3.2e8])
def test_a_wall_clock_that_steps_while_synchronised_loses_its_credit(step_s: float) -> None:
    """A step in the middle of a boot frees nothing, and takes back what that boot's clock had proven."""
    boots: tuple[Boot, ...] = (Boot(1, "a", 0.0, 100.0, anchor_s=0.0, anchor_utc_s=NOON.timestamp()),)
    now = stamp(0.0, boot="b", utc=at(10), trusted=True)
    boots = observe(join(boots, now), now)
    assert boots[-1].off_s > 0.0
    later = stamp(10.0, boot="b", utc=at(10) + timedelta(seconds=10.0 + step_s), trusted=True)
    boots = observe(boots, later)
    assert (boots[-1].off_s, boots[-1].doubted, boots[-1].anchor_s) == (0.0, True, None)
    assert observe(boots, now) is boots


def test_a_wall_clock_that_runs_along_changes_nothing() -> None:
    """Within the tolerance, further looks at the wall clock leave the boots as they are."""
    first = stamp(0.0, trusted=True)
    boots = observe(join((), first), first)
    for error_s in (-WALL_TOLERANCE_S, 0.0, WALL_TOLERANCE_S):
        utc = NOON + timedelta(seconds=100.0 + error_s)
        assert observe(boots, stamp(100.0, utc=utc, trusted=True)) is boots


@pytest.mark.parametrize("at_s", [nan, float("inf")])
def test_a_stamp_needs_a_finite_time(at_s: float) -> None:
    """A monotonic clock that gives no number is refused where it is read."""
    with pytest.raises(ValueError, match="must be finite"):
        Stamp("boot-1", at_s, NOON)


def test_a_stamp_needs_a_time_zone() -> None:
    """A wall time without a zone is refused where it is read."""
    with pytest.raises(ValueError, match="time zone"):
        Stamp("boot-1", 0.0, datetime(2026, 3, 2))


def test_an_unknown_pump_has_spent_nothing() -> None:
    """Before the first dose all is zero, and there is no last time."""
    assert Tally().totals("bed1", Role.PH_DOWN, 0.0) == Totals(0.0, 0.0, 0.0)


def test_a_charge_leaves_the_hour_and_the_day_in_time_and_not_before() -> None:
    """A charge counts up to the window's length after the run, plus the margin, and not a moment longer."""
    tally = Tally()
    tally.charge("bed1", Role.PH_DOWN, 100.0, 5.0)
    for window_s, which in ((HOUR_S, "hour_ml"), (DAY_S, "day_ml")):
        end_s = 100.0 + window_s + RUN_MARGIN_S
        assert getattr(tally.totals("bed1", Role.PH_DOWN, end_s), which) == 5.0
        assert getattr(tally.totals("bed1", Role.PH_DOWN, end_s + 0.01), which) == 0.0


def test_sums_made_anew_hold_all_that_is_still_in_the_window() -> None:
    """A second charge at the last moment of the first one's window finds it there."""
    for window_s, which in ((HOUR_S, "hour_ml"), (DAY_S, "day_ml")):
        tally, end_s = Tally(), 100.0 + window_s + RUN_MARGIN_S
        tally.charge("bed1", Role.PH_DOWN, 100.0, 5.0)
        tally.charge("bed1", Role.PH_DOWN, end_s, 2.0)
        assert getattr(tally.totals("bed1", Role.PH_DOWN, end_s), which) == 7.0


def test_totals_tell_pumps_and_reservoirs_apart() -> None:
    """Amounts are per pump; the last time is known for the pump, the reservoir and the opposite pump."""
    tally = Tally()
    tally.charge("bed1", Role.PH_DOWN, 100.0, 5.0)
    tally.charge("bed1", Role.STOCK_A, 200.0, 7.0)
    tally.charge("bed2", Role.PH_UP, 300.0, 9.0)
    assert tally.totals("bed1", Role.PH_DOWN, 400.0) == Totals(5.0, 5.0, 5.0, 300.0, 200.0, None)
    assert tally.totals("bed1", Role.PH_UP, 400.0) == Totals(0.0, 0.0, 0.0, None, 200.0, 300.0)
    assert tally.totals("bed1", Role.STOCK_B, 400.0) == Totals(0.0, 0.0, 0.0, None, 200.0, None)
    assert tally.totals("bed2", Role.PH_UP, 400.0).since_any_s == 100.0


def test_acid_and_base_are_opposites_either_way() -> None:
    """Whichever was dosed, the other knows how long ago."""
    for dosed, asked in ((Role.PH_DOWN, Role.PH_UP), (Role.PH_UP, Role.PH_DOWN)):
        tally = Tally()
        tally.charge("bed1", dosed, 100.0, 5.0)
        assert tally.totals("bed1", asked, 400.0).since_opposite_s == 300.0


def test_a_refill_empties_the_bottle_count_and_nothing_else() -> None:
    """A full bottle does not make room under the caps."""
    tally = Tally()
    tally.charge("bed1", Role.PH_DOWN, 100.0, 5.0)
    tally.refill("bed1", Role.PH_DOWN)
    tally.charge("bed1", Role.PH_DOWN, 200.0, 2.0)
    got = tally.totals("bed1", Role.PH_DOWN, 200.0)
    assert (got.since_refill_ml, got.day_ml) == (2.0, 7.0)


def test_a_run_still_going_counts_as_just_ended() -> None:
    """While the pump may still turn, the time since is zero, not negative."""
    tally = Tally()
    tally.charge("bed1", Role.PH_DOWN, 110.0, 5.0)
    assert tally.totals("bed1", Role.PH_DOWN, 105.0).since_pump_s == 0.0


@given(st.lists(st.tuples(st.floats(0.0, 20000.0), st.floats(0.01, 10.0)), max_size=60))
def test_kept_sums_are_those_of_a_plain_count(steps: list[tuple[float, float]]) -> None:
    """Whatever the order of doses and questions, the sums kept equal those counted afresh."""
    tally, charges, now_s = Tally(), [], 0.0
    for wait_s, ml in steps:
        now_s += wait_s
        tally.charge("bed1", Role.PH_DOWN, now_s, ml)
        charges.append((now_s, ml))
        now_s += wait_s / 3
        got = tally.totals("bed1", Role.PH_DOWN, now_s)
        for window_s, sum_ml in ((HOUR_S, got.hour_ml), (DAY_S, got.day_ml)):
            plain = sum(ml for end_s, ml in charges if now_s - end_s <= window_s + RUN_MARGIN_S)
            assert sum_ml == pytest.approx(plain)
