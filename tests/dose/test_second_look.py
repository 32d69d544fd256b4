"""A rest tells doses that did little from doses that did nothing."""

from __future__ import annotations

from math import exp, inf, nan
from random import Random

import pytest

from config.pump import MIXING_TIMES, Pump
from config.settings import Bands, PhControl, Reservoir
from daemon.dose.control import ControlState, aim_of, ask_ph, expected_shift_ph, given, taught_little
from daemon.dose.finding import LATCHING, Surprise
from daemon.dose.response import Effects, dosed, doubted, watch
from daemon.dose.second_look import (
    LEAST_SHARE,
    NEEDED,
    REST_S,
    SLACK_PH,
    SURE_SDS,
    Rest,
    Seen,
    is_effect,
    rest_after,
    rested,
    seen,
)
from daemon.values import Quality, Quantity, Reading, Role, Sample, Verdict, VerdictReason

PASS_S, MIXING_S, GAP_S = 10.0, 120.0, 360.0
ML_PER_PH_AND_L = 1.0
NOISE_PH = 0.003  # a good probe behind an amplifier: one code of 125 µV is 0.0007 pH
DOSE_CAP_ML_PER_L = 0.15
LOST_CO2, LOSS_S = 0.2, 7200.0  # the share of a dose's shift that comes back as CO2 leaves, and how fast


def settings(volume_l: float) -> Reservoir:
    """A tank of this size with one acid pump, and the settings' guess of its buffering."""
    pump = Pump(line=17, ml_per_s=1.0, bottle_ml=1000.0)
    return Reservoir(
        title="Bed",
        system="still",
        volume_l=volume_l,
        mixing_time_s=MIXING_S,
        bands=Bands(),
        ph=PhControl(ml_per_ph=ML_PER_PH_AND_L * volume_l),
        pump={"ph_down": pump},
    )


class Loop:
    """Controller and watch about a tank that is buffered `times` as well as the settings say.

    works: what of a dose comes out of its tube, 0 where the pump is dead. drift_per_h: of pH by itself, which
    halves every two hours.
    """

    def __init__(  # noqa: PLR0917 - the axes of the grid
        self,
        times: float,
        noise: float,
        volume_l: float,
        start_ph: float,
        works: float = 1.0,
        drift_per_h: float = 0.05,
        seed: int = 1,
    ) -> None:
        self.aim = aim_of(settings(volume_l))
        self.cap_ml = DOSE_CAP_ML_PER_L * volume_l
        self.shift_per_ml = -works / times / self.aim.ml_per_ph[Role.PH_DOWN]
        self.ph, self.unmixed, self.carbonic = start_ph, 0.0, 0.0
        self.drift_per_h, self.noise, self.chance = drift_per_h, NOISE_PH * noise, Random(seed)
        self.effects, self.control = Effects(), ControlState()
        self.at_s = 0.0
        self.last_s: float | None = None
        self.doses_ml: list[float] = []
        self.found: list[Surprise] = []

    def run(self, hours: float) -> None:
        """Until something latches, or so many hours are over."""
        end_s = self.at_s + hours * 3600.0
        while self.at_s < end_s and not self.latched:
            self._pass()

    @property
    def latched(self) -> bool:
        """Whether a finding stops it."""
        return any(found in LATCHING for found in self.found)

    def _pass(self) -> None:
        self.at_s += PASS_S
        mixed = self.unmixed * (1.0 - exp(-3.0 * PASS_S / MIXING_S))
        self.carbonic -= LOST_CO2 * mixed
        lost = self.carbonic * PASS_S / LOSS_S
        self.drift_per_h *= 0.5 ** (PASS_S / 7200.0)
        self.ph += mixed + lost + self.drift_per_h * PASS_S / 3600.0
        self.unmixed, self.carbonic = self.unmixed - mixed, self.carbonic - lost
        reading_ph = self.ph + self.chance.gauss(0.0, self.noise)
        reading = Reading(Quantity.PH, reading_ph, self.at_s, Sample(Quantity.PH, self.at_s, 0.0))
        look = Verdict(Quantity.PH, Quality.GOOD, VerdictReason.FINE, reading)
        finding, self.effects = watch(self.effects, self.aim, look)
        if finding is not None:
            self.found.append(finding.surprise)
            if finding.surprise is Surprise.LITTLE_EFFECT:
                ml_per_ph = finding.numbers["ml"] / finding.numbers["seen_ph"]
                self.control = taught_little(self.aim, self.control, Role.PH_DOWN, ml_per_ph)
        if self.latched:
            return
        wish, self.control = ask_ph("bed1", look, self.aim, self.control, self.at_s, self.last_s)
        if wish is not None and doubted(self.effects) is None:
            self._dose(min(wish.ml, self.cap_ml))

    def _dose(self, ml: float) -> None:
        gap_s = inf if self.last_s is None else self.at_s - self.last_s
        if not (ml >= self.aim.smallest_ml[Role.PH_DOWN] and gap_s >= GAP_S):
            return
        self.last_s = self.at_s
        self.doses_ml.append(ml)
        shift_ph = expected_shift_ph(self.aim, self.control, Role.PH_DOWN, ml, 1.0)
        self.effects = dosed(self.effects, Role.PH_DOWN, ml, shift_ph, self.at_s)
        self.control = given(self.control, Role.PH_DOWN, shift_ph, self.at_s)
        self.unmixed += self.shift_per_ml * ml


@pytest.mark.parametrize("volume_l", [10.0, 60.0, 200.0])
@pytest.mark.parametrize("noise", [1.0, 2.0])
@pytest.mark.parametrize("times", [0.5, 2.0, 4.0])
def test_buffering_that_misses_the_settings_is_no_dead_pump(times: float, noise: float, volume_l: float) -> None:
    """Half to four times as well buffered as the settings say, in small and large tanks: no safety stop."""
    loop = Loop(times, noise, volume_l, 7.2)
    loop.run(2.0)
    assert len(loop.doses_ml) > 3
    assert not loop.latched


@pytest.mark.parametrize("times", [6.0, 8.0])
@pytest.mark.parametrize("volume_l", [10.0, 200.0])
def test_water_buffered_many_times_as_well_is_learned(times: float, volume_l: float) -> None:
    """Doses that seemed to do nothing did little: it goes on, and pH comes down."""
    loop = Loop(times, 1.0, volume_l, 7.2)
    loop.run(2.0)
    assert Surprise.LITTLE_EFFECT in loop.found
    assert not loop.latched
    assert max(loop.doses_ml) <= loop.cap_ml
    assert loop.ph < 7.15


@pytest.mark.parametrize("volume_l", [10.0, 60.0, 200.0])
@pytest.mark.parametrize("noise", [1.0, 2.0])
@pytest.mark.parametrize(("start_ph", "drift_per_h"), [(7.2, 0.3), (7.2, -0.1), (6.3, 0.1), (6.3, -0.05)])
def test_no_dead_pump_is_missed(start_ph: float, drift_per_h: float, noise: float, volume_l: float) -> None:
    """H5: three doses at most, pH rising by up to 0.3 an hour or falling by up to 0.1; a faster fall hides it."""
    loop = Loop(1.0, noise, volume_l, start_ph, 0.0, drift_per_h)
    loop.run(2.0)
    assert loop.found == [Surprise.NO_EFFECT]
    assert 1 <= len(loop.doses_ml) <= 3


# the line


MIXED_S = MIXING_TIMES * MIXING_S
REST = rest_after(-0.1, 100.0, 7.0, 600.0, MIXED_S)


def after(rest: Rest, step_ph: float, drift_per_s: float = 0.0, count: int = 90, noise: float = 0.0) -> Rest:
    """The rest with so many readings of water that the dose moved and that drifts."""
    chance = Random(3)
    for at in range(count):
        at_s = 600.0 + at * PASS_S
        rest = rested(rest, at_s, 7.0 + step_ph + drift_per_s * (at_s - 100.0) + chance.gauss(0.0, noise))
    return rest


def test_a_rest_is_as_long_as_water_needs() -> None:
    """REST_S, or longer where three mixing times are."""
    assert REST.until_s == 600.0 + REST_S
    assert rest_after(-0.1, 100.0, 7.0, 600.0, 5400.0).until_s == 6000.0


@pytest.mark.parametrize("drift_per_s", [-1e-4, 0.0, 1e-4])
def test_a_drift_is_taken_off(drift_per_s: float) -> None:
    """The line is drawn back to the moment before the dose; shifts count in the dose's own direction."""
    assert seen(after(REST, -0.02, drift_per_s)).ph == pytest.approx(0.02)
    up = rest_after(0.1, 100.0, 7.0, 600.0, MIXED_S)
    assert seen(after(up, -0.02, drift_per_s)).ph == pytest.approx(-0.02)


def test_the_noise_of_the_rest_is_that_of_what_was_seen() -> None:
    """Twice the noise, twice the doubt."""
    one, two = (seen(after(REST, 0.0, noise=noise)).sd for noise in (0.003, 0.006))
    assert 0.001 < one < 0.003
    assert two == pytest.approx(2.0 * one)


def test_too_few_readings_tell_nothing() -> None:
    """Nor do many at one moment."""
    assert seen(after(REST, -0.5, count=NEEDED - 1)).sd == inf
    still = REST
    for _ in range(NEEDED):
        still = rested(still, 700.0, 6.0)
    assert seen(still).sd == inf
    assert not is_effect(still, seen(still))


@pytest.mark.parametrize(
    ("ph", "sd", "is_one"),
    [
        (SLACK_PH + SURE_SDS * 0.002 + 1e-9, 0.002, True),
        (SLACK_PH + SURE_SDS * 0.002, 0.002, False),
        (-0.05, 0.0, False),
        (nan, 0.001, False),
        (0.05, nan, False),
        (0.05, inf, False),
    ],
)
def test_an_effect_stands_out_of_its_noise(ph: float, sd: float, is_one: bool) -> None:
    """What is no number is none."""
    assert is_effect(REST, Seen(ph, sd)) is is_one


def test_a_share_too_small_for_any_water_is_none() -> None:
    """Buffering misses the settings several times, not twenty."""
    much = rest_after(-1.0, 100.0, 7.0, 600.0, MIXED_S)
    assert is_effect(much, Seen(LEAST_SHARE, 0.001))
    assert not is_effect(much, Seen(LEAST_SHARE - 0.001, 0.001))
