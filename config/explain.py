"""A settings file as it was read, table by table, each key with its meaning: for a page that shows it. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from config.complaint import amount, shown
from config.describe import allowed, is_table, usual
from config.settings import Probe, RigTable, Settings


@dataclass(frozen=True, slots=True)
class Key:
    """One key: what it is set to, what is usual and allowed, and what it means. own: it is not as is usual."""

    name: str
    value: str
    usual: str
    allowed: str
    meaning: str
    own: bool


@dataclass(frozen=True, slots=True)
class Explained:
    """One table of the file, by its heading there. about: what the table is, "" where its keys say it."""

    heading: str
    about: str
    keys: tuple[Key, ...]


def explained(settings: Settings) -> Iterator[Explained]:
    """Every table, in the order of the file's model; those that are left out altogether are not there."""
    for name in type(settings).model_fields:
        yield from _below(name, getattr(settings, name))


def _below(path: str, value: object) -> Iterator[Explained]:
    """The table at a dotted path, then those within it; of a value that is no table nothing."""
    if isinstance(value, BaseModel):
        yield from _table(path, value)
    elif isinstance(value, Mapping):
        for name, one in value.items():
            yield from _below(f"{path}.{name}", one)
    elif isinstance(value, tuple):
        for one in value:
            yield from _below(f"[{path}]", one)


def _table(path: str, table: BaseModel) -> Iterator[Explained]:
    of = table.wired() if isinstance(table, Probe) else table
    driver = (_key("driver", table.driver, Probe.model_fields["driver"]),) if isinstance(table, Probe) else ()
    keys = tuple(
        _key(name, getattr(of, name), field)
        for name, field in type(of).model_fields.items()
        if not is_table(field.annotation) and name != "driver"
    )
    about = " ".join((type(of).__doc__ or "").split())
    yield Explained(f"[{path}]", about, (*driver, *keys, *_of_the_rig(table)))
    for name in type(of).model_fields:
        yield from _below(f"{path.strip('[]')}.{name}", getattr(of, name))


def _key(name: str, value: object, field: FieldInfo) -> Key:
    own = field.is_required() or value != field.default
    return Key(name, _shown(value, name), usual(name, field), allowed(name, field), field.description or "", own)


def _shown(value: object, name: str) -> str:
    """As the file spells it, a number with its unit."""
    if value is None:
        return "left out"
    if isinstance(value, float) or (isinstance(value, int) and not isinstance(value, bool)):
        return amount(value, name)
    return shown(value, name)


def _of_the_rig(table: BaseModel) -> Iterator[Key]:
    """Keys that belong to the rig, which alone knows what they mean."""
    if isinstance(table, RigTable):
        for name, value in (table.model_extra or {}).items():
            text = "(tables)" if isinstance(value, Mapping | list) else _shown(value, name)
            yield Key(name, text, usual="", allowed="", meaning="a key of the rig itself", own=True)
