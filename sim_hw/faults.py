"""Faults by name, each with its start, its end and what it befalls; and which of them hold at a moment."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from math import inf


class FaultName(StrEnum):
    """What can go wrong. `size` is given in the comment where a fault has one."""

    PROBE_UNPLUGGED = "probe_unplugged"  # the input floats or rails, with hum
    PROBE_DRY = "probe_dry"  # plugged in, but in air
    PROBE_STUCK = "probe_stuck"  # no movement and no noise at all
    PROBE_DRIFTING = "probe_drifting"  # size: mV, mS or °C per hour
    PROBE_COATED = "probe_coated"  # size: response time in s
    PROBE_HUM = "probe_hum"  # mains hum at the input; size: mV of amplitude
    CHIP_SILENT = "chip_silent"  # does not answer
    CHIP_BROWNOUT = "chip_brownout"  # falls back to its power-on registers
    CHIP_BUSY_FOREVER = "chip_busy_forever"  # a conversion does not end
    CHIP_REFERENCE_DRIFTED = (
        "chip_reference_drifted"  # all its codes are off alike; size: times what they should be
    )
    DATA_LINE_HIGH = "data_line_high"  # every bit read is 1
    BUS_BUSY_FOREVER = "bus_busy_forever"  # another master keeps the bus
    PUMP_DEAD = "pump_dead"  # turns, delivers nothing
    PUMP_FAST = "pump_fast"  # size: times its rate
    PUMP_STUCK_ON = "pump_stuck_on"  # turns whatever its line says
    PUMP_LEAKS = "pump_leaks"  # a siphon through it while it stands; size: mL per minute
    BOTTLE_EMPTY = "bottle_empty"  # nothing to deliver


CHIP_FAULTS = frozenset({FaultName.CHIP_SILENT, FaultName.CHIP_BROWNOUT, FaultName.CHIP_BUSY_FOREVER})
BUS_FAULTS = frozenset({FaultName.DATA_LINE_HIGH, FaultName.BUS_BUSY_FOREVER})
CONVERTER_FAULTS = CHIP_FAULTS | BUS_FAULTS | {FaultName.CHIP_REFERENCE_DRIFTED}  # befall a probe that is at one
PUMP_FAULTS = frozenset(
    {
        FaultName.PUMP_DEAD,
        FaultName.PUMP_FAST,
        FaultName.PUMP_STUCK_ON,
        FaultName.PUMP_LEAKS,
        FaultName.BOTTLE_EMPTY,
    }
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault. `target`: "tank/probe" or "tank/role". Holds from start_s until before end_s (bench seconds)."""

    name: FaultName
    target: str
    start_s: float
    end_s: float = inf
    size: float | None = None

    def holds_at(self, at_s: float) -> bool:
        """Whether it is there at this moment."""
        return self.start_s <= at_s < self.end_s

    def sized(self, usual: float) -> float:
        """Its size, or the usual one where none was given."""
        return usual if self.size is None else self.size


Held = dict[FaultName, Fault]


def holding(faults: Iterable[Fault], at_s: float) -> dict[str, Held]:
    """The faults that hold at a moment, by target. Of two of one name on one target the later listed counts."""
    found: dict[str, Held] = {}
    for fault in faults:
        if fault.holds_at(at_s):
            found.setdefault(fault.target, {})[fault.name] = fault
    return found


def next_change_s(faults: Iterable[Fault], after_s: float) -> float:
    """When the next fault begins or ends after a moment; infinity where none does."""
    moments = (moment for fault in faults for moment in (fault.start_s, fault.end_s) if moment > after_s)
    return min(moments, default=inf)
