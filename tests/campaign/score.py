"""What a month's records mean. Pure: doses, faults and alarms in, counts out.

grossly wrong   a usable reading more than GROSS_PH from the water at the probe
blamed          the fault that can have made it so: there at the dose, or over for less than AFTER_S
beyond first    of the doses blamed on one fault all but the first; with no fault to blame every one
excursion       how far the pH of the whole tank goes beyond the far edge of the band, in the direction of
                a dose, within EFFECT_S after it
missed          a fault that was gross for more than LONG_S, with doses resting on it and no alarm meanwhile; of
                a pump that delivers nothing only doses count whose mixing nothing cut off: no other can show it
detection       from where it could first be seen (its start; of a pump that fails its first dose) to an alarm
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf

from daemon.alarm.kinds import Kind
from sim_hw.faults import BUS_FAULTS, CHIP_FAULTS, PUMP_FAULTS, FaultName

GROSS_PH = 0.5
AFTER_S = 1800.0
EFFECT_S = 3600.0
LONG_S = 3600.0
FEW_DOSES = 3  # so many must a pump that delivers nothing have given, before anyone can know
NOTHING_DELIVERED = frozenset({FaultName.PUMP_DEAD, FaultName.BOTTLE_EMPTY})
STOPPED = frozenset({Kind.LOCKED, Kind.BOTTLE_EMPTY})  # whatever for, nothing is dosed and somebody is called
OF_PROBES = frozenset({Kind.PROBE, Kind.ONE_PROBE, Kind.DISAGREE})
ASTRAY = frozenset({Kind.FAR_OUT, Kind.OUT_OF_BAND, Kind.DAY_CAP})  # pH that correcting does not bring back


@dataclass(frozen=True, slots=True)
class Dose:
    """One run of a pump, as its line began it. read_ph: what the dose rested on; true_ph: the water's then.

    cut_off: its mixing did not go by undisturbed (`cut_by`), so that what it did could not be told.
    """

    at_s: float
    role: str
    read_ph: float
    true_ph: float
    cut_off: bool = False

    @property
    def wrong_ph(self) -> float:
        """How far the reading was off, 0 or more."""
        return abs(self.read_ph - self.true_ph)

    @property
    def grossly_wrong(self) -> bool:
        """Whether no dose should have rested on it. A reading that is no number is wrong."""
        return not self.wrong_ph <= GROSS_PH


@dataclass(frozen=True, slots=True)
class Befell:
    """One fault as it was: target as "bed1/ph"; gross_s: how long a usable pH reading was grossly wrong in it."""

    name: FaultName
    target: str
    start_s: float
    end_s: float
    gross_s: float = 0.0

    @property
    def about(self) -> str:
        """The probe or pump."""
        return self.target.partition("/")[2]

    @property
    def quantity(self) -> str:
        """What the probe measures: of a second pH probe likewise pH."""
        return self.about.removesuffix("_2")

    @property
    def of_a_pump(self) -> bool:
        """Whether it befell a pump, else a probe, its converter or its bus."""
        return self.name in PUMP_FAULTS

    def holds_at(self, at_s: float) -> bool:
        """Whether it was there at this moment."""
        return self.start_s <= at_s < self.end_s

    def may_mislead(self) -> bool:
        """Whether it can make pH read wrong: any fault of a pH probe or the temperature it leans on."""
        return not self.of_a_pump and self.quantity in ("ph", "temperature")


@dataclass(frozen=True, slots=True)
class Alarmed:
    """One alarm from raised to over; end_s is infinity while it lasts."""

    key: str
    kind: str
    start_s: float
    end_s: float = inf


def excursion_ph(role: str, band: tuple[float, float], lowest_ph: float, highest_ph: float) -> float:
    """How far beyond the far edge of the band pH went in the direction of a dose of this role, 0 or more."""
    return max(0.0, band[0] - lowest_ph if role == "ph_down" else highest_ph - band[1])


def blamed(dose: Dose, faults: Sequence[Befell]) -> int | None:
    """The newest fault that can have made the reading of this dose wrong, by its place; None for none."""
    able = [
        place
        for place, fault in enumerate(faults)
        if fault.may_mislead() and fault.start_s <= dose.at_s < fault.end_s + AFTER_S
    ]
    return max(able, key=lambda place: faults[place].start_s, default=None)


def beyond_first(doses: Iterable[Dose], faults: Sequence[Befell]) -> list[tuple[Dose, int | None]]:
    """The doses on a grossly wrong reading beyond the first one of each fault, with the fault blamed."""
    seen: set[int] = set()
    found: list[tuple[Dose, int | None]] = []
    for dose in doses:
        if not dose.grossly_wrong:
            continue
        place = blamed(dose, faults)
        if place is None or place in seen:
            found.append((dose, place))
        else:
            seen.add(place)
    return found


def cut_by(doses: Iterable[Dose], cuts_s: Iterable[float], mixing_s: float) -> list[Dose]:
    """The doses, those marked as cut off that had one of these moments less than mixing_s after them."""
    cuts_s = sorted(cuts_s)
    return [replace(dose, cut_off=_next_s(cuts_s, dose.at_s) < dose.at_s + mixing_s) for dose in doses]


def _next_s(moments_s: Sequence[float], at_s: float) -> float:
    place = bisect_left(moments_s, at_s)
    return moments_s[place] if place < len(moments_s) else inf


def resting_on(fault: Befell, doses: Iterable[Dose]) -> list[Dose]:
    """The doses that the fault made worthless or wrong: of a pump its own, of a probe those on wrong readings."""
    during = [dose for dose in doses if fault.holds_at(dose.at_s)]
    if fault.name is FaultName.PUMP_STUCK_ON:
        return during
    if fault.of_a_pump:
        return [dose for dose in during if dose.role == fault.about]
    return [dose for dose in during if dose.grossly_wrong] if fault.may_mislead() else []


def seen_from_s(fault: Befell, doses: Iterable[Dose]) -> float | None:
    """When it could first be seen; None for a pump that fails unused."""
    if not fault.of_a_pump or fault.name is FaultName.PUMP_STUCK_ON:
        return fault.start_s
    return min((dose.at_s for dose in resting_on(fault, doses)), default=None)


def tells_of(alarm: Alarmed, fault: Befell) -> bool:
    """Whether this alarm sends a person to look at what the fault befell.

    One of pH astray must have come after the fault; the others may have been there before.
    """
    if alarm.kind in ASTRAY:
        return "-ph-" in alarm.key and alarm.start_s >= fault.start_s
    if alarm.kind in OF_PROBES:
        return not fault.of_a_pump and _of_the_same(alarm, fault)
    return alarm.kind in STOPPED


def _of_the_same(alarm: Alarmed, fault: Befell) -> bool:
    """A converter's fault may show at any of its probes, a thermometer's at those that lean on it."""
    if fault.name in CHIP_FAULTS | BUS_FAULTS:
        return True
    return f"-{fault.quantity}-" in alarm.key or (fault.quantity == "temperature" and "-ph-" in alarm.key)


def delay_s(fault: Befell, doses: Sequence[Dose], alarms: Iterable[Alarmed]) -> float | None:
    """Seconds from where it could be seen until an alarm while it was there; None without one."""
    from_s = seen_from_s(fault, doses)
    if from_s is None:
        return None
    there = (a for a in alarms if tells_of(a, fault) and a.start_s < fault.end_s and a.end_s > from_s)
    return min((max(0.0, alarm.start_s - from_s) for alarm in there), default=None)


def is_missed(fault: Befell, doses: Sequence[Dose], alarms: Iterable[Alarmed]) -> bool:
    """Whether a gross fault of more than an hour went without alarm while doses rested on it."""
    from_s, resting = seen_from_s(fault, doses), resting_on(fault, doses)
    if from_s is None or delay_s(fault, doses, alarms) is not None:
        return False
    if fault.name in NOTHING_DELIVERED:
        return fault.end_s - from_s > LONG_S and sum(not dose.cut_off for dose in resting) > FEW_DOSES
    if fault.name is FaultName.PUMP_STUCK_ON:
        return fault.end_s - from_s > LONG_S and bool(resting)
    return fault.gross_s > LONG_S and bool(resting)
