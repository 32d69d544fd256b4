"""What a crop's stages ask for, day by day."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.settings import Reservoir
from daemon.dose.stages import MOST_PH_PER_H, Ramp, Targets, plain, targets_at, towards
from tests.strategies import stamp

SOWN = datetime(2026, 3, 1, tzinfo=UTC)
STAGES = [
    {"name": "seedling", "from_day": 0.0, "ph_target": 5.8, "ec_target_ms_per_cm": 0.9},
    {"name": "leafing", "from_day": 14.0, "ec_target_ms_per_cm": 1.3},
    {
        "name": "finishing",
        "from_day": 30.0,
        "ph_target": 6.2,
        "bands": {"ph_low": 5.8, "ph_high": 6.6, "ec_low_ms_per_cm": 0.7, "ec_high_ms_per_cm": 1.2},
    },
]


def bed(**changes: Any) -> Reservoir:
    """A reservoir whose crop has three stages, the change of one taking four days."""
    table: dict[str, Any] = {"title": "Bed", "system": "film", "volume_l": 20.0, "mixing_time_s": 60.0}
    table |= {"sown_on": date(2026, 3, 1), "stage_ramp_days": 4.0, "stage": STAGES}
    return Reservoir.model_validate(table | changes)


def on_day(day: float, **changes: Any) -> Targets:
    """The targets so long after sowing."""
    return targets_at(bed(**changes), SOWN + timedelta(days=day))


@pytest.mark.parametrize(
    ("day", "ph", "ec"),
    [(0.0, 5.8, 0.9), (13.9, 5.8, 0.9), (16.0, 5.9, 1.1), (18.0, 6.0, 1.3), (29.0, 6.0, 1.3), (34.0, 6.2, 1.2)],
)
def test_each_stage_holds_from_its_day_and_comes_by_a_ramp(day: float, ph: float, ec: float) -> None:
    """Half of the way after half of the ramp; what a stage leaves out is as the reservoir has it."""
    targets = on_day(day)
    assert (targets.ph, targets.ec) == pytest.approx((ph, ec))


def test_bands_move_with_the_stage() -> None:
    """In the same ramp."""
    assert (on_day(32.0).ph_low, on_day(32.0).ph_high) == pytest.approx((5.65, 6.55))
    assert (on_day(40.0).ec_low, on_day(40.0).ec_high) == (0.7, 1.2)


@pytest.mark.parametrize("changes", [{"stage": ()}, {"sown_on": None}])
def test_without_stages_the_plain_tables_hold(changes: dict[str, Any]) -> None:
    """Nor before the crop is sown."""
    assert on_day(20.0, **changes) == plain(bed())
    assert on_day(-1.0) == plain(bed())


@given(st.lists(st.floats(0.0, 60.0), min_size=2, max_size=2).map(sorted))
def test_no_two_moments_are_a_step_apart(days: list[float]) -> None:
    """The target of pH moves by at most its whole way in one ramp."""
    first, second = (on_day(day).ph for day in days)
    assert abs(second - first) <= 0.2 / 4.0 * (days[1] - days[0]) + 1e-9


def test_a_ramp_follows_the_days() -> None:
    """Hour by hour, in small steps."""
    ramp = Ramp(bed())
    seen = []
    for hour in range(24 * 40):
        ramp.follow(stamp(3600.0 * hour, utc=SOWN + timedelta(hours=hour), trusted=True))
        seen.append(ramp.targets)
    assert seen[-1] == on_day(39.0)
    assert max(abs(b.ph - a.ph) for a, b in pairwise(seen)) <= MOST_PH_PER_H + 1e-9


def test_a_wall_clock_that_jumps_makes_no_step() -> None:
    """Though it claims to be right."""
    ramp = Ramp(bed())
    assert ramp.follow(stamp(0.0, utc=SOWN, trusted=True))
    assert ramp.targets.ph == 5.8
    assert ramp.follow(stamp(3600.0, utc=SOWN + timedelta(days=3650), trusted=True))
    assert ramp.targets.ph == pytest.approx(5.8 + MOST_PH_PER_H)


def test_without_a_clock_to_trust_nothing_moves() -> None:
    """The day of the crop is not known."""
    ramp = Ramp(bed())
    assert not ramp.follow(stamp(0.0, utc=SOWN + timedelta(days=50)))
    assert ramp.targets == plain(bed())


def test_the_diary_says_from_when_the_stages_count() -> None:
    """Over the day in the settings; and what it changes comes in small steps too."""
    ramp = Ramp(bed())
    ramp.follow(stamp(0.0, utc=SOWN + timedelta(days=50), trusted=True))
    assert ramp.targets == on_day(50.0)
    ramp.sown_on = date(2026, 4, 10)
    ramp.follow(stamp(3600.0, utc=SOWN + timedelta(days=50), trusted=True))
    assert ramp.targets.ph == pytest.approx(on_day(50.0).ph - MOST_PH_PER_H)
    ramp.follow(stamp(3.6e6, utc=SOWN + timedelta(days=50), trusted=True))
    assert ramp.targets == on_day(10.0)


def test_before_the_diary_has_a_batch_nothing_counts() -> None:
    """Where the settings name no day either."""
    ramp = Ramp(bed(sown_on=None))
    assert not ramp.follow(stamp(0.0, utc=SOWN, trusted=True))
    assert ramp.targets == plain(bed())
    ramp.sown_on = date(2026, 3, 1)
    assert ramp.follow(stamp(3600.0, utc=SOWN + timedelta(days=20), trusted=True))


def test_nothing_is_gone_in_no_time() -> None:
    """Nor backwards in time."""
    now, wanted = on_day(0.0), on_day(40.0)
    assert towards(now, wanted, 0.0) == towards(now, wanted, -5.0) == now
    assert towards(now, wanted, 1000.0) == wanted
