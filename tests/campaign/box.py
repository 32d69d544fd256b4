"""The small computer beside the bench: it loses power, is killed, has a wrong wall clock; the bench goes on."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from sim_hw.bench import Bench
from sim_hw.bus import Bus
from sim_hw.pins import BenchFactory

SHORTEST_S = 1e-6  # the bench's count is longer than the box's: less might be lost in its rounding


class Killed(BaseException):
    """The daemon's process has ended here, with nothing said or closed."""


class BoxClock:
    """The bench's time as a computer counts it: monotonic since its boot, and a wall clock that may be wrong.

    off_by: what is to be added to the true wall time; trusted: whether the clock claims to be synchronised.
    kill_in_dose: end the process in the middle of the next run of a pump, by raising Killed.
    """

    def __init__(self, bench: Bench) -> None:
        self.off_by = timedelta(0)
        self.trusted = True
        self.kill_in_dose = False
        self._bench = bench
        self._boots = 1
        self._booted_s = bench.clock.monotonic_s()

    def monotonic_s(self) -> float:
        """Seconds since the boot."""
        return self._bench.clock.monotonic_s() - self._booted_s

    def utc(self) -> datetime:
        """The wall clock, aware."""
        return self._bench.clock.utc() + self.off_by

    def utc_trusted(self) -> bool:
        """What the wall clock claims of itself."""
        return self.trusted

    def boot_id(self) -> str:
        """A new one for each boot."""
        return f"boot-{self._boots}"

    def sleep(self, seconds: float) -> None:
        """Wait, which moves the bench on. Raises Killed if that is due and a pump is turned on."""
        self._bench.clock.sleep(max(seconds, SHORTEST_S) if seconds > 0.0 else 0.0)
        if self.kill_in_dose and any(_lines_high(self._bench)):
            self.kill_in_dose = False
            raise Killed

    def lose_power(self, for_s: float) -> None:
        """Off and on again. The wall clock stands still meanwhile, and does not know how long that was."""
        self._bench.clock.sleep(for_s)
        self.off_by -= timedelta(seconds=for_s)
        self.trusted = False
        self._boots += 1
        self._booted_s = self._bench.clock.monotonic_s()


def _lines_high(bench: Bench) -> Iterator[bool]:
    return (pump.on for basin in bench.world.basins.values() for pump in basin.pumps.values())


class Box:
    """A rig for one daemon after another on the same bench: closing it leaves the bench as it is."""

    in_process = True

    def __init__(self, bench: Bench) -> None:
        self.clock = BoxClock(bench)
        self._bench = bench

    @property
    def one_wire_root(self) -> Path:
        """As of the bench."""
        return self._bench.one_wire_root

    def i2c(self, bus: int) -> Bus:
        """As of the bench."""
        return self._bench.i2c(bus)

    def pin_factory(self) -> BenchFactory:
        """As of the bench."""
        return self._bench.pin_factory()

    def close(self) -> None:
        """Nothing ends with the daemon but the daemon."""
