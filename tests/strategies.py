"""Plain values to start tests from, and hypothesis strategies for the ones that must hold for anything."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from daemon.dose.permit import Facts, PumpLimits
from daemon.dose.windows import Stamp, Totals
from daemon.values import (
    Condition,
    DoseReason,
    DoseRequest,
    Quality,
    Quantity,
    Reading,
    Role,
    Verdict,
    VerdictReason,
)
from drivers.probe import Sample

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)

NOT_SOUND = (float("nan"), float("inf"), float("-inf"), -1.0)
any_float = st.floats(allow_nan=True, allow_infinity=True) | st.sampled_from((0.0, -0.0, *NOT_SOUND))


def verdict(ph: float, at_s: float = 0.0, quality: Quality = Quality.GOOD) -> Verdict:
    """A verdict on one pH reading."""
    reading = Reading(Quantity.PH, ph, at_s, Sample(Quantity.PH, at_s, signal=0.0))
    reason = VerdictReason.FINE if quality is Quality.GOOD else VerdictReason.JUMPED
    return Verdict(Quantity.PH, quality, reason, reading)


def request(ml: float = 4.0, pump: Role = Role.PH_DOWN, reason: DoseReason = DoseReason.PH_HIGH) -> DoseRequest:
    """Four mL of acid for bed1."""
    return DoseRequest("bed1", pump, ml, reason, {"ph": 6.4})


def limits(**changes: Any) -> PumpLimits:
    """A pump of 1 mL/s with caps of 8, 20 and 50 mL."""
    usual = PumpLimits(
        ml_per_s=1.0,
        bottle_ml=1000.0,
        max_per_dose_ml=8.0,
        max_per_hour_ml=20.0,
        max_per_day_ml=50.0,
        min_gap_s=600.0,
        smallest_dose_ml=0.2,
        opposite_gap_s=21600.0,
    )
    return replace(usual, **changes)


def facts(**changes: Any) -> Facts:
    """A reservoir of 60 L that keeps itself, with a good reading and nothing dosed yet."""
    usual = Facts(
        condition=Condition.KEEPING,
        verdict=verdict(6.4),
        spent=Totals(0.0, 0.0, 0.0),
        volume_l=60.0,
        mixing_time_s=120.0,
        level_enough=True,
        has_level_probe=True,
    )
    return replace(usual, **changes)


def stamp(at_s: float, *, boot: str = "boot-1", utc: datetime | None = None, trusted: bool = False) -> Stamp:
    """The clocks `at_s` into a boot; the wall clock, unless given, runs along from noon."""
    return Stamp(boot, at_s, utc or NOON + timedelta(seconds=at_s), trusted)


# Sound values that mostly permit something, and the same with at most one field spoiled: a test of the
# permit on values that are all wild would hardly ever see a dose permitted.

sound_request = st.builds(
    DoseRequest,
    reservoir=st.just("bed1"),
    pump=st.sampled_from(Role),
    ml=st.floats(0.01, 30.0),
    reason=st.sampled_from(DoseReason),
)

sound_limits = st.builds(
    PumpLimits,
    ml_per_s=st.floats(0.05, 20.0),
    bottle_ml=st.floats(100.0, 2000.0),
    max_per_dose_ml=st.floats(1.0, 600.0),
    max_per_hour_ml=st.floats(5.0, 600.0),
    max_per_day_ml=st.floats(10.0, 600.0),
    min_gap_s=st.floats(0.0, 3600.0),
    smallest_dose_ml=st.floats(0.01, 1.0),
    opposite_gap_s=st.floats(0.0, 90000.0),
)

sound_wait = st.none() | st.floats(3600.0, 90000.0)

sound_totals = st.builds(
    Totals,
    hour_ml=st.floats(0.0, 20.0),
    day_ml=st.floats(0.0, 40.0),
    since_refill_ml=st.floats(0.0, 400.0),
    since_pump_s=sound_wait,
    since_any_s=sound_wait,
    since_opposite_s=sound_wait,
)

sound_facts = st.builds(
    Facts,
    condition=st.just(Condition.KEEPING),
    verdict=st.builds(verdict, st.floats(3.0, 9.0)),
    spent=sound_totals,
    volume_l=st.floats(2.0, 2000.0),
    mixing_time_s=st.floats(30.0, 1200.0),
    level_enough=st.just(True),
    has_level_probe=st.booleans(),
)


@st.composite
def spoiled(draw: st.DrawFn, /, sound: st.SearchStrategy[Any], **wild: st.SearchStrategy[Any]) -> Any:
    """A value of `sound` with at most one of the named fields replaced by a wild one."""
    name = draw(st.none() | st.sampled_from(sorted(wild)))
    return draw(sound) if name is None else replace(draw(sound), **{name: draw(wild[name])})


any_request = spoiled(sound_request, ml=any_float)

any_limits = spoiled(
    sound_limits,
    ml_per_s=any_float,
    bottle_ml=any_float,
    max_per_dose_ml=st.none() | any_float,
    max_per_hour_ml=st.none() | any_float,
    max_per_day_ml=st.none() | any_float,
    min_gap_s=any_float,
    smallest_dose_ml=any_float,
    opposite_gap_s=any_float,
)

any_totals = spoiled(
    sound_totals,
    hour_ml=any_float | st.floats(0.0, 600.0),
    day_ml=any_float | st.floats(0.0, 600.0),
    since_refill_ml=any_float | st.floats(0.0, 2000.0),
    since_pump_s=any_float,
    since_any_s=any_float,
    since_opposite_s=any_float,
    ok=st.booleans(),
)

any_facts = spoiled(
    sound_facts,
    condition=st.sampled_from(Condition),
    verdict=st.none() | st.builds(verdict, any_float, quality=st.sampled_from(Quality)),
    spent=any_totals,
    volume_l=any_float,
    mixing_time_s=any_float,
    level_enough=st.none() | st.booleans(),
    level_share=st.none() | any_float | st.floats(0.0, 1.2),
    circulation_on=st.booleans(),
    has_circulation=st.booleans(),
    since_refill_s=st.none() | any_float,
    since_moved_s=st.none() | any_float,
)
