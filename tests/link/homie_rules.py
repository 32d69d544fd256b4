"""What Homie 5 asks of a device, written from the convention and not from our code.

Source: Homie convention 5 (homieiot/convention, commit 063301d of 2024-10-17): topic IDs, description,
payload formats.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from typing import Any

ID = re.compile(r"[a-z0-9-]+")
DEVICE_FIELDS = {"homie", "version", "name", "type", "nodes", "children", "extensions", "root", "parent"}
NODE_FIELDS = {"name", "type", "properties"}
PROPERTY_FIELDS = {"name", "datatype", "format", "settable", "retained", "unit"}
DATATYPES = {"integer", "float", "boolean", "string", "enum", "color", "datetime", "duration", "json"}
STATES = {"init", "ready", "disconnected", "sleeping", "lost"}


def faults(description: Mapping[str, Any]) -> list[str]:
    """Everything that a strict reader would drop the device, a node or a property for."""
    return [*_device_faults(description), *_null_faults(description, "")]


def properties(description: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    """What is declared, by `<node>/<property>`."""
    return {
        f"{node}/{name}": declared
        for node, of in description.get("nodes", {}).items()
        for name, declared in of.get("properties", {}).items()
    }


def fits(declared: Mapping[str, Any], payload: bytes) -> bool:
    """Whether a payload is a legal value of a declared property."""
    if not payload or payload.startswith(b"\xef\xbb\xbf"):
        return False
    return _LEGAL[declared["datatype"]](payload.decode(), declared.get("format", ""))


def _integer(text: str, limits: str) -> bool:
    return bool(re.fullmatch(r"-?\d+", text)) and _in_range(int(text), limits)


def _float(text: str, limits: str) -> bool:
    return bool(re.fullmatch(r"-?\d+(\.\d*)?([eE]-?\d+)?", text)) and _in_range(float(text), limits)


_LEGAL: Mapping[str, Callable[[str, str], bool]] = {
    "string": lambda text, _: text == "\0" or "\0" not in text,
    "boolean": lambda text, _: text in ("true", "false"),
    "enum": lambda text, limits: text in limits.split(","),
    "integer": _integer,
    "float": _float,
    "datetime": lambda text, _: datetime.fromisoformat(text).tzinfo is not None,
    "json": lambda text, _: isinstance(json.loads(text), dict | list),
}


def _in_range(amount: float, limits: str) -> bool:
    low, _, high = limits.partition(":")
    high = high.partition(":")[0]
    return (not low or amount >= float(low)) and (not high or amount <= float(high))


def _device_faults(description: Mapping[str, Any]) -> Iterator[str]:
    yield from _unknown("device", description, DEVICE_FIELDS)
    if not re.fullmatch(r"5\.\d+", str(description.get("homie"))):
        yield "homie must be 5.x"
    version = description.get("version")
    if not isinstance(version, int) or isinstance(version, bool):
        yield "version must be an integer"
    if "root" in description or "parent" in description:
        yield "a root device has neither root nor parent"
    for node, of in description.get("nodes", {}).items():
        if not ID.fullmatch(node):
            yield f"node {node} is no ID"
        yield from _unknown(node, of, NODE_FIELDS)
        for name, declared in of.get("properties", {}).items():
            yield from _property_faults(f"{node}/{name}", name, declared)


def _property_faults(path: str, name: str, declared: Mapping[str, Any]) -> Iterator[str]:
    yield from _unknown(path, declared, PROPERTY_FIELDS)
    if not ID.fullmatch(name):
        yield f"{path} is no ID"
    datatype, limits = declared.get("datatype"), declared.get("format")
    if datatype not in DATATYPES:
        yield f"{path}: datatype {datatype}"
    if datatype == "enum":
        allowed = (limits or "").split(",")
        if "" in allowed or len(set(allowed)) != len(allowed):
            yield f"{path}: enum format {limits!r}"
    if datatype in ("integer", "float") and limits is not None and not _is_range(limits):
        yield f"{path}: range {limits!r}"
    for flag in ("settable", "retained"):
        if flag in declared and not isinstance(declared[flag], bool):
            yield f"{path}: {flag} must be a boolean"


def _is_range(limits: str) -> bool:
    number = r"(-?\d+(?:\.\d+)?)?"
    found = re.fullmatch(rf"{number}:{number}(?::(\d+(?:\.\d+)?))?", limits)
    if found is None:
        return False
    low, high = found[1], found[2]
    return low is None or high is None or float(low) <= float(high)


def _unknown(where: str, of: Mapping[str, Any], known: set[str]) -> Iterator[str]:
    yield from (f"{where}: unknown field {name}" for name in of.keys() - known)


def _null_faults(of: Any, where: str) -> Iterator[str]:
    if of is None:
        yield f"{where} is null"
    elif isinstance(of, Mapping):
        for name, inner in of.items():
            yield from _null_faults(inner, f"{where}/{name}")
