"""The probes and contacts of one reservoir, and what their newest look shows. Runs on the loop's thread."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from math import floor

from config.settings import Reservoir as Table
from daemon import words
from daemon.desk.calibrating import Visit
from daemon.dose import draw_down
from daemon.dose.doubt_file import Doubts
from daemon.dose.draw_down import Stands
from daemon.dose.inflow import Inflow, follow, since_rise_s
from daemon.dose.ledger_standing import Standing
from daemon.dose.level import Drowned, Fall, Levels, RestLevel, drowned, leak, most_drunk_l_per_h, rest_s_of
from daemon.dose.level import follow as follow_level
from daemon.dose.permit import LEVEL_STOP_SHARE
from daemon.keeping.causes import LEVEL_ENOUGH
from daemon.measure.ageing import ProbeNote, forecasts, notes
from daemon.measure.book import CalibrationBook
from daemon.measure.calibrate import Point
from daemon.measure.convert import Calibration, Compensation, NotRead, PhCalibration, to_reading
from daemon.measure.daily_light import LightDay, integral_mol, lit
from daemon.measure.history import HistoryError, Past
from daemon.measure.judge import LIMITS, Limits, ProbeHistory, begun_anew, judge
from daemon.measure.noise import NO_LOOKS, Noise, heard
from daemon.measure.normal import Normal, afresh, is_other_water
from daemon.measure.plugs import Plugs, follow_plugs
from daemon.measure.standards import SHIPPED, Shelf
from daemon.measure.vote import Apart, agree, vote
from daemon.values import Quality, Quantity, Reading, Sample, Verdict, VerdictReason
from drivers.contact import Contact
from drivers.probe import Fault, Probe, ProbeError
from drivers.registry import wiring_changes, wiring_of

WET_LOOKS = 2  # in a row, so that a drop on the sensor's wire locks nothing
UNKNOWN_RISE_SHARE = 0.15  # of the reservoir: so much fresh water is behind a float switch that came up
_WHY_NOT_READ = {Fault.REFERENCE: VerdictReason.REFERENCE}
TELLS_ONLY_ENOUGH = ("float_switch",)  # level drivers that measure no share


@dataclass(frozen=True, slots=True)
class Wired:
    """What is wired to a reservoir. circulation, tray: None where the settings name no such contact."""

    probes: Mapping[Quantity, Probe]
    circulation: Contact | None = None
    tray: Contact | None = None


class Instruments:
    """What a reservoir sees of its water.

    verdicts: of the newest look, one for each probe; of two that vote, its kind's is what they
        say together; measures_share: the level is told as a share;
    rest_share: the level at rest, None where it is not known.
    """

    def __init__(  # noqa: PLR0917 - what it is made of
        self,
        name: str,
        table: Table,
        wired: Wired,
        book: CalibrationBook,
        shelf: Shelf = SHIPPED,
        doubts: Doubts = Doubts(),  # noqa: B008 - frozen
    ) -> None:
        """doubts: what was in doubt when the program last ended."""
        self.verdicts: dict[Quantity, Verdict] = {}
        self.visit: Visit | None = None
        self.circulation_on = False
        self._name = name
        self._table = table
        self._wired = wired
        self._book = book
        self._shelf = shelf
        self._aged: tuple[date, Mapping[Quantity, tuple[ProbeNote, ...]]] | None = None
        self._histories: dict[Quantity, ProbeHistory] = {}
        self._aparts: dict[Quantity, Apart] = {}
        self._apart_before = doubts.apart
        self.out_of_service = set(doubts.out)
        self._plugs = Plugs()
        self._noises: dict[Quantity, Noise] = {}
        self._light_day = LightDay()
        self._inflow = Inflow()
        self._rest = RestLevel(rest_s_of(table))
        self._fresh = Inflow()  # as _inflow, of the level at rest: a flood that runs back is no fresh water
        self._levels: Levels = ()
        self._days: Levels = ()  # of a still reservoir, for days
        self._lowest = doubts.lowest  # level at rest of a still reservoir, since its water is in
        self.rest_share: float | None = None
        self._wet_looks = 0
        self._drunk_share_per_h = most_drunk_l_per_h(table) / table.volume_l
        self._wirings = {quantity: _wiring_of(quantity, table) for quantity in wired.probes}
        self._order = sorted(wired.probes, key=_turn)
        self._judging = {quantity: _limits_for(quantity, table) for quantity in wired.probes}
        self._compensation = _compensation_of(table)
        self.measures_share = self.has(Quantity.LEVEL) and (table.probe["level"].driver not in TELLS_ONLY_ENOUGH)

    def has(self, quantity: Quantity) -> bool:
        """Whether there is a probe for it."""
        return quantity in self._wired.probes

    @property
    def has_circulation(self) -> bool:
        """Whether a contact should prove that the water is stirred."""
        return self._wired.circulation is not None

    # look

    def look(self, now: Callable[[], float], today: date) -> None:
        """Sample, convert and judge every probe: temperature first, since the others lean on it, EC last.

        now: the rig's monotonic clock, asked after each sample: a slow bus makes no sample look early or late.
        """
        for quantity in self._order:
            look, kind = self._look_at(quantity), quantity.kind
            visited = self._is_visited(quantity)
            history = self._histories.get(quantity)
            if history is None:
                history = ProbeHistory()
            self._hear(quantity, None if visited else look.sample)
            now_s = now()
            other_water = kind is not Quantity.TEMPERATURE and self._other_water(now_s)
            limits = self._judging[quantity]
            verdict, after = judge(look, history, limits, now_s, today, other_water=other_water)
            if visited:
                verdict, after = _calibrating(verdict), after._replace(normal=history.normal)
            elif quantity in self.out_of_service:
                verdict = replace(verdict, quality=Quality.BAD, reason=VerdictReason.OUT_OF_SERVICE)
            self.verdicts[quantity], self._histories[quantity] = verdict, after
            if kind is not quantity:
                self._vote(kind, verdict, now_s)
        self._follow_plugs()
        self._look_at_contacts()
        self._follow_level(now())
        self._follow_light()

    def _vote(self, kind: Quantity, second: Verdict, now_s: float) -> None:
        """What the two probes of one kind say together takes the place of what the first has just said alone."""
        apart = self._aparts.get(kind)
        if apart is None:
            apart = Apart(now_s) if kind in self._apart_before else Apart()
        self.verdicts[kind], self._aparts[kind] = vote(self.verdicts[kind], second, apart, now_s)

    def _follow_plugs(self) -> None:
        ph, ec = self.verdicts.get(Quantity.PH), self.verdicts.get(Quantity.EC)
        if ph is not None and ec is not None:
            self._plugs = Plugs() if self.visit is not None else follow_plugs(self._plugs, ph, ec)

    @property
    def exchanged(self) -> bool:
        """Whether each of pH and EC shows what the other one showed before."""
        return self._plugs.exchanged

    def apart(self) -> frozenset[Quantity]:
        """Kinds of quantity whose two probes disagree."""
        followed = {kind for kind, apart in self._aparts.items() if apart.since_s is not None}
        return frozenset(followed | (self._apart_before - self._aparts.keys()))

    def two_agree(self, kind: Quantity) -> bool:
        """Whether there are two probes of this kind, both can be believed, and they agree, at the newest look."""
        return kind.second in self.verdicts and agree(self.verdicts[kind])

    def _follow_light(self) -> None:
        light = self.verdicts.get(Quantity.LIGHT)
        if light is not None and light.usable and light.reading is not None:
            self._light_day = lit(self._light_day, light.reading.value, light.reading.at_s)

    def _hear(self, quantity: Quantity, sample: Sample | None) -> None:
        """Learn the probe's noise; of one that a person handles, or that is silent, there is nothing to learn."""
        if sample is None:
            self._noises.pop(quantity, None)
        else:
            self._noises[quantity] = heard(self._noises.get(quantity, NO_LOOKS), sample)

    def daily_light_mol(self, now_s: float) -> float | None:
        """Light of the last 24 h, mol/m²; None without a sensor, or until so long was seen."""
        return integral_mol(self._light_day, now_s)

    def noise_floors_v(self) -> dict[Quantity, float]:
        """Standard deviation of one look at each analog probe, in volts, where it is known by now."""
        floors = {quantity: noise.floor_v for quantity, noise in self._noises.items()}
        return {quantity: floor_v for quantity, floor_v in floors.items() if floor_v is not None}

    def _other_water(self, now_s: float) -> bool:
        """Whether the temperature tells that other water came in."""
        temperature = self._histories.get(Quantity.TEMPERATURE)
        return temperature is not None and is_other_water(temperature.normal, now_s)

    def _follow_level(self, now_s: float) -> None:
        """What the level says over time: water that came in, the level at rest, how that falls."""
        level = self.verdicts.get(Quantity.LEVEL)
        if level is not None and level.usable and level.reading is not None:
            self._inflow = follow(self._inflow, level.reading.value, level.reading.at_s)
            if self.measures_share:
                self._rest.see(level.reading.at_s, level.reading.value)
        usable = self.measures_share and level is not None and level.usable
        self.rest_share = self._rest.share(now_s) if usable else None
        if self.rest_share is not None:
            self._fresh = follow(self._fresh, self.rest_share, now_s)
        self._levels = follow_level(self._levels, now_s, self.rest_share)
        if self._table.system == "still" and self.rest_share is not None:
            self._lowest = self.rest_share if self._lowest is None else min(self._lowest, self.rest_share)
            self._days = draw_down.follow(self._days, now_s, self.rest_share)

    def _look_at_contacts(self) -> None:
        circulation, tray = self._table.circulation, self._table.tray
        if self._wired.circulation is not None and circulation is not None:
            means_on = circulation.closed_means == "running"
            self.circulation_on = self._wired.circulation.closed() is means_on
        if self._wired.tray is not None and tray is not None:
            wet = self._wired.tray.closed() is (tray.closed_means == "wet")
            self._wet_looks = self._wet_looks + 1 if wet else 0

    def _look_at(self, quantity: Quantity) -> Reading | NotRead:
        try:
            sample = self._wired.probes[quantity].sample()
        except ProbeError as error:
            return NotRead(_WHY_NOT_READ.get(error.fault, VerdictReason.NO_ANSWER), str(error))
        if self.visit is not None and self._is_visited(quantity):
            _show(self.visit, sample)
        wiring = self._wirings[quantity]
        if changed := wiring_changes(self._book.wiring(self._name, quantity), wiring):
            return NotRead(VerdictReason.NOT_CALIBRATED, words.rewired(changed, wiring), sample)
        calibration = self._book.get(self._name, quantity)
        return to_reading(sample, calibration, self._temperature_for(quantity), self._compensation)

    def _temperature_for(self, quantity: Quantity) -> float | None:
        """What to compensate with: EC, which moves by 2 % a degree, never by a guess in place of a dead probe."""
        if quantity.kind is Quantity.EC and self.has(Quantity.TEMPERATURE):
            return self._measured_temperature_c()
        return self.temperature_c()

    # calibrating

    def begin_visit(self, quantity: Quantity, held_before: Standing | None) -> None:
        """A person takes a probe out of the water to calibrate it."""
        self.visit = Visit(quantity, held_before, self.calibration(quantity), self._shelf)

    def calibration(self, quantity: Quantity) -> Calibration | None:
        """The calibration in force; None where there is none, or one made behind another wiring."""
        if wiring_changes(self._book.wiring(self._name, quantity), self._wirings[quantity]):
            return None
        return self._book.get(self._name, quantity)

    def keep(self, quantity: Quantity, calibration: Calibration, points: Sequence[Point]) -> str:
        """Read by a calibration just made, from now on. Raises BookError; all is then as before.

        Gives what went wrong with the history of calibrations, "" if nothing did.
        """
        self._book.put(self._name, quantity, calibration, points, self._wirings[quantity])
        self._aged = None
        self._aparts[quantity.kind] = Apart()  # compared anew
        try:
            utc = max(point.utc for point in points)
            self._book.history.add(self._name, quantity, calibration, points, utc)
        except HistoryError as trouble:
            return str(trouble)
        return ""

    def ageing(self, today: date) -> Mapping[Quantity, tuple[ProbeNote, ...]]:
        """What its calibrations say of each probe. Looked up once a day, and after each calibration."""
        if self._aged is None or self._aged[0] != today:
            of = {quantity: self._notes_on(quantity, today) for quantity in self._wired.probes}
            self._aged = (today, of)
        return self._aged[1]

    def _notes_on(self, quantity: Quantity, today: date) -> tuple[ProbeNote, ...]:
        made, limits = self.past(quantity).made, self._judging[quantity]
        return notes(made, forecasts(quantity.kind, made, today), today, limits.warn_days, limits.expire_days)

    def past(self, quantity: Quantity) -> Past:
        """What calibrations were made of this probe."""
        return self._book.history.of(self._name, quantity)

    def calibrated_between(self, quantity: Quantity, since: datetime, until: datetime) -> bool:
        """Whether the calibration in force was made within that time, every point of it, and is no stop-gap."""
        calibration = self._book.get(self._name, quantity)
        if isinstance(calibration, PhCalibration) and calibration.stop_gap:
            return False
        points = self._book.points(self._name, quantity)
        return bool(points) and all(since < point.utc <= until for point in points)

    def end_visit(self) -> None:
        """The probe goes back: what it read in the standards says nothing about the water."""
        if self.visit is not None:
            quantity = self.visit.quantity
            self._histories[quantity] = begun_anew(self._histories.get(quantity, ProbeHistory()))
            if quantity is Quantity.LEVEL:
                self.level_disturbed()
        self.visit = None

    def _is_visited(self, quantity: Quantity) -> bool:
        return self.visit is not None and self.visit.quantity is quantity

    @property
    def normals(self) -> dict[Quantity, Normal]:
        """What was learned of this water so far."""
        return {quantity: history.normal for quantity, history in self._histories.items()}

    def recall(self, normals: Mapping[Quantity, Normal]) -> None:
        """What an earlier run learned of this water; before the first look."""
        known = {quantity: normal for quantity, normal in normals.items() if self.has(quantity)}
        self._histories = {quantity: ProbeHistory(normal=afresh(normal)) for quantity, normal in known.items()}

    # what is seen

    def value(self, quantity: Quantity) -> float | None:
        """The newest reading that can be used, in the quantity's unit; None without one."""
        verdict = self.verdicts.get(quantity)
        if verdict is None or not verdict.usable or verdict.reading is None:
            return None
        return verdict.reading.value

    def temperature_c(self) -> float | None:
        """The water's temperature if it can be trusted, else what the settings assume, else None."""
        measured_c = self._measured_temperature_c()
        return self._table.assumed_temperature_c if measured_c is None else measured_c

    def _measured_temperature_c(self) -> float | None:
        verdict = self.verdicts.get(Quantity.TEMPERATURE)
        if verdict is not None and verdict.quality is not Quality.BAD and verdict.reading is not None:
            return verdict.reading.value
        return None

    @property
    def tray_is_wet(self) -> bool:
        """Whether the tray has been wet for WET_LOOKS looks in a row."""
        return self._wet_looks >= WET_LOOKS

    def since_refill_s(self, now_s: float) -> float | None:
        """Seconds since the level rose; None if it never did."""
        return since_rise_s(self._inflow, now_s)

    def leak(self) -> Fall | None:
        """The fall of the level that drinking cannot explain, if there is one."""
        return leak(self._levels, self._drunk_share_per_h)

    def falls_too_fast(self) -> Fall | None:
        """That a still reservoir loses more in a day than plants drink."""
        return draw_down.too_fast(self._days, self._drunk_share_per_h)

    def stands(self) -> Stands | None:
        """That a still reservoir has hardly fallen for days."""
        return draw_down.stands(self._days)

    def drowned(self) -> Drowned | None:
        """Whether a still reservoir was filled over its roots in the air."""
        return drowned(self._lowest, self.rest_share)

    @property
    def lowest(self) -> float | None:
        """Where a still reservoir stood lowest since its water is in, in whole hundredths of the full one."""
        return None if self._lowest is None else floor(100.0 * self._lowest) / 100.0

    def new_water(self) -> None:
        """A person gave new water: where the old stood is past; with young roots, a still reservoir is full."""
        self.level_disturbed()
        self._lowest = None
        self._histories = {
            quantity: history._replace(normal=afresh(history.normal))
            for quantity, history in self._histories.items()
        }

    def level_disturbed(self) -> None:
        """People are at the tank: how the level falls says nothing."""
        self._levels = ()
        self._days = ()

    @property
    def fresh_share(self) -> float:
        """Fresh water that came in since the start, as a share of the full reservoir."""
        if self.measures_share:
            return self._fresh.risen
        return UNKNOWN_RISE_SHARE * self._inflow.risen  # a float switch rises from 0 to 1

    @property
    def level_share(self) -> float | None:
        """Measured share of the nominal volume; None where none is measured, or not now."""
        return self.value(Quantity.LEVEL) if self.measures_share else None

    @property
    def level_enough(self) -> bool | None:
        """Whether there is water enough to dose into; None where that is not known."""
        level = self.value(Quantity.LEVEL)
        if level is None:
            return None
        return level >= LEVEL_STOP_SHARE if self.measures_share else level > LEVEL_ENOUGH

    @property
    def share_of_water(self) -> float:
        """Measured share of the nominal volume, at most 1; 1 where none is measured."""
        share = self.level_share
        return 1.0 if share is None else min(1.0, share)


def _turn(quantity: Quantity) -> tuple[int, str]:
    """When its turn comes in a look: EC last, whose current has a whole pass to fade before pH is looked at.

    A second probe comes after the first of its kind.
    """
    return {Quantity.TEMPERATURE: 0, Quantity.EC: 2}.get(quantity.kind, 1), quantity.value


def _show(visit: Visit, sample: Sample) -> None:
    """Hand the probe's signal to the person calibrating it; at the end of the range nothing can settle."""
    if sample.clipped:
        visit.afresh()
    else:
        visit.see(sample.at_s, sample.signal)


def _calibrating(verdict: Verdict) -> Verdict:
    return Verdict(verdict.quantity, Quality.BAD, VerdictReason.CALIBRATING, verdict.reading, verdict.since_s)


def _wiring_of(quantity: Quantity, table: Table) -> str:
    probe = table.probe[quantity.value]
    return wiring_of(probe.driver, probe.model_dump())


def _compensation_of(table: Table) -> Compensation:
    return Compensation(table.ec_linear_percent_per_k if table.ec_compensation == "linear" else None)


def _limits_for(quantity: Quantity, table: Table) -> Limits:
    usual = replace(LIMITS[quantity.kind], quantity=quantity)
    if not usual.calibrated:
        return usual
    return replace(usual, warn_days=table.calibration_warn_days, expire_days=table.calibration_expire_days)
