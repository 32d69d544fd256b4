"""What bounds every pump: one at a time, never longer than a run may be, for as long as somebody is there.

The rules only, on whatever pins a rig has; drivers/keeper_process.py holds them in a process of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from drivers.pump_run import LineStuck, RunRefused, RunReport, report_of

MAX_RUN_S: Final = 30.0  # no run is longer, whatever is asked: a small pump's runaway stays within one bottle
LEASE_S: Final = 2.0  # a pump whose parent has been silent for so long goes off
IDLE_S: Final = 10.0  # with all pumps off there is nothing to watch but the next command
Now = Callable[[], float]


@dataclass(frozen=True, slots=True)
class _Run:
    line: int
    asked_s: float
    started_s: float


class PumpKeeper:
    """The lines of all pumps, of which one at a time may be high, for a bounded and renewed time.

    A cut-out is a relay in series with all pumps' supply. Its line is high around each run and at no other
    time, so that a pump whose own relay has welded turns no longer than runs do; on first and off last, it
    switches no current.

    It acts when it is called: whoever holds it calls `look` at least as often as `wait_s` says.
    """

    def __init__(self, pin_factory: Any, lines: Sequence[int], now: Now, cut_out: int | None = None) -> None:
        """Drive every line low, the cut-out's first.

        pin_factory: gpiozero's kind; lines, cut_out: BCM numbers; now: monotonic seconds.
        """
        self._now = now
        self._pins = {line: pin_factory.pin(line) for line in lines}
        self._cut_out = {} if cut_out is None else {cut_out: pin_factory.pin(cut_out)}
        self._run: _Run | None = None
        self._lease_until_s = 0.0
        _each(self._cut_out | self._pins, lambda pin: pin.output_with_state(False))

    def start(self, line: int, run_s: float) -> None:
        """Turn one pump on. Raises RunRefused, with nothing turned on, unless all is as it must be."""
        if line not in self._pins:
            raise RunRefused(f"GPIO {line} is no pump line: those are {sorted(self._pins)}")
        if not 0.0 < run_s <= MAX_RUN_S:  # NaN lands here
            raise RunRefused(f"a run of {run_s} s: must be above 0 s and at most {MAX_RUN_S:g} s")
        if self._run is not None:
            raise RunRefused(f"GPIO {self._run.line} is running: one pump at a time")
        self._run = _Run(line, run_s, self._now())
        self.renew()
        for pin in (*self._cut_out.values(), self._pins[line]):
            pin.state = True

    def renew(self) -> None:
        """Renew the lease: the running pump may stay on for another LEASE_S, and never past its end."""
        self._lease_until_s = self._now() + LEASE_S

    def look(self) -> RunReport | None:
        """Turn off what is due, or whose lease has lapsed. The report, once, of a run that this ended."""
        run = self._run
        if run is None:
            return None
        now_s, due_s = self._now(), run.started_s + run.asked_s
        if run.started_s <= now_s < min(due_s, self._lease_until_s):  # a clock gone wrong does not pass
            return None
        return self.all_off("" if now_s >= due_s else f"not heard from for {LEASE_S:g} s: the lease lapsed")

    def wait_s(self) -> float:
        """Seconds until `look` has something to do, 0 or more."""
        if self._run is None:
            return IDLE_S
        until_s = min(self._run.started_s + self._run.asked_s, self._lease_until_s)
        return max(0.0, until_s - self._now())

    def all_off(self, cut_short_by: str = "") -> RunReport | None:
        """Drive every line low, the cut-out's last, and read it back.

        The report of the run that this ended, if one was on. Raises LineStuck after every line has been tried.
        """
        run, self._run = self._run, None
        _each(self._pins | self._cut_out, _drive_low)
        if run is None:
            return None
        return report_of(asked_s=run.asked_s, ran_s=self._now() - run.started_s, cut_short_by=cut_short_by)


def _each(pins: Mapping[int, Any], act: Callable[[Any], None]) -> None:
    """`act` on each pin in turn, going on past a failure. Raises LineStuck naming those that failed."""
    failed = []
    for line, pin in pins.items():
        try:
            act(pin)
        except Exception as error:  # noqa: BLE001 - whatever the pin library raises, the next line comes first
            failed.append(f"GPIO {line} ({error})")
    if failed:
        raise LineStuck(
            f"cannot be driven low: {', '.join(failed)}. Cut the pumps' supply and look at the wiring"
        )


def _drive_low(pin: Any) -> None:
    pin.state = False
    if pin.state:
        raise LineStuck("it still reads high")
