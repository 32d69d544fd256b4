"""The line through many noisy readings."""

from __future__ import annotations

from math import inf, isfinite, nan
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.dose.trend import MOST_DRIFT, MOST_NOISE_PH, UNKNOWN_PH, Trend, follow, level_at, unsure

HOUR_S = 3600.0


def line(
    hours: float, *, ph: float = 6.0, drift: float = 0.0, noise: float = 0.002, trend: Trend | None = None
) -> Trend:
    """Readings every minute of water that drifts evenly, after those that `trend` has seen."""
    chance = Random(4)
    trend = Trend() if trend is None else trend
    begin_s = 0.0 if trend.at_s == -inf else trend.at_s + 60.0
    for minute in range(int(hours * 60)):
        trend = follow(trend, begin_s + 60.0 * minute, ph + drift * minute / 60.0 + chance.gauss(0.0, noise))
    return trend


@pytest.mark.parametrize("drift", [-0.1, 0.0, 0.01, 0.1])
@pytest.mark.parametrize("noise", [0.002, 0.01])
def test_level_and_drift_are_found(drift: float, noise: float) -> None:
    """After six hours of noisy readings level and drift are known far better than by one of them."""
    trend = line(6.0, drift=drift, noise=noise)
    assert trend.ph == pytest.approx(6.0 + (6.0 - 1.0 / 60.0) * drift, abs=1.5 * noise)
    assert trend.drift == pytest.approx(drift, abs=0.03)
    assert trend.ph_sd < noise


@pytest.mark.parametrize("noise", [0.002, 0.01, 0.05])
def test_the_noise_of_the_probe_is_found(noise: float) -> None:
    """What neighbouring readings differ by says how noisy each is, drift or not."""
    assert line(6.0, drift=0.1, noise=noise).noise == pytest.approx(noise, rel=0.35)


def test_one_wild_reading_hardly_moves_the_line() -> None:
    """Half a pH off, once: the level moves by less than 0.005."""
    before = line(2.0)
    assert follow(before, before.at_s + 60.0, 6.5).ph == pytest.approx(before.ph, abs=0.005)


def test_water_that_has_moved_is_followed() -> None:
    """After a step of 0.5 pH the level is at the new place within six readings."""
    trend = line(2.0)
    trend = line(0.1, ph=6.5, trend=trend)
    assert trend.ph == pytest.approx(6.5, abs=0.01)


def test_unsure_of_the_level_but_not_of_the_drift() -> None:
    """After a dose the first reading alone says where the level is, and the drift is kept."""
    before = line(6.0, drift=0.1)
    after = unsure(before)
    assert (after.readings, after.drift, after.ph_sd) == (0, before.drift, UNKNOWN_PH)
    assert follow(after, before.at_s + 600.0, 5.5).ph == pytest.approx(5.5, abs=0.002)


def test_carried_on_it_drifts_and_is_less_sure() -> None:
    """An hour ahead the level is one drift further, and known less well; an hour back it is not reckoned."""
    trend = line(6.0, drift=0.1)
    ph, variance = level_at(trend, trend.at_s + HOUR_S)
    assert ph == pytest.approx(trend.ph + trend.drift)
    assert variance > trend.ph_var
    assert level_at(trend, trend.at_s - HOUR_S) == (trend.ph, trend.ph_var)


@pytest.mark.parametrize(
    ("at_s", "ph"), [(nan, 6.0), (inf, 6.0), (-inf, 6.0), (1e6, nan), (1e6, inf), (0.0, 6.0)]
)
def test_no_number_or_nothing_newer_changes_nothing(at_s: float, ph: float) -> None:
    """NaN, infinity and a reading older than the newest leave the line as it is."""
    trend = line(1.0)
    assert follow(trend, at_s, ph) == trend


@settings(max_examples=200)
@given(
    st.lists(
        st.tuples(st.floats(0.1, 1e5), st.floats(0.0, 14.0) | st.sampled_from((nan, inf, 6.0)), st.booleans()),
        max_size=40,
    )
)
def test_whatever_the_readings_it_stays_bounded(looks: list[tuple[float, float, bool]]) -> None:
    """Level within what was read, drift and noise within their limits, variances finite and not below zero."""
    trend, at_s = Trend(), 0.0
    for after_s, ph, dose in looks:
        at_s += after_s
        trend = follow(unsure(trend, 0.1) if dose else trend, at_s, ph)
        assert abs(trend.drift) <= MOST_DRIFT
        assert 0.0 < trend.noise <= MOST_NOISE_PH
        assert 0.0 <= trend.ph_var <= UNKNOWN_PH**2
        assert trend.drift_var >= 0.0
        assert isfinite(trend.ph)
        assert isfinite(trend.cov)
