"""The rig: what is wired where, how each input does, what the box is like, what stands against a fault. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from config.plausible import wire_words
from config.settings import Probe, Reservoir, Settings
from daemon import words
from daemon.desk.box import Box
from daemon.desk.reach import CALLS_NOBODY, WORKS, Reach
from daemon.page.markup import Markup, element, joined
from daemon.page.views.away import to_away
from daemon.page.views.signs import QUALITY
from daemon.values import Quality, Quantity, ReservoirState, Role, State, Verdict
from drivers.barriers import FREE_MB, Barrier, Standing
from drivers.box import Facts, StateFolder

_WORKS = {True: "●", False: "✕", None: "◌"}
_STANDING = {Standing.OK: "●", Standing.MISSING: "✕", Standing.UNKNOWN: "◌"}


def rig(state: State, settings: Settings, box: Box, ways: Sequence[Reach], page_version: str) -> Markup:
    """All of it.

    ways: by which it calls people. page_version: of the program that makes this page, which is another after
    half an upgrade.
    """
    return joined(
        element("h1", "The rig"),
        element(
            "p", f"{settings.site.name}, a pass every {settings.site.pass_every_s:g} s, rig {settings.rig.open}."
        ),
        *(
            _reservoir(of, settings.reservoir[name])
            for name, of in state.reservoirs.items()
            if name in settings.reservoir
        ),
        _shared(settings),
        _reach(ways),
        _barriers(box.barriers),
        _box(state, box, page_version),
    )


def _reservoir(of: ReservoirState, table: Reservoir) -> Markup:
    inputs = [
        _input(words.QUANTITY[Quantity(name)], _wired(probe), *_health(of.verdicts.get(Quantity(name))))
        for name, probe in table.probe.items()
    ]
    contacts = [
        _input(name, f"contact at GPIO {contact.line}", f"closed means {contact.closed_means}")
        for name, contact in (("circulation", table.circulation), ("tray", table.tray))
        if contact is not None
    ]
    pumps = [element("li", *_pump(of, Role(role), pump.line)) for role, pump in table.pump.items()]
    return element(
        "section",
        element("h2", f"{of.title}, {table.volume_l:g} L, {table.system.replace('_', ' ')}"),
        element("h3", "Inputs"),
        element("ul", *inputs, *contacts, class_="inputs"),
        element("h3", "Pumps") if pumps else "",
        element("ul", *pumps) if pumps else element("p", "It has no pump: it is only watched."),
    )


def _input(name: str, wired: str, *health: str) -> Markup:
    return element(
        "li",
        element("strong", name),
        *(element("span", each) for each in health if each),
        element("span", wired, class_="why"),
    )


def _wired(probe: Probe) -> str:
    wires = sorted(wire_words(wire) for wire in probe.wired().claims())
    return ": ".join((probe.driver, ", ".join(wires))) if wires else probe.driver


def _health(verdict: Verdict | None) -> tuple[str, ...]:
    """How it does, what it shows now, by which calibration."""
    if verdict is None:
        return ("◌ not looked at yet",)
    text = f"{QUALITY[verdict.quality]} {verdict.quality.value}"
    if verdict.quality is not Quality.GOOD:
        text = f"{text}: {words.why(verdict)}"
    if verdict.reading is None:
        return (text,)
    volts, day = verdict.reading.sample.volts, verdict.reading.calibration
    shown = [f"{volts:.4f} V now" if volts is not None else "", f"calibrated on {day}" if day else ""]
    return text, ", ".join(filter(None, shown))


def _pump(of: ReservoirState, role: Role, line: int) -> Iterator[str]:
    yield element("strong", words.ROLE[role])
    yield f" at GPIO {line}"
    if (pump := of.pumps.get(role)) is not None:
        yield f", {pump.ml_per_s:.3g} mL/s{words.RATE[pump.standing]}"
        yield f", measured on {pump.measured_on}" if pump.measured_on else ""
        yield f", tube run {pump.tube_h:.1f} h" if pump.tube_h is not None else ""
    if (use := of.caps.get(role)) is not None:
        yield f", {use.bottle_left_ml:.0f} mL left in the bottle"


def _shared(settings: Settings) -> Markup:
    """What all reservoirs share: the cut-out, the signal, known voltages."""
    lines = [
        f"reference {name}: {', '.join(sorted(wire_words(wire) for wire in one.claims()))}"
        for name, one in settings.reference.items()
    ]
    if settings.cut_out is not None:
        lines.append(f"cut-out of all pumps' supply: GPIO {settings.cut_out.line}, on for each run only")
    if settings.signal is not None:
        lines.append(f"lamp or buzzer: GPIO {settings.signal.line}")
    if not lines:
        return Markup("")
    return element(
        "section", element("h2", "For all of them"), element("ul", *(element("li", one) for one in lines))
    )


def _reach(ways: Sequence[Reach]) -> Markup:
    heading, ahead = element("h2", "How it calls you"), element("p", to_away("Leaving it alone for some days"))
    if not ways:
        return element("section", heading, element("p", f"! {CALLS_NOBODY}"), ahead)
    rows = [
        element(
            "li",
            element("strong", f"{_WORKS[way.works]} {way.name}: {WORKS[way.works]}"),
            element("span", way.said),
        )
        for way in ways
    ]
    return element("section", heading, element("ul", *rows, class_="barriers"), ahead)


def _barriers(barriers: tuple[Barrier, ...]) -> Markup:
    heading = element("h2", "What stands against a pump that runs on")
    if not barriers:
        told = "This rig is simulated, or not a Raspberry Pi's: there are no barriers to be seen."
        return element("section", heading, element("p", told))
    rows = [element("li", *_barrier(one)) for one in barriers]
    note = element("p", "What is ok is set up, not tested: pull the plug once and see.")
    return element("section", heading, element("ul", *rows, class_="barriers"), note)


def _barrier(of: Barrier) -> Iterator[Markup]:
    yield element("strong", f"{_STANDING[of.standing]} {of.name}: {of.standing.value}")
    yield element("span", of.seen)
    if of.todo:
        yield element("span", f"To do: {of.todo}", class_="why")


def _box(state: State, box: Box, page_version: str) -> Markup:
    told: Mapping[str, str] = {
        "Program": _versions(state.version, page_version),
        "Runs since": f"{_moment(state.started_utc)}, {state.passes} passes",
        "Box": f"{box.facts.model or 'no Raspberry Pi'}, {box.kernel}, Python {box.python}",
        "Clock": _clock(box),
        "Disk": _disk(box.facts.state),
        "Runs as": f"{box.facts.user.name}{'' if box.facts.unit else ', not by the service manager'}",
    }
    facts = [joined(element("dt", name), element("dd", text)) for name, text in told.items()]
    return element("section", element("h2", "The box"), element("dl", *facts))


def _versions(daemon: str, page: str) -> str:
    if daemon == page:
        return f"Evenwater {daemon}"
    return f"! Evenwater {daemon}, but this page is of {page}: restart both after an upgrade"


def _clock(box: Box) -> str:
    right = "● known to be right" if box.utc_trusted else "◐ not known to be right yet"
    return f"{_moment(box.utc)}, {right}, {_kept(box.facts)}"


def _kept(facts: Facts) -> str:
    return "a battery keeps it" if facts.battery_clock else "no battery keeps it while the box is off"


def _disk(of: StateFolder) -> str:
    room = "●" if of.free_mb >= FREE_MB and not of.read_only else "✕"
    kind = f" ({of.file_system})" if of.file_system else ""
    locked = ", read-only" if of.read_only else ""
    return f"{room} {of.free_mb / 1000.0:.1f} GB free{locked} for {of.path}{kind}"


def _moment(utc: datetime) -> str:
    return f"{utc:%d %b %Y %H:%M:%S} UTC"
