"""Did a dose do what it should: each finding, what must not be one, and that the state is only handed on."""

from __future__ import annotations

from math import exp, inf, nan
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.dose.finding import Finding, Surprise
from daemon.dose.newest import READINGS
from daemon.dose.response import (
    DRIFT_HOLDS_S,
    Effects,
    dosed,
    doubted,
    forget,
    since_moved_s,
    step_share,
    watch,
)
from daemon.dose.second_look import REST_S
from daemon.values import (
    Quality,
    Quantity,
    Reading,
    Role,
    Sample,
    Verdict,
    VerdictReason,
)
from tests.dose.waters import MIXING_S, ML_PER_PH, PASS_S, Water, aim, kinds, verdict

# a voltage that stands still


CODE_V = 125e-6  # of the ADS1115 at ±4.096 V; gain 3 before it makes one code of it 0.7 mpH
VOLTS_PER_PH = 0.059 * 3.0


def findings_of_volts(volts: list[float], shift_ph: float = -0.1) -> set[Surprise]:
    """What one dose into water of these voltages, pass after pass, makes known."""
    water = Water()
    water.passes(600.0)
    effects = dosed(water.effects, Role.PH_DOWN, 6.0, shift_ph, water.at_s)
    found = set()
    for passes, one in enumerate(volts, start=1):
        at_s = water.at_s + passes * PASS_S
        reading = Reading(Quantity.PH, 7.0 - one / VOLTS_PER_PH, at_s, Sample(Quantity.PH, at_s, 0.0, volts=one))
        look = Verdict(Quantity.PH, Quality.GOOD, VerdictReason.FINE, reading)
        finding, effects = watch(effects, water.aim, look)
        found |= {finding.surprise} if finding is not None else set()
    return found


PASSES = round(3.0 * MIXING_S / PASS_S) + READINGS


def test_a_voltage_that_stands_still_through_a_dose_is_found_after_one() -> None:
    """H17: exactly still, or to and fro between two codes; a dose too small to tell is no proof."""
    chance = Random(1)
    assert findings_of_volts([0.0] * PASSES) == {Surprise.STILL}
    assert findings_of_volts([chance.choice((0.0, CODE_V)) for _ in range(PASSES)]) == {Surprise.STILL}
    assert findings_of_volts([0.0] * PASSES, -0.019) == set()


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("noise_v", [0.0, 50e-6, 0.0005])
def test_a_quiet_probe_is_not_stuck(seed: int, noise_v: float) -> None:
    """Whole codes, with less noise than one code: a dose of a fifth of its effect moves several."""
    chance = Random(seed)
    moved_v = [0.02 * VOLTS_PER_PH * (1.0 - exp(-3.0 * passes * PASS_S / MIXING_S)) for passes in range(PASSES)]
    codes = [round((one + chance.gauss(0.0, noise_v)) / CODE_V) * CODE_V for one in moved_v]
    assert Surprise.STILL not in findings_of_volts(codes)


# no effect


@pytest.mark.parametrize("ml", [3.0, 5.0, 8.0, 20.0])
@pytest.mark.parametrize("drift_per_h", [-0.3, 0.0, 0.3])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_dead_pump_is_found_after_three_doses_at_most(ml: float, drift_per_h: float, seed: int) -> None:
    """Whatever the size of the doses, with pH drifting either way by itself."""
    water = Water(works=0.0, drift_per_h=drift_per_h, seed=seed)
    water.passes(600.0)
    assert water.doses_until(Surprise.NO_EFFECT, ml) <= 3


def test_a_pump_that_dies_later_is_found_as_soon() -> None:
    """Doses that worked before do not count for those that do not."""
    water = Water()
    for _ in range(4):
        assert water.dose() == []
    water.works = 0.0
    assert water.doses_until(Surprise.NO_EFFECT) == 3


@pytest.mark.parametrize("ml", [2.0, 3.0, 4.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_dead_pump_is_found_though_a_little_water_had_come_in(ml: float, seed: int) -> None:
    """pH rose for some minutes before: that it rises no more is not what doses do against it."""
    water = Water(works=0.0, drift_per_h=0.01, seed=seed)
    water.passes(600.0)
    water.drift_per_h = 0.3
    water.passes(400.0)
    water.drift_per_h, begun_s = 0.01, water.at_s
    while water.at_s < begun_s + 2.0 * DRIFT_HOLDS_S and not water.findings:
        water.dose_at_once(ml)
    assert kinds(water.findings) == {Surprise.NO_EFFECT}


def test_a_pump_that_holds_against_a_steady_drift_is_not_taken_for_dead() -> None:
    """pH stands still, as each dose does no more than to undo the rise: a rest shows that they work."""
    water = Water(drift_per_h=0.33, noise=0.001)
    water.passes(600.0)
    took_s = []
    for _ in range(60):
        begun_s = water.at_s
        assert water.dose_at_once(2.0) == []
        took_s.append(water.at_s - begun_s)
    assert 1 <= sum(each_s >= REST_S for each_s in took_s) <= 10


def test_a_step_is_no_drift() -> None:
    """What a person poured in moved pH once; a dose right after it that does nothing is not taken to work."""
    water = Water(works=0.0)
    water.passes(600.0)
    water.ph += 0.15
    water.passes(600.0)
    assert water.doses_until(Surprise.NO_EFFECT, 3.0) <= 3


def test_a_finding_of_no_effect_has_the_numbers_to_check_it_by() -> None:
    """How many doses, mL, expected and seen."""
    water = Water(works=0.0)
    water.passes(600.0)
    water.doses_until(Surprise.NO_EFFECT)
    (finding,) = water.findings
    assert finding.latches
    assert finding.pump is Role.PH_DOWN
    assert finding.numbers["doses"] == 3
    assert finding.numbers["ml"] == pytest.approx(24.0)
    assert finding.numbers["expected_ph"] == pytest.approx(0.4)
    assert abs(finding.numbers["seen_ph"]) < 0.05


@pytest.mark.parametrize("works", [1.0, 0.5, 0.5 / 2.5, 2.5])
@pytest.mark.parametrize("drift_per_h", [-0.3, 0.0, 0.3])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_working_pump_is_never_taken_for_dead(works: float, drift_per_h: float, seed: int) -> None:
    """Full strength, half, half in water that buffers 2.5 times as well as guessed, with drift either way."""
    water = Water(works=works, drift_per_h=drift_per_h, seed=seed)
    water.passes(600.0)
    for _ in range(20):
        assert water.dose() == []


def test_half_strength_in_what_this_tank_showed_before_is_not_dead() -> None:
    """Small doses, water that buffers three times as well as guessed, then half the strength."""
    water = Water(works=1.0 / 3.0, noise=0.001)
    for _ in range(10):
        water.dose(3.0)
        water.passes(1200.0)
    water.works /= 2.0
    for _ in range(10):
        water.dose(3.0)
        water.passes(1200.0)
    assert water.findings == []


def test_co2_loss_working_against_a_dose_is_allowed_for() -> None:
    """pH rises by 0.5 an hour by itself: each dose at half strength shows only when that is taken off."""
    water = Water(works=0.5, drift_per_h=0.5)
    water.passes(1200.0)
    for _ in range(10):
        assert water.dose(4.0) == []
        water.passes(300.0)


def test_doses_lost_in_noise_say_nothing_alone() -> None:
    """Three doses of 0.2 mL should move pH by 0.01 together: nothing to judge."""
    water = Water(works=0.0)
    water.passes(600.0)
    for _ in range(5):
        assert water.dose(0.2) == []


def test_after_a_person_cleared_it_three_more_doses_are_given() -> None:
    """The count begins anew; it is found again, not at once."""
    water = Water(works=0.0)
    water.passes(600.0)
    assert water.doses_until(Surprise.NO_EFFECT) == 3
    water.effects = forget(water.effects)
    water.passes(600.0)
    assert water.doses_until(Surprise.NO_EFFECT) == 3


# wrong sign


@pytest.mark.parametrize("pump", [Role.PH_DOWN, Role.PH_UP])
def test_swapped_bottles_are_found_after_one_dose(pump: Role) -> None:
    """Acid that raises, base that lowers."""
    water = Water(works=-1.0)
    water.passes(600.0)
    (finding,) = water.dose(8.0, pump)
    assert finding.surprise is Surprise.WRONG_SIGN
    assert finding.latches
    assert finding.pump is pump
    assert finding.numbers["expected_ph"] * finding.numbers["seen_ph"] < 0.0


@pytest.mark.parametrize(("wrong_ph", "found"), [(0.09, False), (0.115, True)])
def test_only_a_clear_wrong_way_counts(wrong_ph: float, found: bool) -> None:
    """More than 0.1 pH."""
    water = Water(works=-wrong_ph / (8.0 / ML_PER_PH), noise=0.0)
    water.passes(600.0)
    assert bool(water.dose()) is found


def test_a_wrong_way_of_less_than_half_the_expected_shift_is_no_wrong_bottle() -> None:
    """A large dose and 0.11 the wrong way: NO_EFFECT, not WRONG_SIGN."""
    water = Water(works=-0.11 / 0.5, noise=0.0)
    water.passes(600.0)
    assert kinds(water.dose(30.0)) == {Surprise.NO_EFFECT}


def test_a_rise_that_was_there_before_the_dose_is_not_the_doses() -> None:
    """pH rising by 0.6 an hour moves 0.07 in the mixing; a dose that did nothing is not a wrong bottle."""
    water = Water(works=-0.25, drift_per_h=0.6)
    water.passes(900.0)
    assert water.dose() == []


# too strong


def steady(water: Water, doses: int) -> list[Finding]:
    """A day of small doses, each after a rise of as much by itself; what was found."""
    before = len(water.findings)
    for _ in range(doses):
        water.passes(1800.0)
        water.ph = 6.15
        water.effects = forget(water.effects)
        water.passes(120.0)
        water.dose(3.0)
    return water.findings[before:]


def test_a_pump_twice_as_fast_is_found_and_its_steps_halved() -> None:
    """Against what this tank showed before; it goes on, with half steps, and does not latch."""
    water = Water()
    assert steady(water, 8) == []
    assert step_share(water.effects, Role.PH_DOWN) == 1.0
    water.works = 2.0
    found = steady(water, 3)
    assert kinds(found) == {Surprise.TOO_STRONG}
    assert not found[0].latches
    assert found[0].numbers["seen_ph"] == pytest.approx(2.0 * found[0].numbers["usual_ph"], rel=0.3)
    assert step_share(water.effects, Role.PH_DOWN) == 0.5
    assert step_share(water.effects, Role.PH_UP) == 1.0


def test_steps_are_whole_again_once_doses_do_as_usual() -> None:
    """The tube is changed."""
    water = Water()
    steady(water, 8)
    water.works = 2.0
    steady(water, 3)
    water.works = 1.0
    steady(water, 1)
    assert step_share(water.effects, Role.PH_DOWN) == 1.0


def test_a_single_strong_dose_is_no_finding() -> None:
    """Something else may have helped."""
    water = Water()
    steady(water, 8)
    water.works = 2.0
    assert steady(water, 1) == []
    water.works = 1.0
    assert steady(water, 5) == []


@pytest.mark.parametrize(("works", "found"), [(2.5, False), (5.0, True)])
def test_against_the_first_guess_only_far_more_counts(works: float, found: bool) -> None:
    """Water that buffers 2.5 times less than guessed is just water; five times is a question to a person."""
    water = Water(works=works)
    water.passes(600.0)
    water.dose()
    assert (kinds(water.dose()) == {Surprise.TOO_STRONG}) is found


def test_water_that_buffers_less_elsewhere_is_no_strong_pump() -> None:
    """What was learned at pH 6 is not held against a dose at pH 7."""
    water = Water()
    steady(water, 8)
    water.works = 2.8
    for _ in range(3):
        water.ph = 7.1
        water.effects = forget(water.effects)
        water.passes(120.0)
        water.dose(3.0)
    assert water.findings == []


# runaway


@pytest.mark.parametrize("reason", [VerdictReason.FINE, VerdictReason.JUMPED])
def test_a_pump_that_does_not_stop_is_found_while_its_dose_mixes(reason: VerdictReason) -> None:
    """Also where the judge calls the readings too fast to be used."""
    water = Water()
    water.passes(600.0)
    water.effects = dosed(water.effects, Role.PH_DOWN, 8.0, -8.0 / ML_PER_PH, water.at_s)
    water.drift_per_h, water.reason = -60.0, reason
    (finding,) = water.passes(120.0)
    assert finding.surprise is Surprise.RUNAWAY
    assert finding.latches


# moved alone, stepped


@pytest.mark.parametrize("every_s", [1.0, 10.0, 60.0])
@pytest.mark.parametrize("per_min", [0.012, 0.017, 0.03, 0.1, 1.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_siphon_is_found_within_ten_minutes(every_s: float, per_min: float, seed: int) -> None:
    """From 0.012 pH a minute up, at any pace of the passes."""
    water = Water(every_s=every_s, seed=seed)
    assert water.passes(1800.0) == []
    begun_s, water.drift_per_h = water.at_s, -60.0 * per_min
    water.passes(600.0)
    assert Surprise.MOVED_ALONE in kinds(water.findings)
    found = next(f for f in water.findings if f.surprise is Surprise.MOVED_ALONE)
    assert found.latches
    assert found.pump is Role.PH_DOWN
    assert water.found_s[water.findings.index(found)] - begun_s <= 600.0


def test_a_pump_stuck_on_is_found_though_no_reading_can_be_used() -> None:
    """Half a pH a minute: all readings JUMPED."""
    water = Water()
    water.passes(600.0)
    water.drift_per_h, water.reason = -30.0, VerdictReason.JUMPED
    assert Surprise.MOVED_ALONE in kinds(water.passes(180.0))


@pytest.mark.parametrize("drift_per_h", [-0.25, -0.1, 0.0, 0.3, 0.7, 1.2])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_water_by_itself_is_never_a_siphon(drift_per_h: float, seed: int) -> None:
    """CO2 taken up or lost, plants, a drifting probe: three hours of it never latch."""
    water = Water(drift_per_h=drift_per_h, seed=seed, noise=0.01)
    assert kinds(water.passes(10_800.0)) <= {Surprise.STEPPED}


def test_a_slow_siphon_is_found_within_half_an_hour() -> None:
    """Seven thousandths of a pH a minute, in water that buffers well."""
    water = Water()
    water.passes(1800.0)
    begun_s, water.drift_per_h = water.at_s, -60.0 * 0.007
    water.passes(1800.0)
    assert Surprise.MOVED_ALONE in kinds(water.findings)
    assert water.found_s[-1] - begun_s <= 1800.0


@pytest.mark.parametrize("reason", [VerdictReason.FINE, VerdictReason.JUMPED])
def test_a_flood_is_found_whatever_its_shape(reason: VerdictReason) -> None:
    """Slow, then fast, then slow again, as acid does once the water's buffering is gone."""
    water = Water()
    water.passes(900.0)
    water.reason = reason
    for per_min in (0.05, 0.05, 3.0, 2.5, 0.2, 0.05):
        water.drift_per_h = -60.0 * per_min
        water.passes(40.0)
    assert Surprise.MOVED_ALONE in kinds(water.findings)


def test_a_probe_put_in_another_cup_is_no_flood() -> None:
    """From one look to the next it is in a buffer of pH 4: a step."""
    water = Water()
    water.passes(900.0)
    water.ph, water.reason = 4.0, VerdictReason.JUMPED
    assert kinds(water.passes(600.0)) == {Surprise.STEPPED}
    water.ph = 7.0
    assert kinds(water.passes(600.0)) == {Surprise.STEPPED}


def test_base_poured_by_hand_against_a_dose_is_no_dead_pump() -> None:
    """The doses before it showed what they should."""
    water = Water()
    water.passes(600.0)
    for _ in range(3):
        assert water.dose(3.0) == []
    water.unmixed += 0.14
    assert water.dose(3.0) == []


def test_a_rise_is_no_siphon_where_there_is_no_base() -> None:
    """Only a pump that is there can leak."""
    water = Water(drift_per_h=3.0)
    water.aim = aim(pumps=("ph_down",))
    assert Surprise.MOVED_ALONE not in kinds(water.passes(1800.0))
    water.aim = aim()
    assert Surprise.MOVED_ALONE in kinds(water.passes(1800.0))


@pytest.mark.parametrize("mixing_s", [60.0, 120.0, 600.0, 1800.0])
@pytest.mark.parametrize("shift", [-0.6, -0.2, 0.2, 0.6])
@pytest.mark.parametrize("offset", range(0, 40, 5))
def test_a_hand_dose_is_a_step_and_never_latches(mixing_s: float, shift: float, offset: int) -> None:
    """Down or up, at any moment between two points, in any mixing: dosing waits, nothing latches."""
    water = Water(mixing_s=mixing_s)
    water.passes(3600.0 + offset)
    poured_s = water.at_s
    water.unmixed = shift
    found = water.passes(mixing_s + 60.0)
    assert kinds(found) == {Surprise.STEPPED}
    assert not found[0].latches
    moved_s = since_moved_s(water.effects, water.at_s)
    assert moved_s is not None
    assert moved_s < water.at_s - poured_s
    water.passes(3.0 * mixing_s)
    assert kinds(water.findings) == {Surprise.STEPPED}


def test_a_step_that_the_judge_will_not_use_yet_counts_as_moved() -> None:
    """Readings that jumped are not used, but somebody did something."""
    water = Water()
    water.passes(900.0)
    water.ph, water.reason = 6.2, VerdictReason.JUMPED
    assert kinds(water.passes(120.0)) == {Surprise.STEPPED}


def test_people_at_the_tank_do_not_end_the_wait_after_a_movement() -> None:
    """A hold and its release forget what was followed, not when the water was last touched."""
    water = Water()
    water.passes(900.0)
    water.unmixed = -0.4
    assert kinds(water.passes(180.0)) == {Surprise.STEPPED}
    water.effects = forget(water.effects)
    assert since_moved_s(water.effects, water.at_s) is not None


def test_a_single_outlier_is_not_a_step() -> None:
    """A bubble at the probe."""
    water = Water()
    water.passes(900.0)
    water.ph, water.reason = 6.0, VerdictReason.JUMPED
    water.passes(10.0)
    water.ph, water.reason = 7.0, VerdictReason.FINE
    assert water.passes(900.0) == []
    assert since_moved_s(water.effects, water.at_s) is None


def test_what_a_dose_does_is_no_movement_of_its_own() -> None:
    """Neither while it mixes nor after."""
    water = Water()
    water.passes(900.0)
    water.dose(30.0)
    assert water.passes(1800.0) == []


# what cannot be judged


def test_water_that_runs_away_while_doses_are_in_doubt_ends_the_rest() -> None:
    """Unusual readings acquit no pump, and a siphon stops the tank long before the rest is over."""
    water = Water(works=0.0)
    water.passes(600.0)
    while doubted(water.effects) is None:
        water.effects = dosed(water.effects, Role.PH_DOWN, 8.0, -8.0 / ML_PER_PH, water.at_s)
        water.passes(3.0 * MIXING_S + READINGS * PASS_S)
    water.drift_per_h, water.reason = -1.5, VerdictReason.UNUSUAL
    first, *_ = water.passes(REST_S / 2.0)
    assert first.latches


_SHOWS_WATER = {VerdictReason.FINE, VerdictReason.JUMPED, VerdictReason.UNUSUAL}


@pytest.mark.parametrize("reason", sorted(set(VerdictReason) - _SHOWS_WATER))
def test_readings_that_cannot_be_used_teach_nothing(reason: VerdictReason) -> None:
    """The state stays as it is."""
    effects = Effects()
    assert watch(effects, aim(), verdict(1.0, 6.0, reason)) == (None, effects)
    assert watch(effects, aim(), Verdict(Quantity.PH, Quality.BAD, reason)) == (None, effects)


def test_a_pump_that_runs_on_is_found_by_ph_that_moves_as_never_before() -> None:
    """No dose rests on an unusual reading, and yet it tells that a pump does not stop."""
    effects, found = Effects(), []
    for minute in range(30):
        ph = verdict(60.0 * minute, 6.5 - 0.1 * minute, VerdictReason.UNUSUAL)
        finding, effects = watch(effects, aim(), ph)
        found.append(finding)
    assert any(finding is not None and finding.latches for finding in found)


@given(st.sampled_from([nan, inf, -inf]))
def test_what_is_no_number_teaches_nothing(value: float) -> None:
    """The state stays as it is."""
    effects = Effects()
    assert watch(effects, aim(), verdict(1.0, value)) == (None, effects)


def test_a_dose_whose_effect_was_seen_hours_later_is_not_judged() -> None:
    """The probe was out in between."""
    water = Water(works=0.0)
    water.passes(600.0)
    water.effects = dosed(water.effects, Role.PH_DOWN, 30.0, -0.5, water.at_s)
    water.reason = VerdictReason.NO_ANSWER
    water.passes(7200.0)
    water.reason = VerdictReason.FINE
    assert water.passes(600.0) == []


def test_a_dose_without_a_look_before_is_not_judged() -> None:
    """As after a restart."""
    water = Water(works=-1.0)
    assert water.dose(30.0) == []


@given(st.lists(st.tuples(st.floats(0.0, 14.0), st.sampled_from([1, 3, 30])), max_size=60))
def test_any_readings_are_borne(steps: list[tuple[float, int]]) -> None:
    """Whatever comes: no error, a finite moved_s, at most five newest readings."""
    effects, at_s = Effects(), 0.0
    for ph, passes in steps:
        at_s += passes * 10.0
        _, effects = watch(effects, aim(), verdict(at_s, ph))
        assert len(effects.newest) <= READINGS
        if int(ph * 10) % 7 == 0:
            effects = dosed(effects, Role.PH_DOWN, 3.0, -0.05, at_s)
