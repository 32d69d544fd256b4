"""The bench's clock: stepped, where sleeping moves the world on at once, or with sleep sped up.

Only sleep is sped up: what the daemon computes takes its real time, so that a busy machine cannot make sixty
times too long of it and run into the drivers' deadlines.
"""

from __future__ import annotations

import threading
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

DEFAULT_START_UTC = datetime(2026, 4, 1, 6, 0, tzinfo=UTC)
KERNEL_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
REAL_TIME = 1.0


def _nothing() -> None:
    return None


class BenchClock:
    """Bench time. `time_factor` is bench seconds per real second of sleep; 0 means stepped.

    Stepped: starts at 0 s and at `start_utc`, and moves only by `sleep` and `spend`.
    Running: `utc` starts at the real now. At factor 1 `monotonic_s` is the machine's own CLOCK_MONOTONIC, so
    that another process can write times that this one understands; at other factors it starts at 0 s.
    `opened_s` and `opened_utc` are its two readings when it was made. `after_sleep` is called at the end of every
    sleep: what a person would see has to be brought up to date.
    """

    def __init__(self, time_factor: float = 0.0, start_utc: datetime = DEFAULT_START_UTC) -> None:
        if not 0.0 <= time_factor < float("inf"):
            raise ValueError(f"time_factor = {time_factor}: must be 0 (stepped) or a number above 0")
        self.time_factor = time_factor
        self.stepped = time_factor == 0.0
        self.after_sleep: Callable[[], None] = _nothing
        self._stepped_s = 0.0
        self._lock = threading.Lock()
        self._gained_s = 0.0  # by sleeps that are over, beyond the real time they took
        self._sleep: tuple[float, float] | None = None  # of the sleep going on: real start, real seconds
        self._opened_real_s = time.monotonic()
        self.opened_utc = start_utc if self.stepped else datetime.now(UTC)
        self.opened_s = self.monotonic_s()
        self._boot_id = _kernel_boot_id() if time_factor == REAL_TIME else uuid.uuid4().hex

    def monotonic_s(self) -> float:
        """Bench seconds; never backwards."""
        if self.stepped:
            return self._stepped_s
        if self.time_factor == REAL_TIME:
            return time.monotonic()
        with self._lock:
            real_s = time.monotonic()
            return real_s - self._opened_real_s + self._gained_s + self._gaining_s(real_s)

    def _gaining_s(self, real_s: float) -> float:
        """What the sleep going on has gained by `real_s`."""
        if self._sleep is None:
            return 0.0
        start_s, seconds = self._sleep
        return (self.time_factor - REAL_TIME) * min(real_s - start_s, seconds)

    def utc(self) -> datetime:
        """The bench's wall clock, aware, in UTC."""
        return self.opened_utc + timedelta(seconds=self.monotonic_s() - self.opened_s)

    def sleep(self, seconds: float) -> None:
        """Wait for bench seconds: at once when stepped, else `seconds / time_factor` real seconds."""
        if seconds > 0.0:
            if self.stepped:
                self._stepped_s += seconds
            else:
                self._sleep_for(seconds / self.time_factor)
        self.after_sleep()

    def _sleep_for(self, real_seconds: float) -> None:
        """Sleep and gain. While one thread sleeps so, the sleep of another gains nothing more."""
        with self._lock:
            first = self._sleep is None
            if first:
                self._sleep = (time.monotonic(), real_seconds)
        time.sleep(real_seconds)
        if first:
            with self._lock:
                self._gained_s += self._gaining_s(time.monotonic())
                self._sleep = None

    def last(self, seconds: float) -> None:
        """What a caller does nothing but wait for. Stepped or sped up as `sleep` is; real time runs by itself."""
        if self.stepped:
            self._stepped_s += seconds
        elif self.time_factor != REAL_TIME:
            self._sleep_for(seconds / self.time_factor)

    def spend(self, seconds: float) -> None:
        """What a bus transaction takes. Moves a stepped clock; a running one runs by itself."""
        if self.stepped:
            self._stepped_s += seconds

    def utc_trusted(self) -> bool:
        """The bench's wall clock is always right."""
        return True

    def boot_id(self) -> str:
        """Names the count that `monotonic_s` belongs to: a new one for each bench, the machine's at factor 1."""
        return self._boot_id


def _kernel_boot_id() -> str:
    try:
        return KERNEL_BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return uuid.uuid4().hex
