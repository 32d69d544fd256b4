"""States of an invented garden for the tests of the links."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from daemon.values import (
    Alarm,
    AlarmState,
    Cap,
    CapUse,
    Condition,
    DoseReason,
    DoseRequest,
    Entry,
    Outcome,
    Priority,
    Quality,
    Quantity,
    Reading,
    Refusal,
    ReservoirState,
    Role,
    Sample,
    State,
    Verdict,
    VerdictReason,
)

MORNING = datetime(2026, 3, 1, 6, 30, tzinfo=UTC)


def good(quantity: Quantity, value: float) -> Verdict:
    """A trusted reading."""
    reading = Reading(quantity, value, 100.0, Sample(quantity, 100.0, 1.0))
    return Verdict(quantity, Quality.GOOD, VerdictReason.FINE, reading)


def unknown(quantity: Quantity) -> Verdict:
    """A probe that does not answer."""
    return Verdict(quantity, Quality.BAD, VerdictReason.NO_ANSWER, note="no chip at 0x48")


def entry(number: int, ml: float) -> Entry:
    """A dose of pH down that went well."""
    return Entry(
        number,
        "bed1",
        Role.PH_DOWN,
        ml,
        ml,
        DoseReason.PH_HIGH,
        {"ph": 6.8},
        MORNING,
        True,
        "b",
        90.0,
        Outcome.DONE,
    )


def reservoir(name: str = "bed1", **changes: Any) -> ReservoirState:
    """One reservoir that keeps itself."""
    request = DoseRequest(name, Role.PH_DOWN, 2.0, DoseReason.PH_HIGH)
    whole = ReservoirState(
        name=name,
        title=name.title(),
        condition=Condition.KEEPING,
        condition_reason="",
        condition_until=None,
        verdicts={
            Quantity.PH: good(Quantity.PH, 6.0249),
            Quantity.EC: good(Quantity.EC, 1.2),
            Quantity.TEMPERATURE: good(Quantity.TEMPERATURE, 19.96),
            Quantity.LEVEL: good(Quantity.LEVEL, 1.0),
        },
        bands={Quantity.PH: (5.5, 6.5)},
        waiting_for="mixing",
        last_doses=(entry(7, 2.5), entry(6, 1.0)),
        last_decision=Refusal(request, Cap.GAP, {"gap_s": 360.0}),
        caps={Role.PH_DOWN: CapUse(2.5, 60.0, 3.5, 150.0, 996.5)},
    )
    return replace(whole, **changes)


def state(passes: int = 1, *reservoirs: ReservoirState, alarms: tuple[Alarm, ...] = ()) -> State:
    """One snapshot; with no reservoirs given, of one that keeps itself."""
    return State(
        passes=passes,
        at_s=100.0 + passes,
        utc=MORNING,
        started_utc=MORNING,
        rig="sim_hw.bench:open_rig",
        reservoirs={each.name: each for each in reservoirs or (reservoir(),)},
        alarms=alarms,
        version="0.1.0",
    )


def with_ph(passes: int, ph: float) -> State:
    """One snapshot with that pH."""
    bed = reservoir()
    return state(passes, replace(bed, verdicts={**bed.verdicts, Quantity.PH: good(Quantity.PH, ph)}))


def with_unknown_ph(passes: int) -> State:
    """One snapshot whose pH probe does not answer."""
    bed = reservoir()
    return state(passes, replace(bed, verdicts={**bed.verdicts, Quantity.PH: unknown(Quantity.PH)}))


def alarm(key: str = "bed1-ph-probe", priority: Priority = Priority.HIGH, text: str = "pH probe gone") -> Alarm:
    """One alarm that nobody has acknowledged."""
    return Alarm(key, "probe", "bed1", priority, AlarmState.UNACKNOWLEDGED, text, MORNING, 100.0)
