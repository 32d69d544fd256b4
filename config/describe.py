"""`python -m config.describe`: docs/settings.md from the models, so that the page cannot say what is not so."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from config.complaint import amount, shown
from config.garden import Garden, Want
from config.notify import Notify
from config.prices import Appliance, Prices
from config.pump import Pump
from config.settings import (
    Bands,
    Circulation,
    CutOut,
    EcControl,
    Mqtt,
    PhControl,
    Reservoir,
    RigTable,
    Site,
    Stage,
    Standard,
    Tray,
    Water,
)
from drivers.reference import ReferenceInput
from drivers.registry import DRIVERS

PAGE = Path(__file__).parent.parent / "docs" / "settings.md"
TABLES: tuple[tuple[str, type[BaseModel]], ...] = (
    ("site", Site),
    ("rig", RigTable),
    ("mqtt", Mqtt),
    ("notify", Notify),
    ("reference.NAME", ReferenceInput),
    ("cut_out", CutOut),
    ("reservoir.NAME", Reservoir),
    ("reservoir.NAME.bands", Bands),
    ("[reservoir.NAME.stage]", Stage),
    ("reservoir.NAME.ph", PhControl),
    ("reservoir.NAME.ec", EcControl),
    ("reservoir.NAME.water", Water),
    ("reservoir.NAME.pump.ROLE", Pump),
    ("reservoir.NAME.circulation", Circulation),
    ("reservoir.NAME.tray", Tray),
    ("standard.NAME", Standard),
    ("garden", Garden),
    ("garden.want.NAME", Want),
    ("prices", Prices),
    ("appliance.NAME", Appliance),
)
HEAD = """\
# Settings

One TOML file, written by hand; the program never changes it. `evenwater check FILE` lists every mistake at once.
Units are in the keys. A key not in this list stops the start. ROLE is ph_down, ph_up, stock_a, stock_b or top_up
(plain water); QUANTITY is ph, ec, temperature or level. NAME is yours: a-z, 0-9, hyphens.

This page is made from the program's own models: `python -m config.describe`.
"""


def page() -> str:
    """The whole page."""
    return "\n".join([HEAD, *_sections()])


def _sections() -> Iterator[str]:
    for name, model in TABLES:
        yield from section(f"[{name}]", model)
    for name, driver in DRIVERS.items():
        heading = f'[reservoir.NAME.probe.{driver.quantity.value}] with driver = "{name}"'
        yield from section(heading, driver.wiring)


def section(heading: str, model: type[BaseModel]) -> Iterator[str]:
    """A heading, what the table is, and a row for each key that is not itself a table."""
    yield f"## {heading}\n"
    if model.__doc__:
        yield f"{' '.join(model.__doc__.split())}\n"
    yield "| key | usual | allowed | what it is |\n|---|---|---|---|"
    for key, field in model.model_fields.items():
        if not is_table(field.annotation):
            yield f"| `{key}` | {usual(key, field)} | {allowed(key, field)} | {field.description or ''} |"
    yield ""


def is_table(annotation: Any) -> bool:
    if get_origin(annotation) is dict:
        return True
    if get_origin(annotation) in (UnionType, Union, tuple):
        return any(is_table(each) for each in get_args(annotation))
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def usual(key: str, field: FieldInfo) -> str:
    if field.default is PydanticUndefined:
        return "must be set"
    return "none" if field.default is None else shown(field.default, key)


def allowed(key: str, field: FieldInfo) -> str:
    choices = _choices(field.annotation)
    if choices:
        return ", ".join(choices)
    bounds = {name: limit for each in field.metadata for name, limit in _bounds(each)}
    words = {"ge": "from", "gt": "above", "le": "to", "lt": "below"}
    return " ".join(f"{words[name]} {amount(bounds[name], key)}" for name in words if name in bounds)


def _choices(annotation: Any) -> tuple[str, ...]:
    if get_origin(annotation) in (UnionType, Union):
        return tuple(choice for one in get_args(annotation) for choice in _choices(one))
    return tuple(map(str, get_args(annotation))) if get_origin(annotation) is Literal else ()


def _bounds(each: object) -> Iterator[tuple[str, float]]:
    for name in ("ge", "gt", "le", "lt"):
        limit = getattr(each, name, None)
        if isinstance(limit, int | float):
            yield name, limit


def main() -> int:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
