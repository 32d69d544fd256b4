"""One verdict for each look at one probe."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.convert import NotRead, PhCalibration, nernst_slope_mv_per_ph, to_reading
from daemon.measure.judge import LIMITS, Limits, ProbeHistory, begun_anew, judge
from daemon.measure.normal import HOLD_S, LEARNT_S, LEAST_STILL_S, Normal
from daemon.values import Quality, Quantity, Reading, Sample, Verdict, VerdictReason

PASS_S = 10.0
TODAY = date(2026, 3, 10)
DAY = "2026-03-02"
IDEAL = PhCalibration(slope_percent=100.0, offset_mv=0.0, day=DAY)
PH, EC = LIMITS[Quantity.PH], LIMITS[Quantity.EC]
TEMPERATURE, LEVEL = LIMITS[Quantity.TEMPERATURE], LIMITS[Quantity.LEVEL]
GOOD = (Quality.GOOD, VerdictReason.FINE)
WARMING_UP = (Quality.UNCERTAIN, VerdictReason.WARMING_UP)
STANDARD_C = 25.0


def mv_of(ph: float) -> float:
    return (7.0 - ph) * nernst_slope_mv_per_ph(STANDARD_C)


def look_at(
    limits: Limits, value: float, at_s: float, volts: float | None = None, spread_v: float = 0.001
) -> Reading:
    """A reading of that value; volts that move with the value unless given."""
    quantity = limits.quantity
    signal = mv_of(value) if quantity is Quantity.PH else value
    sample = Sample(quantity, at_s, signal, 1.65 - signal / 100.0 if volts is None else volts, spread_v)
    if not limits.calibrated:
        return Reading(quantity, value, at_s, sample)
    return Reading(quantity, value, at_s, sample, 21.0, DAY, 98.0 if quantity is Quantity.PH else None)


class Watch:
    """A probe watched pass by pass: hands in looks and keeps the history."""

    def __init__(self, limits: Limits = PH, every_s: float = PASS_S) -> None:
        self.limits, self.every_s = limits, every_s
        self.history = ProbeHistory()
        self.now_s = 1000.0
        self._wobble = Random(7)

    def see(self, look: Reading | NotRead) -> Verdict:
        verdict, self.history = judge(look, self.history, self.limits, self.now_s, TODAY)
        return verdict

    def read(self, value: float, volts: float | None = None, spread_v: float = 0.001) -> Verdict:
        """The next pass shows this value, with a hair of noise so that a level value is no stuck one."""
        self.now_s += self.every_s
        alive = value + self._wobble.uniform(-1e-3, 1e-3) if volts is None else value
        return self.see(look_at(self.limits, alive, self.now_s, volts, spread_v))

    def missed(self, reason: VerdictReason = VerdictReason.NO_ANSWER, note: str = "") -> Verdict:
        self.now_s += self.every_s
        return self.see(NotRead(reason, note))

    def all(self, values: Iterable[float]) -> Iterator[Verdict]:
        return (self.read(value) for value in values)

    def settled_at(self, value: float) -> Watch:
        for verdict in self.all([value] * self.limits.samples_needed):
            last = verdict
        assert says(last) == GOOD
        return self


def says(verdict: Verdict) -> tuple[Quality, VerdictReason]:
    return verdict.quality, verdict.reason


@pytest.mark.parametrize("limits", LIMITS.values(), ids=[quantity.value for quantity in LIMITS])
def test_a_living_probe_is_good_after_its_warm_up(limits: Limits) -> None:
    """Uncertain until as many samples as needed, then good, and usable only then."""
    watch = Watch(limits)
    value = {
        Quantity.PH: 6.1,
        Quantity.EC: 1.2,
        Quantity.TEMPERATURE: 20.0,
        Quantity.LEVEL: 0.9,
        Quantity.AIR_TEMPERATURE: 24.0,
        Quantity.HUMIDITY: 60.0,
        Quantity.LIGHT: 300.0,
    }[limits.quantity]
    verdicts = list(watch.all([value] * (limits.samples_needed + 3)))
    expected = [WARMING_UP] * (limits.samples_needed - 1) + [GOOD] * 4
    assert [says(each) for each in verdicts] == expected
    assert [each.usable for each in verdicts] == [each is GOOD for each in expected]
    assert all(each.quantity is limits.quantity for each in verdicts)


def test_warming_up_tells_how_far_it_is() -> None:
    """In numbers."""
    assert Watch().read(6.0).numbers == {"samples": 1, "needed": 5}


def test_the_same_sample_twice_counts_once() -> None:
    """A probe does not warm up by being asked often."""
    look, history = look_at(PH, 6.0, 100.0), ProbeHistory()
    for _ in range(20):
        verdict, history = judge(look, history, PH, 101.0, TODAY)
    assert says(verdict) == WARMING_UP


@pytest.mark.parametrize(
    "reason",
    [
        VerdictReason.NO_ANSWER,
        VerdictReason.NOT_CALIBRATED,
        VerdictReason.NO_TEMPERATURE,
        VerdictReason.OUT_OF_SPAN,
    ],
)
def test_no_reading_is_bad_for_its_own_reason(reason: VerdictReason) -> None:
    """With the driver's message and numbers passed on, no reading, and a warm-up afterwards."""
    watch = Watch().settled_at(6.0)
    verdict = watch.see(NotRead(reason, "ADS1115 at 0x48 did not answer", numbers={"tries": 3.0}))
    assert says(verdict) == (Quality.BAD, reason)
    assert (verdict.reading, verdict.note) == (None, "ADS1115 at 0x48 did not answer")
    assert verdict.numbers == {"tries": 3.0}
    assert [says(each) for each in watch.all([6.0] * 5)] == [WARMING_UP] * 4 + [GOOD]


@pytest.mark.parametrize(
    ("shown", "reason"),
    [
        ({"clipped": True}, VerdictReason.CLIPPED),
        ({"spread_v": 0.5}, VerdictReason.NOISY),
        ({}, VerdictReason.NO_TEMPERATURE),
    ],
)
def test_without_a_temperature_the_bare_signal_still_tells(shown: dict[str, Any], reason: VerdictReason) -> None:
    """A probe that came off while the thermometer was out says so at once, not when that is back."""
    watch = Watch().settled_at(6.0)
    sample = replace(look_at(PH, 6.0, watch.now_s).sample, **shown)
    assert says(watch.see(NotRead(VerdictReason.NO_TEMPERATURE, sample=sample))) == (Quality.BAD, reason)
    assert (
        says(watch.see(NotRead(VerdictReason.NOT_CALIBRATED, sample=sample)))[1] is VerdictReason.NOT_CALIBRATED
    )


def test_without_a_temperature_a_stuck_signal_still_tells() -> None:
    """After the half hour that it takes with one."""
    watch, found = Watch(), set()
    for _ in range(round(1900.0 / PASS_S)):
        watch.now_s += PASS_S
        sample = look_at(PH, 6.0, watch.now_s).sample
        found.add(watch.see(NotRead(VerdictReason.NO_TEMPERATURE, sample=sample)).reason)
    assert found == {VerdictReason.NO_TEMPERATURE, VerdictReason.STUCK}


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"clipped": True}, VerdictReason.CLIPPED),
        ({"spread_v": 0.0081}, VerdictReason.NOISY),
        ({"spread_v": math.nan}, VerdictReason.NOISY),
        ({"signal": math.nan}, VerdictReason.OUT_OF_SPAN),
        ({"volts": math.inf}, VerdictReason.OUT_OF_SPAN),
    ],
)
def test_a_bad_sample_makes_a_bad_verdict_and_keeps_the_value(
    change: dict[str, float | bool], reason: VerdictReason
) -> None:
    """What the sensor said stays visible beside the verdict."""
    watch = Watch().settled_at(6.0)
    look = look_at(PH, 6.0, watch.now_s + 5.0)
    look = replace(look, sample=replace(look.sample, **change))  # type: ignore[arg-type]
    watch.now_s += PASS_S
    verdict = watch.see(look)
    assert says(verdict) == (Quality.BAD, reason)
    assert verdict.reading is look


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"value": math.nan}, VerdictReason.OUT_OF_SPAN),
        ({"value": math.inf}, VerdictReason.OUT_OF_SPAN),
        ({"at_s": math.nan}, VerdictReason.STALE),
        ({"temperature_c": None}, VerdictReason.NO_TEMPERATURE),
        ({"temperature_c": math.nan}, VerdictReason.NO_TEMPERATURE),
        ({"calibration": ""}, VerdictReason.NOT_CALIBRATED),
        ({"calibration": "soon"}, VerdictReason.NOT_CALIBRATED),
    ],
)
def test_a_reading_that_lacks_something_is_bad(
    change: dict[str, float | str | None], reason: VerdictReason
) -> None:
    """Also one that was put together by other hands than the converter's."""
    watch = Watch().settled_at(6.0)
    watch.now_s += PASS_S
    verdict = watch.see(replace(look_at(PH, 6.0, watch.now_s), **change))  # type: ignore[arg-type]
    assert says(verdict) == (Quality.BAD, reason)
    assert all(math.isfinite(number) for number in verdict.numbers.values())


@pytest.mark.parametrize("limits", LIMITS.values(), ids=[quantity.value for quantity in LIMITS])
def test_both_ends_of_the_span_belong_to_it(limits: Limits) -> None:
    """At the end fine so far, a hair beyond out of span."""
    for end, beyond in ((limits.lowest, -1e-6), (limits.highest, 1e-6)):
        inside, _ = judge(look_at(limits, end, 5.0), ProbeHistory(), limits, 5.0, TODAY)
        outside, _ = judge(look_at(limits, end + beyond, 5.0), ProbeHistory(), limits, 5.0, TODAY)
        assert inside.quality is not Quality.BAD
        assert says(outside) == (Quality.BAD, VerdictReason.OUT_OF_SPAN)
        assert outside.numbers["lowest"] == limits.lowest
        assert outside.numbers["highest"] == limits.highest


def test_a_dry_conductivity_cell_is_out_of_span() -> None:
    """H16: EC of nothing is not the EC of a reservoir."""
    watch = Watch(EC).settled_at(1.3)
    assert [says(watch.read(0.0, 0.0)) for _ in range(3)] == [(Quality.BAD, VerdictReason.OUT_OF_SPAN)] * 3


@pytest.mark.parametrize("celsius", [-127.0, 85.0, 1.9, 40.1])
def test_impossible_temperatures_are_out_of_span(celsius: float) -> None:
    """H22: what a broken sensor answers, and water no lettuce stands in."""
    watch = Watch(TEMPERATURE).settled_at(20.0)
    assert says(watch.read(celsius)) == (Quality.BAD, VerdictReason.OUT_OF_SPAN)


@pytest.mark.parametrize(
    ("age_s", "stale"), [(0.0, False), (90.0, False), (90.1, True), (-0.9, False), (-1.1, True), (math.nan, True)]
)
def test_an_old_sample_is_stale(age_s: float, stale: bool) -> None:
    """Older than 90 s, from the future, or of unknown age."""
    verdict, _ = judge(look_at(PH, 6.0, 500.0), ProbeHistory(), PH, 500.0 + age_s, TODAY)
    assert (verdict.reason is VerdictReason.STALE) is stale
    assert (verdict.quality is Quality.BAD) is stale


# Stuck


def test_a_voltage_that_does_not_move_for_half_an_hour_is_stuck() -> None:
    """H17: at 1790 s still believed, at 1800 s not; a movement of two codes begins the count anew."""
    watch = Watch()
    verdicts = [watch.read(6.0, volts=1.45) for _ in range(181)]
    assert says(verdicts[179]) == GOOD
    assert says(verdicts[180]) == (Quality.BAD, VerdictReason.STUCK)
    assert verdicts[180].numbers == {"volts": 1.45, "still_s": 1800.0}
    assert says(watch.read(6.0, volts=1.45025)) == WARMING_UP


def test_one_code_to_and_fro_is_still_stuck() -> None:
    """Noise of the converter alone, one code of 125 µV, is no life of the electrode."""
    watch = Watch()
    for index in range(181):
        verdict = watch.read(6.0, volts=1.45 + 0.000125 * (index % 2))
    assert says(verdict) == (Quality.BAD, VerdictReason.STUCK)


def test_two_codes_of_noise_are_life() -> None:
    """What a healthy electrode shows, for six hours."""
    watch, noise = Watch(), Random(3)
    verdicts = [watch.read(6.0, volts=1.45 + 0.000125 * round(noise.gauss(0.0, 1.5))) for _ in range(2160)]
    assert {says(each) for each in verdicts[5:]} == {GOOD}


def test_a_digital_sensor_and_a_float_switch_are_never_stuck() -> None:
    """A step of a sixteenth of a kelvin may last for hours, a float for weeks."""
    for limits, value in ((TEMPERATURE, 20.0625), (LEVEL, 1.0)):
        history, verdict = ProbeHistory(), None
        for index in range(400):
            look = Reading(limits.quantity, value, index * 10.0, Sample(limits.quantity, index * 10.0, value))
            verdict, history = judge(look, history, limits, index * 10.0, TODAY)
        assert verdict is not None
        assert says(verdict) == GOOD


# Jumps


@pytest.mark.parametrize(("step", "jumped"), [(0.19, False), (-0.19, False), (0.21, True), (-0.21, True)])
def test_one_pass_may_move_ph_by_a_fifth(step: float, jumped: bool) -> None:
    """0.15 at once and 0.3 per minute are 0.2 in a pass of 10 s."""
    watch = Watch().settled_at(6.0)
    assert (watch.read(6.0 + step).reason is VerdictReason.JUMPED) is jumped


def test_an_outlier_is_bad_once_and_then_forgotten() -> None:
    """H23: an air bubble; back at the old level the probe warms up again."""
    watch = Watch().settled_at(6.0)
    outlier = watch.read(6.6)
    assert says(outlier) == (Quality.BAD, VerdictReason.JUMPED)
    assert outlier.numbers["before"] == pytest.approx(6.0, abs=0.01)
    assert outlier.numbers["value"] == pytest.approx(6.6, abs=0.01)
    assert [says(each) for each in watch.all([6.0] * 5)] == [WARMING_UP] * 4 + [GOOD]


def test_outliers_of_one_in_a_hundred_are_never_used() -> None:
    """H23: over ten days, each is BAD, and what is used stays within noise of the truth."""
    watch, random = Watch().settled_at(6.0), Random(5)
    used = 0
    for _ in range(86400):
        odd = random.random() < 0.01
        verdict = watch.read(6.0 + random.choice((-1, 1)) * random.uniform(0.25, 4.0) if odd else 6.0)
        if verdict.usable and verdict.reading is not None:
            used += 1
            assert abs(verdict.reading.value - 6.0) < 0.01
    assert used > 0.9 * 86400


def test_a_new_level_is_believed_once_it_has_held() -> None:
    """Hand dosing or a refill: JUMPED for five minutes, then it warms up and is good."""
    watch = Watch().settled_at(6.6)
    verdicts = list(watch.all([5.9] * 40))
    expected = [(Quality.BAD, VerdictReason.JUMPED)] * 30 + [WARMING_UP] * 4 + [GOOD] * 6
    assert [says(each) for each in verdicts] == expected
    assert verdicts[29].numbers["steady_s"] == pytest.approx(290.0)
    assert verdicts[29].numbers["hold_off_s"] == 300.0


def test_a_level_that_does_not_hold_is_not_believed() -> None:
    """Something that hops about for an hour is never good."""
    watch, random = Watch().settled_at(6.0), Random(4)
    verdicts = [watch.read(random.choice((4.0, 5.0, 7.6, 8.5))) for _ in range(360)]
    assert all(each.quality is Quality.BAD for each in verdicts)


def test_a_creep_faster_than_water_is_found() -> None:
    """0.1 pH in every pass passes each single check; 0.6 ahead of the rate it is JUMPED."""
    watch = Watch().settled_at(5.0)
    reasons = [each.reason for each in watch.all([5.0 + 0.1 * n for n in range(1, 21)])]
    assert VerdictReason.JUMPED in reasons
    assert reasons.index(VerdictReason.JUMPED) in range(11, 14)


@pytest.mark.parametrize("every_s", [1.0, 5.0, 10.0, 30.0, 60.0])
@pytest.mark.parametrize("change", [-0.5, -0.3, 0.3])
def test_a_permitted_dose_is_no_jump(every_s: float, change: float) -> None:
    """A dose that moves the tank by up to half a pH, 95 % of it within two minutes, stays good throughout."""
    watch = Watch(every_s=every_s).settled_at(6.8)
    seconds = [every_s * n for n in range(1, int(600 / every_s))]
    verdicts = list(watch.all([6.8 + change * (1.0 - math.exp(-s * math.log(20.0) / 120.0)) for s in seconds]))
    assert {says(each) for each in verdicts} == {GOOD}


def test_doses_every_six_minutes_are_no_jump() -> None:
    """A fresh reservoir brought from 7.4 to 5.9 in steps of 0.25."""
    watch, ph = Watch().settled_at(7.4), 7.4
    for _ in range(6):
        for n in range(36):
            verdict = watch.read(ph - 0.25 * (1.0 - math.exp(-(n + 1) * 10.0 * math.log(20.0) / 120.0)))
            assert says(verdict) == GOOD
        ph -= 0.25


def test_a_long_silence_does_not_make_a_jump_plausible() -> None:
    """After an hour without answers a near value warms up; a far one must hold like any new level."""
    for value, expected in ((6.3, WARMING_UP), (6.6, (Quality.BAD, VerdictReason.JUMPED))):
        watch = Watch().settled_at(6.0)
        for _ in range(360):
            watch.missed()
        verdicts = list(watch.all([value] * 40))
        assert says(verdicts[0]) == expected
        assert says(verdicts[-1]) == GOOD


def test_until_first_trusted_a_jump_begins_the_warm_up_again() -> None:
    """The first sample after start may itself have been the outlier."""
    watch = Watch()
    watch.read(8.5)
    assert says(watch.read(6.0)) == (Quality.UNCERTAIN, VerdictReason.WARMING_UP)
    assert [says(each) for each in watch.all([6.0] * 5)] == [WARMING_UP] * 4 + [GOOD]


# Unplugged


def test_an_unplugged_probe_is_unknown_at_once_and_soon_good_again() -> None:
    """H16: hum, rails, and a drift to the rail are each bad from the first sample; plugged back it warms up."""
    hum = {"spread_v": 0.2}
    for value, volts, change in ((6.3, 1.7, hum), (15.9, 3.3, {}), (-1.0, 0.1, {}), (6.0, 1.6, hum)):
        watch = Watch().settled_at(6.0)
        for _ in range(60):
            assert watch.read(value, volts=volts, **change).quality is Quality.BAD
        assert [says(each) for each in watch.all([6.0] * 5)] == [WARMING_UP] * 4 + [GOOD]


def test_a_dry_probe_does_not_take_the_level_with_it() -> None:
    """It wanders slowly and is noisy two times in three; back in the water it warms up and is good."""
    watch = Watch().settled_at(6.0)
    for index in range(60):
        watch.read(6.0 - 0.02 * index, spread_v=0.001 if index % 3 == 0 else 0.03)
    assert [says(each) for each in watch.all([6.0] * 5)] == [WARMING_UP] * 4 + [GOOD]


def test_an_input_at_rest_near_zero_is_not_taken_for_ph_seven() -> None:
    """H17: from pH 6 to 0 mV at once is unknown from the first sample, and stuck in the end; never good."""
    watch, noise = Watch().settled_at(6.0), Random(2)
    reasons = [watch.read(7.0, volts=1.65 + noise.choice((0.0, 0.000125))).reason for _ in range(720)]
    assert set(reasons) == {VerdictReason.JUMPED, VerdictReason.STUCK}
    assert reasons[-1] is VerdictReason.STUCK


def test_a_refill_to_about_seven_is_believed_after_half_an_hour() -> None:
    """Plain water near pH 7 looks like no probe for a while, but it lives."""
    watch = Watch().settled_at(6.0)
    verdicts = list(watch.all([7.0] * 190))
    assert all(each.quality is Quality.BAD for each in verdicts[:179])
    assert says(verdicts[-1]) == GOOD


def test_hum_that_falls_silent_near_zero_is_not_taken_for_ph_seven() -> None:
    """However long the noise went on before."""
    watch = Watch().settled_at(6.0)
    for _ in range(720):
        watch.read(7.0, volts=1.65, spread_v=0.2)
    assert watch.read(7.0).reason is VerdictReason.JUMPED


def test_water_that_goes_slowly_through_seven_stays_good() -> None:
    """The zone that looks like no probe bars only what jumps into it."""
    watch = Watch().settled_at(6.5)
    assert {says(each) for each in watch.all([6.5 + 0.01 * n for n in range(100)])} == {GOOD}


def test_a_temperature_ten_kelvin_off_is_bad_for_half_an_hour() -> None:
    """H22: and a change of 1 K per minute is water."""
    watch = Watch(TEMPERATURE).settled_at(20.0)
    assert {watch.read(30.0).reason for _ in range(180)} == {VerdictReason.JUMPED}
    slow = Watch(TEMPERATURE).settled_at(20.0)
    assert {says(each) for each in slow.all([20.0 + n / 6.0 for n in range(36)])} == {GOOD}


# Calibration


@pytest.mark.parametrize(
    ("today", "expected"),
    [
        (date(2026, 3, 2), GOOD),
        (date(2026, 4, 1), GOOD),
        (date(2026, 4, 2), (Quality.UNCERTAIN, VerdictReason.CALIBRATION_OLD)),
        (date(2026, 5, 1), (Quality.UNCERTAIN, VerdictReason.CALIBRATION_OLD)),
        (date(2026, 5, 2), (Quality.BAD, VerdictReason.CALIBRATION_OLD)),
        (date(2026, 3, 1), GOOD),
        (date(2026, 2, 28), (Quality.UNCERTAIN, VerdictReason.CALIBRATION_OLD)),
    ],
)
def test_a_calibration_ages(today: date, expected: tuple[Quality, VerdictReason]) -> None:
    """Good for 30 days, uncertain to 60, then bad; one from the future means a wrong clock and is uncertain."""
    watch = Watch().settled_at(6.0)
    verdict, _ = judge(look_at(PH, 6.0, watch.now_s + 10.0), watch.history, PH, watch.now_s + 10.0, today)
    assert says(verdict) == expected
    if expected is not GOOD:
        assert verdict.numbers == {
            "age_days": (today - date(2026, 3, 2)).days,
            "warn_days": 30,
            "expire_days": 60,
        }


@pytest.mark.parametrize(
    ("today", "expected"),
    [
        (date(2026, 3, 2), (Quality.UNCERTAIN, VerdictReason.STOP_GAP)),
        (date(2026, 3, 9), (Quality.UNCERTAIN, VerdictReason.STOP_GAP)),
        (date(2026, 3, 10), (Quality.BAD, VerdictReason.CALIBRATION_OLD)),
    ],
)
def test_no_dose_rests_on_a_stop_gap(today: date, expected: tuple[Quality, VerdictReason]) -> None:
    """Shown for 7 days and never dosed by, from the first day: one buffer does not show that the bulb lives."""
    watch = Watch().settled_at(6.0)
    look = replace(look_at(PH, 6.0, watch.now_s + 10.0), stop_gap=True)
    verdict, _ = judge(look, watch.history, PH, watch.now_s + 10.0, today)
    assert says(verdict) == expected
    assert not verdict.usable


def test_a_stop_gap_lives_no_longer_than_any_calibration() -> None:
    """Where the settings let calibrations expire sooner, that holds for it too."""
    watch, limits = Watch().settled_at(6.0), replace(PH, warn_days=2.0, expire_days=4.0)
    look = replace(look_at(PH, 6.0, watch.now_s + 10.0), stop_gap=True)
    verdict, _ = judge(look, watch.history, limits, watch.now_s + 10.0, date(2026, 3, 7))
    assert says(verdict) == (Quality.BAD, VerdictReason.CALIBRATION_OLD)


@pytest.mark.parametrize(("slope_percent", "usable"), [(90.0, True), (89.99, False), (math.nan, False)])
def test_no_dose_rests_on_a_worn_electrode(slope_percent: float, usable: bool) -> None:
    """H18: accepted from 85 % on, used for dosing from 90 %."""
    watch = Watch().settled_at(6.0)
    look = replace(look_at(PH, 6.0, watch.now_s + 10.0), slope_percent=slope_percent)
    verdict, _ = judge(look, watch.history, PH, watch.now_s + 10.0, TODAY)
    assert verdict.usable is usable
    assert usable or says(verdict) == (Quality.UNCERTAIN, VerdictReason.PROBE_WORN)


# What is kept


def test_since_holds_while_the_verdict_does() -> None:
    """It changes only with quality or reason."""
    watch = Watch()
    first = watch.read(6.0)
    started_s = watch.now_s
    assert first.since_s == started_s
    assert {each.since_s for each in watch.all([6.0] * 3)} == {started_s}
    good = watch.read(6.0)
    assert good.since_s == watch.now_s
    assert {each.since_s for each in watch.all([6.0] * 20)} == {good.since_s}
    silent = watch.missed()
    assert silent.since_s == watch.now_s
    assert watch.missed().since_s == silent.since_s
    assert watch.missed(VerdictReason.NO_TEMPERATURE).since_s == watch.now_s


def test_judging_changes_nothing_that_was_handed_in() -> None:
    """The same look and history give the same verdict again."""
    watch = Watch().settled_at(6.0)
    look = look_at(PH, 6.9, watch.now_s + 10.0)
    first = judge(look, watch.history, PH, watch.now_s + 10.0, TODAY)
    assert judge(look, watch.history, PH, watch.now_s + 10.0, TODAY) == first


_any = st.floats(allow_nan=True, allow_infinity=True) | st.floats(5.0, 7.0)


@given(
    looks=st.lists(
        st.tuples(_any, _any, st.none() | _any, st.none() | _any, st.booleans(), st.none() | _any), max_size=30
    ),
    quantity=st.sampled_from(sorted(LIMITS)),
)
def test_nothing_that_is_no_number_is_ever_good(
    looks: list[tuple[float, float, float | None, float | None, bool, float | None]], quantity: Quantity
) -> None:
    """Any samples, on a probe that was good until now: no exception; BAD if not finite, clipped, out of span."""
    limits = LIMITS[quantity]
    watch = Watch(limits).settled_at({Quantity.LEVEL: 1.0}.get(quantity, 6.0))
    for value, signal, volts, spread_v, clipped, temperature_c in looks:
        watch.now_s += PASS_S
        sample = Sample(quantity, watch.now_s, signal, volts, spread_v, clipped)
        look = Reading(quantity, value, watch.now_s, sample, temperature_c, DAY, 98.0)
        verdict = watch.see(look)
        numbers = [n for n in (value, signal, volts, spread_v) if n is not None]
        if verdict.quality is not Quality.BAD:
            assert all(math.isfinite(number) for number in numbers)
            assert not clipped
            assert limits.lowest <= value <= limits.highest
        assert all(math.isfinite(number) for number in verdict.numbers.values())


@given(
    start=st.floats(4.5, 8.5), per_min=st.floats(-0.3, 0.3), noise=st.floats(0.0, 0.04), seed=st.integers(0, 999)
)
def test_water_that_moves_as_water_does_is_always_good(
    start: float, per_min: float, noise: float, seed: int
) -> None:
    """Any steady drift within the rate, with noise of a few hundredths, from convert to verdict."""
    random, history = Random(seed), ProbeHistory()
    verdicts = []
    for index in range(40):
        ph = start + per_min * index / 6.0 + random.uniform(-noise, noise)
        sample = Sample(Quantity.PH, index * 10.0, mv_of(ph), 1.65 - 0.003 * mv_of(ph), 0.001)
        look = to_reading(sample, IDEAL, STANDARD_C)
        verdict, history = judge(look, history, PH, index * 10.0, TODAY)
        verdicts.append(says(verdict))
    assert set(verdicts[4:]) == {GOOD}


@pytest.mark.parametrize(
    ("today", "usable"), [(date(2026, 4, 15), True), (date(2026, 6, 1), False)], ids=["due", "expired"]
)
def test_a_calibration_that_is_due_still_carries_a_dose_but_only_after_the_warm_up(
    today: date, usable: bool
) -> None:
    """Due warns and doses; expired does not dose; and neither does before enough samples."""
    history, verdicts = ProbeHistory(), []
    for n in range(PH.samples_needed + 1):
        look = look_at(PH, 6.0 + 0.01 * (n % 2), 100.0 + 10.0 * n, None, 0.001)
        verdict, history = judge(look, history, PH, 100.0 + 10.0 * n, today)
        verdicts.append(verdict.usable)
    assert verdicts == [False] * (PH.samples_needed - 1) + [usable, usable]


# unlike this water


CALM = Normal((0.02, 0.02, 0.02), seen_s=LEARNT_S)


def in_known_water(limits: Limits, value: float) -> Watch:
    """A settled probe in water that was watched for three weeks and never moved much."""
    watch = Watch(limits, every_s=10.0)
    watch.history = ProbeHistory(normal=CALM)
    return watch.settled_at(value)


def crept(watch: Watch, since: float, by: float) -> Verdict:
    """Moved at nine tenths of the largest rate; the last verdict."""
    steps = math.ceil(abs(by) / (0.9 * watch.limits.max_rate_per_min / 6.0))
    return list(watch.all(since + by * step / steps for step in range(1, steps + 1)))[-1]


@pytest.mark.parametrize(("limits", "value"), [(PH, 6.0), (EC, 1.2), (TEMPERATURE, 20.0)])
@pytest.mark.parametrize("way", [-1.0, 1.0])
def test_a_move_that_this_water_never_made_is_uncertain(limits: Limits, value: float, way: float) -> None:
    """Though it is no faster than water can be; up to what a dose may do is never unusual."""
    assert limits.learns is not None
    least = limits.learns.least_move
    assert says(crept(in_known_water(limits, value), value, way * 0.95 * least)) == GOOD
    verdict = crept(in_known_water(limits, value), value, way * 1.05 * least)
    assert says(verdict) == (Quality.UNCERTAIN, VerdictReason.UNUSUAL)
    assert not verdict.usable
    assert verdict.shows_water
    assert verdict.numbers["usual"] == least


def test_water_not_known_yet_is_held_to_the_fixed_limits_only() -> None:
    """The first day may do all that water can."""
    watch = Watch(PH).settled_at(6.0)
    assert says(crept(watch, 6.0, 1.2)) == GOOD


def test_what_moves_every_day_may_but_never_faster_than_water() -> None:
    """Learning widens what is usual, not what is possible."""
    watch = Watch(PH)
    watch.history = ProbeHistory(normal=CALM._replace(largest=(1.0, 1.0, 1.0)))
    watch.settled_at(6.0)
    assert says(crept(watch, 6.0, 1.2)) == GOOD
    assert says(watch.read(9.0)) == (Quality.BAD, VerdictReason.JUMPED)


def test_an_unusual_level_that_holds_for_half_an_hour_carries_a_dose() -> None:
    """So no memory bars a probe for ever."""
    watch = in_known_water(PH, 6.0)
    crept(watch, 6.0, 1.0)
    half_an_hour = round(HOLD_S / PASS_S)
    verdicts = list(watch.all([7.0] * (half_an_hour + 1)))
    assert says(verdicts[half_an_hour // 2]) == (Quality.UNCERTAIN, VerdictReason.UNUSUAL)
    assert says(verdicts[-1]) == GOOD


def test_other_water_may_move_further() -> None:
    """As far as the judge is told that it came in."""
    watch = in_known_water(PH, 6.0)
    value, saids = 6.0, []
    for _ in range(20):
        value += 0.04
        watch.now_s += PASS_S
        look = look_at(PH, value, watch.now_s)
        verdict, watch.history = judge(look, watch.history, PH, watch.now_s, TODAY, other_water=True)
        saids.append(says(verdict))
    assert saids == [GOOD] * 20


def test_a_bad_look_and_a_warm_up_teach_nothing() -> None:
    """Neither a jump nor a dry probe becomes normal."""
    watch = in_known_water(PH, 6.0)
    before = watch.history.normal
    watch.missed()
    watch.read(9.0)
    watch.read(6.0)
    assert watch.history.normal == before


@pytest.mark.parametrize("limits", [PH, EC])
def test_a_value_of_no_voltage_that_stands_for_a_day_is_stuck(limits: Limits) -> None:
    """A sender that repeats itself has no voltage to tell by."""
    history, now_s, saids = ProbeHistory(), 0.0, []
    for _ in range(limits.samples_needed + round(86400.0 / 60.0)):
        now_s += 60.0
        look = look_at(limits, 3.0, now_s)
        look = replace(look, sample=replace(look.sample, volts=None))
        verdict, history = judge(look, history, limits, now_s, TODAY)
        saids.append(says(verdict))
    assert saids[-2:] == [GOOD, (Quality.BAD, VerdictReason.STUCK)]


def test_a_value_that_stands_longer_than_this_water_ever_did_is_uncertain() -> None:
    """Half a day where minutes were the most."""
    history, now_s, saids = ProbeHistory(normal=CALM._replace(still_s=600.0)), 0.0, []
    for _ in range(round(LEAST_STILL_S / 60.0) + 6):
        now_s += 60.0
        look = look_at(EC, 1.2, now_s)
        look = replace(look, sample=replace(look.sample, volts=None))
        verdict, history = judge(look, history, EC, now_s, TODAY)
        saids.append(says(verdict))
    assert saids[-20] == GOOD
    assert saids[-1] == (Quality.UNCERTAIN, VerdictReason.STUCK)


def test_begun_anew_only_what_was_learned_is_left() -> None:
    """Where the probe stood before it was calibrated says nothing."""
    history = in_known_water(PH, 6.0).history
    anew = begun_anew(history)
    assert anew == ProbeHistory(normal=anew.normal)
    assert anew.normal.seen_s == history.normal.seen_s
    assert anew.normal.kept is None
