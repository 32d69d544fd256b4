"""What a calibration solution is worth at its temperature: from `config/standards.toml`, and the grower's own.

The table ships with the program and is read once. It names the source of each row and whether the
figures were confirmed or come from memory. A `Shelf` adds the bottles that the settings describe.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from math import inf
from typing import Any

from daemon.values import Quantity

VALUES_KEY = {Quantity.PH: "ph", Quantity.EC: "ms_per_cm"}
MICROSIEMENS_FROM = 20.0  # a number from here on is on the label in µS/cm; the strongest standard has 12.88 mS/cm
EITHER_MOL = ("0.01", "0.02", "0.1")  # KCl, of litre or of kilogram


@dataclass(frozen=True, slots=True)
class Standard:
    """One solution: its values at rising temperatures (pH, or mS/cm as it is at that temperature).

    also: other names that mean it, in lower case.
    """

    name: str
    about: str
    source: str
    status: str
    temperatures_c: tuple[float, ...]
    values: tuple[float, ...]
    also: tuple[str, ...] = ()


Rows = Mapping[Quantity, Mapping[str, Standard]]


@dataclass(frozen=True, slots=True)
class Shelf:
    """The solutions there are: those of the table that ships, and `own`, as the settings describe them."""

    own: Rows = field(default_factory=dict)

    def names(self, quantity: Quantity) -> tuple[str, ...]:
        """The standards known for pH or EC; empty for a quantity that is not calibrated in solutions."""
        return tuple({**_table().get(quantity, {}), **self.own.get(quantity, {})})

    def bottles(self, quantity: Quantity, temperature_c: float) -> Mapping[str, float]:
        """What a probe may be found in: those sold by a number, and the grower's own; each with its value now.

        One whose table does not cover that temperature is left out.
        """
        own = self.own.get(quantity, {})
        rows = (self.standard(quantity, name) for name in self.names(quantity))
        sold = (row for row in rows if row.name in own or _number(row.name) is not None)
        return {row.name: _at(row, temperature_c) for row in sold if _covers(row, temperature_c)}

    def standard(self, quantity: Quantity, typed: str) -> Standard:
        """The row that a person means by "7.00", "7", "1413 µS/cm" or "kcl 0.01 mol/L".

        Raises ValueError where that is not known (listing the known), or could be two.
        """
        rows = {**_table().get(quantity, {}), **self.own.get(quantity, {})}
        if typed in rows:
            return rows[typed]
        meant = _meant(rows.values(), _plain(typed), quantity)
        if meant is None:
            known = ", ".join(rows) or "none"
            raise ValueError(f'{quantity.value} standard "{typed}": {_hint(quantity, typed)}known are: {known}')
        return meant

    def value(self, quantity: Quantity, typed: str, temperature_c: float) -> float:
        """pH, or mS/cm not brought to 25 °C, of that solution at its own temperature.

        Raises ValueError as `standard`, and for a temperature that its table does not cover.
        """
        return _at(self.standard(quantity, typed), temperature_c)


SHIPPED = Shelf()


def ph_standard(name: str, temperature_c: float) -> float:
    """pH of a buffer that ships at its own temperature, e.g. `ph_standard("7.00", 20.0)` is 7.02.

    name: "4.01", "7.00", "10.01" as on the bottle, or a primary buffer. Raises as `Shelf.value`.
    """
    return SHIPPED.value(Quantity.PH, name, temperature_c)


def ec_standard(name: str, temperature_c: float) -> float:
    """Conductivity of a standard that ships, in mS/cm at its own temperature (not brought to 25 °C).

    name: "1.413" (KCl 0.01 mol/L), "2.765", "12.88" as on the bottle. Raises as `Shelf.value`.
    """
    return SHIPPED.value(Quantity.EC, name, temperature_c)


def _plain(typed: str) -> str:
    """In lower case, with a decimal point, single blanks and one kind of µ."""
    return " ".join(typed.casefold().replace(",", ".").replace("\u00b5", "\u03bc").split())


def _meant(rows: Iterable[Standard], plain: str, quantity: Quantity) -> Standard | None:
    for row in rows:
        if plain == _plain(row.name) or plain in row.also or f"kcl {plain}" in row.also:
            return row
    amount = _amount(plain, quantity)
    alike = [row for row in rows if amount is not None and _number(row.name) == amount]
    return alike[0] if alike else None


def _amount(plain: str, quantity: Quantity) -> float | None:
    """The number on a label, in pH or mS/cm; one in µS/cm is told by its unit or its size."""
    if quantity is not Quantity.EC:
        return _number(plain.removeprefix("ph").strip())
    for unit, factor in (("μs/cm", 0.001), ("us/cm", 0.001), ("ms/cm", 1.0)):
        if plain.endswith(unit):
            number = _number(plain.removesuffix(unit).strip())
            return None if number is None else round(number * factor, 6)
    number = _number(plain)
    return round(number / 1000.0, 6) if number is not None and number >= MICROSIEMENS_FROM else number


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if -inf < number < inf else None


def _hint(quantity: Quantity, typed: str) -> str:
    """What is often meant by a name that is not known."""
    plain = _plain(typed).removeprefix("kcl").strip()
    if quantity is Quantity.EC and plain.split(" ")[0].rstrip("mn") in EITHER_MOL:
        return "mol per litre (0.01 mol/L is 1413 µS/cm) or per kg of water (0.01 mol/kg is 1408)? Say which; "
    if quantity is Quantity.PH and _number(plain) in (6.8, 6.9):
        return "the phosphate buffer is 6.86, and not the 7.00 one; read the label; "
    if quantity is Quantity.PH and _number(plain) in (4.0, 10.0):
        return "another buffer than 4.01 or 10.01; copy its printed table into the settings, [standard.NAME]; "
    return "not known; "


def _covers(of: Standard, temperature_c: float) -> bool:
    return of.temperatures_c[0] <= temperature_c <= of.temperatures_c[-1]


def _at(of: Standard, temperature_c: float) -> float:
    """Straight-line interpolation between the two nearest temperatures."""
    lowest_c, highest_c = of.temperatures_c[0], of.temperatures_c[-1]
    if not _covers(of, temperature_c):
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
def _table() -> Rows:
    text = resources.files("config").joinpath("standards.toml").read_text(encoding="utf-8")
    document = tomllib.loads(text)
    return {
        quantity: {name: _row(quantity, name, document[quantity.value]) for name in document[quantity.value]}
        for quantity in VALUES_KEY
    }


def _row(quantity: Quantity, name: str, rows: Mapping[str, Any]) -> Standard:
    about, also = rows[name]["about"], tuple(rows[name].get("also", ()))
    row = rows[rows[name].get("same_as", name)]
    temperatures_c = tuple(float(at) for at in row["temperature_c"])
    values = tuple(float(value) for value in row[VALUES_KEY[quantity]])
    return Standard(name, about, row["source"], row["status"], temperatures_c, values, also)
