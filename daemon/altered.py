"""Which numbers of the settings doses rest on, and which of them changed by far since the last run. Pure.

A slip that stays plausible (50 mL for 5, a tank of 600 L for 60) shows only against what was there before.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from config.settings import Reservoir, Settings
from daemon.dose.level import most_drunk_l_per_h
from daemon.dose.strength import ec_aim_of

MOST_TIMES = 3.0
SLACK = 1e-9  # decimals such as 3 * 0.1 are not exact in binary

NO_DOSE_RESTS_ON = frozenset(
    {
        "bands",  # alarms follow these
        "calibration_warn_days",
        "change_out_days",
        "change_out_fills",
        *("line", "input", "minus_input", "address", "i2c_bus"),  # which wire, not how much
        *("conversions", "excitation_line"),
    }
)
"""Keys and tables of a reservoir that make no dose larger, sooner or rest on less; every other number counts."""

Numbers = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Altered:
    """One number that changed by far: its dotted key, what it was and what it is, in the key's own unit."""

    key: str
    was: float
    now: float


def dose_numbers(settings: Settings) -> Numbers:
    """Every number that doses rest on, defaults filled in, by dotted key; of reservoirs that are to keep.

    A number that is not set, or zero, is not there: what is off makes no dose.
    """
    return {
        key: amount
        for name, reservoir in settings.reservoir.items()
        if reservoir.start == "keeping"
        for key, amount in _numbers(f"reservoir.{name}", _filled(reservoir))
        if amount != 0.0
    }


def altered(before: Numbers, now: Numbers) -> tuple[Altered, ...]:
    """What is more than MOST_TIMES as much, or as little, as before, or of another sign."""
    both = [Altered(key, before[key], now[key]) for key in sorted(now) if key in before]
    return tuple(one for one in both if not _near(one.was, one.now))


def _near(was: float, now: float) -> bool:
    less, more = sorted((abs(was), abs(now)))
    return was * now > 0.0 and more <= less * (MOST_TIMES + SLACK)


def _filled(reservoir: Reservoir) -> dict[str, Any]:
    """The tables with each default in them, those that follow from the volume and the drivers' too."""
    table = reservoir.model_dump()
    table["ec"]["stock_a_ml_per_ms_per_cm"] = ec_aim_of(reservoir).a_ml_per_ms_per_cm
    table["water"]["most_drunk_l_per_h"] = most_drunk_l_per_h(reservoir)
    for quantity, probe in reservoir.probe.items():
        table["probe"][quantity] = probe.wired().model_dump()
    return table


def _numbers(at: str, table: Mapping[str, Any]) -> Iterator[tuple[str, float]]:
    for key, value in table.items():
        if key in NO_DOSE_RESTS_ON:
            continue
        if isinstance(value, Mapping):
            yield from _numbers(f"{at}.{key}", value)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield f"{at}.{key}", float(value)
