"""The noise floor of a probe, learned from its volts."""

from __future__ import annotations

from math import nan
from random import Random

import pytest

from daemon.measure.noise import KEPT_LOOKS, LEAST_LOOKS, Noise, heard
from daemon.values import Quantity, Sample


def look(volts: float | None, *, clipped: bool = False) -> Sample:
    return Sample(Quantity.PH, 0.0, 0.0, volts, None, clipped)


def floor_v(volts: list[float]) -> float | None:
    noise = Noise()
    for one in volts:
        noise = heard(noise, look(one))
    return noise.floor_v


@pytest.mark.parametrize("sigma_v", [0.0, 0.0002, 0.003])
@pytest.mark.parametrize("slope_v", [0.0, 0.001])
def test_finds_the_noise_whatever_the_water_does_meanwhile(sigma_v: float, slope_v: float) -> None:
    """A straight drift, five times the noise from look to look, adds nothing."""
    random = Random(4)
    found = [
        floor_v([1.5 + slope_v * n + random.gauss(0.0, sigma_v) for n in range(KEPT_LOOKS)]) for _ in range(50)
    ]
    assert all(one is not None and one == pytest.approx(sigma_v, rel=0.5, abs=1e-12) for one in found)
    assert sum(one or 0.0 for one in found) / 50 == pytest.approx(sigma_v, rel=0.1, abs=1e-12)


def test_a_dose_and_a_splash_do_not_change_it() -> None:
    """A step of 100 mV and two looks far off among sixty."""
    random = Random(8)
    volts = [1.5 + (0.1 if n > 30 else 0.0) + random.gauss(0.0, 0.001) for n in range(KEPT_LOOKS)]
    volts[12], volts[50] = 3.0, 0.2
    assert floor_v(volts) == pytest.approx(0.001, rel=0.5)


def test_is_not_known_from_a_few_looks() -> None:
    """One less than enough says nothing."""
    assert floor_v([1.0] * (LEAST_LOOKS - 1)) is None
    assert floor_v([1.0] * LEAST_LOOKS) == 0.0


@pytest.mark.parametrize("bad", [look(None), look(nan), look(4.096, clipped=True)])
def test_begins_anew_where_the_volts_are_not_known(bad: Sample) -> None:
    """A gap, not a number, the end of the range."""
    noise = Noise((1.0,) * KEPT_LOOKS)
    assert heard(noise, bad) == Noise()


def test_remembers_no_more_than_it_needs() -> None:
    """Whatever a month brings."""
    noise = Noise()
    for _ in range(3 * KEPT_LOOKS):
        noise = heard(noise, look(1.0))
    assert len(noise.volts) == KEPT_LOOKS
