"""Read a settings file once: `Settings`, or every complaint about it at once.

SettingsError (a ValueError)   the file cannot be used; its text has one line for each thing wrong
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from config.complaint import Complaint, complaints_of, nearest
from config.gardening import with_crops
from config.plausible import appliances_nowhere, in_reservoir, references_alone, warnings, wires_used_twice
from config.settings import Reservoir, Settings
from config.toml_file import SettingsError, tables_in, tables_of
from drivers.probe import Quantity
from drivers.reference import ReferenceInput
from drivers.registry import DRIVERS, check_probe, check_quantity

__all__ = ["SettingsError", "load", "warnings"]

EXAMPLE = "config/rigs/pi-example.toml"


def load(path: Path | str) -> Settings:
    """The settings in a TOML file. Raises SettingsError with every complaint about it."""
    return _checked(raw_tables(path), str(path), Path(path).parent)


def load_text(text: str, name: str, folder: Path) -> Settings:
    """The settings in the text of a TOML file. Raises SettingsError as `load`.

    name: what complaints call it; folder: where the files that it names begin.
    """
    return _checked(tables_in(text, name), name, folder)


def _checked(raw: dict[str, Any], name: str, folder: Path) -> Settings:
    settings, complaints = _check(raw, folder)
    if settings is None or complaints:
        raise SettingsError(name, complaints)
    return settings


def raw_tables(path: Path | str) -> dict[str, Any]:
    """The tables of a settings file as they stand there. Raises SettingsError where it cannot be read."""
    return tables_of(Path(path), EXAMPLE)


def _check(raw: dict[str, Any], folder: Path) -> tuple[Settings | None, tuple[Complaint, ...]]:
    claims = _claims(raw)
    complaints = list(_bad_probes(raw))
    if not complaints:  # else it is not known which converters have probes
        complaints += references_alone(claims)
    complaints += wires_used_twice(claims)
    try:
        settings = Settings.model_validate(raw)
    except ValidationError as error:
        return None, (*complaints_of(error, Settings), *complaints, *_contradictions(raw))
    settings, of_crops = with_crops(settings, folder)
    complaints += of_crops
    for name, reservoir in settings.reservoir.items():
        complaints += in_reservoir(name, reservoir)
    complaints += appliances_nowhere(settings)
    return settings, tuple(complaints)


def _contradictions(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """Contradictions within the reservoirs that are sound by themselves, where the whole file is not."""
    for name, table in _tables(raw, "reservoir"):
        try:
            reservoir = Reservoir.model_validate(table)
        except ValidationError:
            continue
        yield from in_reservoir(name, reservoir)


def _bad_probes(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """What the drivers say against the tables of their probes."""
    for where, quantity, table in _probes(raw):
        driver = table["driver"]
        try:
            check_probe(driver, table)
            check_quantity(quantity, driver)
        except ValidationError as error:
            yield from complaints_of(error, DRIVERS[driver].wiring, where)
        except ValueError as error:
            yield Complaint(where, f"{error}{nearest(driver, DRIVERS) if driver not in DRIVERS else ''}")


def _claims(raw: Mapping[str, Any]) -> dict[str, frozenset[str]]:
    """The wires that the cut-out and each pump, contact, probe and reference use, as their tables can be read."""
    claims = {
        where: frozenset({f"gpio{table['line']}"})
        for where, table in _at_lines(raw)
        if isinstance(table.get("line"), int)
    }
    for where, _, table in _probes(raw):
        with suppress(ValueError):
            claims[where] = check_probe(table["driver"], table).claims()
    for name, table in _tables(raw, "reference"):
        with suppress(ValueError):
            claims[f"reference.{name}"] = ReferenceInput.model_validate(table).claims()
    return claims


def _at_lines(raw: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """The cut-out and the signal, then pumps, then contacts, by the dotted names of their tables."""
    for name in ("cut_out", "signal"):
        if isinstance(own := raw.get(name), Mapping):
            yield name, own
    for name, reservoir in _tables(raw, "reservoir"):
        for role, pump in _tables(reservoir, "pump"):
            yield f"reservoir.{name}.pump.{role}", pump
        for contact in ("circulation", "tray"):
            if isinstance(table := reservoir.get(contact), Mapping):
                yield f"reservoir.{name}.{contact}", table


def _probes(raw: Mapping[str, Any]) -> Iterator[tuple[str, Quantity, Mapping[str, Any]]]:
    for name, reservoir in _tables(raw, "reservoir"):
        for quantity, table in _tables(reservoir, "probe"):
            if quantity in set(Quantity) and isinstance(table.get("driver"), str):
                yield f"reservoir.{name}.probe.{quantity}", Quantity(quantity), table


def _tables(raw: Mapping[str, Any], key: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """The tables below a key, passing over what is none (pydantic complains of that)."""
    holder = raw.get(key, {})
    if isinstance(holder, Mapping):
        yield from ((name, table) for name, table in holder.items() if isinstance(table, Mapping))
