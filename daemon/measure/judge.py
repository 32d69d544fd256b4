"""May a dose rest on this reading? One verdict for each look at one probe. Pure.

A look is a `Reading`, or a `NotRead` with its reason. What came before is a small frozen `ProbeHistory`
that goes in and comes out. Every comparison is written so that NaN ends in BAD.

    no answer, no calibration, no temperature
    stale, clipped, noisy, out of span           one look alone shows it
    stuck                                        no movement of the voltage for half an hour
    jumped                                       faster than water can change
    calibration expired                          BAD up to here
    stop-gap, probe worn, warming up,
    unlike this water                            UNCERTAIN
    calibration old                              UNCERTAIN, and yet carries a dose
    fine                                         GOOD

A jump. What water does is followed with a level that may step a little at once (noise, a swirl) and move at
a largest rate. Beyond that a reading is JUMPED, and a second level starts at the new value. Back at
the old level the jump was an outlier; if the new one holds steadily for `hold_off_s` it is true (hand
dosing, refill, change-out) and becomes the level. So no level from before can bar a probe for ever.
A level is trusted after `samples_needed` fine looks in a row, and a bad look throws it back to the last
trusted one: a dry probe cannot wander off with it between two noisy moments.

Within these limits, which hold for any reservoir, `normal` learns what this water does, and makes UNCERTAIN
what it never did.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from math import isfinite
from typing import NamedTuple

from daemon.measure.convert import NotRead
from daemon.measure.normal import Bounds, Normal, Oddity, Unusual, afresh, weigh
from daemon.values import Numbers, Quality, Quantity, Reading, Sample, Verdict, VerdictReason

_LONGEST_GAP_S = 60.0  # what a level may move unseen; else time alone would make any jump plausible
_EARLIEST_S = -1.0  # a sample from the future means that two clocks were mixed up
STOP_GAP_DAYS = 7.0  # an offset from one buffer tells nothing of the slope: long enough to buy the second
_EARLIEST_DAYS = -1  # a calibration of tomorrow may be a matter of time zones; later means a wrong clock


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What is normal for one quantity. Defaults for each stand in `LIMITS`.

    lowest, highest: span of the value, in its unit.
    step, max_rate_per_min, swing: a reading may differ from the last by step plus the rate, and from
        a level that moves at no more than the rate by swing.
    hold_off_s: how long a new level must hold before it is believed.
    still_v, stuck_s: movement of the voltage by no more than still_v for stuck_s is STUCK; never where
        stuck_s is None or the sensor is digital (its steps are wide).
    max_spread_v: largest disagreement of the conversions of one sample.
    stale_s: largest age of a sample. samples_needed: as many fine looks in a row before GOOD.
    calibrated: needs a calibration and a temperature. warn_days, expire_days: age of the calibration.
    least_slope_percent: no dose rests on an electrode with less slope.
    no_probe_signal, no_probe_hold_s: a signal within ± this is what no probe, or a cracked bulb, gives
        too; a jump to it is believed only after this longer time.
    learns: what of its normal is learned; None where nothing is.
    """

    quantity: Quantity
    lowest: float
    highest: float
    step: float
    max_rate_per_min: float
    swing: float
    hold_off_s: float = 300.0
    still_v: float = 0.0
    stuck_s: float | None = 1800.0
    max_spread_v: float = 0.02
    stale_s: float = 90.0
    samples_needed: int = 5
    calibrated: bool = False
    warn_days: float = 30.0
    expire_days: float = 60.0
    least_slope_percent: float = 90.0
    no_probe_signal: float = 0.0
    no_probe_hold_s: float = 1800.0
    learns: Bounds | None = None


# pH: a permitted dose moves a reservoir by a few tenths, and most of that shows within one or two minutes
# (95 % of mixing in 2 min is 22 % in the first 10 s). So 0.15 at once, 0.3 per minute (the usual rate
# limit) and 0.6 ahead of that rate pass; 0.2 from one 10 s pass to the next is an outlier.
# The voltage must move by more than one code of 125 µV in half an hour; a living electrode does in a minute.
# Behind an amplifier of gain 3, conversions that disagree by 8 mV disagree by 0.05 pH.
# EC: a dose of stock moves it by 0.1 to 0.3 mS/cm. Below 0.01 mS/cm the cell is dry or unplugged.
# Temperature: 1 K per minute; cold water let in needs longer to be believed, since EC leans on it.
# What a dose or a can of water may do within a quarter of an hour is never unusual, in whatever quiet water; a
# temperature in steps may stand for days.
LIMITS: Mapping[Quantity, Limits] = {
    Quantity.PH: Limits(
        quantity=Quantity.PH,
        lowest=2.0,
        highest=12.0,
        step=0.15,
        max_rate_per_min=0.3,
        swing=0.6,
        still_v=0.000130,
        max_spread_v=0.008,
        calibrated=True,
        no_probe_signal=15.0,
        learns=Bounds(least_move=0.6, longest_still_s=86400.0),
    ),
    Quantity.EC: Limits(
        quantity=Quantity.EC,
        lowest=0.01,
        highest=10.0,
        step=0.1,
        max_rate_per_min=0.2,
        swing=0.4,
        max_spread_v=0.03,
        calibrated=True,
        learns=Bounds(least_move=0.4, longest_still_s=86400.0),
    ),
    Quantity.TEMPERATURE: Limits(
        quantity=Quantity.TEMPERATURE,
        lowest=2.0,
        highest=40.0,
        step=0.5,
        max_rate_per_min=1.0,
        swing=1.5,
        hold_off_s=1800.0,
        max_spread_v=0.03,
        samples_needed=3,
        learns=Bounds(least_move=1.5),
    ),
    Quantity.LEVEL: Limits(
        quantity=Quantity.LEVEL,
        lowest=0.0,
        highest=1.5,
        step=1.5,  # a float switch goes from enough to low at once
        max_rate_per_min=1.5,
        swing=1.5,
        stuck_s=None,
        samples_needed=1,
    ),
    Quantity.AIR_TEMPERATURE: Limits(
        quantity=Quantity.AIR_TEMPERATURE,
        lowest=-10.0,
        highest=60.0,
        step=3.0,  # a door, the sun: air is faster than water, and nothing is dosed by it
        max_rate_per_min=3.0,
        swing=6.0,
        stuck_s=None,
        samples_needed=1,
    ),
    Quantity.LIGHT: Limits(
        quantity=Quantity.LIGHT,
        lowest=-20.0,
        highest=3000.0,  # the brightest sun is 2000 to 2500
        step=3000.0,  # a lamp is switched on
        max_rate_per_min=3000.0,
        swing=3000.0,
        stuck_s=None,  # dark all night
        max_spread_v=5.0,  # lamps flicker
        samples_needed=1,
    ),
    Quantity.HUMIDITY: Limits(
        quantity=Quantity.HUMIDITY,
        lowest=0.0,
        highest=100.0,
        step=20.0,
        max_rate_per_min=20.0,
        swing=40.0,
        stuck_s=None,
        samples_needed=1,
    ),
}


class _Level(NamedTuple):
    """A level being followed: its newest value, the one slowed to the largest rate, and since when."""

    value: float
    at_s: float
    slowed: float
    since_s: float


class _Still(NamedTuple):
    """The voltage from which it has not moved, and since when."""

    volts: float
    since_s: float


class _Finding(NamedTuple):
    """What is to be said against a look."""

    quality: Quality
    reason: VerdictReason
    numbers: Numbers = {}  # noqa: RUF012 - never written to


class ProbeHistory(NamedTuple):
    """What the judge remembers of one probe. `begun_anew` after calibrating. A tuple, as `Normal`."""

    fine_in_a_row: int = 0
    level: _Level | None = None
    trusted: _Level | None = None  # the level when it was last warm; what comes after a bad spell must fit it
    new_level: _Level | None = None
    still: _Still | None = None
    quality: Quality | None = None
    reason: VerdictReason | None = None
    since_s: float = 0.0
    normal: Normal = Normal()


def begun_anew(history: ProbeHistory) -> ProbeHistory:
    """A new history that keeps what was learned of the water."""
    return ProbeHistory(normal=afresh(history.normal))


def judge(
    look: Reading | NotRead,
    history: ProbeHistory,
    limits: Limits,
    now_s: float,
    today: date,
    *,
    other_water: bool = False,
) -> tuple[Verdict, ProbeHistory]:
    """The verdict on this look, and the history to hand in with the next.

    now_s: monotonic, the clock of `look`'s samples. today: UTC date, for the age of the calibration.
    other_water: the temperature tells that other water came in (`normal.is_other_water`).
    """
    still = _stillness(history.still, look.sample, limits)
    if isinstance(look, NotRead):
        finding: _Finding | None = _unread(look, still, limits)
    else:
        finding = _alone(look, limits, now_s) or _stuck(look.sample, still, limits)
    level, new_level = history.trusted or history.level, None
    if finding is None and isinstance(look, Reading):
        level, new_level, finding = _move(look, history, limits)
    fine = _fine_in_a_row(look, history) if finding is None else 0
    trusted = level if fine >= limits.samples_needed else history.trusted
    if finding is None and isinstance(look, Reading):
        finding = _reservation(look, fine, limits, today)
    normal = history.normal
    if isinstance(look, Reading) and (finding is None or _carries_a_dose(finding)):
        unusual, normal = _weigh(look, normal, limits, other_water=other_water)
        finding = unusual or finding
    quality, reason, numbers = finding or _FINE
    same = quality is history.quality and reason is history.reason
    since_s = history.since_s if same else now_s
    reading, note = (None, look.note) if isinstance(look, NotRead) else (look, "")
    return (
        Verdict(limits.quantity, quality, reason, reading, since_s, numbers, note),
        ProbeHistory(fine, level, trusted, new_level, still, quality, reason, since_s, normal),
    )


_FINE = _Finding(Quality.GOOD, VerdictReason.FINE)


def _unread(look: NotRead, still: _Still | None, limits: Limits) -> _Finding:
    """Why there is no reading. Where only the temperature is lacking, what the bare signal shows comes first."""
    shown = None
    if look.reason is VerdictReason.NO_TEMPERATURE and look.sample is not None:
        shown = _of_signal(look.sample, limits) or _stuck(look.sample, still, limits)
    return shown or _Finding(Quality.BAD, look.reason, look.numbers)


def _alone(reading: Reading, limits: Limits, now_s: float) -> _Finding | None:
    """What one look alone shows."""
    sample = reading.sample
    age_s = now_s - reading.at_s
    if not (_EARLIEST_S <= age_s <= limits.stale_s):
        return _bad(VerdictReason.STALE, age_s=age_s, stale_s=limits.stale_s)
    if (shown := _of_signal(sample, limits)) is not None:
        return shown
    if not (limits.lowest <= reading.value <= limits.highest and _all_finite(sample)):
        return _bad(VerdictReason.OUT_OF_SPAN, value=reading.value, lowest=limits.lowest, highest=limits.highest)
    return _uncompensated(reading) if limits.calibrated else None


def _of_signal(sample: Sample, limits: Limits) -> _Finding | None:
    """What the volts of one sample show, whatever they would stand for."""
    if sample.clipped:
        return _bad(VerdictReason.CLIPPED, volts=sample.volts)
    if sample.spread_v is not None and not (0.0 <= sample.spread_v <= limits.max_spread_v):
        return _bad(VerdictReason.NOISY, spread_v=sample.spread_v, allowed_v=limits.max_spread_v)
    return None


def _uncompensated(reading: Reading) -> _Finding | None:
    """A reading that claims to need neither calibration nor temperature, where both are needed."""
    if not reading.calibration:
        return _bad(VerdictReason.NOT_CALIBRATED)
    if reading.temperature_c is None or not isfinite(reading.temperature_c):
        return _bad(VerdictReason.NO_TEMPERATURE)
    return None


def _all_finite(sample: Sample) -> bool:
    return isfinite(sample.signal) and (sample.volts is None or isfinite(sample.volts))


def _stillness(still: _Still | None, sample: Sample | None, limits: Limits) -> _Still | None:
    """Since when the voltage has been where it is; None where that cannot be told."""
    if sample is None or sample.volts is None or limits.stuck_s is None:
        return None
    if still is not None and abs(sample.volts - still.volts) <= limits.still_v:
        return still
    return _Still(sample.volts, sample.at_s)


def _stuck(sample: Sample, still: _Still | None, limits: Limits) -> _Finding | None:
    if still is None or limits.stuck_s is None:
        return None
    still_s = sample.at_s - still.since_s
    if still_s < limits.stuck_s:
        return None
    return _bad(VerdictReason.STUCK, volts=still.volts, still_s=still_s)


def _move(
    reading: Reading, history: ProbeHistory, limits: Limits
) -> tuple[_Level, _Level | None, _Finding | None]:
    """The level, the new level if one is on trial, and JUMPED where the reading left the level."""
    level = history.level
    if level is None:
        return _begin(reading), None, None
    followed = _follow(level, reading, limits)
    if followed is not None:
        return followed, None, None
    if history.trusted is None:
        return _begin(reading), None, _warming_up(0, limits)
    trial = history.new_level
    trial = (_follow(trial, reading, limits) if trial is not None else None) or _begin(reading)
    steady_s = reading.at_s - trial.since_s
    if steady_s >= _hold_off_s(reading, limits):
        return trial, None, None
    return history.trusted, trial, _jumped(reading, level, steady_s, limits)


def _begin(reading: Reading) -> _Level:
    return _Level(reading.value, reading.at_s, reading.value, reading.at_s)


def _follow(level: _Level, reading: Reading, limits: Limits) -> _Level | None:
    """The level moved to this reading, or None where water cannot have moved so fast."""
    value = reading.value
    gap_s = min(max(reading.at_s - level.at_s, 0.0), _LONGEST_GAP_S)
    reach = limits.max_rate_per_min * gap_s / 60.0
    slowed = min(max(value, level.slowed - reach), level.slowed + reach)
    if abs(value - level.value) <= limits.step + reach and abs(value - slowed) <= limits.swing:
        return _Level(value, reading.at_s, slowed, level.since_s)
    return None


def _like_no_probe(reading: Reading, limits: Limits) -> bool:
    return abs(reading.sample.signal) <= limits.no_probe_signal and limits.no_probe_signal > 0.0


def _hold_off_s(reading: Reading, limits: Limits) -> float:
    return limits.no_probe_hold_s if _like_no_probe(reading, limits) else limits.hold_off_s


def _jumped(reading: Reading, level: _Level, steady_s: float, limits: Limits) -> _Finding:
    return _bad(
        VerdictReason.JUMPED,
        value=reading.value,
        before=level.value,
        after_s=reading.at_s - level.at_s,
        steady_s=steady_s,
        hold_off_s=_hold_off_s(reading, limits),
    )


def _fine_in_a_row(look: Reading | NotRead, history: ProbeHistory) -> int:
    """Counts this look, unless it is the same sample as the last one."""
    again = isinstance(look, Reading) and history.level is not None and look.at_s <= history.level.at_s
    return history.fine_in_a_row if again else history.fine_in_a_row + 1


def _reservation(reading: Reading, fine: int, limits: Limits, today: date) -> _Finding | None:
    """What keeps a reading that moves as water does from being good."""
    old = _calibration_age(reading, limits, today) if limits.calibrated else None
    if old is not None and old.quality is Quality.BAD:
        return old
    if reading.stop_gap:
        return _Finding(Quality.UNCERTAIN, VerdictReason.STOP_GAP, {"expire_days": STOP_GAP_DAYS})
    slope_percent = reading.slope_percent
    if slope_percent is not None and not (slope_percent >= limits.least_slope_percent):
        numbers = {"slope_percent": slope_percent, "least_percent": limits.least_slope_percent}
        return _Finding(Quality.UNCERTAIN, VerdictReason.PROBE_WORN, numbers)
    return _warming_up(fine, limits) if fine < limits.samples_needed else old


def _warming_up(fine: int, limits: Limits) -> _Finding:
    numbers = {"samples": fine, "needed": limits.samples_needed}
    return _Finding(Quality.UNCERTAIN, VerdictReason.WARMING_UP, numbers)


def _calibration_age(reading: Reading, limits: Limits, today: date) -> _Finding | None:
    age_days = _age_days(reading.calibration, today)
    if age_days is None:
        return _bad(VerdictReason.NOT_CALIBRATED)
    if _EARLIEST_DAYS <= age_days <= limits.warn_days and not reading.stop_gap:
        return None
    expire_days = min(limits.expire_days, STOP_GAP_DAYS) if reading.stop_gap else limits.expire_days
    numbers = {"age_days": age_days, "warn_days": limits.warn_days, "expire_days": expire_days}
    quality = Quality.UNCERTAIN if age_days <= expire_days else Quality.BAD
    return _Finding(quality, VerdictReason.CALIBRATION_OLD, numbers)


@lru_cache(maxsize=64)
def _age_days(day: str, today: date) -> int | None:
    """Whole days since that ISO date, negative when it is to come; None where it is no date."""
    try:
        return (today - date.fromisoformat(day)).days
    except ValueError:
        return None


def _carries_a_dose(finding: _Finding) -> bool:
    return finding.quality is Quality.UNCERTAIN and finding.reason is VerdictReason.CALIBRATION_OLD


def _weigh(
    reading: Reading, normal: Normal, limits: Limits, *, other_water: bool
) -> tuple[_Finding | None, Normal]:
    """What this water never did, and the rest learned from."""
    if limits.learns is None:
        return None, normal
    unusual, normal = weigh(normal, reading.value, reading.at_s, limits.learns, other_water=other_water)
    return (None if unusual is None else _unlike_this_water(unusual, limits.learns)), normal


def _unlike_this_water(unusual: Unusual, bounds: Bounds) -> _Finding:
    if unusual.oddity is Oddity.MOVED:
        numbers = {"moved": unusual.seen, "usual": unusual.allowed}
        return _Finding(Quality.UNCERTAIN, VerdictReason.UNUSUAL, numbers)
    in_no_water = bounds.longest_still_s is not None and unusual.seen >= bounds.longest_still_s
    numbers = {"still_s": unusual.seen, "usual_s": unusual.allowed}
    return _Finding(Quality.BAD if in_no_water else Quality.UNCERTAIN, VerdictReason.STUCK, numbers)


def _bad(reason: VerdictReason, **numbers: float | None) -> _Finding:
    """BAD, with those numbers that are numbers."""
    known = {key: number for key, number in numbers.items() if number is not None and isfinite(number)}
    return _Finding(Quality.BAD, reason, known)
