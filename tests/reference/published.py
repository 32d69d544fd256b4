"""Reads the tables of published values in this folder. Each row has value, unit, source and status."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

_FOLDER = Path(__file__).parent


def rows(name: str, **equal: str) -> Iterator[dict[str, str]]:
    """The rows of `name` whose columns equal, or for `source` begin with, what is given."""
    with (_FOLDER / name).open(encoding="utf-8", newline="") as table:
        for row in csv.DictReader(table):
            if all(row[key].startswith(of) if key == "source" else row[key] == of for key, of in equal.items()):
                yield row


def by_temperature(name: str, **equal: str) -> dict[float, float]:
    """Temperature in °C to value, of the rows that match. Raises LookupError where none does."""
    found = {float(row["temperature_C"]): float(row["value"]) for row in rows(name, **equal)}
    if not found:
        raise LookupError(f"{name}: no row with {equal}")
    return found
