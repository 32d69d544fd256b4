"""The PID against the general-purpose simple-pid, and the rules by which pH is asked for."""

from __future__ import annotations

from dataclasses import replace
from math import inf, nan
from typing import Any

import pytest
import simple_pid
from hypothesis import given, settings
from hypothesis import strategies as st

from config.settings import Pump, Reservoir
from daemon.dose.control import (
    READINGS,
    ControlState,
    PhAim,
    PidState,
    PidTuning,
    aim_of,
    ask_ph,
    pid_step,
)
from daemon.values import DoseReason, DoseRequest, Quality, Role
from tests.strategies import verdict


def run(tuning: PidTuning, target: float, series: list[tuple[float, float]]) -> list[float | None]:
    """Outputs of the PID for (measured, seconds since the one before)."""
    state, outputs = PidState(), []
    for measured, dt_s in series:
        output, state = pid_step(tuning, state, target, measured, dt_s)
        outputs.append(output)
    return outputs


def run_simple_pid(tuning: PidTuning, target: float, series: list[tuple[float, float]]) -> list[float]:
    """The same from simple-pid 2.x (Lundberg, MIT licence), which clamps its integral in the same way."""
    low, high = tuning.low_ml, tuning.high_ml
    pid = simple_pid.PID(
        tuning.kp,
        tuning.ki,
        tuning.kd,
        setpoint=target,
        sample_time=None,
        output_limits=(None if low == -inf else low, None if high == inf else high),
    )
    return [float(pid(measured, dt=dt_s) or 0.0) for measured, dt_s in series]


SERIES = [(7.2, 10.0), (7.1, 10.0), (6.8, 30.0), (6.9, 5.0), (6.2, 10.0), (5.7, 60.0), (5.9, 10.0), (6.3, 10.0)]


@pytest.mark.parametrize(
    "tuning",
    [
        PidTuning(20.0),
        PidTuning(20.0, ki=0.05),
        PidTuning(20.0, kd=40.0),
        PidTuning(20.0, ki=0.05, kd=40.0),
        PidTuning(20.0, ki=0.5, kd=40.0, low_ml=-8.0, high_ml=8.0),
        PidTuning(0.0, ki=2.0, low_ml=-3.0, high_ml=1.0),
    ],
    ids=["p", "pi", "pd", "pid", "pid-limited", "i-limited"],
)
def test_agrees_with_simple_pid(tuning: PidTuning) -> None:
    """On the same readings and time steps, both give the same outputs, limits and all."""
    assert run(tuning, 6.0, SERIES) == pytest.approx(run_simple_pid(tuning, 6.0, SERIES), abs=1e-9)


gain = st.floats(0.0, 100.0)


@settings(max_examples=150)
@given(
    st.builds(PidTuning, gain, gain, gain, st.floats(-50.0, 0.0), st.floats(0.0, 50.0)),
    st.floats(4.5, 7.5),
    st.lists(st.tuples(st.floats(3.0, 9.0), st.floats(0.5, 3600.0)), min_size=1, max_size=30),
)
def test_agrees_with_simple_pid_on_anything(
    tuning: PidTuning, target: float, series: list[tuple[float, float]]
) -> None:
    """Whatever the gains, limits and readings, the outputs are those of simple-pid."""
    assert run(tuning, target, series) == pytest.approx(run_simple_pid(tuning, target, series), abs=1e-6)


def test_output_and_integral_stay_within_the_limits() -> None:
    """A thousand steps of a constant error wind up no further than the limit, and unwind at once."""
    tuning = PidTuning(0.0, ki=1.0, low_ml=-5.0, high_ml=5.0)
    outputs = run(tuning, 6.0, [(7.0, 10.0)] * 1000 + [(5.0, 10.0)])
    assert min(o for o in outputs if o is not None) == -5.0
    assert outputs[-1] == 5.0


def test_a_moved_target_gives_no_derivative_kick() -> None:
    """With the reading still, moving the target changes the output by the proportional part alone."""
    tuning = PidTuning(10.0, kd=1000.0)
    _, state = pid_step(tuning, PidState(), 6.0, 6.5, 10.0)
    assert pid_step(tuning, state, 5.0, 6.5, 10.0)[0] == pytest.approx(10.0 * -1.5)


@pytest.mark.parametrize(
    ("target", "measured", "dt_s"),
    [(6.0, nan, 10.0), (nan, 6.5, 10.0), (6.0, inf, 10.0), (6.0, 6.5, nan), (6.0, 6.5, -1.0), (6.0, 6.5, inf)],
)
def test_no_number_gives_no_output_and_leaves_the_state(target: float, measured: float, dt_s: float) -> None:
    """NaN, infinity or a step back in time: no output, and nothing remembered of it."""
    state = PidState(integral_ml=-2.0, last_measured=6.4)
    assert pid_step(PidTuning(10.0, 1.0, 1.0), state, target, measured, dt_s) == (None, state)


def test_inside_the_dead_band_is_zero_and_forgets_the_integral() -> None:
    """Within target ± dead band nothing is asked, and what was summed up before is gone."""
    tuning = PidTuning(10.0, ki=1.0, dead_band=0.15)
    output, state = pid_step(tuning, PidState(integral_ml=-4.0, last_measured=6.4), 6.0, 6.125, 10.0)
    assert (output, state.integral_ml, state.last_measured) == (0.0, 0.0, 6.125)
    assert pid_step(tuning, PidState(), 6.0, 6.1875, 0.0)[0] == pytest.approx(-1.875)


AIM = PhAim(
    tuning=PidTuning(20.0, low_ml=-60.0, high_ml=60.0, dead_band=0.15),
    target=6.0,
    ph_low=5.5,
    ml_per_ph=60.0,
    share_of_need=1 / 3,
    mixing_time_s=120.0,
    has_down=True,
    has_up=True,
)


def ask(
    readings: list[float], *, aim: PhAim = AIM, from_s: float = 1000.0, last_dose_s: float | None = None
) -> DoseRequest | None:
    """The last answer to `readings` taken every 10 s from `from_s`."""
    state, asked = ControlState(), None
    for i, ph in enumerate(readings):
        at_s = from_s + 10.0 * i
        asked, state = ask_ph("bed1", verdict(ph, at_s), aim, state, at_s, last_dose_s)
    return asked


def test_asks_a_third_of_the_need_of_acid_above_the_dead_band() -> None:
    """At 6.6, 0.6 above target, 60 mL per pH need 36 mL; a third of that, 12 mL, is asked."""
    asked = ask([6.6] * READINGS)
    assert asked is not None
    assert (asked.pump, asked.reason) == (Role.PH_DOWN, DoseReason.PH_HIGH)
    assert asked.ml == pytest.approx(12.0)
    numbers = asked.numbers
    assert numbers["need_ml"] == pytest.approx((numbers["ph"] - numbers["target"]) * numbers["ml_per_ph"])
    assert asked.ml == pytest.approx(numbers["need_ml"] * numbers["share_of_need"])


@pytest.mark.parametrize("ph", [5.5, 5.7, 5.86, 6.0, 6.14])
def test_asks_nothing_in_the_band_below_target_or_in_the_dead_band(ph: float) -> None:
    """A slight overshoot by acid is left alone: base is not asked for until the crop's band is left."""
    assert ask([ph] * READINGS) is None


def test_asks_base_only_below_the_band() -> None:
    """At 5.4, below the band's 5.5, a third of what leads back to target is asked of base."""
    asked = ask([5.4] * READINGS)
    assert asked is not None
    assert (asked.pump, asked.reason) == (Role.PH_UP, DoseReason.PH_LOW)
    assert asked.ml == pytest.approx(12.0)


def test_asks_nothing_of_a_pump_that_is_not_there() -> None:
    """Without a pump for that direction there is nothing to ask."""
    none = PhAim(AIM.tuning, 6.0, 5.5, 60.0, 1 / 3, 120.0, has_down=False, has_up=False)
    assert ask([7.0] * READINGS, aim=none) is None
    assert ask([5.0] * READINGS, aim=none) is None


def test_never_asks_on_few_readings_or_one_outlier() -> None:
    """Four readings are too few; of five, two wild ones do not move the median."""
    assert ask([7.0] * (READINGS - 1)) is None
    assert ask([6.0, 6.0, 9.0, 6.0, 9.0]) is None


@pytest.mark.parametrize("quality", [Quality.UNCERTAIN, Quality.BAD])
def test_an_unusable_verdict_asks_nothing_and_starts_over(quality: Quality) -> None:
    """One doubtful reading: nothing asked, and five good ones are needed again."""
    state = ControlState()
    for i in range(READINGS):
        asked, state = ask_ph("bed1", verdict(7.0, 10.0 * i), AIM, state, 10.0 * i, None)
    assert asked is not None
    asked, state = ask_ph("bed1", verdict(7.0, 50.0, quality), AIM, state, 50.0, None)
    assert asked is None
    for i in range(6, 6 + READINGS - 1):
        asked, state = ask_ph("bed1", verdict(7.0, 10.0 * i), AIM, state, 10.0 * i, None)
        assert asked is None


def test_waits_three_mixing_times_and_then_for_new_readings() -> None:
    """After a dose at 1000 s, readings count from 1360 s on; the fifth of them, at 1400 s, may ask."""
    state, asks = ControlState(), []
    for at_s in range(1000, 1500, 10):
        asked, state = ask_ph("bed1", verdict(7.0, float(at_s)), AIM, state, float(at_s), 1000.0)
        asks += [at_s] if asked else []
    assert asks[0] == 1400


def test_readings_from_before_the_mixing_was_over_do_not_count() -> None:
    """A reading taken during the wait but looked at after it is not used."""
    assert ask_ph("bed1", verdict(7.0, 1359.0), AIM, ControlState(), 1361.0, 1000.0)[1].readings == ()
    quick = replace(AIM, mixing_time_s=30.0)
    before = ControlState(tuple((900.0 + i, 7.0) for i in range(READINGS)))
    asked, state = ask_ph("bed1", verdict(7.0, 1000.0), quick, before, 1000.0, 910.0)
    assert (asked, len(state.readings)) == (None, 1)
    assert ask_ph("bed1", verdict(7.0, 1000.0), quick, before, 1000.0, None)[0] is not None


def test_a_break_in_the_readings_starts_over() -> None:
    """Readings ten minutes apart do not make one median."""
    before = ControlState(tuple((900.0 + 10 * i, 7.0) for i in range(READINGS)))
    asked, state = ask_ph("bed1", verdict(7.0, 1600.0), AIM, before, 1600.0, None)
    assert (asked, len(state.readings)) == (None, 1)


def test_the_same_reading_counts_once() -> None:
    """A pass that brings no new reading asks nothing and remembers nothing."""
    state = ControlState()
    for _ in range(10):
        asked, state = ask_ph("bed1", verdict(7.0, 1000.0), AIM, state, 1000.0, None)
        assert asked is None
    assert len(state.readings) == 1


@pytest.mark.parametrize("last_dose_s", [nan, inf])
def test_a_last_dose_at_no_time_asks_nothing(last_dose_s: float) -> None:
    """Not knowing when the last dose was fails closed."""
    assert ask([7.0] * 10, last_dose_s=last_dose_s) is None


@pytest.mark.parametrize("ph", [nan, inf, -inf])
def test_a_reading_that_is_no_number_asks_nothing(ph: float) -> None:
    """NaN that slipped past the judge is not dosed on."""
    assert ask([ph] * 10) is None


def test_never_asks_for_more_than_the_whole_need() -> None:
    """However the integral is tuned, one dose is not asked to go past the target."""
    eager = PhAim(PidTuning(20.0, ki=10.0, low_ml=-60.0, high_ml=60.0), 6.0, 5.5, 60.0, 1 / 3, 120.0, True, True)
    asked = ask([6.25] * 40, aim=eager)
    assert asked is not None
    assert asked.ml == pytest.approx(15.0)


@settings(max_examples=100)
@given(st.lists(st.floats(3.0, 9.0) | st.just(nan), max_size=30))
def test_whatever_the_readings_the_direction_is_right(readings: list[float]) -> None:
    """Acid is only ever asked above the dead band, base only below the crop's band, both finite and above 0."""
    asked = ask(readings)
    if asked is None:
        return
    assert 0.0 < asked.ml <= AIM.tuning.high_ml
    if asked.pump is Role.PH_DOWN:
        assert asked.numbers["ph"] > 6.15
    else:
        assert asked.numbers["ph"] < 5.5


def test_the_aim_comes_from_the_settings() -> None:
    """Target, band, gains and limits as the settings say; 60 L bear at most 60 mL at a time."""
    table: dict[str, Any] = {"ml_per_ph": 60.0, "integral_per_h": 0.5, "derivative_h": 0.1, "dead_band": 0.2}
    bed = Reservoir.model_validate(
        {
            "title": "Bed",
            "system": "still",
            "volume_l": 60.0,
            "mixing_time_s": 90.0,
            "ph": table,
            "pump": {"ph_down": Pump(line=17, ml_per_s=1.0, bottle_ml=500.0)},
        }
    )
    aim = aim_of(bed)
    assert (aim.target, aim.ph_low, aim.mixing_time_s, aim.has_down, aim.has_up) == (6.0, 5.5, 90.0, True, False)
    assert aim.tuning == PidTuning(20.0, 20.0 * 0.5 / 3600.0, 20.0 * 0.1 * 3600.0, -60.0, 60.0, 0.2)
