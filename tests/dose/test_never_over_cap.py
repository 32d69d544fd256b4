"""Any run of readings, doses, crashes, restarts and clock steps: no hour and no day of real time over its cap.

The test keeps a truth of its own: real seconds, and what each pump really delivered when. The ledger never
sees it; it gets a monotonic clock that starts anew at each boot, and a wall clock that lies as it likes
whenever it does not claim to be synchronised, and may step even while it does.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from config.pump import MIXING_TIMES
from daemon.dose.control import ControlState, PhAim, ask_ph
from daemon.dose.ledger import Ledger, LedgerError
from daemon.dose.permit import Facts, permit
from daemon.dose.windows import DAY_S, HOUR_S, OPPOSITE, Stamp
from daemon.values import Condition, DoseRequest, Outcome, Permit, Quality, Role
from tests.dose.conftest import IN_MEMORY
from tests.strategies import NOON, facts, limits, request, verdict

HOUR_CAP_ML, DAY_CAP_ML = 10.0, 24.0
LIMITS = limits(
    max_per_dose_ml=5.0,
    max_per_hour_ml=HOUR_CAP_ML,
    max_per_day_ml=DAY_CAP_ML,
    min_gap_s=300.0,
    opposite_gap_s=7200.0,
)
MIXING_S = 60.0
AIM = PhAim(
    target=6.0,
    dead_band=0.05,
    ph_low=5.5,
    ph_high=6.5,
    ml_per_ph={Role.PH_DOWN: 60.0, Role.PH_UP: 60.0},
    share_of_need=1 / 3,
    mixing_time_s=MIXING_S,
    largest_ml=60.0,
    smallest_ml={Role.PH_DOWN: 0.2, Role.PH_UP: 0.2},
)
PUMPS = (Role.PH_DOWN, Role.PH_UP, Role.STOCK_A)
TEN_YEARS_S = 3650 * DAY_S
ROUNDING_ML = 1e-9


@dataclass(frozen=True)
class Pumped:
    """What really left a pump, between which real seconds."""

    pump: Role
    start_s: float
    end_s: float
    ml: float


class Reservoir(RuleBasedStateMachine):
    """One reservoir through days of bad luck."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = TemporaryDirectory(prefix="ledger-", dir=IN_MEMORY if IN_MEMORY.is_dir() else None)
        self.path = Path(self.folder.name) / "ledger.db"
        self.real_s = 0.0
        self.boot, self.booted_s = 1, -50.0
        self.wall_error_s, self.trusted = 0.0, False
        self.anchored = False  # the ledger has seen an honest synchronised clock in this boot
        self.pumped: list[Pumped] = []
        self.control = ControlState()
        self.ledger = self.open()

    def teardown(self) -> None:
        self.ledger.close()
        self.folder.cleanup()

    # The clocks as the daemon sees them

    def stamp(self) -> Stamp:
        utc = NOON + timedelta(seconds=self.real_s + self.wall_error_s)
        return Stamp(f"boot-{self.boot}", self.real_s - self.booted_s, utc, self.trusted)

    def open(self) -> Ledger:
        self.anchored |= self.trusted
        self.control = ControlState()
        return Ledger(self.path, self.stamp(), version="0.1.0")

    # What may happen

    @rule(s=st.sampled_from((5.0, 60.0, 299.0, 900.0, 3600.0, 7200.0, 40000.0, 86400.0)))
    def time_passes(self, s: float) -> None:
        """The daemon runs on, looking at the clocks now and then."""
        for _ in range(4):
            self.real_s += s / 4
            self.anchored |= self.trusted
            self.ledger.keep_time(self.stamp())

    @rule(error_s=st.sampled_from((0.0, 3600.0, -3600.0, TEN_YEARS_S, -TEN_YEARS_S)))
    def wall_clock_steps(self, error_s: float) -> None:
        """Without synchronisation, or in the middle of a boot that had it, the wall clock may say anything."""
        if not self.trusted or self.anchored:
            self.wall_error_s = error_s

    @rule(error_s=st.floats(-20.0, 20.0))
    def clock_is_synchronised(self, error_s: float) -> None:
        """From here on the wall clock claims to be right, and is, within some seconds."""
        self.trusted, self.wall_error_s = True, error_s

    @rule()
    def synchronisation_is_lost(self) -> None:
        """The network goes away."""
        self.trusted = False

    @rule(
        off_s=st.sampled_from((0.0, 1.0, 600.0, 3600.0, 50000.0, 100000.0)),
        trusted=st.booleans(),
        error_s=st.sampled_from((0.0, 3600.0, -3600.0, TEN_YEARS_S, -TEN_YEARS_S)),
        starts_at_s=st.sampled_from((0.0, 40.0, 50000.0)),
    )
    def power_is_cut(self, off_s: float, trusted: bool, error_s: float, starts_at_s: float = 40.0) -> None:
        """The box is off for a while, starts with a wall clock that is right or anything at all, and is eager."""
        self.ledger.close()
        self.real_s += off_s
        self.booted_s = self.real_s - starts_at_s
        self.boot += 1
        self.anchored, self.trusted = False, trusted
        self.wall_error_s = 0.0 if trusted else error_s
        self.ledger = self.open()
        self.dose(request(1000.0, Role.PH_DOWN), "never")

    @rule(off_s=st.sampled_from((0.0, 10.0, 4000.0)))
    def daemon_restarts(self, off_s: float) -> None:
        """The process ends and starts again while the box runs on."""
        self.ledger.close()
        self.real_s += off_s
        if not self.anchored:
            self.wall_error_s = 0.0 if self.trusted else self.wall_error_s
        self.ledger = self.open()

    @rule()
    def broken_and_read_again(self) -> None:
        """A write fails in between; nothing may be dosed until the file was read again."""
        self.ledger._db.execute("PRAGMA query_only = ON")
        with suppress(LedgerError):
            self.dose(request(5.0), "never")
            self.ledger.hold("bed2", "cleaning", "Ana", self.stamp())
        before = len(self.pumped)
        self.dose(request(5.0), "never")
        assert len(self.pumped) == before
        self.ledger.reopen(self.stamp())

    @rule(
        pump=st.sampled_from(PUMPS),
        ml=st.sampled_from((0.3, 2.5, 5.0, 1000.0, float("nan"))),
        crash=st.sampled_from(("never", "never", "before", "running", "after")),
    )
    def dose_is_asked(self, pump: Role, ml: float, crash: str) -> None:
        """Somebody asks for a dose, and perhaps the process dies before, in or after the run."""
        self.dose(request(ml, pump), crash)

    @rule(ph=st.sampled_from((4.0, 5.4, 6.0, 6.6, 8.0, float("nan"))), quality=st.sampled_from(Quality))
    def readings_come(self, ph: float, quality: Quality) -> None:
        """A minute of readings, ten seconds apart, the controller asking as it will."""
        for _ in range(6):
            self.real_s += 10.0
            stamp = self.stamp()
            since_s = self.ledger.totals("bed1", Role.PH_DOWN, stamp).since_any_s
            last_s = None if since_s is None else stamp.at_s - since_s
            seen = verdict(ph, stamp.at_s, quality)
            asked, self.control = ask_ph("bed1", seen, AIM, self.control, stamp.at_s, last_s)
            if asked is not None:
                self.dose(asked, "never")

    @rule(pump=st.sampled_from(PUMPS))
    def bottle_is_filled(self, pump: Role) -> None:
        """A full bottle is no fresh allowance."""
        self.ledger.refill("bed1", pump, "Ana", self.stamp())

    @rule()
    def a_person_holds_and_releases(self) -> None:
        """Nor is a hold that was released."""
        self.ledger.hold("bed1", "cleaning", "Ana", self.stamp(), for_s=600.0)
        self.dose(request(5.0), "never")
        self.ledger.release("bed1", "Ana", self.stamp())

    @rule(
        off_s=st.sampled_from((0.0, 3500.0, 40000.0)),
        up_s=st.sampled_from((60.0, 3500.0, 40000.0)),
        off_again_s=st.sampled_from((0.0, 3500.0, 40000.0)),
    )
    def network_is_away_for_one_boot(self, off_s: float, up_s: float, off_again_s: float) -> None:
        """Synchronised, then a boot that is not, then synchronised again, eager in each."""
        self.clock_is_synchronised(0.0)
        self.time_passes(5.0)
        self.dose(request(1000.0), "never")
        self.power_is_cut(off_s, trusted=False, error_s=3600.0)
        self.time_passes(up_s)
        self.dose(request(1000.0), "never")
        self.power_is_cut(off_again_s, trusted=True, error_s=0.0)

    @rule(pump=st.sampled_from(PUMPS))
    def as_soon_as_allowed(self, pump: Role) -> None:
        """Asking every five seconds for as much as there is, until there is some."""
        before = len(self.pumped)
        for _ in range(900):
            self.real_s += 5.0
            self.dose(request(1000.0, pump), "never")
            if len(self.pumped) > before:
                return

    @rule()
    def long_and_eager(self) -> None:
        """Asking for as much as there is, every twenty minutes for a day."""
        for i in range(72):
            self.real_s += 1200.0
            self.ledger.keep_time(self.stamp())
            self.anchored |= self.trusted
            self.dose(request(1000.0, PUMPS[i // 20 % 2]), "never")

    # What a pass does with it

    def dose(self, asked: DoseRequest, crash: str) -> None:
        answer = permit(asked, LIMITS, self.facts(asked.pump))
        if not isinstance(answer, Permit):
            return
        if crash == "before":
            self.ledger._db.execute("BEGIN IMMEDIATE")
            self.ledger._db.execute("UPDATE boots SET last_s = last_s + 1e6")  # never committed
            self.daemon_restarts(1.0)
            return
        number = self.ledger.intend(answer, self.stamp())
        self.real_s += 1.5  # the commit and the keeper's answer take a moment
        share = 0.4 if crash == "running" else 1.0
        end_s = self.real_s + answer.run_s * share
        self.pumped.append(Pumped(asked.pump, self.real_s, end_s, answer.ml * share))
        self.real_s = end_s
        self.check_waits()
        if crash in ("running", "after"):
            self.daemon_restarts(0.0)
        else:
            self.ledger.settle(number, Outcome.DONE)

    def facts(self, pump: Role) -> Facts:
        standing = self.ledger.standing("bed1", self.stamp())
        return facts(
            condition=standing.condition if standing else Condition.KEEPING,
            spent=self.ledger.totals("bed1", pump, self.stamp()),
            mixing_time_s=MIXING_S,
        )

    # What must hold

    def check_waits(self) -> None:
        """Of real time, the gap, the mixing and the opposite gap have passed before the newest run."""
        newest = self.pumped[-1]
        for earlier in self.pumped[:-1]:
            waited_s = newest.start_s - earlier.end_s
            assert waited_s >= MIXING_TIMES * MIXING_S
            if earlier.pump is newest.pump:
                assert waited_s >= LIMITS.min_gap_s
            if OPPOSITE.get(earlier.pump) is newest.pump:
                assert waited_s >= LIMITS.opposite_gap_s

    @invariant()
    def no_window_of_real_time_holds_more_than_its_cap(self) -> None:
        """Wherever a window begins, all that any run in it delivered, whole, is within the cap."""
        for pump in PUMPS:
            runs = [run for run in self.pumped if run.pump is pump]
            for window_s, cap_ml in ((HOUR_S, HOUR_CAP_ML), (DAY_S, DAY_CAP_ML)):
                for i, first in enumerate(runs):
                    held = sum(run.ml for run in runs[i:] if run.start_s < first.end_s + window_s)
                    assert held <= cap_ml + ROUNDING_ML, (pump, window_s, held)

    @invariant()
    def the_ledger_never_says_less_than_was_pumped(self) -> None:
        """In the last hour and day of real time, at least as much is charged as was delivered."""
        for pump in PUMPS:
            said = self.ledger.totals("bed1", pump, self.stamp())
            for window_s, said_ml in ((HOUR_S, said.hour_ml), (DAY_S, said.day_ml)):
                true_ml = sum(
                    run.ml for run in self.pumped if run.pump is pump and run.end_s > self.real_s - window_s
                )
                assert said_ml >= true_ml - ROUNDING_ML


TestNeverOverCap = Reservoir.TestCase
TestNeverOverCap.settings = settings(max_examples=40, stateful_step_count=30)


def test_a_quiet_week_does_use_the_caps() -> None:
    """The same machine, left alone with an eager asker, gets its whole allowance: strict is not stuck."""
    bed = Reservoir()
    bed.dose(request(5.0), "never")
    for _ in range(7):
        bed.long_and_eager()
    bed.no_window_of_real_time_holds_more_than_its_cap()
    assert sum(run.ml for run in bed.pumped) >= 6 * DAY_CAP_ML
    bed.teardown()
