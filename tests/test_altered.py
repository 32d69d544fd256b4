"""What doses rest on in the settings, and what of it changed by far."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.settings import Settings
from daemon.altered import Altered, altered, dose_numbers
from tests.at_the_tank import one_bed, pump_settings, raw_settings

PUMP = "reservoir.bed1.pump.ph_down"
OFF = {"max_per_dose_ml": 0.0, "max_per_hour_ml": 0.0, "max_per_day_ml": 0.0}


@pytest.mark.parametrize(
    ("was", "now", "far"),
    [
        (5.0, 15.0, False),
        (0.1, 0.3, False),
        (5.0, 15.1, True),
        (15.0, 5.0, False),
        (15.1, 5.0, True),
        (5.0, -5.0, True),
        (-5.0, -5.0, False),
        (-5.0, -16.0, True),
        (0.0, 5.0, True),
        (nan, 5.0, True),
        (5.0, nan, True),
        (5.0, inf, True),
    ],
)
def test_more_than_three_times_or_another_sign_is_far(was: float, now: float, far: bool) -> None:
    """Up and down alike; what is no number is far from any."""
    found = altered({"cap": was}, {"cap": now})
    assert len(found) == int(far)
    assert all(one.key == "cap" for one in found)


def test_what_is_new_or_gone_is_no_change() -> None:
    """A pump that is set up has nothing to compare with."""
    assert altered({"old": 1.0}, {"new": 50.0}) == ()


@given(st.dictionaries(st.text(), st.floats(0.001, 1e6)))
def test_what_stays_is_never_far(numbers: dict[str, float]) -> None:
    """Whatever it is."""
    assert altered(numbers, numbers) == ()


def test_every_key_that_a_dose_is_reckoned_from_counts() -> None:
    """Pumps, tank, control and what the probes' circuits are; those that follow from the volume as well."""
    keys = dose_numbers(one_bed())
    assert {
        *(f"{PUMP}.{key}" for key in ("ml_per_s", "bottle_ml", "max_per_dose_ml", "max_per_hour_ml")),
        *(f"{PUMP}.{key}" for key in ("max_per_day_ml", "min_gap_s", "smallest_dose_ml")),
        *(f"reservoir.bed1.{key}" for key in ("volume_l", "mixing_time_s", "opposite_gap_h")),
        *(f"reservoir.bed1.ph.{key}" for key in ("ml_per_ph", "share_of_need", "target")),
        "reservoir.bed1.ec.stock_a_ml_per_ms_per_cm",
        "reservoir.bed1.water.most_drunk_l_per_h",
        "reservoir.bed1.probe.ph.gain",
    } <= keys.keys()
    assert not [key for key in keys if "bands" in key or key.endswith((".line", ".input", ".address"))]


def test_a_reservoir_that_only_watches_has_none() -> None:
    """Nor has what is switched off by a zero."""
    assert dose_numbers(one_bed(start="watching")) == {}
    assert f"{PUMP}.max_per_day_ml" not in dose_numbers(pump_settings(**OFF))


@pytest.mark.parametrize(("key", "now"), [("stock_a_ml_per_ms_per_cm", 20000.0), ("stock_b_ml_per_a_ml", 5.0)])
def test_a_default_is_compared_too(key: str, now: float) -> None:
    """Set for the first time, and far from what was reckoned with before."""
    raw: dict[str, Any] = raw_settings()
    before = dose_numbers(Settings.model_validate(raw))
    raw["reservoir"]["bed1"].setdefault("ec", {})[key] = now
    after = dose_numbers(Settings.model_validate(raw))
    name = f"reservoir.bed1.ec.{key}"
    assert altered(before, after) == (Altered(name, before[name], now),)
