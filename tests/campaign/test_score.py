"""What a month's records mean: whom a wrong dose is blamed on, what is missed, how long an alarm took."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import pytest

from daemon.alarm.kinds import Kind
from sim_hw.faults import FaultName
from tests.campaign.score import (
    AFTER_S,
    FEW_DOSES,
    LONG_S,
    Alarmed,
    Befell,
    Dose,
    beyond_first,
    blamed,
    cut_by,
    delay_s,
    excursion_ph,
    is_missed,
    resting_on,
)

STUCK = Befell(FaultName.PROBE_STUCK, "bed1/ph", 1000.0, 9000.0, gross_s=LONG_S + 60.0)
DEAD = Befell(FaultName.PUMP_DEAD, "bed1/ph_down", 1000.0, 9000.0)
SILENT = Befell(FaultName.CHIP_SILENT, "bed1/ph", 1000.0, 9000.0)
COLD = Befell(FaultName.PROBE_STUCK, "bed1/temperature", 1000.0, 9000.0)
SECOND = replace(STUCK, target="bed1/ph_2")
BAND = (5.5, 6.5)


def a_dose(at_s: float, read_ph: float = 6.4, true_ph: float = 6.4, role: str = "ph_down") -> Dose:
    """One dose, on a true reading if nothing else is said."""
    return Dose(at_s, role, read_ph, true_ph)


def wrong(at_s: float) -> Dose:
    """One dose on a grossly wrong reading."""
    return a_dose(at_s, read_ph=6.4, true_ph=5.8)


def alarm(kind: str, start_s: float, end_s: float, key: str = "bed1-ph-probe") -> Alarmed:
    """One alarm."""
    return Alarmed(key, kind, start_s, end_s)


def test_a_second_probe_is_judged_as_the_first() -> None:
    """It may mislead as well, and the alarms of pH are its own; a pump's fault is none of a probe."""
    assert SECOND.may_mislead()
    assert delay_s(SECOND, [], [alarm(Kind.ONE_PROBE, 1300.0, 9000.0, key="bed1-ph-one-probe")]) == 300.0
    assert delay_s(SECOND, [], [alarm(Kind.PROBE, 1300.0, 9000.0, key="bed1-ec-probe")]) is None
    assert not DEAD.may_mislead()


@pytest.mark.parametrize(
    ("read_ph", "true_ph", "gross"),
    [(6.5, 6.1, False), (6.5, 6.0, False), (6.5, 5.99, True), (5.4, 6.0, True), (nan, 6.0, True)],
)
def test_a_reading_is_grossly_wrong_beyond_half_a_ph_either_way(
    read_ph: float, true_ph: float, gross: bool
) -> None:
    """At the bound it is not; a reading that is no number is."""
    assert a_dose(0.0, read_ph, true_ph).grossly_wrong is gross


@pytest.mark.parametrize(
    ("at_s", "expected"),
    [(999.0, None), (1000.0, 0), (8999.0, 0), (9000.0 + AFTER_S - 1.0, 0), (9000.0 + AFTER_S, None)],
)
def test_a_fault_is_to_blame_while_it_is_there_and_a_little_after(at_s: float, expected: int | None) -> None:
    """Not before it, not long after."""
    assert blamed(wrong(at_s), [STUCK]) == expected


def test_the_newest_fault_is_to_blame_and_never_a_pump() -> None:
    """A pump makes no reading wrong."""
    later = Befell(FaultName.PROBE_UNPLUGGED, "bed1/temperature", 2000.0, 9000.0)
    level = Befell(FaultName.PROBE_STUCK, "bed1/level", 2500.0, 9000.0)
    assert blamed(wrong(3000.0), [STUCK, later, DEAD, level]) == 1
    assert blamed(wrong(3000.0), [DEAD, level]) is None


def test_the_first_wrong_dose_of_each_fault_is_forgiven() -> None:
    """Each fault has one; with no fault to blame there is none."""
    other = Befell(FaultName.PROBE_DRIFTING, "bed1/ph", 20_000.0, 30_000.0)
    doses = [wrong(500.0), wrong(2000.0), a_dose(2500.0), wrong(3000.0), wrong(4000.0), wrong(21_000.0)]
    found = [(dose.at_s, place) for dose, place in beyond_first(doses, [STUCK, other])]
    assert found == [(500.0, None), (3000.0, 0), (4000.0, 0)]


def test_an_excursion_is_beyond_the_far_edge_in_the_direction_of_the_dose() -> None:
    """Acid is held against the low edge, base against the high one."""
    assert excursion_ph("ph_down", BAND, 5.2, 7.0) == pytest.approx(0.3)
    assert excursion_ph("ph_up", BAND, 5.2, 7.0) == pytest.approx(0.5)
    assert excursion_ph("ph_down", BAND, 5.6, 7.0) == 0.0


def test_what_rests_on_a_fault() -> None:
    """Of a pump its own doses, of a stuck one any, of a pH probe those on wrong readings, of EC none."""
    doses = [a_dose(2000.0), wrong(3000.0), a_dose(4000.0, role="ph_up"), wrong(9500.0)]
    stuck_on = Befell(FaultName.PUMP_STUCK_ON, "bed1/ph_up", 1000.0, 9000.0)
    ec = Befell(FaultName.PROBE_STUCK, "bed1/ec", 1000.0, 9000.0)
    assert [dose.at_s for dose in resting_on(DEAD, doses)] == [2000.0, 3000.0]
    assert [dose.at_s for dose in resting_on(stuck_on, doses)] == [2000.0, 3000.0, 4000.0]
    assert [dose.at_s for dose in resting_on(STUCK, doses)] == [3000.0]
    assert resting_on(ec, doses) == []


@pytest.mark.parametrize(
    ("fault", "alarmed", "expected"),
    [
        (STUCK, alarm("probe", 1600.0, 2000.0), 600.0),
        (STUCK, alarm("locked", 1700.0, 2000.0, "bed1-locked"), 700.0),
        (STUCK, alarm("probe", 500.0, 2000.0), 0.0),  # raised before it, still there
        (STUCK, alarm("probe", 500.0, 900.0), None),
        (STUCK, alarm("probe", 9000.0, 9500.0), None),
        (STUCK, alarm("calibration", 1600.0, 2000.0), None),
        (STUCK, alarm("out-of-band", 1600.0, 2000.0, "bed1-ph-out-of-band"), 600.0),
        (STUCK, alarm("out-of-band", 500.0, 2000.0, "bed1-ph-out-of-band"), None),  # not of its making
        (STUCK, alarm("out-of-band", 1600.0, 2000.0, "bed1-ec-out-of-band"), None),
        (STUCK, alarm("day-cap", 1600.0, 2000.0, "bed1-ph-down-day-cap"), 600.0),
        (STUCK, alarm("probe", 1600.0, 2000.0, "bed1-level-probe"), None),
        (SILENT, alarm("probe", 1600.0, 2000.0, "bed1-ec-probe"), 600.0),  # at any probe of that converter
        (COLD, alarm("probe", 1600.0, 2000.0, "bed1-ph-probe"), 600.0),  # at what leans on it
        (DEAD, alarm("locked", 3500.0, 4000.0, "bed1-locked"), 1500.0),  # from its first dose
        (DEAD, alarm("probe", 3500.0, 4000.0), None),
    ],
)
def test_a_delay_runs_from_where_the_fault_could_be_seen(
    fault: Befell, alarmed: Alarmed, expected: float | None
) -> None:
    """To an alarm that sends a person there, while the fault is there."""
    assert delay_s(fault, [a_dose(2000.0)], [alarmed]) == expected


def test_a_pump_that_fails_unused_cannot_be_seen() -> None:
    """No dose, no delay, nothing missed."""
    assert delay_s(DEAD, [], [alarm("locked", 2000.0, 3000.0)]) is None
    assert not is_missed(DEAD, [], [])


def test_a_probe_fault_is_missed_after_an_hour_with_a_dose_on_it_and_no_alarm() -> None:
    """Each of the three is needed."""
    brief = Befell(STUCK.name, STUCK.target, STUCK.start_s, STUCK.end_s, gross_s=LONG_S)
    assert is_missed(STUCK, [wrong(5000.0)], [])
    assert not is_missed(brief, [wrong(5000.0)], [])
    assert not is_missed(STUCK, [a_dose(5000.0)], [])
    assert not is_missed(STUCK, [wrong(5000.0)], [alarm("probe", 8000.0, 8500.0)])


def test_a_dead_pump_is_missed_once_it_gave_more_than_a_few_doses() -> None:
    """So many are needed to know; and an hour from the first of them."""
    few = [a_dose(1500.0 + 500.0 * number) for number in range(FEW_DOSES)]
    assert not is_missed(DEAD, few, [])
    assert is_missed(DEAD, [*few, a_dose(6000.0)], [])
    assert not is_missed(DEAD, [a_dose(9000.0 - LONG_S + number) for number in range(9)], [])


def test_a_dose_is_cut_off_by_what_happens_while_it_mixes() -> None:
    """From its own moment on, until it has mixed; not by what was before or came after."""
    doses = [a_dose(at_s) for at_s in (1000.0, 2000.0, 3000.0)]
    marked = [dose.cut_off for dose in cut_by(doses, [3000.0, 999.0, 1600.0, 2599.0], mixing_s=600.0)]
    assert marked == [False, True, True]


def test_a_dead_pump_is_not_missed_where_no_dose_was_left_to_mix() -> None:
    """Only doses that could have shown it count, whoever cut the others off."""
    doses = [a_dose(1500.0 + 500.0 * number) for number in range(FEW_DOSES + 1)]
    assert is_missed(DEAD, doses, [])
    assert is_missed(DEAD, cut_by(doses, [1400.0], mixing_s=400.0), [])
    assert not is_missed(DEAD, cut_by(doses, [2100.0], mixing_s=400.0), [])
