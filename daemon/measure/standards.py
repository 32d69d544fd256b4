"""What a calibration solution is worth at its temperature, from `config/standards.toml`.

The table ships with the program and is read once. It names the source of each row and whether the
figures were confirmed or come from memory.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from daemon.values import Quantity

_VALUES_KEY = {Quantity.PH: "ph", Quantity.EC: "ms_per_cm"}


@dataclass(frozen=True, slots=True)
class Standard:
    """One solution: its values at rising temperatures (pH, or mS/cm as it is at that temperature)."""

    name: str
    about: str
    source: str
    status: str
    temperatures_c: tuple[float, ...]
    values: tuple[float, ...]


def ph_standard(name: str, temperature_c: float) -> float:
    """pH of a buffer at its own temperature, e.g. `ph_standard("7.00", 20.0)` is 7.02.

    name: "4.01", "7.00", "10.01" as on the bottle, or a primary buffer; see `names(Quantity.PH)`.
    Raises ValueError for an unknown name (listing the known) or a temperature outside 0..50 °C.
    """
    return _at(standard(Quantity.PH, name), temperature_c)


def ec_standard(name: str, temperature_c: float) -> float:
    """Conductivity of a standard in mS/cm at its own temperature (not brought to 25 °C).

    name: "1.413" (KCl 0.01 mol/L), "2.765", "12.88" as on the bottle; see `names(Quantity.EC)`.
    Raises ValueError as `ph_standard`.
    """
    return _at(standard(Quantity.EC, name), temperature_c)


def names(quantity: Quantity) -> tuple[str, ...]:
    """The standards known for pH or EC; empty for a quantity that is not calibrated in solutions."""
    return tuple(_table().get(quantity, {}))


def standard(quantity: Quantity, name: str) -> Standard:
    """One row of the table, with its source. Raises ValueError listing the known names."""
    found = _table().get(quantity, {}).get(name)
    if found is None:
        known = ", ".join(names(quantity)) or "none"
        raise ValueError(f'{quantity.value} standard "{name}": not known; known are: {known}')
    return found


def _at(of: Standard, temperature_c: float) -> float:
    """Straight-line interpolation between the two nearest temperatures."""
    lowest_c, highest_c = of.temperatures_c[0], of.temperatures_c[-1]
    if not (lowest_c <= temperature_c <= highest_c):
        raise ValueError(
            f"standard {of.name} at {temperature_c} °C: its table goes from {lowest_c:g} to {highest_c:g} °C; "
            "bring the bottle near the temperature of the water"
        )
    above = min(bisect_right(of.temperatures_c, temperature_c), len(of.temperatures_c) - 1)
    below = above - 1
    step_c = of.temperatures_c[above] - of.temperatures_c[below]
    share = (temperature_c - of.temperatures_c[below]) / step_c
    return of.values[below] + share * (of.values[above] - of.values[below])


@cache
def _table() -> Mapping[Quantity, Mapping[str, Standard]]:
    text = resources.files("config").joinpath("standards.toml").read_text(encoding="utf-8")
    document = tomllib.loads(text)
    return {
        quantity: {name: _row(quantity, name, document[quantity.value]) for name in document[quantity.value]}
        for quantity in _VALUES_KEY
    }


def _row(quantity: Quantity, name: str, rows: Mapping[str, Any]) -> Standard:
    about = rows[name]["about"]
    row = rows[rows[name].get("same_as", name)]
    temperatures_c = tuple(float(at) for at in row["temperature_c"])
    values = tuple(float(value) for value in row[_VALUES_KEY[quantity]])
    return Standard(name, about, row["source"], row["status"], temperatures_c, values)
