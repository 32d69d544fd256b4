"""`evenwater check --wiring`: what answers on the wires, and what it would mean."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from config.plausible import wire_words
from config.settings import Reservoir, Settings
from daemon import words
from daemon.lock import StateLock
from daemon.survey import Meaning, Standing, Wire, exchanged, meaning
from daemon.values import Quantity, Sample
from drivers.ads1115 import Chips
from drivers.air import Sht3xWiring
from drivers.probe import Probe, ProbeError
from drivers.registry import open_probe, open_volts
from drivers.rig import Rig, RigError, open_rig
from drivers.wiring import AdcInput, AdcWiring, AnalogProbe, PlainVolts

SERVICE_FOLDER = Path("/var/lib/evenwater")
LOCK_TRIES = 1000


@dataclass(frozen=True, slots=True)
class BusSeen:
    """One I2C bus: the addresses that answer, those of the settings that do not, those that nobody named."""

    number: int
    answering: tuple[int, ...] = ()
    missing: tuple[int, ...] = ()
    unnamed: tuple[int, ...] = ()
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class ProbeSeen:
    """One probe of the settings. sample: its signal is the bare volts of an analog one; None where silent."""

    name: str
    driver: str
    wires: tuple[str, ...]
    quantity: Quantity
    sample: Sample | None
    meaning: Meaning
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class ReferenceSeen:
    """One known voltage: what is measured of it; None where its converter is silent."""

    name: str
    volts: float | None
    low_v: float
    high_v: float

    @property
    def is_right(self) -> bool:
        """Whether the converter may be believed."""
        return self.volts is not None and self.low_v <= self.volts <= self.high_v


@dataclass(frozen=True, slots=True)
class Seen:
    """All that the wires show. exchanged: pairs of probes that would fit at each other's input."""

    buses: tuple[BusSeen, ...]
    probes: tuple[ProbeSeen, ...]
    references: tuple[ReferenceSeen, ...]
    exchanged: tuple[tuple[str, str], ...]

    @property
    def is_fine(self) -> bool:
        """Whether everything that the settings name is there and shows what it may well show."""
        return (
            not any(bus.trouble or bus.missing for bus in self.buses)
            and all(probe.meaning.standing is Standing.PLAUSIBLE for probe in self.probes)
            and all(reference.is_right for reference in self.references)
            and not self.exchanged
        )


def look_at_wires(settings: Settings) -> Seen:
    """Open the rig of the settings and look at every wire they name. No pump line is touched.

    Raises StateLockError where a daemon has the wires, RigError where there are none.
    """
    folders = {Path(settings.site.state_folder), SERVICE_FOLDER}
    locks = [StateLock(folder) for folder in sorted(folders) if folder.is_dir()]
    try:
        with closing(open_rig(settings.rig_table())) as rig:
            return seen(settings, rig)
    finally:
        for lock in locks:
            lock.close()


def seen(settings: Settings, rig: Rig) -> Seen:
    """What this rig shows of the settings' wires."""
    named = list(_on_buses(settings))
    buses = tuple(_bus(rig, number, named) for number in sorted({one.i2c_bus for one in named}))
    chips = Chips(rig)  # without references: one that is off must not hide what its probes show
    pairs = [pair for name, table in settings.reservoir.items() for pair in _probes(name, table, rig, chips)]
    analog = [(wire, probe.sample) for wire, probe in pairs if wire is not None and probe.sample is not None]
    return Seen(
        buses=buses,
        probes=tuple(probe for _, probe in pairs),
        references=tuple(_references(settings, rig, chips)),
        exchanged=exchanged([wire for wire, _ in analog], [sample for _, sample in analog]),
    )


def _on_buses(settings: Settings) -> Iterator[AdcInput | Sht3xWiring]:
    for reservoir in settings.reservoir.values():
        for probe in reservoir.probe.values():
            wiring = probe.wired()
            if isinstance(wiring, AdcInput | Sht3xWiring):
                yield wiring
    yield from settings.reference.values()


def _bus(rig: Rig, number: int, on_buses: Iterable[AdcInput | Sht3xWiring]) -> BusSeen:
    named = {one.address for one in on_buses if one.i2c_bus == number}
    try:
        answering = set(_scan(rig, number))
    except (OSError, RigError) as error:
        return BusSeen(number, missing=tuple(sorted(named)), trouble=str(error))
    missing, unnamed = sorted(named - answering), sorted(answering - named)
    return BusSeen(number, tuple(sorted(answering)), tuple(missing), tuple(unnamed))


def _scan(rig: Rig, number: int) -> list[int]:
    """The addresses that answer. Raises OSError where the bus is not there, or never free."""
    i2c = rig.i2c(number)
    if not any(i2c.try_lock() for _ in range(LOCK_TRIES)):
        raise OSError(f"I2C bus {number} is never free: another program holds it")
    try:
        return i2c.scan()
    finally:
        i2c.unlock()


def _probes(name: str, table: Reservoir, rig: Rig, chips: Chips) -> Iterator[tuple[Wire | None, ProbeSeen]]:
    for of, probe in table.probe.items():
        keys = probe.model_dump()
        quantity, wiring = Quantity(of).kind, probe.wired()
        called, wires = f"{name}/{of}", tuple(sorted(wiring.claims()))
        if isinstance(wiring, AdcWiring):
            wire = Wire(called, quantity, wiring, table.bands)
            sample, trouble = _sampled(open_volts(probe.driver, keys, rig, chips))
            means = Meaning(Standing.SILENT) if sample is None else meaning(wire, sample)
        else:
            wire = None
            sample, trouble = _sampled(open_probe(quantity, probe.driver, keys, rig, chips))
            means = Meaning(Standing.SILENT) if sample is None else Meaning(Standing.PLAUSIBLE, sample.signal)
        yield wire, ProbeSeen(called, probe.driver, wires, quantity, sample, means, trouble)


def _sampled(probe: Probe | None) -> tuple[Sample | None, str]:
    if probe is None:
        return None, ""
    with closing(probe):
        try:
            return probe.sample(), ""
        except ProbeError as error:
            return None, str(error)


def _references(settings: Settings, rig: Rig, chips: Chips) -> Iterator[ReferenceSeen]:
    for name, one in settings.reference.items():
        plain = PlainVolts.model_validate({key: getattr(one, key) for key in PlainVolts.model_fields})
        chip = chips.at(one.i2c_bus, one.address)
        sample, _ = _sampled(AnalogProbe(quantity=Quantity.LEVEL, wiring=plain, chip=chip, clock=rig.clock))
        low_v, high_v = one.named(name).allowed_v
        yield ReferenceSeen(name, None if sample is None else sample.signal, low_v, high_v)


# words

STANDING: Mapping[Standing, str] = {
    Standing.PLAUSIBLE: "plausible",
    Standing.UNLIKELY: "unlikely",
    Standing.DRY: "dry",
    Standing.BEYOND: "no sensor gives this",
    Standing.HUM: "floating, or hum",
    Standing.SILENT: "no answer",
}

TODO: Mapping[Standing, str] = {
    Standing.UNLIKELY: "is it in the reservoir's water? Another probe's input? Look at the circuit's numbers",
    Standing.DRY: "put the cell into the water, look at its plug, and at the board's supply",
    Standing.BEYOND: "look at its plug and cable (open or short-circuited), at the board's supply, and that it "
    "is wired to this input",
    Standing.HUM: "look at its plug and the ground between board and converter; keep it away from mains",
    Standing.SILENT: "look at what the message names",
}


def lines(found: Seen) -> Iterator[str]:
    """The table for a person, and below it what to do."""
    yield "on the wires:"
    for bus in found.buses:
        yield f"  I2C bus {bus.number}: {_bus_words(bus)}"
    for probe in found.probes:
        where = ", ".join(wire_words(wire) for wire in probe.wires)
        yield f"  {probe.name:<18}{probe.driver:<16}{_seen_words(probe):<22}{_meaning_words(probe)}  [{where}]"
    for reference in found.references:
        yield f"  reference {reference.name}: {_reference_words(reference)}"
    yield from _advice(found)


def _bus_words(bus: BusSeen) -> str:
    if bus.trouble:
        return bus.trouble
    parts = [f"{_hex(bus.answering) or 'nothing'} answers"]
    if bus.missing:
        parts.append(f"{_hex(bus.missing)} of the settings does not")
    if bus.unnamed:
        parts.append(f"{_hex(bus.unnamed)} is not in the settings")
    return "; ".join(parts)


def _hex(addresses: Iterable[int]) -> str:
    return ", ".join(f"0x{address:02x}" for address in addresses)


def _seen_words(probe: ProbeSeen) -> str:
    sample = probe.sample
    if sample is None or sample.spread_v is None:
        return "-"
    end = " (end of range)" if sample.clipped else ""
    return f"{sample.signal:.4f} V ±{sample.spread_v * 500.0:.1f} mV{end}"


def _meaning_words(probe: ProbeSeen) -> str:
    signal = probe.meaning.signal
    analog = probe.sample is not None and probe.sample.spread_v is not None
    value = "" if signal is None else f": {_value_words(probe.quantity, signal, analog=analog)}"
    return f"{STANDING[probe.meaning.standing]}{value}"


def _value_words(quantity: Quantity, signal: float, *, analog: bool) -> str:
    if quantity is Quantity.PH:
        return f"{signal:.0f} mV, as of pH {7.0 - signal / 59.16:.1f}"
    if quantity is Quantity.EC:
        return f"{signal:.3f} mS"
    if quantity in (Quantity.TEMPERATURE, Quantity.AIR_TEMPERATURE, Quantity.HUMIDITY, Quantity.LIGHT):
        return words.value(quantity, signal)
    if quantity is Quantity.LEVEL and analog:
        return f"{signal * 100.0:.0f} % of the water"
    return "enough water" if signal else "water low"


def _reference_words(reference: ReferenceSeen) -> str:
    if reference.volts is None:
        return "no answer"
    right = "right" if reference.is_right else "off: the converter or the reference"
    return f"{reference.volts:.3f} V, allowed {reference.low_v:.3f} to {reference.high_v:.3f} V: {right}"


def _advice(found: Seen) -> Iterator[str]:
    for one, other in found.exchanged:
        yield f"exchanged? {one} and {other} would fit at each other's input: follow both wires"
    for probe in found.probes:
        if probe.meaning.standing is not Standing.PLAUSIBLE:
            yield f"{probe.name}: {probe.trouble or TODO[probe.meaning.standing]}"


def plain(found: Seen) -> dict[str, Any]:
    """The same as plain values, for programs."""
    return {
        "fine": found.is_fine,
        "buses": [
            {
                "bus": bus.number,
                "answering": list(bus.answering),
                "missing": list(bus.missing),
                "unnamed": list(bus.unnamed),
                "trouble": bus.trouble,
            }
            for bus in found.buses
        ],
        "probes": [_plain_probe(probe) for probe in found.probes],
        "references": [
            {
                "name": one.name,
                "volts": one.volts,
                "low_v": one.low_v,
                "high_v": one.high_v,
                "right": one.is_right,
            }
            for one in found.references
        ],
        "exchanged": [list(pair) for pair in found.exchanged],
    }


def _plain_probe(probe: ProbeSeen) -> dict[str, Any]:
    sample = probe.sample
    analog = sample is not None and sample.spread_v is not None
    return {
        "name": probe.name,
        "driver": probe.driver,
        "wires": list(probe.wires),
        "volts": sample.signal if sample is not None and analog else None,
        "spread_v": None if sample is None else sample.spread_v,
        "standing": probe.meaning.standing.value,
        "signal": probe.meaning.signal,
        "trouble": probe.trouble,
    }
