"""H25 with H3, H9, H24: any sequence of passes, holds, faults, ends, restarts and clock steps keeps to the caps.

The whole program on its bench, led by hypothesis; the truth is what the pump's line did in real time.
"""

from __future__ import annotations

import os
from contextlib import suppress
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from daemon.desk.requests import Origin
from daemon.service import CANNOT_START
from sim_hw.faults import Fault, FaultName
from tests.hazards.disk import SQLITE_FULL, SQLITE_IOERR_WRITE, watched
from tests.hazards.ground import (
    DAY_CAP_ML,
    PASSES_TO_A_DOSE,
    Ground,
    given_ml,
    says_too_little,
)

ALL = os.environ.get("EVENWATER_ALL") == "1"
HOUR_S, DAY_S = 3600.0, 86400.0
TEN_YEARS_S = 3652 * DAY_S
ERRORS_S = st.sampled_from((0.0, HOUR_S, -HOUR_S, TEN_YEARS_S, -TEN_YEARS_S))
OFF_S = st.sampled_from((0.0, 30.0, 4000.0, 30000.0))
FAULTS = st.sampled_from((FaultName.PROBE_UNPLUGGED, FaultName.CHIP_SILENT, FaultName.CHIP_BROWNOUT))


class Life(RuleBasedStateMachine):
    """One reservoir through anything."""

    def __init__(self) -> None:
        super().__init__()
        self.ground = Ground()
        self.ground.start(trusted=True)

    def teardown(self) -> None:
        self.ground.close()

    @rule(count=st.sampled_from((1, PASSES_TO_A_DOSE, 3 * PASSES_TO_A_DOSE)))
    def passes(self, count: int) -> None:
        """It keeps the reservoir."""
        self.ground.passes(count)

    @rule(hours=st.sampled_from((3.0, 23.0, 25.0)))
    def stands_still(self, hours: float) -> None:
        """The box runs on and no pass is made, as when it is suspended."""
        self.ground.clock.sleep(hours * HOUR_S)
        self.ground.passes(PASSES_TO_A_DOSE)

    @rule(
        method=st.sampled_from(("hold", "release", "clear", "bottle", "prime", "calibrate_pump.run", "ack")),
        origin=st.sampled_from(Origin),
        hours=st.sampled_from((0.1, 2.0)),
    )
    def a_person_asks(self, method: str, origin: Origin, hours: float) -> None:
        """Anything that may be asked for, from anywhere; refusals are fine."""
        params: dict[str, dict[str, Any]] = {
            "hold": {"reason": "cleaning", "hours": hours},
            "bottle": {"pump": "ph_down"},
            "prime": {"pump": "ph_down", "ml": 5.0},
            "calibrate_pump.run": {"pump": "ph_down", "run_s": 8.0},
        }
        self.ground.ask(method, origin, **params.get(method, {}))

    @rule(fault=FAULTS, minutes=st.sampled_from((2.0, 30.0)))
    def a_fault(self, fault: FaultName, minutes: float) -> None:
        """Of the probe or the converter, for a while."""
        assert self.ground.bench is not None
        now_s = self.ground.clock.monotonic_s()
        self.ground.bench.world.add_fault(Fault(fault, "bed1/ph", now_s, now_s + minutes * 60.0))
        self.ground.passes(PASSES_TO_A_DOSE)

    @rule(code=st.sampled_from((SQLITE_FULL, SQLITE_IOERR_WRITE)), count=st.sampled_from((1, 20)))
    def the_disk_fails(self, code: int, count: int) -> None:
        """Each write through some passes, of a program started anew, since the old one keeps its connection."""
        self.ground.die()
        fails = False

        def watch(what: str, path: str, offset: int = 0, content: bytes = b"", about: str = "") -> int:
            return code if fails and what == "write" else 0

        with watched(watch):
            self.ground.start()
            fails = True
            self.ground.passes(count)
            fails = False
            self.ground.passes(PASSES_TO_A_DOSE)
            self.ground.ask("clear")

    @rule(error_s=ERRORS_S)
    def the_wall_clock_steps(self, error_s: float) -> None:
        """Whether or not it is believed."""
        self.ground.clock.error_s = error_s
        self.ground.passes(1)

    @rule(error_s=st.floats(-20.0, 20.0))
    def the_clock_is_synchronised(self, error_s: float) -> None:
        """It says so, and is right within some seconds."""
        self.ground.clock.error_s, self.ground.clock.trusted = error_s, True
        self.ground.passes(1)

    @rule(
        how=st.sampled_from(("stop", "die", "die in a run")), off_s=OFF_S, error_s=ERRORS_S, right=st.booleans()
    )
    def it_ends_and_starts(self, how: str, off_s: float, error_s: float, right: bool) -> None:
        """In good order, by a kill between passes, or by one in the middle of a run."""
        if how == "stop":
            self.ground.stop()
        elif how == "die" or not self.ground.die_in_a_run(within=PASSES_TO_A_DOSE):
            self.ground.die()
        self.ground.off(off_s)
        with suppress(*CANNOT_START):
            self.ground.start(trusted=right, error_s=0.0 if right else error_s)
        self.ground.passes(PASSES_TO_A_DOSE)

    @invariant()
    def no_window_of_real_time_is_over_its_cap(self) -> None:
        """Nor a dose, a gap, or a line left high."""
        assert self.ground.violations() == []

    @invariant()
    def the_ledger_says_at_least_what_was_given(self) -> None:
        """In the last hour and the last day. A filled bottle starts its own count anew."""
        short = says_too_little(self.ground.spent(), self.ground.runs(), self.ground.real_s)
        assert [each for each in short if not each.startswith("bottle")] == []


TestAnySequence = Life.TestCase
TestAnySequence.settings = settings(
    max_examples=400 if ALL else 12,
    stateful_step_count=20,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def test_left_alone_it_uses_its_allowance() -> None:
    """The same machine without bad luck spends each day's cap: what holds above is not for want of dosing."""
    life = Life()
    for _ in range(2):
        for _ in range(8):
            life.passes(3 * PASSES_TO_A_DOSE)
        life.stands_still(23.0)
    assert given_ml(life.ground.runs(), 0.0) >= 2 * DAY_CAP_ML - 0.1
    life.no_window_of_real_time_is_over_its_cap()
    life.the_ledger_says_at_least_what_was_given()
    life.teardown()
