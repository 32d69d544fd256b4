"""One month from outside: edges on the pump lines, the true water, the snapshots; and what they come to."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from math import inf

from config.pump import MIXING_TIMES
from daemon.cli.audit import Audit
from daemon.dose.newest import READINGS
from daemon.rehearsal.staging import taken
from daemon.values import Condition, Quantity, State
from sim_hw.bench import Bench
from sim_hw.faults import FaultName
from sim_hw.pins import Edge
from tests.campaign.draw import BED, DAY_S, HOUR_S, PASS_S, Plan
from tests.campaign.report import Month
from tests.campaign.score import (
    EFFECT_S,
    Alarmed,
    Befell,
    Dose,
    beyond_first,
    blamed,
    cut_by,
    delay_s,
    excursion_ph,
    is_missed,
    resting_on,
)

SETTLED_S = 3.0 * HOUR_S  # after a fault or a hand's dose, until a spell counts as healthy
FAR_PH = 1.0  # water further out of its band than this is not healthy either


class Seen:
    """The records of one month, and who writes them."""

    def __init__(self, plan: Plan, bench: Bench) -> None:
        self.plan = plan
        self.stopped = ""
        self.gone_s = 0.0
        self.locked = False
        self.roles = {pump.line: role for role, pump in plan.settings.reservoir[BED].pump.items()}
        self._bench = bench
        self._basin = bench.world.basins[BED]
        self.begun_s = 0.0
        self._audit = Audit(plan.settings)
        bands = plan.settings.reservoir[BED].bands
        self._band = (bands.ph_low, bands.ph_high)
        self._read_ph = inf
        self._poured_s = self._hand_s = -inf
        self._windows: list[tuple[float, str]] = []
        self._cuts_s: list[float] = []
        self._standing: dict[str, Alarmed] = {}
        self.faults: list[Befell] = []
        self.alarms: list[Alarmed] = []
        self.doses: list[Dose] = []
        self.happened: Counter[str] = Counter()
        self.locks: list[str] = []
        self.false_latches: list[str] = []
        self.hand_latches: list[str] = []
        self.healthy_s = self.in_band_s = 0.0
        self.excursion_ph = self.poured_ph = 0.0
        self.story: list[str] = []

    def begin(self) -> None:
        """The month begins now."""
        self.begun_s = self._bench.clock.monotonic_s()
        self._bench.world.edges.clear()

    def end(self) -> None:
        """It is over: count what the last pass left."""
        self._see_edges()
        self._audit.finish(self._bench.clock.monotonic_s())

    def now_s(self) -> float:
        """Seconds since the month began."""
        return self._bench.clock.monotonic_s() - self.begun_s

    def tell(self, text: str) -> None:
        """One line of the story."""
        day, rest_s = divmod(self.now_s(), DAY_S)
        hour, rest_s = divmod(rest_s, HOUR_S)
        self.story.append(f"{day:3.0f} d {hour:02.0f}:{rest_s / 60.0:04.1f}  {text}")

    # what is told of

    def befell(self, fault: Befell, size: float) -> None:
        """A fault begins."""
        self.faults.append(fault)
        sized = f" of {size:.2f}" if size else ""
        lasts_h = (fault.end_s - fault.start_s) / HOUR_S
        self.tell(f"FAULT {fault.name} on {fault.target}{sized} for {lasts_h:.2f} h")

    def mended(self, place: int) -> None:
        """A person ended this fault."""
        fault = self.faults[place]
        self.faults[place] = replace(fault, end_s=self.now_s())
        self.tell(f"mended {fault.name} on {fault.target}")

    def cut_off(self) -> None:
        """Whatever mixes now, the daemon will not see what it did."""
        self._cuts_s.append(self.now_s())

    def poured(self) -> None:
        """A person has dosed by hand."""
        self._poured_s = self._hand_s = self.now_s()

    def new_water(self, old_ph: float) -> None:
        """A person has changed the water: doses went with the old, and say nothing of the new."""
        self.tell(f"new water, as the pH is {old_ph:.2f}")
        self._windows = []

    # what is seen

    def see(self, state: State, true_ph: float) -> None:
        """What a pass left: true_ph is of before it."""
        bed = state.reservoirs[BED]
        ph = bed.verdicts[Quantity.PH]
        self._read_ph = inf if ph.reading is None else ph.reading.value
        self.see_doses(true_ph)
        self._see_alarms(state)
        self._see_gross(true_ph, usable=ph.usable)
        self._see_windows()
        healthy = self._is_healthy(true_ph)
        locked = bed.condition is Condition.LOCKED
        if locked and not self.locked:
            self._see_lock(bed.condition_reason, healthy)
        self.locked = locked
        if healthy and not locked:
            self.healthy_s += PASS_S
            self.in_band_s += PASS_S if self._band[0] <= true_ph <= self._band[1] else 0.0

    def _see_edges(self) -> list[Edge]:
        edges = list(taken(self._bench.world.edges))
        self._audit.see(edges)
        return edges

    def see_doses(self, true_ph: float) -> None:
        """The doses since the last look."""
        for edge in self._see_edges():
            role = self.roles.get(edge.line)
            if edge.on and role is not None:
                dose = Dose(edge.at_s - self.begun_s, role, self._read_ph, true_ph)
                self.doses.append(dose)
                self._windows.append((dose.at_s, role))
                wrong = "  WRONG" if dose.grossly_wrong else ""
                self.tell(f"dose of {role}, read {dose.read_ph:.2f}, true {true_ph:.2f}{wrong}")

    def _see_alarms(self, state: State) -> None:
        now = {alarm.key: alarm for alarm in state.alarms}
        for key in [key for key in self._standing if key not in now]:
            self.alarms.append(replace(self._standing.pop(key), end_s=self.now_s()))
            self.tell(f"alarm over: {key}")
        for key, alarm in now.items():
            if key not in self._standing:
                self._standing[key] = Alarmed(key, alarm.kind, self.now_s())
                self.tell(f"ALARM {key}: {alarm.text}")

    def _see_gross(self, true_ph: float, *, usable: bool) -> None:
        """Time in which a usable reading is grossly wrong, for the fault that is to blame."""
        look = Dose(self.now_s(), "", self._read_ph, true_ph)
        if usable and look.grossly_wrong and (place := blamed(look, self.faults)) is not None:
            fault = self.faults[place]
            self.faults[place] = replace(fault, gross_s=fault.gross_s + PASS_S)

    def _see_windows(self) -> None:
        """The pH of the whole tank in the hour after each dose."""
        now_s = self.now_s()
        if any(f.name is FaultName.PUMP_STUCK_ON and f.holds_at(now_s) for f in self.faults):
            self._poured_s = now_s
        self._windows = [window for window in self._windows if now_s - window[0] <= EFFECT_S]
        if not self._windows:
            return
        ph = self._basin.tank.bulk().ph
        for at_s, role in self._windows:
            beyond_ph = excursion_ph(role, self._band, ph, ph)
            self.poured_ph = max(self.poured_ph, beyond_ph)
            if self._poured_s < at_s - EFFECT_S and beyond_ph > self.excursion_ph:
                self.excursion_ph = beyond_ph
                self.tell(f"pH of the whole tank {ph:.2f} after a dose of {role}")

    def _is_healthy(self, true_ph: float) -> bool:
        now_s = self.now_s()
        calm = not self._had_fault() and now_s >= self._hand_s + SETTLED_S
        wet = all(pump.left_ml > 0.0 for pump in self._basin.pumps.values())
        return calm and wet and self._band[0] - FAR_PH <= true_ph <= self._band[1] + FAR_PH

    def _had_fault(self) -> bool:
        """Whether there is a fault, or was one a little ago."""
        now_s = self.now_s()
        return any(fault.start_s <= now_s < fault.end_s + SETTLED_S for fault in self.faults)

    def _was_by_hand(self) -> bool:
        """Whether a hand's dose is all that can have been behind a lock now."""
        return not self._had_fault() and self.now_s() < self._hand_s + SETTLED_S

    def _see_lock(self, reason: str, healthy: bool) -> None:
        text = f"{self.now_s() / DAY_S:.2f} d: {reason}"
        self.tell(f"LOCKED{' FALSELY' if healthy else ''}: {reason}")
        self.locks.append(text)
        if healthy:
            self.false_latches.append(text)
        elif self._was_by_hand():
            self.hand_latches.append(text)

    # what came of it

    def month(self) -> Month:
        """The records, scored."""
        alarms = [*self.alarms, *self._standing.values()]
        doses = cut_by(self.doses, self._cuts_s, self._shows_after_s())
        wrong = beyond_first(doses, self.faults)
        delays = [(fault, delay_s(fault, doses, alarms)) for fault in self.faults]
        return Month(
            seed=self.plan.seed,
            hours=self.gone_s / HOUR_S,
            healthy_hours=self.healthy_s / HOUR_S,
            in_band_hours=self.in_band_s / HOUR_S,
            faults=Counter(fault.name.value for fault in self.faults),
            happened=Counter({str(act): count for act, count in self.happened.items()}),
            doses=len(doses),
            worst_day_share=self._audit.worst_day_share(),
            violations=tuple(self._audit.violations),
            excursion_ph=self.excursion_ph,
            poured_ph=self.poured_ph,
            wrong_doses=sum(dose.grossly_wrong for dose in doses),
            beyond_first=tuple(self._wrong_text(dose, place) for dose, place in wrong),
            beyond_by=Counter("no fault" if p is None else self.faults[p].name.value for _, p in wrong),
            locks=tuple(self.locks),
            false_latches=tuple(self.false_latches),
            hand_latches=tuple(self.hand_latches),
            missed=tuple(_fault_text(f) for f in self.faults if is_missed(f, doses, alarms)),
            unseen=Counter(f.name.value for f, delay in delays if delay is None and resting_on(f, doses)),
            delays_s=tuple((fault.name.value, delay) for fault, delay in delays if delay is not None),
            stopped=self.stopped,
            ph_probes=1 + ("ph_2" in self.plan.settings.reservoir[BED].probe),
            story=tuple(self.story),
        )

    def _shows_after_s(self) -> float:
        """How long after its start a dose has mixed and so many readings have shown what it did."""
        bed = self.plan.settings.reservoir[BED]
        return MIXING_TIMES * bed.mixing_time_s + (READINGS + 1) * PASS_S

    def _wrong_text(self, dose: Dose, place: int | None) -> str:
        why = "no fault" if place is None else _fault_text(self.faults[place])
        read = f"read {dose.read_ph:.2f}, true {dose.true_ph:.2f}"
        return f"{dose.at_s / DAY_S:.2f} d: {dose.role} while pH {read}; {why}"


def _fault_text(fault: Befell) -> str:
    lasted_h = (fault.end_s - fault.start_s) / HOUR_S
    return f"{fault.name} on {fault.target} at {fault.start_s / DAY_S:.2f} d for {lasted_h:.1f} h"
