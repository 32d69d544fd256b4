"""The whole program, put together from its settings: rig, keeper, probes, ledger, loop, links.

with Service(settings) as service:
    service.run()
"""

from __future__ import annotations

import os
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, suppress
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from math import inf
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.interval import IntervalTrigger

from config.load import SettingsError
from config.settings import Circulation, Reservoir, Settings, Tray
from daemon import notify, words
from daemon.alarm.kinds import Kind
from daemon.alarm.life import Cause
from daemon.alarm.life_file import LifeFile
from daemon.altered import dose_numbers
from daemon.crop.diary_file import FILE_NAME
from daemon.crop.risk import Spread
from daemon.cropping import Cropping
from daemon.desk.reach import Reach, by_broker, by_services
from daemon.desk.requests import Request
from daemon.dose.answer_file import AnswerFile
from daemon.dose.doubt_file import DoubtFile
from daemon.dose.ledger import Ledger, LedgerError
from daemon.dose.ledger_time import stamp_of
from daemon.dose.windows import Stamp
from daemon.jobs import Calendar, Job
from daemon.keeping.instruments import Wired
from daemon.keeping.pump_lines import write_pump_lines
from daemon.keeping.reservoir import KeptReservoir, Parts
from daemon.link.causes import causes
from daemon.link.control import ControlServer
from daemon.link.gate import Gate
from daemon.link.mqtt import MqttLink
from daemon.link.trust import MqttSettingsError, read_keys, read_password, read_trust
from daemon.lock import StateLock
from daemon.loop import ANSWERS_WITHIN_S, Loop, Site
from daemon.measure.book import BookError, CalibrationBook
from daemon.measure.normal_file import NormalFile
from daemon.measure.standards import Shelf, Standard
from daemon.runs import Runs
from daemon.store.history import History
from daemon.store.trend import HistoryError, opened
from daemon.summary import Ranges, summary
from daemon.values import Outcome, Priority, Quantity, Role, State
from daemon.ways.addresses import WaysError, read_ways
from daemon.ways.herald import Herald
from daemon.ways.out import WaysOut
from drivers.ads1115 import Chips
from drivers.contact import Contact
from drivers.keeping import Keeper, open_keeper
from drivers.pump import PeristalticPump
from drivers.registry import open_probe
from drivers.rig import Rig, RigError, missing_barriers, open_rig
from drivers.signal_light import SignalLight

CANNOT_START = (SettingsError, RigError, OSError, BookError, LedgerError, MqttSettingsError, WaysError)
"""What may stop a start, each with a message that names the next step."""

Watch = Callable[[State], None]
ENDED_UNSEEN = "ended unseen"
_EACH_MINUTE = IntervalTrigger(minutes=1, start_date=datetime(2000, 1, 1, tzinfo=UTC), timezone=UTC)


class Service:
    """Everything that runs, opened in an order that leaves all pumps off if any of it fails.

    rig: already open (a rehearsal's bench), else the one the settings name. control: whether people can reach it;
    mqtt: whether it reaches a broker and other ways out. watch: called with each snapshot after the links.
    Raises what its parts raise: RigError, StateLockError, LedgerError, BookError, PumpError,
    MqttSettingsError, WaysError, ControlError; each with its next step.
    """

    def __init__(
        self,
        settings: Settings,
        *,
        rig: Rig | None = None,
        state_folder: Path | None = None,
        control: bool = True,
        mqtt: bool = True,
        history: bool = True,
        watch: Watch | None = None,
        settings_file: Path | None = None,
    ) -> None:
        self.settings, self._settings_file = settings, settings_file
        self.folder = state_folder or Path(settings.site.state_folder)
        self._watch = watch
        self._parts = ExitStack()
        self._backup_trouble = ""
        self._failed = False
        try:
            self._open(rig, control=control, mqtt=mqtt, history=history)
        except BaseException:
            self._parts.close()
            raise

    def _open(self, rig: Rig | None, *, control: bool, mqtt: bool, history: bool) -> None:
        settings, keep = self.settings, self._parts
        keep.enter_context(StateLock(self.folder))
        cut_out = () if settings.cut_out is None else (settings.cut_out.line,)
        pump_lines = [*_pump_lines(settings), *cut_out]
        write_pump_lines(self.folder, pump_lines)  # for the stop program, before any line is claimed
        self.rig = rig if rig is not None else open_rig(settings.rig_table())
        keep.callback(self.rig.close)
        self._barriers = missing_barriers(self.rig)
        self._chips = Chips(self.rig, (one.named(name) for name, one in settings.reference.items()))
        self._keeper = open_keeper(self.rig, settings.rig_table(), _pump_lines(settings), *cut_out)
        keep.callback(self._keeper.close)
        boot_id = uuid.uuid4().hex
        program = version("evenwater")
        stamp = stamp_of(self.rig.clock, boot_id)
        self.ledger = Ledger(self.folder / "ledger.db", stamp, version=program, or_broken=True)
        keep.callback(self.ledger.close)
        self._settle_left_open()
        self._runs = Runs(self.folder / "runs.json", self.ledger.proven_s(stamp), program, dose_numbers(settings))
        keep.callback(self._end_run)
        self.book = CalibrationBook(self.folder / "calibrations.toml")
        self._shelf = _shelf(settings)
        self._answers = AnswerFile(self.folder / "answers.json", self.ledger.proven_s(stamp))
        self._lives = LifeFile(self.folder / "alarms.json")
        self._doubts = DoubtFile(self.folder / "doubts.json")
        self._normals = NormalFile(self.folder / "normals.json")
        self._crop = Cropping(settings, self.folder / FILE_NAME)
        self._signal = self._opened_signal()
        self._link = self._opened_link() if mqtt and settings.mqtt.enabled else None
        self._ways = self._opened_ways() if mqtt and settings.notify.enabled else None
        self._history = self._opened_history() if history else None
        self.loop = Loop(
            clock=self.rig.clock,
            site=self._site(boot_id, program),
            reservoirs=self._reservoirs(self._keeper),
            ledger=self.ledger,
            keeper=self._keeper,
            calendar=Calendar(self._jobs(), self.rig.clock.utc()),
            runs=self._runs,
            tell=self._tell,
            more_causes=self._own_causes,
            lives=self._lives.known,
            keep_lives=self._lives.keep,
            reach=self._reach,
            answers_within_s=ANSWERS_WITHIN_S if control or self._link is not None else inf,
        )
        keep.callback(self._keep_normals)
        self._lock_without_ledger(stamp)
        self._follow_crop(self.rig.clock.utc())
        if control:
            server = ControlServer(self.folder, snapshot=lambda: self.loop.state, submit=self.submit)
            keep.callback(server.close)

    def _site(self, boot_id: str, program: str) -> Site:
        settings = self.settings
        return Site(
            rig=settings.rig.open,
            version=program,
            every_s=settings.site.pass_every_s,
            boot_id=boot_id,
            settings=settings,
            folder=self.folder,
            settings_file=self._settings_file,
            notes=self._notes(),
        )

    def _settle_left_open(self) -> None:
        """Doses whose end nobody saw are noted at this start, and not again at the next."""
        with suppress(LedgerError):
            for entry in self.ledger.left_open:
                self.ledger.settle(entry.number, Outcome.CUT_SHORT, ENDED_UNSEEN)

    def _lock_without_ledger(self, stamp: Stamp) -> None:
        """Where it is not known what was dosed, a person has to look before anything is dosed again."""
        if self.ledger.fault is not None:
            for reservoir in self.loop.reservoirs.values():
                reservoir.lock("the ledger could not be read at the start: see the alarm `ledger`", stamp)

    def _only_watch(self, stamp: Stamp) -> str:
        """Why nothing is dosed now: what should stop a pump is missing, or the program has to prove itself."""
        if self._barriers:
            return "; ".join(self._barriers)
        watch = self._runs.watch(self.ledger.proven_s(stamp))
        return "" if watch is None else words.watching(watch, self._runs.altered)

    def _end_run(self) -> None:
        if not self._failed:
            self._runs.end()

    def _reservoirs(self, keeper: Keeper) -> dict[str, KeptReservoir]:
        reservoirs = {
            name: KeptReservoir(name, table, self._reservoir_parts(table, keeper))
            for name, table in self.settings.reservoir.items()
        }
        for name, reservoir in reservoirs.items():
            reservoir.instruments.recall(self._normals.known(name))
        return reservoirs

    def _keep_normals(self, _now: datetime | None = None) -> None:
        """Write down what the waters usually do."""
        self._normals.keep({name: of.instruments.normals for name, of in self.loop.reservoirs.items()})

    def _reservoir_parts(self, table: Reservoir, keeper: Keeper) -> Parts:
        probes = {}
        for name, probe in table.probe.items():
            quantity = Quantity(name)
            probes[quantity] = open_probe(quantity, probe.driver, probe.model_dump(), self.rig, self._chips)
            self._parts.callback(probes[quantity].close)
        pumps = {
            Role(name): PeristalticPump(keeper=keeper, line=pump.line, ml_per_s=pump.ml_per_s)
            for name, pump in table.pump.items()
        }
        wired = Wired(probes, self._contact(table.circulation), self._contact(table.tray))
        return Parts(
            wired, pumps, self.book, self.ledger, self._answers, self._doubts, self._only_watch, self._shelf
        )

    def _contact(self, table: Circulation | Tray | None) -> Contact | None:
        if table is None:
            return None
        contact = Contact(line=table.line, pin_factory=self.rig.pin_factory())
        self._parts.callback(contact.close)
        return contact

    def _opened_link(self) -> MqttLink:
        site = self.settings.site
        link = MqttLink(
            self.settings.mqtt,
            device_id=site.device_id,
            site_name=site.name,
            password=read_password(self.settings.mqtt, os.environ),
            trust=read_trust(self.settings.mqtt, os.environ),
            submit=self.submit,
            gate=Gate(self.folder / "commands.json", read_keys(self.settings.mqtt, os.environ)),
        )
        link.start()
        self._parts.callback(link.close)
        return link

    def _opened_ways(self) -> WaysOut:
        herald = Herald(read_ways(self.settings.notify, os.environ))
        herald.start()
        self._parts.callback(herald.close)
        return WaysOut(self.settings.notify, self.settings.site.name, herald, self.folder / "told.json")

    def _opened_signal(self) -> SignalLight | None:
        if self.settings.signal is None:
            return None
        light = SignalLight(line=self.settings.signal.line, pin_factory=self.rig.pin_factory())
        self._parts.callback(light.close)
        return light

    def _opened_history(self) -> History:
        history = History(self.folder, keep_days=self.settings.site.history_days)
        self._parts.callback(history.close)
        return history

    def submit(self, request: Request) -> None:
        """Put a request in the loop's queue. From any thread."""
        self.loop.requests.put(request)

    def run(self, for_s: float | None = None) -> None:
        """Keep the reservoirs until stopped, or for so much rig time."""
        notify.tell(notify.READY, *notify.watchdog_for(self.settings.site.pass_every_s))
        self.loop.run(for_s)
        notify.tell(notify.STOPPING)

    def stop(self) -> None:
        """Pumps off now, and the end after the pass that is going on. From any thread, or a signal."""
        self.loop.stopping.set()
        self._keeper.all_off()

    def close(self) -> None:
        """Everything off and closed. Twice is harmless."""
        self._parts.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._failed = kind is not None and not issubclass(kind, KeyboardInterrupt | SystemExit)
        self.close()

    def _tell(self, state: State) -> None:
        """At the end of a pass: the links, the watching view, then the service manager."""
        if self._link is not None:
            self._link.publish(state)
        if self._ways is not None:
            self._ways.see(state, self.ledger.proven_s(self.loop.stamp()))
        if self._history is not None:
            self._history.see(state)
        if self._signal is not None:
            self._signal.show(on=self._somebody_must_come(state))
        if self._watch is not None:
            self._watch(state)
        notify.tell(notify.ALIVE)

    def _somebody_must_come(self, state: State) -> bool:
        """Whether a grave alarm is unheard, or somebody should know of one and cannot be reached."""
        if any(a.priority is Priority.HIGH and a.unheard for a in state.alarms):
            return True
        if self._ways is not None and self._ways.status().none_works:
            return True
        return any(alarm.kind == Kind.BROKER for alarm in state.alarms)

    def _own_causes(self) -> Iterator[Cause]:
        """What calls for a person and does not come from probes or pumps."""
        yield from self._barrier_causes()
        yield from self._broker_causes()
        if self._ways is not None:
            yield from self._ways.causes()
        for bus_number, address, text in self._chips.off_references():
            yield Cause(Kind.CONVERTER, "", f"i2c{bus_number}-0x{address:02x}", f"{text}.")
        if self._backup_trouble:
            yield Cause(Kind.BACKUP, "", "ledger", f"The ledger could not be copied: {self._backup_trouble}.")
        if self._history is not None and self._history.trouble:
            yield Cause(Kind.HISTORY, "", "", f"What is read cannot be kept: {self._history.trouble}.")

    def _barrier_causes(self) -> Iterator[Cause]:
        for name, table in self.settings.reservoir.items():
            if self._barriers and table.start == "keeping":
                missing = "; ".join(self._barriers)
                text = f"{table.title} only watches, though its settings say keeping: {missing}."
                yield Cause(Kind.BARRIER, name, "", text)

    def _notes(self) -> tuple[str, ...]:
        """What a person should know from the start: doses whose end nobody saw, and what keeps from dosing."""
        open_doses = (
            f"dose {entry.number} ({entry.ml:.1f} mL, {entry.utc:%Y-%m-%d %H:%M}) ended unseen: counted in full"
            for entry in self.ledger.left_open
        )
        troubles = (self._lives.trouble, self._answers.trouble, self._doubts.trouble, self._normals.trouble)
        ways = "" if self._ways is None else self._ways.trouble
        return (*open_doses, *filter(None, (*troubles, ways)), *(cause.text for cause in self._barrier_causes()))

    def _reach(self) -> list[Reach]:
        """Every way by which people hear of this box, and how it does."""
        broker = [] if self._link is None else [by_broker(self._link.status(), self._broker)]
        return broker if self._ways is None else [*broker, *by_services(self._ways.status())]

    @property
    def _broker(self) -> str:
        return f"{self.settings.mqtt.host}:{self.settings.mqtt.port}"

    def _broker_causes(self) -> Iterator[Cause]:
        if self._link is None:
            return
        yield from causes(self._link.status(), self._broker, self.settings.site.device_id, self.rig.clock.utc())

    def _jobs(self) -> tuple[Job, ...]:
        at_hour = self.settings.site.summary_at_hour
        return (
            Job("back up the ledger", CronTrigger(hour=3, minute=10, timezone=UTC), self._back_up),
            Job("test the way of alerts", CronTrigger(hour=10, minute=10, timezone=UTC), self._test_the_way),
            Job("sum up the day", CronTrigger(hour=at_hour, timezone=UTC), self._sum_up),
            Job("drop old minutes", CronTrigger(hour=4, minute=10, timezone=UTC), self._drop_old),
            Job("follow the crop", _EACH_MINUTE, self._follow_crop),
            Job("keep what is normal", CronTrigger(hour="*/6", minute=20, timezone=UTC), self._keep_normals),
        )

    def _follow_crop(self, now: datetime) -> None:
        """What the diary says of the crop, where it or the day has changed: the next task, and the stages."""
        if self._crop.look(now.astimezone().date()):
            self.loop.next_task = self._crop.next_task
            for name, reservoir in self.loop.reservoirs.items():
                reservoir.crop_counts_from(self._crop.counts_from.get(name))

    def _test_the_way(self, _now: datetime) -> None:
        if self._link is not None:
            self._link.test_the_way()

    def _sum_up(self, now: datetime) -> None:
        """The last day in a few lines, from the newest snapshot and the history."""
        if self.loop.state is not None:
            self.loop.summary = summary(self.loop.state, self._ranges(now))

    def _ranges(self, now: datetime) -> Ranges:
        """Lowest, mean and highest of the last 24 h; nothing where the history cannot be read."""
        if self._history is None:
            return {}
        try:
            with opened(self.folder) as trends:
                day = now - timedelta(days=1)
                found = {series: trends.buckets(series, day, now, 1) for series in trends.series()}
        except HistoryError:
            return {}
        return {
            series: Spread(buckets[0].low, buckets[0].mean, buckets[0].high)
            for series, buckets in found.items()
            if buckets
        }

    def _drop_old(self, now: datetime) -> None:
        if self._history is not None:
            self._history.drop_old(now)

    def _back_up(self, now: datetime) -> None:
        """Copy the ledger beside itself, one file for each day of the week. A failure becomes an alarm."""
        folder = self.folder / "backup"
        try:
            folder.mkdir(exist_ok=True)
            self.ledger.backup(folder / f"ledger-{now:%a}.db".lower())
        except OSError as trouble:
            self._backup_trouble = str(trouble)
        else:
            self._backup_trouble = ""


def _shelf(settings: Settings) -> Shelf:
    """The solutions there are: those that ship, and the bottles of the settings."""
    own: dict[Quantity, dict[str, Standard]] = {}
    for name, table in settings.standard.items():
        quantity, values = (Quantity.PH, table.ph) if table.ph is not None else (Quantity.EC, table.ms_per_cm)
        row = Standard(name, "a bottle of your own", "its label", "as printed", table.temperature_c, values or ())
        own.setdefault(quantity, {})[name] = row
    return Shelf(own)


def _pump_lines(settings: Settings) -> list[int]:
    return [pump.line for reservoir in settings.reservoir.values() for pump in reservoir.pump.values()]


def settings_with(settings: Settings, **changes: Mapping[str, Any]) -> Settings:
    """The settings with some keys of some tables replaced, checked again, e.g. rig={"seed": 3}."""
    raw = settings.model_dump()
    for table, keys in changes.items():
        raw[table] = {**raw[table], **keys}
    return Settings.model_validate(raw)
