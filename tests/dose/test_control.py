"""The rules by which pH is asked for, and what the controller makes of its own doses."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, inf, isfinite, nan
from random import Random
from typing import Any

import pytest
from hypothesis import given as drawn
from hypothesis import settings
from hypothesis import strategies as st

from config.pump import Pump
from config.settings import USUAL_ML_PER_PH_AND_L, Reservoir
from daemon.dose.control import (
    ControlState,
    PhAim,
    aim_of,
    answer_of,
    ask_ph,
    dead_band_ph,
    disturbed,
    expected_shift_ph,
    given,
    prior_ml_per_ph,
    watered,
)
from daemon.dose.learn import CONFIRMED, FULL_SHARE
from daemon.dose.newest import READINGS
from daemon.values import DoseReason, DoseRequest, Quality, Role
from tests.strategies import verdict

AIM = PhAim(
    target=6.0,
    dead_band=0.05,
    ph_low=5.5,
    ph_high=6.5,
    ml_per_ph={Role.PH_DOWN: 60.0, Role.PH_UP: 60.0},
    share_of_need=1 / 3,
    mixing_time_s=120.0,
    largest_ml=60.0,
    smallest_ml={Role.PH_DOWN: 0.2, Role.PH_UP: 0.2},
)
ACID_ONLY = replace(AIM, smallest_ml={Role.PH_DOWN: 0.2})


def ask(
    readings: list[float],
    *,
    aim: PhAim = AIM,
    from_s: float = 1000.0,
    last_dose_s: float | None = None,
    state: ControlState | None = None,
) -> DoseRequest | None:
    """The last answer to `readings` taken every 10 s from `from_s`."""
    state, asked = state or ControlState(), None
    for i, ph in enumerate(readings):
        at_s = from_s + 10.0 * i
        asked, state = ask_ph("bed1", verdict(ph, at_s), aim, state, at_s, last_dose_s)
    return asked


def test_asks_a_third_of_the_need_of_acid_above_the_dead_band() -> None:
    """At 6.6, 0.6 above target, 60 mL per pH need 36 mL; a third of that, 12 mL, is asked of an unknown tank."""
    asked = ask([6.6] * READINGS)
    assert asked is not None
    assert (asked.pump, asked.reason) == (Role.PH_DOWN, DoseReason.PH_HIGH)
    assert asked.ml == pytest.approx(12.0)
    numbers = asked.numbers
    assert numbers["need_ml"] == pytest.approx((numbers["ph"] - numbers["target"]) * numbers["ml_per_ph"])
    assert asked.ml == pytest.approx(numbers["need_ml"] * numbers["share_of_need"])


@pytest.mark.parametrize("ph", [5.91, 5.96, 6.0, 6.04])
def test_asks_nothing_near_the_target(ph: float) -> None:
    """Within the dead band nothing is asked, nor just below it where acid is what this tank usually needs."""
    assert ask([ph] * READINGS) is None


@pytest.mark.parametrize(("ph", "readings"), [(5.4, READINGS), (5.8, 3600)])
def test_asks_base_below_the_band_or_where_ph_stays_low(ph: float, readings: int) -> None:
    """A third of what leads back to target: at once below the crop's band, within it once the drift is known."""
    asked = ask([ph] * readings)
    assert asked is not None
    assert (asked.pump, asked.reason) == (Role.PH_UP, DoseReason.PH_LOW)
    assert asked.ml == pytest.approx((6.0 - ph) * 60.0 / 3.0)


def rising(from_ph: float, per_h: float, hours: float = 1.0) -> list[float]:
    """Readings every 10 s of a pH that moves evenly."""
    return [from_ph + per_h * i / 360.0 for i in range(int(hours * 360.0))]


def test_what_comes_back_by_itself_is_not_turned_round() -> None:
    """Acid went a little too far, and pH rises by itself: no base; below the crop's band it is asked for."""
    assert ask(rising(5.7, 0.1)) is None
    assert ask(rising(5.3, 0.1)) is not None


def test_after_base_acid_waits_in_the_same_way() -> None:
    """In a tank whose last dose was base, acid is asked for only where pH stays well above the target."""
    state = given(ControlState(), Role.PH_UP, 0.1, 0.0)
    assert ask([6.08] * READINGS, state=state) is None
    assert ask([6.12] * READINGS, state=state) is None
    assert ask([6.2] * 3600, state=state) is not None
    assert ask([5.92] * READINGS, state=state) is not None


def test_asks_nothing_of_a_pump_that_is_not_there() -> None:
    """Without a pump for that direction there is nothing to ask."""
    none = replace(AIM, smallest_ml={})
    assert (none.has_down, none.has_up) == (False, False)
    assert ask([7.0] * READINGS, aim=none) is None
    assert ask([5.0] * READINGS, aim=none) is None


def test_never_asks_on_few_readings_or_outliers() -> None:
    """Four readings are too few; of five, two wild ones ask for nothing, wherever they stand."""
    assert ask([7.0] * (READINGS - 1)) is None
    for wild in ([6.0, 6.0, 9.0, 6.0, 9.0], [9.0, 9.0, 6.0, 6.0, 6.0], [6.0, 6.0, 6.0, 9.0, 9.0]):
        assert ask(wild) is None


def test_after_a_jump_the_new_level_needs_five_readings_of_its_own() -> None:
    """The fourth in a row far off begins the line anew, and counts as its first."""
    asks = [ask([6.0] * 30 + [6.6] * after) is not None for after in range(1, 10)]
    assert asks == [False] * 7 + [True] * 2


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


def test_waits_three_mixing_times_and_for_readings_in_which_the_dose_shows() -> None:
    """After a dose at 1000 s, readings count from 1300 s on, and the first from 1360 s on may ask."""
    state, asks = ControlState(), []
    for at_s in range(1000, 1500, 10):
        asked, state = ask_ph("bed1", verdict(7.0, float(at_s)), AIM, state, float(at_s), 1000.0)
        asks += [at_s] if asked else []
    assert asks[0] == 1360


def test_slow_passes_wait_for_five_readings_after_the_mixing() -> None:
    """One a minute: at 1300 s and each later one; the fifth of them is at 1540 s."""
    state, asks = ControlState(), []
    for at_s in range(1000, 1700, 60):
        asked, state = ask_ph("bed1", verdict(7.0, float(at_s)), AIM, state, float(at_s), 1000.0)
        asks += [at_s] if asked else []
    assert asks[0] == 1540


def test_a_reading_of_the_mixing_looked_at_later_does_not_count() -> None:
    """Taken before the dose shows, looked at after it: not used."""
    assert ask_ph("bed1", verdict(7.0, 1299.0), AIM, ControlState(), 1361.0, 1000.0)[1].newest == ()


def test_five_readings_from_before_the_end_of_the_mixing_ask_nothing() -> None:
    """However late they are looked at: the newest has to be from after it."""
    state = ControlState()
    for at_s in (1319.0, 1329.0, 1339.0, 1349.0, 1359.0):
        asked, state = ask_ph("bed1", verdict(7.0, at_s), AIM, state, at_s + 30.0, 1000.0)
        assert asked is None


def test_a_break_in_the_readings_starts_over() -> None:
    """Readings ten minutes apart do not belong together."""
    state = ControlState()
    for at_s in (900.0, 910.0, 920.0, 930.0, 1530.0):
        asked, state = ask_ph("bed1", verdict(7.0, at_s), AIM, state, at_s, None)
    assert (asked, len(state.newest), state.trend.readings) == (None, 1, 1)


def test_the_same_reading_counts_once() -> None:
    """A pass that brings no new reading asks nothing and remembers nothing."""
    state = ControlState()
    for _ in range(10):
        asked, state = ask_ph("bed1", verdict(7.0, 1000.0), AIM, state, 1000.0, None)
        assert asked is None
    assert (len(state.newest), state.trend.readings) == (1, 1)


@pytest.mark.parametrize("last_dose_s", [nan, inf])
def test_a_last_dose_at_no_time_asks_nothing(last_dose_s: float) -> None:
    """Not knowing when the last dose was fails closed."""
    assert ask([7.0] * 10, last_dose_s=last_dose_s) is None


@pytest.mark.parametrize("ph", [nan, inf, -inf])
def test_a_reading_that_is_no_number_asks_nothing(ph: float) -> None:
    """NaN that slipped past the judge is not dosed on."""
    assert ask([ph] * 10) is None


@settings(max_examples=100)
@drawn(
    st.lists(st.floats(3.0, 9.0) | st.sampled_from((nan, inf)), max_size=30),
    st.sampled_from((AIM, ACID_ONLY)),
)
def test_whatever_the_readings_the_direction_is_right(readings: list[float], aim: PhAim) -> None:
    """Acid is only ever asked above the dead band, base only below it, finite, above 0 and within the largest."""
    state = ControlState()
    for i, ph in enumerate(readings):
        at_s = 10.0 * i
        asked, state = ask_ph("bed1", verdict(ph, at_s), aim, state, at_s, None)
        if asked is None:
            continue
        assert 0.0 < asked.ml <= aim.largest_ml
        assert all(isfinite(number) for number in asked.numbers.values())
        off_ph = asked.numbers["ph"] - aim.target
        assert (off_ph > aim.dead_band) if asked.pump is Role.PH_DOWN else (off_ph < -aim.dead_band)
        assert asked.pump in aim.smallest_ml


def test_never_asks_for_more_than_the_largest_dose() -> None:
    """Three pH too high: no more than what the volume bears at a time."""
    asked = ask([9.0] * READINGS, aim=replace(AIM, largest_ml=10.0))
    assert asked is not None
    assert asked.ml == 10.0


# a tank of the tests' own


@dataclass
class Water:
    """Well stirred, buffered evenly, drifting evenly; the pump gives `rate` times what is believed."""

    ph: float = 6.5
    ml_per_ph: float = 20.0
    drift_per_h: float = 0.02
    noise: float = 0.002
    rate: float = 1.0
    lag_s: float = 40.0


@dataclass
class Kept:
    """What came of keeping it: pH and time of each look, each dose, the state at the end."""

    truth: list[tuple[float, float]]
    doses: list[tuple[float, DoseRequest]]
    state: ControlState

    def worst(self, from_h: float, target: float = 6.0) -> float:
        """The largest distance from the target from that hour on."""
        return max(abs(ph - target) for at_s, ph in self.truth if at_s >= from_h * 3600.0)


def keep(water: Water, hours: float, *, aim: PhAim = AIM, state: ControlState | None = None) -> Kept:
    """Ask every minute and give what is asked, at most 16 mL every quarter of an hour."""
    chance, state, last_s = Random(7), state or ControlState(), None
    ph, mixing_ph = water.ph, 0.0
    kept = Kept([], [], state)
    for minute in range(int(hours * 60)):
        at_s = 60.0 * minute
        mixed_ph = mixing_ph * (1.0 - exp(-60.0 / water.lag_s))
        ph, mixing_ph = ph + mixed_ph + water.drift_per_h / 60.0, mixing_ph - mixed_ph
        kept.truth.append((at_s, ph))
        seen = verdict(ph + chance.gauss(0.0, water.noise), at_s)
        asked, kept.state = ask_ph("bed1", seen, aim, kept.state, at_s, last_s)
        if asked is None or (last_s is not None and at_s - last_s < 900.0):
            continue
        ml, last_s = min(16.0, asked.ml), at_s
        shift_ph = expected_shift_ph(aim, kept.state, asked.pump, ml, 1.0)
        kept.state = given(kept.state, asked.pump, shift_ph, at_s)
        mixing_ph += (-1.0 if asked.pump is Role.PH_DOWN else 1.0) * ml * water.rate / water.ml_per_ph
        kept.doses.append((at_s, asked))
    return kept


@pytest.mark.parametrize("ml_per_ph", [10.0, 30.0, 120.0])
@pytest.mark.parametrize("drift_per_h", [-0.05, 0.02, 0.1])
def test_learns_the_tank_and_swings_evenly_about_the_target(ml_per_ph: float, drift_per_h: float) -> None:
    """Six times too much or half of it guessed: from the second day on within 0.1, the mean within 0.02."""
    start_ph = 6.2 if drift_per_h > 0.0 else 5.8
    kept = keep(Water(start_ph, ml_per_ph, drift_per_h), 60.0)
    assert kept.worst(24.0) < 0.1
    late = [ph for at_s, ph in kept.truth if at_s > 24 * 3600.0]
    assert sum(late) / len(late) == pytest.approx(6.0, abs=0.02)
    pump = kept.doses[-1][1].pump
    assert answer_of(AIM, kept.state, pump).ml_per_ph == pytest.approx(ml_per_ph, rel=0.15)
    assert {dose.pump for _, dose in kept.doses} == {pump}


def test_takes_a_third_first_and_most_of_the_need_later() -> None:
    """The first three doses ask for a third of the need; a known tank for most of it."""
    doses = [dose.numbers["share_of_need"] for _, dose in keep(Water(), 48.0).doses]
    assert doses[:CONFIRMED] == [1 / 3] * CONFIRMED
    assert 0.7 < doses[-1] <= FULL_SHARE
    assert max(doses) <= FULL_SHARE


def test_few_doses_hold_a_slow_drift() -> None:
    """0.02 pH an hour is 0.48 a day: doses of nearly twice the dead band, no more than seven a day."""
    kept = keep(Water(), 72.0)
    assert len([1 for at_s, _ in kept.doses if at_s > 24 * 3600.0]) <= 14


def test_still_water_is_left_alone() -> None:
    """No drift, at target, a noisy probe: in three days no dose."""
    assert keep(Water(6.0, drift_per_h=0.0, noise=0.02), 72.0).doses == []


@pytest.mark.parametrize("changes", [{"noise": 0.01}, {"rate": 0.7}, {"rate": 1.3}, {"lag_s": 120.0}])
def test_noise_wrong_rates_and_slow_mixing_do_little(changes: dict[str, Any]) -> None:
    """Five times the noise, a pump 30 % off, mixing three times slower: still within 0.15, one pump only."""
    kept = keep(replace(Water(ml_per_ph=30.0), **changes), 72.0)
    assert kept.worst(24.0) < 0.15
    assert {dose.pump for _, dose in kept.doses} == {Role.PH_DOWN}


def test_the_dead_band_is_never_narrower_than_the_smallest_dose_allows() -> None:
    """2 mL into a tank of 10 mL per pH are 0.2 pH: half of that to each side."""
    coarse = replace(AIM, smallest_ml={Role.PH_DOWN: 2.0}, ml_per_ph={Role.PH_DOWN: 10.0})
    assert dead_band_ph(coarse, keep(Water(6.0, drift_per_h=0.0), 1.0, aim=coarse).state, Role.PH_DOWN) == 0.1
    kept = keep(Water(6.3, 10.0, 0.05), 48.0, aim=coarse)
    assert min(dose.ml for at_s, dose in kept.doses if at_s > 12 * 3600.0) >= 2.0
    assert kept.worst(24.0) < 0.15


def test_the_dead_band_widens_with_noise() -> None:
    """With a probe of 0.1 pH noise the line is known less well, and nothing is asked for within it."""
    noisy = keep(Water(6.0, drift_per_h=0.0, noise=0.1), 1.0).state
    assert dead_band_ph(AIM, noisy, Role.PH_DOWN) > AIM.dead_band
    assert dead_band_ph(AIM, keep(Water(6.0), 1.0).state, Role.PH_DOWN) == AIM.dead_band


def dosed_and_seen(
    state: ControlState, shift_ph: float, seen_ph: float, *, after_s: float = 360.0, disturb: bool = False
) -> ControlState:
    """After a dose that should have moved pH by `shift_ph`, mixed in and seen to have moved it by `seen_ph`."""
    begin_s, ph = state.trend.at_s, state.trend.ph + seen_ph
    state = given(state, Role.PH_DOWN, shift_ph, begin_s)
    state = disturbed(state) if disturb else state
    for i in range(READINGS):
        at_s = begin_s + after_s + 60.0 * i
        _, state = ask_ph("bed1", verdict(ph, at_s), AIM, state, at_s, begin_s)
    return state


def test_a_dose_is_judged_once_it_has_mixed() -> None:
    """A known tank; a dose that does a quarter more than expected makes the next a little smaller."""
    state = keep(Water(), 47.0).state
    before = answer_of(AIM, state, Role.PH_DOWN)
    after = answer_of(AIM, dosed_and_seen(state, -0.05, -0.06), Role.PH_DOWN)
    assert after.lessons == before.lessons + 1
    assert 0.8 * before.ml_per_ph < after.ml_per_ph < before.ml_per_ph
    assert answer_of(AIM, dosed_and_seen(state, -0.05, -0.2), Role.PH_DOWN).odd


def test_a_disturbed_dose_teaches_nothing() -> None:
    """A person pours while it mixes: what is known stays as it was."""
    known = keep(Water(), 47.0).state
    assert dosed_and_seen(known, -0.05, -0.06).answers != known.answers
    assert dosed_and_seen(known, -0.05, -0.06, disturb=True).answers == known.answers


def test_a_dose_seen_too_late_teaches_nothing() -> None:
    """No reading until an hour after mixing: too much else has happened."""
    known = keep(Water(), 47.0).state
    late = dosed_and_seen(known, -0.05, -0.06, after_s=4000.0)
    assert (late.answers, late.pending) == (known.answers, None)


def test_fresh_water_is_not_known() -> None:
    """After a change-out a third of the need is asked again, by the settings' guess."""
    state = watered(AIM, keep(Water(), 48.0).state, 0.8)
    asked = ask([6.6] * READINGS, state=state, from_s=50 * 3600.0)
    assert asked is not None
    assert asked.ml == pytest.approx(0.6 * 60.0 / 3.0, rel=0.01)


def test_the_aim_comes_from_the_settings() -> None:
    """Target, band and limits as the settings say; 60 L bear at most 60 mL at a time."""
    bed = Reservoir.model_validate(
        {
            "title": "Bed",
            "system": "still",
            "volume_l": 60.0,
            "mixing_time_s": 90.0,
            "ph": {"ml_per_ph": 40.0, "dead_band": 0.2, "target": 5.9, "share_of_need": 0.25},
            "bands": {"ph_low": 5.4, "ph_high": 6.6},
            "pump": {"ph_down": Pump(line=17, ml_per_s=1.0, bottle_ml=500.0, smallest_dose_ml=0.3)},
        }
    )
    assert aim_of(bed) == PhAim(
        target=5.9,
        dead_band=0.2,
        ph_low=5.4,
        ph_high=6.6,
        ml_per_ph={Role.PH_DOWN: 40.0, Role.PH_UP: 40.0},
        share_of_need=0.25,
        mixing_time_s=90.0,
        largest_ml=60.0,
        smallest_ml={Role.PH_DOWN: 0.3},
    )


def bed_of(**changes: Any) -> Reservoir:
    """A reservoir of 60 L whose acid is 0.5 mol/L and whose base is 1 mol/L."""
    pump = {"line": 17, "ml_per_s": 1.0, "bottle_ml": 500.0, "reagent_mol_per_l": 0.5}
    table = {
        "title": "Bed",
        "system": "deep_water",
        "volume_l": 60.0,
        "mixing_time_s": 90.0,
        "pump": {"ph_down": pump, "ph_up": {**pump, "line": 27, "reagent_mol_per_l": 1.0}},
    }
    return Reservoir.model_validate({**table, **changes})


def test_the_guess_comes_from_alkalinity_and_strength() -> None:
    """Twice as strong is half as much; where either is left out, by volume alone; one's own guess goes first."""
    known = bed_of(alkalinity_mmol_per_l=1.0)
    down, up = prior_ml_per_ph(known, Role.PH_DOWN), prior_ml_per_ph(known, Role.PH_UP)
    assert down == pytest.approx(2.0 * up)
    assert prior_ml_per_ph(bed_of(alkalinity_mmol_per_l=3.0), Role.PH_DOWN) > 2.0 * down
    assert prior_ml_per_ph(bed_of(), Role.PH_DOWN) == pytest.approx(60.0 * USUAL_ML_PER_PH_AND_L)
    own = bed_of(alkalinity_mmol_per_l=1.0, ph={"ml_per_ph": 33.0})
    assert prior_ml_per_ph(own, Role.PH_DOWN) == prior_ml_per_ph(own, Role.PH_UP) == 33.0
