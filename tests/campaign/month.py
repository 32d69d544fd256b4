"""One seed's month: the whole program on the bench of its plan, what befalls both, and what came of it.

Pass after pass at its pace; between passes faults begin, people act, clocks step, and the daemon is ended and
started anew on the same bench and state. What is seen of it from outside: tests.campaign.seen.
"""

from __future__ import annotations

import shutil
import traceback
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from random import Random

from daemon.desk.requests import RequestRefused
from daemon.rehearsal.staging import ask, calibrate_all, folder_in_memory
from daemon.service import Service
from daemon.values import Alarm
from sim_hw.bench import open_rig
from sim_hw.faults import Fault
from sim_hw.grower import GrowerStoppedError
from tests.campaign.box import Box, Killed
from tests.campaign.draw import BED, DAY_S, HOUR_S, PASS_S, Act, Event, Plan, draw
from tests.campaign.report import Month
from tests.campaign.score import (
    Befell,
)
from tests.campaign.seen import Seen

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
            life.seen.stopped = f"{type(error).__name__}: {error} ({Path(where.filename).name}:{where.lineno})"
        finally:
            life.close()
        return life.seen.month()


class _Life:
    """The bench, the daemon that is running now, the people, and the records."""

    def __init__(self, plan: Plan, folder: Path, progressing: Progressing) -> None:
        self.plan = plan
        self._progressing = progressing
        self._folders = _folders(folder)
        self._bench = open_rig(plan.bench)
        self.seen = Seen(plan, self._bench)
        self._box = Box(self._bench)
        self._basin = self._bench.world.basins[BED]
        self._folder = next(self._folders)
        self._service = self._started()
        self._person = Random(f"campaign {plan.seed} person")
        self._meter = Random(f"campaign {plan.seed} meter")
        self._awaited: dict[str, tuple[float, Callable[[], None]]] = {}
        self._faults_to_come = [event for event in plan.events if event.act is Act.FAULT]
        self._to_come = [event for event in plan.events if event.act is not Act.FAULT]

    # the daemon

    def _started(self) -> Service:
        return Service(self.plan.settings, rig=self._box, state_folder=self._folder, control=False, mqtt=False)

    def _end_cleanly(self) -> None:
        self.seen.cut_off()
        self._service.close()

    def _end_killed(self) -> None:
        """As after SIGKILL: what is on disk goes on, what the process held is gone, the keeper ends its run."""
        self.seen.cut_off()
        self._folder, left = next(self._folders), self._folder
        shutil.copytree(left, self._folder, dirs_exist_ok=True)
        self._service.close()  # of the old folder, which nobody looks at any more
        shutil.rmtree(left)

    def close(self) -> None:
        """The daemon and the bench."""
        self._service.close()
        self._bench.close()

    # time

    def live(self, seconds: float) -> None:
        """Calibrate, then pass after pass until the month is over."""
        calibrate_all(self._service, self._bench)
        self.seen.begin()
        told_s = 0.0
        while (now_s := self.seen.now_s()) < seconds:
            self._let_happen(now_s)
            self._pass()
            if now_s - told_s >= TELL_EVERY_S:
                self._progressing((now_s - told_s) / DAY_S)
                told_s = now_s
            self.seen.gone_s = self.seen.now_s()
        self._progressing((self.seen.now_s() - told_s) / DAY_S)
        self.seen.end()

    def _pass(self) -> None:
        started_s = self.seen.now_s()
        true_ph = self._basin.tank.look().ph
        try:
            state = self._service.loop.one_pass()
        except Killed:
            self.seen.tell("killed in the middle of a dose")
            self.seen.see_doses(true_ph)
            self._end_killed()
            self._service = self._started()
        else:
            self.seen.see(state, true_ph)
            self._heed(state.alarms)
        left_s = PASS_S - (self.seen.now_s() - started_s)
        if left_s > 0.0:
            self._bench.clock.sleep(left_s)

    # what happens

    def _let_happen(self, now_s: float) -> None:
        while self._faults_to_come and self._faults_to_come[0].at_s <= now_s + PASS_S:
            self._befall(self._faults_to_come.pop(0), now_s)
        while self._to_come and self._to_come[0].at_s <= now_s:
            event = self._to_come.pop(0)
            self.seen.happened[event.act] += 1
            _HAPPEN[event.act](self, event)
        for name in [name for name, (at_s, _) in self._awaited.items() if at_s <= now_s]:
            self._awaited.pop(name)[1]()

    def _await(self, name: str, in_s: float, act: Callable[[], None], *, anew: bool = False) -> None:
        """Do it in a while, unless it is awaited already; anew: then only after that while."""
        if anew or name not in self._awaited:
            self._awaited[name] = (self.seen.now_s() + in_s, act)

    def _befall(self, event: Event, now_s: float) -> None:
        """A fault, from its own second on."""
        assert event.fault is not None
        start_s = max(event.at_s, now_s)
        end_s = start_s + event.for_s
        begun_s = self.seen.begun_s
        fault = Fault(event.fault, event.target, start_s + begun_s, end_s + begun_s, event.size or None)
        self._bench.world.add_fault(fault)
        self.seen.befell(Befell(event.fault, event.target, start_s, end_s), event.size)

    def restart(self, event: Event) -> None:
        """A clean end and a start."""
        self.seen.tell(f"restart, off for {event.size:.0f} s")
        self._end_cleanly()
        self._bench.clock.sleep(event.size)
        self._service = self._started()

    def kill(self, event: Event) -> None:
        """An end without a word."""
        self.seen.tell(f"killed, off for {event.size:.0f} s")
        self._end_killed()
        self._bench.clock.sleep(event.size)
        self._service = self._started()

    def kill_in_dose(self, event: Event) -> None:
        """The next dose will not see its end."""
        self._box.clock.kill_in_dose = True

    def reboot(self, event: Event) -> None:
        """Power lost; the wall clock is found again some time later."""
        self.seen.tell(f"power lost for {event.size:.0f} s, clock right after {event.for_s / HOUR_S:.1f} h")
        self._end_killed()
        self._box.clock.lose_power(event.size)
        self._service = self._started()
        self._await("clock", event.for_s, self._right_the_clock, anew=True)

    def step_clock(self, event: Event) -> None:
        """The wall clock goes wrong for a while."""
        claims = "trusted" if event.trusted else "untrusted"
        self.seen.tell(f"wall clock off by {event.size:.0f} s, {claims}, for {event.for_s / HOUR_S:.1f} h")
        self._box.clock.off_by = timedelta(seconds=event.size)
        self._box.clock.trusted = event.trusted
        self._await("clock", event.for_s, self._right_the_clock, anew=True)

    def _right_the_clock(self) -> None:
        self.seen.tell("wall clock right again")
        self._box.clock.off_by = timedelta(0)
        self._box.clock.trusted = True

    def hold(self, event: Event) -> None:
        """A person pauses dosing, and releases it or lets it run out."""
        hours = {"hours": event.size} if event.size else {}
        self.seen.cut_off()
        self._ask("hold", reason="work at the tank", **hours)
        self._await("release", event.for_s, self._release)

    def _release(self) -> None:
        self._ask("release")

    def pour(self, event: Event) -> None:
        """A person doses by hand, with no word to the daemon."""
        self.seen.tell(f"a hand pours {event.size:.1f} mL of {event.target}")
        self._basin.tank.deliver(event.target, event.size)
        self.seen.poured()

    def top_up(self, event: Event | None = None) -> None:
        """Fresh solution, its pH as it comes, up to the volume at the start."""
        missing_l = self._full_l() - self._basin.tank.volume_l
        if missing_l > 0.0:
            self.seen.cut_off()
            self.seen.tell(f"topped up with {missing_l:.1f} L")
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
            self.seen.tell(f"{method} refused: {refused}")
            return False
        self.seen.tell(f"{method}: {answer['said']}")
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
        self.seen.tell("a person comes to look")
        self._ask("ack")
        now_s = self.seen.now_s()
        for place, fault in enumerate(self.seen.faults):
            if fault.holds_at(now_s) and self._person.random() < MENDS:
                self._bench.world.end_fault(fault.name, fault.target)
                self.seen.mended(place)
        ph = self._basin.tank.bulk().ph
        if not SPOILED_PH[0] <= ph <= SPOILED_PH[1]:
            self._change_water(ph)
        self._refill()
        if self.seen.locked:
            self._clear()

    def _clear(self) -> None:
        """As the program asks: with the pH by a hand meter; where the probe is further off, calibrated first."""
        if self._ask("clear", measured_ph=self._by_meter()):
            return
        try:
            calibrate_all(self._service, self._bench)
        except (GrowerStoppedError, RequestRefused) as stopped:
            self.seen.tell(f"not calibrated: {stopped}")
            return
        self.seen.cut_off()
        self._ask("clear", measured_ph=self._by_meter())

    def _by_meter(self) -> float:
        return round(self._basin.tank.look().ph + self._meter.uniform(-METER_PH, METER_PH), 2)

    def _change_water(self, ph: float) -> None:
        """As the program asks: paused while it is changed, and told that it is new."""
        self.seen.new_water(ph)
        tank = self._basin.tank
        self._ask("change_out.begin", reservoir=BED)
        tank.drain(tank.volume_l)
        self._mix_in(self._full_l() - tank.volume_l)
        self._ask("change_out.done", reservoir=BED)

    def _refill(self) -> None:
        for role in self.seen.roles.values():
            self._bench.play("refill", pump=role)
            self._ask("bottle", pump=role)


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
