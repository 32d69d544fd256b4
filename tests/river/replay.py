"""Replays one site sample by sample: through the judge as it is, and through plain rules beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from daemon.measure.convert import NotRead, nernst_slope_mv_per_ph
from daemon.measure.judge import LIMITS, Limits, ProbeHistory, judge
from daemon.measure.normal import Bounds, is_other_water
from daemon.values import Quality, Quantity, Reading, Sample, Verdict, VerdictReason
from tests.river.series import DAY_S, SPAN, Site

TODAY = date(2026, 3, 10)  # of the calibration too: how old it is says nothing here

Refused = dict[Quantity, list[bool]]
"""Of each sample of each quantity: whether no dose could have rested on it."""


def _river(quantity: Quantity, learns: Bounds) -> Limits:
    """As for a reservoir, but for what a river is: its span; and one sample stands for a quarter of an hour."""
    low, high = SPAN[quantity]
    return replace(LIMITS[quantity], lowest=low, highest=high, samples_needed=1, learns=learns)


# Half of what would matter is never unusual. No reservoir's EC can do what a river's does when salt is washed in:
# how far it may jump is left to learning alone.
RIVER: Mapping[Quantity, Limits] = {
    Quantity.TEMPERATURE: _river(Quantity.TEMPERATURE, Bounds(0.25, longest_still_s=DAY_S)),
    Quantity.EC: replace(
        _river(Quantity.EC, Bounds(0.0, least_share=0.025, longest_still_s=DAY_S)),
        step=SPAN[Quantity.EC][1],
        swing=SPAN[Quantity.EC][1],
    ),
    Quantity.PH: _river(Quantity.PH, Bounds(0.1, longest_still_s=DAY_S)),
}


def judged(site: Site) -> Refused:
    """What the judge refuses. Without a temperature, as where none is assumed, there is neither EC nor pH."""
    refused: Refused = {quantity: [] for quantity in RIVER}
    histories = {quantity: ProbeHistory() for quantity in RIVER}
    for at, now_s in enumerate(site.at_s):
        temperature: Verdict | None = None
        for quantity, limits in RIVER.items():
            look = _look(quantity, site.series[quantity].raw[at], now_s, temperature)
            other_water = temperature is not None and is_other_water(
                histories[Quantity.TEMPERATURE].normal, now_s
            )
            verdict, histories[quantity] = judge(
                look, histories[quantity], limits, now_s, TODAY, other_water=other_water
            )
            temperature = verdict if quantity is Quantity.TEMPERATURE else temperature
            refused[quantity].append(not verdict.usable)
    return refused


def _look(quantity: Quantity, raw: float, at_s: float, temperature: Verdict | None) -> Reading | NotRead:
    signal = (7.0 - raw) * nernst_slope_mv_per_ph(25.0) if quantity is Quantity.PH else raw
    sample = Sample(quantity, at_s, signal, None)
    if temperature is None:
        return Reading(quantity, raw, at_s, sample)
    if temperature.quality is Quality.BAD or temperature.reading is None:
        return NotRead(VerdictReason.NO_TEMPERATURE, sample=sample)
    return Reading(quantity, raw, at_s, sample, temperature.reading.value, TODAY.isoformat())


def plainly(site: Site) -> Refused:
    """What plain rules refuse: a range, a largest change from one sample to the next, a day without change.

    The largest change is what would matter: 0.2 pH, 5 % of EC, 0.5 °C.
    """
    return {quantity: list(_plainly(site, quantity)) for quantity in RIVER}


def _plainly(site: Site, quantity: Quantity) -> list[bool]:
    raw, refused = site.series[quantity].raw, []
    low, high = SPAN[quantity]
    same_since = 0
    for at, value in enumerate(raw):
        before = raw[at - 1] if at else value
        same_since = same_since if value == before else at
        frozen = site.at_s[at] - site.at_s[same_since] >= DAY_S
        refused.append(frozen or not low <= value <= high or _too_fast(quantity, before, value))
    return refused


def _too_fast(quantity: Quantity, before: float, value: float) -> bool:
    if quantity is Quantity.EC:
        return abs(value - before) > 0.05 * abs(before)
    return abs(value - before) > (0.2 if quantity is Quantity.PH else 0.5)
