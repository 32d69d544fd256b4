"""Each fault of a probe on the school garden, with acid needed and not: found when, and at what cost."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from daemon.values import Condition, Quantity
from sim_hw.ads1115_chip import Input
from sim_hw.faults import FaultName
from tests.at_the_tank import PASS_S, TO_A_DOSE, AtTheTank, at_the_tank
from tests.hazards.kept import PH_UP_LINE, befall, true_ph

CHIP, PH_INPUT, EC_INPUT = 0x48, 0, 1
CRACKED_V = 1.65 - 0.018  # the amplifier's middle and 6 mV of offset
PUMP_NOISE_V = 0.15  # on the pH input while a pump's line is high: 0.8 pH
GROSSLY_WRONG_PH = 0.5
WATCHED_S = 1.5 * 3600.0
NEEDED_PH, RIGHT_PH = 7.2, 5.98

Begin = Callable[[AtTheTank], None]


@dataclass(frozen=True, slots=True)
class Case:
    """One fault.

    begin: lets it befall; of: the probe it is at; found: whether one probe alone can show it.
    """

    name: str
    begin: Begin
    of: Quantity = Quantity.PH
    found: bool = True


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of it.

    delay_s: from its begin to the first look that carries no dose, or the lock; None: it was not found.
    wrong: doses on a pH off by more than 0.5; doses: all of this time. alarm: the key of the first new one.
    """

    delay_s: float | None
    wrong: int
    doses: int
    verdict: str
    locked: bool
    alarm: str


def fault(name: FaultName, target: str = "ph", **more: float) -> Begin:
    """A named fault of the bench."""
    return lambda at: befall(at, name, target, **more)


def inputs_of(at: AtTheTank) -> list[Input]:
    """What the converter's inputs are wired to; may be changed."""
    return at.bench.i2c(1).chips[CHIP].inputs


def cracked(at: AtTheTank) -> None:
    """The bulb breaks: near 0 mV from now on, with a living noise."""
    chance = Random(7)
    inputs_of(at)[PH_INPUT] = lambda now_s, lasting_s: CRACKED_V + chance.gauss(0.0, 0.0005)


def exchanged(at: AtTheTank) -> None:
    """The plugs of pH and EC change places."""
    inputs = inputs_of(at)
    inputs[PH_INPUT], inputs[EC_INPUT] = inputs[EC_INPUT], inputs[PH_INPUT]


def pump_noise(at: AtTheTank) -> None:
    """A pump's motor disturbs the pH input for as long as its line is high."""
    clean = inputs_of(at)[PH_INPUT]
    inputs_of(at)[PH_INPUT] = lambda now_s, lasting_s: clean(now_s, lasting_s) + PUMP_NOISE_V * at.pump_is_on()


CASES = (
    Case("pH probe unplugged", fault(FaultName.PROBE_UNPLUGGED)),
    Case("pH probe dry", fault(FaultName.PROBE_DRY)),
    Case("pH bulb cracked: near 0 mV", cracked),
    Case("pH reading frozen", fault(FaultName.PROBE_STUCK)),
    Case(
        "pH probe coated: 63 % of a change after 10 min", fault(FaultName.PROBE_COATED, size=600.0), found=False
    ),
    Case("pH probe drifting, -3 mV/h", fault(FaultName.PROBE_DRIFTING, size=-3.0), found=False),
    Case("pH probe drifting, -15 mV/h", fault(FaultName.PROBE_DRIFTING, size=-15.0), found=False),
    Case("pH and EC plugs exchanged", exchanged),
    Case("50 Hz hum of 20 mV at the pH input", fault(FaultName.PROBE_HUM, size=20.0), found=False),
    Case("50 Hz hum of 1 V at the pH input", fault(FaultName.PROBE_HUM, size=1000.0)),
    Case("pump noise of 150 mV at the pH input", pump_noise, found=False),
    Case("EC probe unplugged", fault(FaultName.PROBE_UNPLUGGED, "ec"), Quantity.EC),
    Case("temperature probe unplugged", fault(FaultName.PROBE_UNPLUGGED, "temperature"), Quantity.TEMPERATURE),
    Case("converter silent", fault(FaultName.CHIP_SILENT)),
    Case("bus held by another", fault(FaultName.BUS_BUSY_FOREVER)),
)


def befallen(case: Case, *, needed: bool) -> Outcome:
    """The case, lived through for WATCHED_S. needed: it begins while acid is asked for; else pH is right."""
    with (
        TemporaryDirectory() as folder,
        at_the_tank(Path(folder), tank={"start_ph": NEEDED_PH if needed else RIGHT_PH}) as at,
    ):
        at.passes(TO_A_DOSE)
        known = set(at.alarms())
        case.begin(at)
        return _watched(at, case, known)


def _watched(at: AtTheTank, case: Case, known: set[str]) -> Outcome:
    began_s, before = at.clock.monotonic_s(), _doses(at)
    seen, wrong = before, 0
    delay_s: float | None = None
    said, alarm = "", ""
    while at.clock.monotonic_s() - began_s < WATCHED_S:
        at.passes(1)
        verdict, locked = at.bed().verdicts[case.of], at.bed().condition is Condition.LOCKED
        if _doses(at) > seen:
            seen = _doses(at)
            ph = at.bed().verdicts[Quantity.PH].reading
            wrong += ph is None or abs(ph.value - true_ph(at)) > GROSSLY_WRONG_PH
        if delay_s is None and (locked or not verdict.usable):
            delay_s = at.clock.monotonic_s() - PASS_S - began_s
            said = "locked" if verdict.usable else verdict.reason.value.replace("_", " ")
        alarm = alarm or next(iter(at.alarms().keys() - known), "")
    return Outcome(delay_s, wrong, seen - before, said, at.bed().condition is Condition.LOCKED, alarm)


def _doses(at: AtTheTank) -> int:
    return len(at.runs()) + len(at.runs(PH_UP_LINE))


def page() -> str:
    """The grid as a page."""
    return "\n".join((*HEAD, *_rows(), *FOOT)) + "\n"


HEAD = (
    "# What a fault of a probe costs before it is found",
    "",
    "Made by `python -m tests.faulty --write`; not edited by hand.",
    "",
    "The whole program on the simulated chips of the invented school garden (60 L, a pass every 10 s), an hour",
    "and a half from the moment that the fault begins: once while acid is needed (pH 7.2), once while pH is",
    "right (5.98). Delay: to the first look that no dose may rest on, or the lock. Wrong doses: on a pH off by",
    "more than 0.5; in brackets all doses of that time.",
    "",
    "| fault | acid is needed: delay | seen as | wrong doses | pH is right: delay | seen as | wrong doses |",
    "|---|---|---|---|---|---|---|",
)
FOOT = (
    "",
    "A cracked bulb gives a steady, living voltage. It is doubted as a jump, then believed, as new water would",
    "be; but after a jump that nobody told of the first dose must show, and this one does not. Where the reading",
    "happens to be near the water's own there is no jump, and it takes up to three doses that do not show.",
    "Exchanged plugs are known by their volts: each input shows what the other one showed before. A second probe",
    "disagrees at once.",
    "",
    "A coated probe is slow, not wrong: doses wait for readings that have come to rest. A pump's noise does not",
    "show, since nobody looks while one turns. A slow drift looks like water that changes: with one probe it is",
    "found by how far pH comes back by itself, the sooner the older the water; two probes show it sooner still",
    "([hazards.md](hazards.md), H18).",
)


def _rows() -> Iterator[str]:
    for case in CASES:
        cells = [cell for needed in (True, False) for cell in _cells(befallen(case, needed=needed))]
        yield f"| {case.name} | {' | '.join(cells)} |"


def _cells(outcome: Outcome) -> tuple[str, str, str]:
    delay = "not found" if outcome.delay_s is None else _span(outcome.delay_s)
    seen = outcome.verdict or "–"
    if outcome.locked and outcome.verdict != "locked":
        seen = f"{seen}; locked"
    return delay, seen, f"{outcome.wrong} ({outcome.doses})"


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 300.0 else f"{seconds / 60.0:.0f} min"
