"""One pass, top to bottom, and the loop that makes it happen on time. One thread, monotonic pace.

    look -> decide -> dose, reservoir by reservoir -> alarms -> snapshot -> tell

Between passes the loop answers what people ask. Nothing else may touch reservoirs, ledger or pumps.
"""

from __future__ import annotations

import queue
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from math import ceil
from pathlib import Path
from threading import Event

from config.settings import Settings
from daemon import words
from daemon.alarm import life
from daemon.alarm.kinds import Kind
from daemon.alarm.life import Cause, Lives
from daemon.desk import methods
from daemon.desk.reach import Reach
from daemon.desk.requests import Request
from daemon.dose.ledger import Ledger, LedgerError
from daemon.dose.ledger_time import stamp_of
from daemon.dose.windows import Stamp
from daemon.jobs import Calendar
from daemon.keeping.reservoir import KeptReservoir
from daemon.runs import Runs, Watch
from daemon.values import Condition, Outcome, Permit, State
from drivers.keeping import Keeper
from drivers.rig import Clock

ANSWERS_WITHIN_S = 1.0  # how long a request may wait for its answer between passes, rig time
STOPS_WITHIN_S = 1.0  # when told to stop while what a motor disturbed comes to rest
SETTLE_AFTER_RUN_S = 5.0  # until what a motor disturbed (supply, ground, the water at the bulb) is at rest again
KNOWN_AFTER_S = 600.0  # from the start until a cause that is not seen is taken to be gone
REOPEN_EVERY_S = 300.0  # a broken ledger is tried again this often

Tell = Callable[[State], None]
MoreCauses = Callable[[], Iterable[Cause]]


@dataclass(frozen=True, slots=True)
class Site:
    """The box itself: what snapshots say of it, the settings it started with, where the state is kept."""

    rig: str
    version: str
    every_s: float
    boot_id: str
    settings: Settings
    folder: Path
    settings_file: Path | None = None
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class Loop:
    """The pass and its pace.

    tell: called with each snapshot, must not block; more_causes: alarms from outside the reservoirs;
    lives: alarms that were there when the program last ended; keep_lives: called with them at each pass.
    reach: how people are reached, for who asks.
    answers_within_s: how long a request may wait between passes, rig time; infinity where nobody can ask.
    """

    clock: Clock
    site: Site
    reservoirs: Mapping[str, KeptReservoir]
    ledger: Ledger
    keeper: Keeper
    calendar: Calendar
    runs: Runs
    tell: Tell
    more_causes: MoreCauses
    requests: queue.SimpleQueue[Request] = field(default_factory=queue.SimpleQueue)
    stopping: Event = field(default_factory=Event)
    lives: Lives = field(default_factory=dict)
    keep_lives: Callable[[Lives], None] = lambda _: None
    reach: Callable[[], Sequence[Reach]] = tuple
    answers_within_s: float = ANSWERS_WITHIN_S
    state: State | None = None
    summary: str = ""  # of the last day, for every snapshot
    next_task: str = ""  # in the garden, likewise
    _passes: int = 0
    _begun_s: float | None = None
    _started_utc: datetime | None = None
    _reopen_s: float = 0.0
    _settled_s: float = 0.0

    def stamp(self) -> Stamp:
        """The rig's clocks now."""
        return stamp_of(self.clock, self.site.boot_id)

    def run(self, for_s: float | None = None) -> None:
        """Pass after pass until stopped, or until `for_s` of rig time have gone by."""
        due_s = self.clock.monotonic_s()
        end_s = None if for_s is None else due_s + for_s
        while not self.stopping.is_set():
            self.one_pass()
            due_s = max(due_s + self.site.every_s, self.clock.monotonic_s())
            if end_s is not None and due_s >= end_s:
                return
            self._wait_until(due_s)

    def one_pass(self) -> State:
        """Look at, decide on and dose every reservoir; then tell what came of it."""
        stamp = self.stamp()
        self._tend_ledger(stamp)
        self._tend_keeper(stamp)
        for reservoir in self.reservoirs.values():
            self._let_settle()
            reservoir.instruments.look(self.clock.monotonic_s, stamp.utc.date())
            decision = reservoir.decide(self.stamp())
            if isinstance(decision, Permit) and not self.stopping.is_set():
                self.dose(reservoir, decision)
        self.calendar.run_due(stamp.utc)
        self._passes += 1
        stamp = self.stamp()
        self._follow_alarms(stamp)
        self._lock_unheard(stamp)
        self.state = self._snapshot(stamp)
        self.tell(self.state)
        return self.state

    def dose(self, reservoir: KeptReservoir, allowed: Permit, by: str = "") -> Outcome | None:
        """Run one permitted dose; how it ended, None where nothing ran for want of a ledger line.

        A bad end locks the reservoir, unless we are stopping anyway. by: who asked for it, "" for the program.
        """
        outcome = reservoir.dose(allowed, self.stamp(), self.stopping.is_set, by)
        self._settled_s = self.clock.monotonic_s() + SETTLE_AFTER_RUN_S
        if outcome not in (None, Outcome.DONE) and not self.stopping.is_set():
            reservoir.lock(f"the last dose did not end well: {reservoir.run_note}", self.stamp())
        return outcome

    def answer_requests(self) -> None:
        """Answer everything that has been asked since the last time."""
        while not self.requests.empty():  # this thread alone takes from it
            methods.answer(self.requests.get(), self)

    def _let_settle(self) -> None:
        """Wait until the last run, of any pump, is long enough ago for a probe to be looked at."""
        for _ in range(ceil(SETTLE_AFTER_RUN_S / STOPS_WITHIN_S)):  # ends also where a clock stands still
            left_s = self._settled_s - self.clock.monotonic_s()
            if self.stopping.is_set() or not left_s > 0.0:
                return
            self.clock.sleep(min(left_s, STOPS_WITHIN_S))

    def _wait_until(self, due_s: float) -> None:
        while not self.stopping.is_set():
            self.answer_requests()
            left_s = due_s - self.clock.monotonic_s()
            if not left_s > 0.0:
                return
            self.clock.sleep(min(left_s, self.answers_within_s))

    def _tend_ledger(self, stamp: Stamp) -> None:
        """Record that time passes; try a broken ledger again now and then. Its own state says how it went."""
        with suppress(LedgerError):
            if self.ledger.fault is None:
                self.ledger.keep_time(stamp)
            elif stamp.at_s >= self._reopen_s:
                self._reopen_s = stamp.at_s + REOPEN_EVERY_S
                self.ledger.reopen(stamp)

    def _tend_keeper(self, stamp: Stamp) -> None:
        """A pump keeper that ended between doses, unless we are stopping anyway, locks what it kept."""
        ended = self.keeper.tend()
        if not ended or self.stopping.is_set():
            return
        for reservoir in self.reservoirs.values():
            if reservoir.table.pump:
                reservoir.lock(ended, stamp)

    def _follow_alarms(self, stamp: Stamp) -> None:
        """The alarms one pass on, and on disk where something changed."""
        now_s = self.ledger.proven_s(stamp)
        if self._begun_s is None:
            self._begun_s = now_s
        settled = not now_s - self._begun_s < KNOWN_AFTER_S
        self.lives = life.advance(self.lives, self._causes(stamp), now_s, stamp.utc, settled=settled)
        self.keep_lives(self.lives)

    def _causes(self, stamp: Stamp) -> Iterator[Cause]:
        standing = life.standing(self.lives)
        for reservoir in self.reservoirs.values():
            yield from reservoir.causes(stamp, standing)
        if self.ledger.fault is not None:
            yield Cause(Kind.LEDGER, "", "", f"{self.ledger.fault}.")
        watch = self.runs.watch(self.ledger.proven_s(stamp))
        if watch is not None and watch is not Watch.UPDATED:
            kind = Kind.SETTINGS if watch is Watch.SETTINGS else Kind.RESTARTS
            yield Cause(kind, "", "", f"{words.watching(watch, self.runs.altered)}.")
        yield from self.more_causes()

    def _lock_unheard(self, stamp: Stamp) -> None:
        """No dosing goes on for long beside a grave alarm that nobody has heard."""
        for alarm in life.unheard(self.lives, self.ledger.proven_s(stamp)):
            reservoir = self.reservoirs.get(alarm.reservoir)
            if reservoir is not None and reservoir.condition(stamp) is Condition.KEEPING:
                reservoir.lock(words.unheard(alarm), stamp)

    def _snapshot(self, stamp: Stamp) -> State:
        if self._started_utc is None:
            self._started_utc = stamp.utc
        return State(
            passes=self._passes,
            at_s=stamp.at_s,
            utc=stamp.utc,
            started_utc=self._started_utc,
            rig=self.site.rig,
            reservoirs={name: reservoir.state(stamp) for name, reservoir in self.reservoirs.items()},
            alarms=life.active(self.lives),
            version=self.site.version,
            notes=(*self.site.notes, *self._watch_note(stamp)),
            utc_trusted=stamp.utc_trusted,
            summary=self.summary,
            next_task=self.next_task,
        )

    def _watch_note(self, stamp: Stamp) -> tuple[str, ...]:
        watch = self.runs.watch(self.ledger.proven_s(stamp))
        return () if watch is None else (words.watching(watch, self.runs.altered),)
