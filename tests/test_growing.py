"""How a batch grows, from a diary and a history on the disk."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from config.prices import Appliance
from daemon.crop.diary import Batch, Picked, Weighed
from daemon.crop.growth import UNKNOWN, Hour, Lamp, Scale, g_per_head, over_and_over
from daemon.crop.risk import Sign, Threat
from daemon.growing import LightUnknownError, Room, Source, days_before, lamps_of, lived, prospect
from daemon.store.history import History
from daemon.store.trend import Trends, opened
from daemon.values import Quality, Quantity
from tests.link.states import good, reservoir, state, unknown

NOW = datetime(2026, 4, 1, 12, 0, tzinfo=UTC)
LAMP = Lamp(200.0, 6.0, 16.0)
ROOM = Room(plants_per_m2=25.0, wanted_g=150.0, lamps=(LAMP,))
Reading = Callable[[datetime], Mapping[Quantity, float | None]]


def kept(
    folder: Path, since: datetime, until: datetime, reading: Reading, quality: Quality = Quality.GOOD
) -> None:
    """A history with one minute of each hour from since up to until; no reading for None."""
    history = History(folder, keep_days=800)
    at, number = since, 0
    while at < until:
        verdicts = {
            quantity: unknown(quantity) if value is None else replace(good(quantity, value), quality=quality)
            for quantity, value in reading(at).items()
        }
        bed = reservoir(verdicts=verdicts)
        history.see(replace(state(number, bed), at_s=3600.0 * number, utc=at, utc_trusted=True))
        at, number = at + timedelta(hours=1), number + 1
    history.close()


def bright_room(at: datetime) -> Mapping[Quantity, float | None]:
    """A measured lamp of 250 µmol for 14 h, air from 18 to 24 °C."""
    lit = 6 <= at.hour < 20
    return {
        Quantity.LIGHT: 250.0 if lit else 0.0,
        Quantity.AIR_TEMPERATURE: 24.0 if lit else 18.0,
        Quantity.HUMIDITY: 55.0 if lit else 80.0,
        Quantity.TEMPERATURE: 20.0,
        Quantity.EC: 1.2,
    }


@pytest.fixture
def trends(tmp_path: Path) -> Iterator[Trends]:
    """Thirty days of the bright room."""
    kept(tmp_path, NOW - timedelta(days=30), NOW, bright_room)
    with opened(tmp_path) as there:
        yield there


def a_batch(days_ago: int = 20, **changes: object) -> Batch:
    """Five heads in bed 1, set out so many days ago."""
    set_out = (NOW - timedelta(days=days_ago)).date()
    known = Batch("spring-1", "lettuce", "butterhead", set_out - timedelta(days=14), 6, 2)
    planted = replace(known, transplanted_on=set_out, planted=5, reservoirs=(("bed1", 5),))
    return replace(planted, **changes)  # type: ignore[arg-type]


def weighed(day: date, heads: int, grams: float) -> tuple[date, Weighed]:
    """Heads on the scale."""
    return day, Weighed(batch="spring-1", heads=heads, grams_fresh=grams)


# --- the hours


def test_what_was_measured_is_what_it_lived_through(trends: Trends) -> None:
    """Hour by hour, by the clock, and it says so."""
    seen = lived(trends, "bed1", NOW - timedelta(days=3), NOW, ROOM)
    assert (seen.air, seen.air_share) == (seen.light, seen.light_share) == (Source.MEASURED, 1.0)
    assert len(seen.hours) == 72
    assert seen.hours[0] == Hour(24.0, 250.0)
    assert seen.hours[12] == Hour(18.0, 0.0)


def test_a_gap_is_filled_by_other_days_and_told(tmp_path: Path) -> None:
    """Air that was not read for a day is as on the others; light as the lamp gives it."""
    begin = NOW - timedelta(days=4)

    def with_gap(at: datetime) -> Mapping[Quantity, float | None]:
        gone = begin + timedelta(days=1) <= at < begin + timedelta(days=2)
        return dict.fromkeys(bright_room(at)) if gone else bright_room(at)

    kept(tmp_path, begin, NOW, with_gap)
    with opened(tmp_path) as there:
        seen = lived(there, "bed1", begin, NOW, ROOM)
        dark = lived(there, "bed1", begin, NOW, replace(ROOM, lamps=()))
    assert (seen.air_share, seen.light_share) == (0.75, 0.75)
    assert seen.hours[24] == Hour(24.0, 200.0)  # the lamp of the settings
    assert dark.hours[24] == Hour(24.0, 250.0)  # none: as on the other days


def test_what_was_doubted_was_not_measured(tmp_path: Path) -> None:
    """A sensor that stuck tells nothing of growth."""
    kept(tmp_path, NOW - timedelta(days=2), NOW, bright_room, Quality.BAD)
    with opened(tmp_path) as there:
        seen = lived(there, "bed1", NOW - timedelta(days=2), NOW, ROOM)
    assert (seen.air, seen.light) == (Source.ASSUMED, Source.LAMP)


def test_water_stands_in_for_air_that_was_never_measured(tmp_path: Path) -> None:
    """And an assumed temperature for both."""
    kept(tmp_path, NOW - timedelta(days=2), NOW, lambda at: {Quantity.TEMPERATURE: 21.0})
    with opened(tmp_path) as there:
        seen = lived(there, "bed1", NOW - timedelta(days=2), NOW, ROOM)
        other = lived(there, "bed2", NOW - timedelta(days=2), NOW, replace(ROOM, air_c=17.0))
    assert (seen.air, seen.hours[0].air_c) == (Source.WATER, 21.0)
    assert (other.air, other.hours[0].air_c) == (Source.ASSUMED, 17.0)
    assert (seen.light, seen.light_share) == (Source.LAMP, 0.0)


def test_a_lamp_shines_by_the_clock_on_the_wall() -> None:
    """Six in the morning is six where the garden is, not in UTC."""
    east = timezone(timedelta(hours=9))
    begin = datetime(2026, 4, 1, 0, 0, tzinfo=east)
    seen = lived(None, "bed1", begin, begin + timedelta(days=1), ROOM)
    assert [hour.light_umol > 0.0 for hour in seen.hours] == [6 <= hour < 22 for hour in range(24)]


def test_without_light_and_lamp_nothing_is_said() -> None:
    """But how to name one."""
    with pytest.raises(LightUnknownError, match="--lamp 200 --lamp-hours 16"):
        lived(None, "bed1", NOW - timedelta(days=2), NOW, replace(ROOM, lamps=()))


def test_lamps_of_the_settings_shine_on_their_reservoirs() -> None:
    """One that names none shines on all; a pump gives no light."""
    here = Appliance(
        rated_w=40.0, hours_per_day=14.0, on_at_h=7.0, light_umol_per_m2_s=180.0, reservoir=("bed1",)
    )
    all_of_them = Appliance(rated_w=20.0, hours_per_day=12.0, light_umol_per_m2_s=50.0)
    pump = Appliance(rated_w=8.0, hours_per_day=24.0)
    assert lamps_of([here, all_of_them, pump], "bed1") == (Lamp(180.0, 7.0, 14.0), Lamp(50.0, 6.0, 12.0))
    assert lamps_of([here, all_of_them, pump], "bed2") == (Lamp(50.0, 6.0, 12.0),)


# --- what is believed of the batch


def test_a_batch_is_reckoned_from_the_day_it_was_set_out(trends: Trends) -> None:
    """Its curve is the model's in its own hours; days to come as the last ones."""
    one = prospect(trends, a_batch(20), (), ROOM, NOW)
    day = [Hour(24.0 if 6 <= hour < 20 else 18.0, 250.0 if 6 <= hour < 20 else 0.0) for hour in range(24)]
    own = g_per_head(over_and_over(day, 60 * 24), 25.0)
    assert one.day == 20.5
    assert one.curve[:60] == pytest.approx(own[:60], rel=1e-3)
    assert one.now.likely == pytest.approx((own[20] + own[21]) / 2.0, rel=1e-3)
    assert one.now.low < one.now.likely < one.now.high
    assert (one.weighings, one.earlier) == (0, 0)
    assert one.scale == pytest.approx(UNKNOWN)
    assert one.ready.likely is not None
    assert own[one.ready.likely] >= 150.0 > own[one.ready.likely - 1]


def test_weighings_correct_it_and_narrow_the_window(trends: Trends) -> None:
    """Heads of half the model's weight, yesterday: later, and less in doubt."""
    plain = prospect(trends, a_batch(20), (), ROOM, NOW)
    half = plain.curve[19] + 0.5 * (plain.curve[20] - plain.curve[19])
    seen = a_batch(20, weighings=(weighed((NOW - timedelta(days=1)).date(), 4, 4 * half / 2.0),))
    one = prospect(trends, seen, (), ROOM, NOW)
    assert one.weighings == 1
    assert one.scale.factor == pytest.approx(0.5, abs=0.05)
    assert one.now.high / one.now.low < plain.now.high / plain.now.low
    assert one.ready.likely is not None
    assert plain.ready.likely is not None
    assert one.ready.likely > plain.ready.likely


def test_earlier_batches_teach_the_next(trends: Trends) -> None:
    """Whole heads that were cut and weighed count; leaves do not, nor a batch that was never weighed."""
    before = a_batch(28)
    curve = prospect(trends, before, (), ROOM, NOW).curve
    cut_on = before.transplanted_on
    assert cut_on is not None
    day = cut_on + timedelta(days=20)
    grams = 5 * 0.7 * (curve[20] + curve[21]) / 2.0
    cut = replace(before, pickings=((day, Picked(batch="spring-1", heads=5, grams=grams)),))
    leaves = replace(before, pickings=((day, Picked(batch="spring-1", heads=5, grams=9.0, way="leaves")),))
    one = prospect(trends, a_batch(10), [(cut, ROOM), (leaves, ROOM), (before, ROOM)], ROOM, NOW)
    assert one.earlier == 1
    assert one.scale.factor == pytest.approx(0.76, abs=0.02)  # one batch does not say all
    assert one.scale.log_sd < Scale(0.0, 0.25).log_sd


def test_signs_are_of_the_last_days_and_say_what_is_missing(trends: Trends) -> None:
    """The deficit of FAO-56 by extremes; the weight; nothing unknown where all was measured."""
    one = prospect(trends, a_batch(20), (), ROOM, NOW)
    assert one.signs[Sign.LIGHT] == pytest.approx(250.0 * 14 * 3600 / 1e6, rel=1e-3)
    assert one.signs[Sign.HOURS_LIT] == 14.0
    assert one.signs[Sign.NIGHT_AIR] == 18.0
    assert one.signs[Sign.OVER_WEIGHT] == pytest.approx(one.now.likely / 150.0)
    assert all(missing == () for missing in one.unknown.values())
    lamp_only = prospect(None, a_batch(20), (), ROOM, NOW)
    assert lamp_only.signs[Sign.LIGHT] == pytest.approx(11.52)
    assert Sign.WATER in lamp_only.unknown[Threat.ROOT_ROT]


def test_warm_water_raises_root_rot(tmp_path: Path) -> None:
    """27 °C for days: high, by the water and by the oxygen it can hold."""
    kept(tmp_path, NOW - timedelta(days=5), NOW, lambda at: {Quantity.TEMPERATURE: 27.0})
    with opened(tmp_path) as there:
        one = prospect(there, a_batch(20), (), ROOM, NOW)
        assert all(days_before(there, "bed1", NOW, 3))
    (rot,) = [risk for risk in one.risks if risk.threat is Threat.ROOT_ROT]
    assert [reason.sign for reason in rot.reasons] == [Sign.WATER, Sign.OXYGEN]


def test_a_batch_set_out_today_has_a_prospect(trends: Trends) -> None:
    """What is to come is as the days before it."""
    one = prospect(trends, a_batch(0), (), ROOM, NOW)
    assert one.day == 0.5
    assert one.ready.likely is not None


@pytest.mark.parametrize("days_ago", [-1, None])
def test_what_is_not_set_out_is_refused(days_ago: int | None) -> None:
    """Not yet, or only tomorrow."""
    batch = a_batch(days_ago) if days_ago is not None else replace(a_batch(), transplanted_on=None)
    with pytest.raises(ValueError, match="batch spring-1: is not set out yet"):
        prospect(None, batch, (), ROOM, NOW)
