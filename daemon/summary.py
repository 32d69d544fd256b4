"""Each day in a few lines, for somebody far away. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from daemon import words, words_of_growth
from daemon.crop.risk import Spread, risks, signs_of
from daemon.values import Quantity, ReservoirState, State

Ranges = Mapping[tuple[str, str], Spread]
"""Lowest, mean and highest of the last 24 h by reservoir and quantity."""

TOLD = (Quantity.PH, Quantity.EC, Quantity.TEMPERATURE, Quantity.LEVEL)


def summary(state: State, ranges: Ranges) -> str:
    """How every reservoir is and was, what was dosed, what calls for a person."""
    lines = [f"{state.utc:%Y-%m-%d %H:%M} UTC", *(_of(one, ranges) for one in state.reservoirs.values())]
    calling = ", ".join(alarm.key for alarm in state.alarms)
    return ". ".join([*lines, f"Alarms: {calling or 'none'}"]) + "."


def _of(reservoir: ReservoirState, ranges: Ranges) -> str:
    said = "; ".join([*_values(reservoir, ranges), *_doses(reservoir), *_risks(reservoir, ranges)])
    return f"{reservoir.title} is {reservoir.condition.value}: {said}"


def _values(reservoir: ReservoirState, ranges: Ranges) -> Iterator[str]:
    for quantity in TOLD:
        if (verdict := reservoir.verdicts.get(quantity)) is None:
            continue
        text = f"{words.QUANTITY[quantity]} {words.value(quantity, words.believed(verdict))}"
        if (seen := ranges.get((reservoir.name, quantity.value))) is not None:
            text += f" ({words.value(quantity, seen.low)} to {words.value(quantity, seen.high)})"
        yield text


def _doses(reservoir: ReservoirState) -> Iterator[str]:
    for role, use in reservoir.caps.items():
        yield f"{words.ROLE[role]} {use.last_day_ml:.1f} mL, bottle {use.bottle_left_ml:.0f} mL left"


def _risks(reservoir: ReservoirState, ranges: Ranges) -> Iterator[str]:
    """What threatens a crop by what was measured, without regard to its age."""
    day = {quantity: seen for quantity in Quantity if (seen := ranges.get((reservoir.name, quantity.value)))}
    for each in risks(signs_of(day)):
        yield f"risk of {words_of_growth.risk(each)}"
