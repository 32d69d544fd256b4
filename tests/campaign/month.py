"""One seed's month: the whole program on the bench of its plan, what befalls both, and what came of it.

Pass after pass at its pace; between passes faults begin, people act, clocks step, and the daemon is ended and
started anew on the same bench and state. Watched from outside: edges on the pump lines, the true water, and
the snapshots that anyone may read.
"""

from __future__ import annotations

import shutil
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from math import inf
from pathlib import Path
from random import Random

from daemon.cli.audit import Audit
from daemon.dose.newest import READINGS
from daemon.dose.permit import MIXING_TIMES
from daemon.rehearse import ask, calibrate_all, folder_in_memory, taken
from daemon.requests import RequestRefused
from daemon.service import Service
from daemon.values import Alarm, Condition, Quantity, State
from sim_hw.bench import open_rig
from sim_hw.faults import Fault, FaultName
from sim_hw.grower import GrowerStoppedError
from sim_hw.pins import Edge
from tests.campaign.box import Box, Killed
from tests.campaign.draw import BED, DAY_S, HOUR_S, PASS_S, Act, Event, Plan, draw
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
METER_PH = 0.1  # a hand meter is off by at most this
MENDS = 0.9  # of the faults that a person finds
SPOILED_PH = (4.5, 8.5)  # a person changes water beyond these
STOCK_ML_PER_L = 10.0  # of each stock, for a strength of 1 (the bench's stocks are 100-fold)
TELL_EVERY_S = HOUR_S

Progressing = Callable[[float], None]


def one_month(seed: int, days: float, progressing: Progressing = lambda days: None) -> Month:
    """Live through the plan of this seed. progressing: told how many days went by since it was last told.

    Whatever ends the program itself is caught and told: it is a finding.
    """
    with folder_in_memory() as folder:
        life = _Life(draw(seed, days), folder, progressing)
        try:
            life.live(days * DAY_S)
        except Exception as error:  # noqa: BLE001 - the campaign goes on, and says so
            where = traceback.extract_tb(error.__traceback__)[-1]
            life.stopped = f"{type(error).__name__}: {error} ({Path(where.filename).name}:{where.lineno})"
        finally:
            life.close()
        return life.month()


class _Life:
    """The bench, the daemon that is running now, the people, and the records."""

    def __init__(self, plan: Plan, folder: Path, progressing: Progressing) -> None:
        self.plan = plan
        self.stopped = ""
        self._progressing = progressing
        self._folders = _folders(folder)
        self._bench = open_rig(plan.bench)
        self._box = Box(self._bench)
        self._basin = self._bench.world.basins[BED]
        self._folder = next(self._folders)
        self._service = self._started()
        self._person = Random(f"campaign {plan.seed} person")
        self._meter = Random(f"campaign {plan.seed} meter")
        self._awaited: dict[str, tuple[float, Callable[[], None]]] = {}
        self._begun_s = 0.0
        self._gone_s = 0.0
        self._faults_to_come = [event for event in plan.events if event.act is Act.FAULT]
        self._to_come = [event for event in plan.events if event.act is not Act.FAULT]
        self._audit = Audit(plan.settings)
        self._roles = {pump.line: role for role, pump in plan.settings.reservoir[BED].pump.items()}
        self._band = self._bands()
        self._read_ph = inf
        self._locked = False
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

    def _bands(self) -> tuple[float, float]:
        bands = self.plan.settings.reservoir[BED].bands
        return bands.ph_low, bands.ph_high

    # the daemon

    def _started(self) -> Service:
        return Service(self.plan.settings, rig=self._box, state_folder=self._folder, control=False, mqtt=False)

    def _end_cleanly(self) -> None:
        self._cut_off()
        self._service.close()

    def _end_killed(self) -> None:
        """As after SIGKILL: what is on disk goes on, what the process held is gone, the keeper ends its run."""
        self._cut_off()
        self._folder, left = next(self._folders), self._folder
        shutil.copytree(left, self._folder, dirs_exist_ok=True)
        self._service.close()  # of the old folder, which nobody looks at any more
        shutil.rmtree(left)

    def _cut_off(self) -> None:
        """Whatever mixes now, the daemon will not see what it did."""
        self._cuts_s.append(self.now_s())

    def close(self) -> None:
        """The daemon and the bench."""
        self._service.close()
        self._bench.close()

    # time

    def now_s(self) -> float:
        """Seconds since the month began."""
        return self._bench.clock.monotonic_s() - self._begun_s

    def tell(self, text: str) -> None:
        """One line of the story."""
        day, rest_s = divmod(self.now_s(), DAY_S)
        hour, rest_s = divmod(rest_s, HOUR_S)
        self.story.append(f"{day:3.0f} d {hour:02.0f}:{rest_s / 60.0:04.1f}  {text}")

    def live(self, seconds: float) -> None:
        """Calibrate, then pass after pass until the month is over."""
        calibrate_all(self._service, self._bench)
        self._begun_s = self._bench.clock.monotonic_s()
        self._bench.world.edges.clear()
        told_s = 0.0
        while (now_s := self.now_s()) < seconds:
            self._let_happen(now_s)
            self._pass()
            if now_s - told_s >= TELL_EVERY_S:
                self._progressing((now_s - told_s) / DAY_S)
                told_s = now_s
            self._gone_s = self.now_s()
        self._progressing((self.now_s() - told_s) / DAY_S)
        self._see_edges()
        self._audit.finish(self._bench.clock.monotonic_s())

    def _pass(self) -> None:
        started_s = self.now_s()
        true_ph = self._basin.tank.look().ph
        try:
            state = self._service.loop.one_pass()
        except Killed:
            self.tell("killed in the middle of a dose")
            self._see_doses(true_ph)
            self._end_killed()
            self._service = self._started()
        else:
            self._see(state, true_ph)
        left_s = PASS_S - (self.now_s() - started_s)
        if left_s > 0.0:
            self._bench.clock.sleep(left_s)

    # what happens

    def _let_happen(self, now_s: float) -> None:
        while self._faults_to_come and self._faults_to_come[0].at_s <= now_s + PASS_S:
            self._befall(self._faults_to_come.pop(0), now_s)
        while self._to_come and self._to_come[0].at_s <= now_s:
            event = self._to_come.pop(0)
            self.happened[event.act] += 1
            _HAPPEN[event.act](self, event)
        for name in [name for name, (at_s, _) in self._awaited.items() if at_s <= now_s]:
            self._awaited.pop(name)[1]()

    def _await(self, name: str, in_s: float, act: Callable[[], None], *, anew: bool = False) -> None:
        """Do it in a while, unless it is awaited already; anew: then only after that while."""
        if anew or name not in self._awaited:
            self._awaited[name] = (self.now_s() + in_s, act)

    def _befall(self, event: Event, now_s: float) -> None:
        """A fault, from its own second on."""
        assert event.fault is not None
        start_s = max(event.at_s, now_s)
        end_s = start_s + event.for_s
        size = event.size or None
        self._bench.world.add_fault(
            Fault(event.fault, event.target, start_s + self._begun_s, end_s + self._begun_s, size)
        )
        self.faults.append(Befell(event.fault, event.target, start_s, end_s))
        sized = f" of {event.size:.2f}" if event.size else ""
        self.tell(f"FAULT {event.fault} on {event.target}{sized} for {event.for_s / HOUR_S:.2f} h")

    def restart(self, event: Event) -> None:
        """A clean end and a start."""
        self.tell(f"restart, off for {event.size:.0f} s")
        self._end_cleanly()
        self._bench.clock.sleep(event.size)
        self._service = self._started()

    def kill(self, event: Event) -> None:
        """An end without a word."""
        self.tell(f"killed, off for {event.size:.0f} s")
        self._end_killed()
        self._bench.clock.sleep(event.size)
        self._service = self._started()

    def kill_in_dose(self, event: Event) -> None:
        """The next dose will not see its end."""
        self._box.clock.kill_in_dose = True

    def reboot(self, event: Event) -> None:
        """Power lost; the wall clock is found again some time later."""
        self.tell(f"power lost for {event.size:.0f} s, clock right after {event.for_s / HOUR_S:.1f} h")
        self._end_killed()
        self._box.clock.lose_power(event.size)
        self._service = self._started()
        self._await("clock", event.for_s, self._right_the_clock, anew=True)

    def step_clock(self, event: Event) -> None:
        """The wall clock goes wrong for a while."""
        claims = "trusted" if event.trusted else "untrusted"
        self.tell(f"wall clock off by {event.size:.0f} s, {claims}, for {event.for_s / HOUR_S:.1f} h")
        self._box.clock.off_by = timedelta(seconds=event.size)
        self._box.clock.trusted = event.trusted
        self._await("clock", event.for_s, self._right_the_clock, anew=True)

    def _right_the_clock(self) -> None:
        self.tell("wall clock right again")
        self._box.clock.off_by = timedelta(0)
        self._box.clock.trusted = True

    def hold(self, event: Event) -> None:
        """A person pauses dosing, and releases it or lets it run out."""
        hours = {"hours": event.size} if event.size else {}
        self._cut_off()
        self._ask("hold", reason="work at the tank", **hours)
        self._await("release", event.for_s, self._release)

    def _release(self) -> None:
        self._ask("release")

    def pour(self, event: Event) -> None:
        """A person doses by hand, with no word to the daemon."""
        self.tell(f"a hand pours {event.size:.1f} mL of {event.target}")
        self._basin.tank.deliver(event.target, event.size)
        self._poured_s = self._hand_s = self.now_s()

    def top_up(self, event: Event | None = None) -> None:
        """Fresh solution, its pH as it comes, up to the volume at the start."""
        missing_l = self._full_l() - self._basin.tank.volume_l
        if missing_l > 0.0:
            self._cut_off()
            self.tell(f"topped up with {missing_l:.1f} L")
            self._mix_in(missing_l)

    def _mix_in(self, litres: float) -> None:
        """Tap water with as much of each stock as it needs."""
        tank = self._basin.tank
        tank.add_water(litres)
        stock_ml = litres * STOCK_ML_PER_L * self.plan.bench["tank"][BED]["nutrient_strength"]
        for role in ("stock_a", "stock_b"):
            tank.deliver(role, stock_ml)
        self._bench.world.settle()

    def _full_l(self) -> float:
        return float(self.plan.bench["tank"][BED]["volume_l"])

    # people

    def _ask(self, method: str, **params: object) -> bool:
        """Ask the daemon as by the command line; a refusal is heard and borne. Whether it came about."""
        try:
            answer = ask(self._service, method, **params)
        except RequestRefused as refused:
            self.tell(f"{method} refused: {refused}")
            return False
        self.tell(f"{method}: {answer['said']}")
        return bool(answer.get("accepted", True))

    def _heed(self, alarms: tuple[Alarm, ...]) -> None:
        """What a person plans on seeing these alarms."""
        for alarm in alarms:
            if alarm.kind in ("locked", "far-out"):
                self._await("visit", self._person.uniform(1.0, 8.0) * HOUR_S, self._visit)
            elif alarm.kind in ("bottle-low", "bottle-empty"):
                self._await("refill", self._person.uniform(1.0, 12.0) * HOUR_S, self._refill)
            elif alarm.kind == "level-low":
                self._await("water", self._person.uniform(1.0, 12.0) * HOUR_S, self.top_up)

    def _visit(self) -> None:
        """Look for the cause, mend most of it, change spoiled water, refill, clear."""
        self.tell("a person comes to look")
        self._ask("ack")
        now_s = self.now_s()
        for place, fault in enumerate(self.faults):
            if fault.holds_at(now_s) and self._person.random() < MENDS:
                self._bench.world.end_fault(fault.name, fault.target)
                self.faults[place] = replace(fault, end_s=now_s)
                self.tell(f"mended {fault.name} on {fault.target}")
        ph = self._basin.tank.bulk().ph
        if not SPOILED_PH[0] <= ph <= SPOILED_PH[1]:
            self._change_water(ph)
        self._refill()
        if self._locked:
            self._clear()

    def _clear(self) -> None:
        """As the program asks: with the pH by a hand meter; where the probe is further off, calibrated first."""
        if self._ask("clear", measured_ph=self._by_meter()):
            return
        try:
            calibrate_all(self._service, self._bench)
        except (GrowerStoppedError, RequestRefused) as stopped:
            self.tell(f"not calibrated: {stopped}")
            return
        self._cut_off()
        self._ask("clear", measured_ph=self._by_meter())

    def _by_meter(self) -> float:
        return round(self._basin.tank.look().ph + self._meter.uniform(-METER_PH, METER_PH), 2)

    def _change_water(self, ph: float) -> None:
        """As the program asks: paused while it is changed, and told that it is new."""
        self.tell(f"new water, as the pH is {ph:.2f}")
        tank = self._basin.tank
        self._ask("change_out.begin", reservoir=BED)
        tank.drain(tank.volume_l)
        self._mix_in(self._full_l() - tank.volume_l)
        self._ask("change_out.done", reservoir=BED)

    def _refill(self) -> None:
        for role in self._roles.values():
            self._bench.play("refill", pump=role)
            self._ask("bottle", pump=role)

    # what is seen

    def _see(self, state: State, true_ph: float) -> None:
        bed = state.reservoirs[BED]
        ph = bed.verdicts[Quantity.PH]
        self._read_ph = inf if ph.reading is None else ph.reading.value
        self._see_doses(true_ph)
        self._see_alarms(state)
        self._see_gross(true_ph, usable=ph.usable)
        self._see_windows()
        healthy = self._is_healthy(true_ph)
        locked = bed.condition is Condition.LOCKED
        if locked and not self._locked:
            self._see_lock(bed.condition_reason, healthy)
        self._locked = locked
        if healthy and not locked:
            self.healthy_s += PASS_S
            self.in_band_s += PASS_S if self._band[0] <= true_ph <= self._band[1] else 0.0
        self._heed(state.alarms)

    def _see_edges(self) -> list[Edge]:
        edges = list(taken(self._bench.world.edges))
        self._audit.see(edges)
        return edges

    def _see_doses(self, true_ph: float) -> None:
        for edge in self._see_edges():
            role = self._roles.get(edge.line)
            if edge.on and role is not None:
                dose = Dose(edge.at_s - self._begun_s, role, self._read_ph, true_ph)
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
            hours=self._gone_s / HOUR_S,
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


_HAPPEN: dict[Act, Callable[[_Life, Event], None]] = {
    Act.RESTART: _Life.restart,
    Act.KILL: _Life.kill,
    Act.KILL_IN_DOSE: _Life.kill_in_dose,
    Act.REBOOT: _Life.reboot,
    Act.CLOCK: _Life.step_clock,
    Act.HOLD: _Life.hold,
    Act.HAND_DOSE: _Life.pour,
    Act.TOP_UP: _Life.top_up,
}


def _folders(parent: Path) -> Iterator[Path]:
    """State folders, one after another: a killed daemon's is left behind."""
    number = 0
    while True:
        number += 1
        folder = parent / f"state-{number}"
        folder.mkdir()
        yield folder


def _fault_text(fault: Befell) -> str:
    lasted_h = (fault.end_s - fault.start_s) / HOUR_S
    return f"{fault.name} on {fault.target} at {fault.start_s / DAY_S:.2f} d for {lasted_h:.1f} h"
