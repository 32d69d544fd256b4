"""The box as one Homie 5 device: what it declares, and the text of each property.

Source: Homie convention 5 (homieiot/convention, commit 063301d of 2024-10-17).

    box                 heartbeat, version, rig, sampled-at
    <reservoir>-probe   per quantity: its value, its verdict, the reason in words
    <reservoir>-dosing  condition, hold (the only settable one), why it waits, last dose and decision, caps

Reservoirs are nodes of one root device, not child devices: a connection has one last will, so only a
root's `$state` can be true when the box dies.

An unknown value is never made up and never deleted while declared. A property is declared from its first
known value on; when the value is later unknown the last one stays, with its `-verdict` saying `bad`.
Before the first known value only the verdict and the reason are declared.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from daemon import words
from daemon.alarm.life import is_silent
from daemon.link.plain import utc_text
from daemon.values import (
    Alarm,
    CapUse,
    Condition,
    Entry,
    Priority,
    Quality,
    Quantity,
    ReservoirState,
    Role,
    State,
    Verdict,
)

HEARTBEAT = "box/heartbeat"
PATH_TEST = "$alert/lo-path-test"
PATH_TEST_TEXT = "A test of the way that alerts take; nothing is wrong, and it ends by itself."
NONCE, REQUEST, RESULT = "box/nonce", "box/request/set", "box/result"
HALF = 0.5  # of the nominal volume: more is enough
LONGEST_TEXT = 1000  # characters; far below what any broker takes
HOLD = re.compile(r"(?P<reservoir>[a-z0-9-]+)-dosing/hold/set")
_NOT_IN_IDS = re.compile(r"[^a-z0-9]+")
PRIORITY = {Priority.HIGH: "hi", Priority.MEDIUM: "med", Priority.LOW: "lo"}


@dataclass(frozen=True, slots=True)
class Property:
    """One property of a node: what is declared of it, and its text now (None: not known)."""

    node: str
    name: str
    declared: Mapping[str, Any]
    text: str | None

    @property
    def path(self) -> str:
        """Its topic below the device's own."""
        return f"{self.node}/{self.name}"


_TITLE = {
    Quantity.PH: "pH",
    Quantity.EC: "EC at 25 °C",
    Quantity.TEMPERATURE: "Water temperature",
    Quantity.LEVEL: "Water level",
    Quantity.AIR_TEMPERATURE: "Air temperature",
    Quantity.HUMIDITY: "Relative humidity",
    Quantity.LIGHT: "Light",
    Quantity.PH_2: "Second pH probe",
    Quantity.EC_2: "Second EC probe, at 25 °C",
    Quantity.TEMPERATURE_2: "Second water temperature",
}
_UNIT = {  # pH has none
    Quantity.EC: "mS/cm",
    Quantity.TEMPERATURE: "°C",
    Quantity.AIR_TEMPERATURE: "°C",
    Quantity.HUMIDITY: "%",
    Quantity.LIGHT: "µmol/(m² s)",
}
_RANGE = {
    Quantity.PH: (0, 14),
    Quantity.EC: (0, 20),
    Quantity.TEMPERATURE: (-20, 100),
    Quantity.AIR_TEMPERATURE: (-50, 150),
    Quantity.HUMIDITY: (0, 100),
    Quantity.LIGHT: (-20, 3000),
}


def values(state: State) -> dict[str, str]:
    """Text of each property whose value is known, by topic below the device's own."""
    return {each.path: each.text for each in _properties(state) if each.text is not None}


def description(title: str, state: State, known: Collection[str], version: int) -> dict[str, Any]:
    """`$description` with the properties whose path is in `known`; nothing in it may be null."""
    nodes: dict[str, Any] = {}
    titles = _node_titles(state)
    for each in _properties(state):
        if each.path in known or not each.declared.get("retained", True):
            node = nodes.setdefault(each.node, {"name": titles[each.node], "properties": {}})
            node["properties"][each.name] = dict(each.declared)
    return {"homie": "5.0", "version": version, "name": title, "nodes": nodes}


def alerts(state: State) -> dict[str, str]:
    """Text of each alarm that is to call somebody, by `$alert/<id>`; the id begins with `hi-`, `med-`, `lo-`."""
    told = (alarm for alarm in state.alarms if not is_silent(alarm))
    return {f"$alert/{alert_id(alarm)}": _text(alarm.text or alarm.kind) for alarm in told}


def unheard_alerts(state: State) -> dict[str, str]:
    """Those of high priority that nobody has acknowledged, likewise."""
    unheard = tuple(alarm for alarm in state.alarms if alarm.priority is Priority.HIGH and alarm.unheard)
    return alerts(replace(state, alarms=unheard))


def alert_id(alarm: Alarm) -> str:
    """`hi-bed1-ph-probe`: the priority and the alarm's key, in the characters a topic level may hold."""
    key = _NOT_IN_IDS.sub("-", alarm.key.lower()).strip("-")
    return f"{PRIORITY[alarm.priority]}-{key}"


def set_paths(state: State) -> list[str]:
    """The `/set` topics to listen to, below the device's own."""
    return [*(f"{name}-dosing/hold/set" for name in state.reservoirs), REQUEST]


def amount_text(amount: float, decimals: int) -> str | None:
    """Digits, a point and perhaps a minus, never an exponent; None where the number is not finite."""
    if not math.isfinite(amount):
        return None
    return f"{round(amount, decimals) + 0.0:.{decimals}f}"  # + 0.0 turns -0.0 into 0.0


def _node_titles(state: State) -> dict[str, str]:
    titles = {"box": "The box"}
    for name, reservoir in state.reservoirs.items():
        titles[f"{name}-probe"] = f"{reservoir.title}: probes"
        titles[f"{name}-dosing"] = f"{reservoir.title}: dosing"
    return titles


def _properties(state: State) -> Iterator[Property]:
    for name, reservoir in state.reservoirs.items():
        for quantity, verdict in reservoir.verdicts.items():
            yield from _probe(f"{name}-probe", quantity, verdict)
        yield from _deficit(f"{name}-probe", reservoir)
        yield from _daily_light(f"{name}-probe", reservoir)
        yield from _dosing(f"{name}-dosing", reservoir)
        for role, use in reservoir.caps.items():
            yield from _pump(f"{name}-dosing", role, use)
    yield from _box(state)  # last: sampled-at follows the values it dates


def _box(state: State) -> Iterator[Property]:
    yield _string("box", "version", "Program version", state.version)
    yield _string("box", "rig", "Rig", state.rig)
    yield _string("box", "summary", "The last day", state.summary)
    yield _string("box", "next-task", "Next task in the garden", state.next_task)
    yield Property("box", "nonce", {"name": "To be named in a command", "datatype": "string"}, None)
    once = {"datatype": "json", "retained": False}
    yield Property("box", "request", {"name": "Command", "settable": True, **once}, None)
    yield Property("box", "result", {"name": "What came of a command", **once}, None)
    heartbeat = {"name": "Passes done", "datatype": "integer", "format": "0:"}
    yield Property("box", "heartbeat", heartbeat, str(state.passes))
    sampled = {"name": "Sampled at", "datatype": "datetime"}
    yield Property("box", "sampled-at", sampled, utc_text(state.utc))


def _probe(node: str, quantity: Quantity, verdict: Verdict) -> Iterator[Property]:
    name, title = _id(quantity), _TITLE[quantity]
    # the verdict goes out before the value: nobody sees a doubtful value as good
    yield _enum(node, f"{name}-verdict", f"{title}: verdict", tuple(Quality), verdict.quality)
    yield _string(node, f"{name}-reason", f"{title}: reason", words.why(verdict))
    amount = math.nan if verdict.reading is None else verdict.reading.value
    if quantity is Quantity.LEVEL:  # of a level sender as of a float switch
        yield _level(node, title, amount)
    else:
        yield _reading(node, quantity, amount)


def _level(node: str, title: str, share: float) -> Property:
    level = _enum(node, "level", title, ("low", "enough"), "enough" if share > HALF else "low")
    return level if math.isfinite(share) else replace(level, text=None)


def _reading(node: str, quantity: Quantity, amount: float) -> Property:
    """Unknown (text None) also where the declared range does not hold the amount."""
    lowest, highest = _RANGE[quantity.kind]
    declared = {"name": _TITLE[quantity], "datatype": "float", "format": f"{lowest}:{highest}"}
    if quantity.kind in _UNIT:
        declared["unit"] = _UNIT[quantity.kind]
    text = amount_text(amount, words.DECIMALS[quantity.kind]) if lowest <= amount <= highest else None
    return Property(node, _id(quantity), declared, text)


def _id(quantity: Quantity) -> str:
    return quantity.value.replace("_", "-")


def _deficit(node: str, of: ReservoirState) -> Iterator[Property]:
    """How dry the air is, where both that it takes have a probe."""
    if {Quantity.AIR_TEMPERATURE, Quantity.HUMIDITY} <= of.verdicts.keys():
        declared = {"name": "Vapour pressure deficit", "datatype": "float", "format": "0:20", "unit": "kPa"}
        text = None if of.deficit_kpa is None else amount_text(of.deficit_kpa, 2)
        yield Property(node, "vapour-pressure-deficit", declared, text)


def _daily_light(node: str, of: ReservoirState) -> Iterator[Property]:
    """What fell in the last day, where there is a light sensor."""
    if Quantity.LIGHT in of.verdicts:
        declared = {
            "name": "Light of the last 24 hours",
            "datatype": "float",
            "format": "0:300",
            "unit": "mol/m²",
        }
        text = None if of.daily_light_mol is None else amount_text(of.daily_light_mol, 1)
        yield Property(node, "daily-light", declared, text)


def _dosing(node: str, of: ReservoirState) -> Iterator[Property]:
    yield _enum(node, "condition", "Condition", tuple(Condition), of.condition)
    yield _string(node, "condition-reason", "Why this condition", of.condition_reason)
    hold = {"name": "Hold dosing", "datatype": "boolean", "settable": True}
    yield Property(node, "hold", hold, str(of.condition is Condition.HELD).lower())
    yield _string(node, "waiting-for", "Waiting for", of.waiting_for)
    decision = words.decision(of.last_decision) if of.last_decision else ""
    yield _string(node, "last-decision", "Last decision", decision)
    dose = {"name": "Last dose", "datatype": "json"}
    yield Property(node, "last-dose", dose, _last_dose(of.last_doses))


def _last_dose(entries: tuple[Entry, ...]) -> str:
    """One JSON object, empty where nothing was dosed yet."""
    if not entries:
        return "{}"
    last = max(entries, key=lambda entry: entry.number)
    dose = {
        "number": last.number,
        "utc": utc_text(last.utc),
        "pump": last.pump.value,
        "ml": round(last.ml, 2) if math.isfinite(last.ml) else None,
        "reason": last.reason.value,
        "outcome": last.outcome.value,
    }
    return json.dumps(dose, allow_nan=False)


def _pump(node: str, role: Role, use: CapUse) -> Iterator[Property]:
    pump, title = role.value.replace("_", "-"), words.ROLE[role]
    yield _millilitres(node, f"{pump}-last-hour", f"{title}: last hour", use.last_hour_ml)
    yield _millilitres(node, f"{pump}-last-day", f"{title}: last 24 h", use.last_day_ml)
    yield _millilitres(node, f"{pump}-bottle-left", f"{title}: left in the bottle", use.bottle_left_ml)


def _millilitres(node: str, name: str, title: str, amount_ml: float) -> Property:
    return Property(node, name, {"name": title, "datatype": "float", "unit": "mL"}, amount_text(amount_ml, 1))


def _enum(node: str, name: str, title: str, allowed: tuple[str, ...], text: str) -> Property:
    return Property(node, name, {"name": title, "datatype": "enum", "format": ",".join(allowed)}, str(text))


def _string(node: str, name: str, title: str, text: str) -> Property:
    return Property(node, name, {"name": title, "datatype": "string"}, _text(text))


def _text(text: str) -> str:
    """A zero-length payload would delete the topic, so an empty string is the one byte 0."""
    return text[:LONGEST_TEXT] or "\0"
