"""The kinds of alarm, and how one behaves. The rows themselves: `daemon.alarm.table`."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from daemon.values import Priority


class Kind(StrEnum):
    """One row of the table."""

    PROBE = "probe"
    CONVERTER = "converter"
    DISAGREE = "disagree"
    ONE_PROBE = "one-probe"
    CALIBRATION = "calibration"
    OUT_OF_BAND = "out-of-band"
    FAR_OUT = "far-out"
    DAY_CAP = "day-cap"
    CAPS_MISSING = "caps-missing"
    BOTTLE_LOW = "bottle-low"
    BOTTLE_EMPTY = "bottle-empty"
    PROBE_AGEING = "probe-ageing"
    RATE_OLD = "rate-old"
    RATE_EXPIRED = "rate-expired"
    TUBE_WORN = "tube-worn"
    LEVEL_LOW = "level-low"
    LEAK = "leak"
    AIR_ROOTS = "air-roots"
    FALLS_FAST = "falls-fast"
    HARDLY_FALLS = "hardly-falls"
    ROOM_SENSOR = "room-sensor"
    OUT_OF_SERVICE = "out-of-service"
    CIRCULATION = "circulation"
    TOO_STRONG = "too-strong"
    WELL_BUFFERED = "well-buffered"
    MOVED = "moved"
    CHANGE_OUT = "change-out"
    LOCKED = "locked"
    HELD_LONG = "held-long"
    RESTARTS = "restarts"
    SETTINGS = "settings"
    LEDGER = "ledger"
    BROKER = "broker"
    CERTIFICATE = "certificate"
    SAME_ID = "same-id"
    WAYS_OUT = "ways-out"
    COMMANDS = "commands"
    BARRIER = "barrier"
    BACKUP = "backup"
    HISTORY = "history"


@dataclass(frozen=True, slots=True)
class Row:
    """How one kind behaves.

    on_delay_s / off_delay_s: how long the cause must last, or be gone, before the alarm follows.
    consequence: what happens if nobody comes; done: what the daemon did; act: what the person should do;
    within: how long they have; stops: which pumps. latches: acknowledged it still stands until it is cleared at
    the tank.
    follows: kinds that explain it: beside one of them in the same place it is no alarm of its own.
    known_at_once: at the first pass after a start it is seen whether its cause is there.
    """

    priority: Priority
    on_delay_s: float
    off_delay_s: float
    consequence: str
    done: str
    act: str
    within: str
    stops: str
    latches: bool = False
    follows: frozenset[Kind] = frozenset()
    known_at_once: bool = False
