"""What is wrong with a settings file, one line each: who, which value and unit, what is allowed, what to do."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

# Longest endings first: the unit of a key is its ending.
UNITS = (
    ("mmol_per_plant_day", "mmol per plant and day"),
    ("ml_per_ms_per_cm", "mL per mS/cm"),
    ("mg_caco3_per_l", "mg/L CaCO3"),
    ("umol_per_m2_s", "µmol/(m² s)"),
    ("plants_per_m2", "per m2"),
    ("w_per_m2", "W/m2"),
    ("mmol_per_l", "mmol/L"),
    ("mol_per_l", "mol/L"),
    ("g_per_ml", "g/mL"),
    ("l_per_min", "L/min"),
    ("l_per_day", "L/day"),
    ("l_per_kg", "L/kg"),
    ("ml_per_ph", "mL per pH"),
    ("ml_per_s", "mL/s"),
    ("ms_per_cm", "mS/cm"),
    ("percent_per_k", "%/K"),
    ("hours_per_day", "h/day"),
    ("ms_per_v", "mS/V"),
    ("tube_hours", "h"),
    ("_l_per_h", "L/h"),
    ("per_cm", "1/cm"),
    ("per_h", "1/h"),
    ("_per_head", "a head"),
    ("_per_kwh", "per kWh"),
    ("_per_m3", "per m3"),
    ("_per_l", "per L"),
    ("_days", "days"),
    ("percent", "%"),
    ("_day", "days"),
    ("_ohm", "ohm"),
    ("_ppm", "ppm"),
    ("_min", "min"),
    ("_mv", "mV"),
    ("_ml", "mL"),
    ("_ms", "mS"),
    ("_sps", "conversions/s"),
    ("_c", "°C"),
    ("_g", "g"),
    ("_h", "h"),
    ("_k", "K"),
    ("_l", "L"),
    ("_s", "s"),
    ("_v", "V"),
    ("_w", "W"),
)
PH_KEYS = frozenset({"ph_low", "ph_high", "target", "dead_band"})


@dataclass(frozen=True, slots=True)
class Complaint:
    """One thing wrong. `table` is the dotted name of the table, "" for the file itself."""

    table: str
    text: str

    def line(self, file: str) -> str:
        """The complaint as a person reads it, after the file's name."""
        return f"{file} [{self.table}] {self.text}" if self.table else f"{file}: {self.text}"


def unit_of(key: str) -> str:
    """The unit that a key's ending names, "" where it names none."""
    if key in PH_KEYS:
        return "pH"
    return next((unit for ending, unit in UNITS if key.endswith(ending)), "")


def amount(number: float, key: str) -> str:
    """A number with the unit of its key, as `500 mL`."""
    return f"{number:#04x}" if key == "address" else f"{number:g} {unit_of(key)}".rstrip()


def shown(value: object, key: str = "") -> str:
    """A value roughly as the file spells it."""
    if key == "address" and type(value) is int:
        return f"{value:#04x}"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)  # quoted, and on one line whatever is in it
    if isinstance(value, Mapping):
        return "(a table)"
    if isinstance(value, tuple):
        return f"[{', '.join(shown(one, key) for one in value)}]"
    return str(value)


def nearest(word: str, known: Iterable[str]) -> str:
    """`; did you mean …?` where a known word is close, else ""."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"; did you mean {close[0]}?" if close else ""


def complaints_of(error: ValidationError, model: type[BaseModel], table: str = "") -> tuple[Complaint, ...]:
    """Each of pydantic's complaints about a table checked by `model`, in our words.

    table: the dotted name of the table that `model` describes, "" where it describes the whole file.
    """
    return tuple(_complaint(dict(one), model, table) for one in error.errors(include_url=False))


def _complaint(one: dict[str, Any], model: type[BaseModel], table: str) -> Complaint:
    loc = [str(part) for part in one["loc"]]
    if loc[-1:] == ["[key]"]:
        return _bad_name(one, loc[:-1], table)
    if one["type"] == "value_error" and _model_at(loc, model) is not None:
        return Complaint(_dotted(table, loc), str(one["ctx"]["error"]))
    return Complaint(_dotted(table, loc[:-1]), _text(one, loc, model))


def _dotted(table: str, loc: list[str]) -> str:
    return ".".join([table, *loc] if table else loc)


def _bad_name(one: dict[str, Any], loc: list[str], table: str) -> Complaint:
    """The name of a table is wrong, as in `[reservoir.Bed 1]` or `[….pump.acid]`."""
    if one["type"] == "literal_error":
        known = [word.strip(" '") for word in one["ctx"]["expected"].replace(" or ", ",").split(",")]
        what = f"must be one of {', '.join(known)}{nearest(loc[-1], known)}"
    else:
        what = str(one["ctx"]["error"]) if one["type"] == "value_error" else one["msg"]
    return Complaint(_dotted(table, loc), f"the table's name {shown(loc[-1])}: {what}")


def _text(one: dict[str, Any], loc: list[str], model: type[BaseModel]) -> str:
    key, kind = loc[-1], one["type"]
    field = _field_at(loc, model)
    if kind == "missing":
        return f"{key}: is missing; {_add(key, field)}"
    if kind == "extra_forbidden":
        return f"{key} = {shown(one['input'], key)}: unknown key{_known_keys(key, loc, model)}"
    meaning = _meaning(key, field) if kind in LIMITS or kind in NUMBER_TYPES else ""
    return f"{key} = {shown(one['input'], key)}: {_wrong(one, key, field)}{meaning}"


def _add(key: str, field: FieldInfo | None) -> str:
    kind: Any = field.annotation if field else None
    if get_origin(kind) is dict:
        return f"add a table [{key}.NAME] for each"
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return f"add the table [{key}]"
    said = ", ".join(part for part in (_range(key, field), field.description if field else "") if part)
    return f"add {key} = … ({said})" if said else f"add {key} = …"


def _wrong(one: dict[str, Any], key: str, field: FieldInfo | None) -> str:
    kind, context = one["type"], one.get("ctx", {})
    if kind in LIMITS:
        return f"{_limit(kind, context, key)}{_other_limit(kind, key, field)}"
    if kind in NUMBER_TYPES:
        return f"must be {NUMBER_TYPES[kind]}{_in_unit(key)}{_point(one['input'])}"
    if kind in CHOICES:
        says, word = CHOICES[kind]
        return f"{says} {context[word]}".replace("'", '"')
    if kind == "value_error":
        return str(context["error"])
    if kind == "string_pattern_mismatch":
        return PATTERNS.get(key, f"must match {context['pattern']}")
    return TYPES.get(kind, str(one["msg"]))


# pydantic's kind of error -> (its word in the context, how we say it)
LIMITS = {
    "greater_than": ("gt", "must be above"),
    "greater_than_equal": ("ge", "must be at least"),
    "less_than": ("lt", "must be below"),
    "less_than_equal": ("le", "must be at most"),
}
CHOICES = {
    "literal_error": ("must be one of", "expected"),
    "union_tag_invalid": ("its kind must be one of", "expected_tags"),
}
OTHER_LIMIT = {"le": "largest allowed", "lt": "and below", "ge": "smallest allowed", "gt": "and above"}
NUMBER_TYPES = {
    "float_type": "a number",
    "float_parsing": "a number",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "finite_number": "a finite number",
}
PATTERNS = {
    "open": 'must read "package.module:function", as "drivers.pi:open_rig"',
    "sensor_id": 'must be the name of its folder below /sys/bus/w1/devices, as "28-0316a2795cff"',
}
TYPES = {
    "bool_type": "must be true or false",
    "string_type": 'must be text in quotes, as "…"',
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
    "dict_type": "must be a table",
    "union_tag_not_found": "must say which kind it is, as kind = …",
    "too_long": "must be at most 16 tables; run another daemon for more",
    "too_short": "must hold at least one table",
}


def _limit(kind: str, context: Mapping[str, Any], key: str) -> str:
    word, says = LIMITS[kind]
    return f"{says} {amount(context[word], key)}"


def _other_limit(kind: str, key: str, field: FieldInfo | None) -> str:
    wanted = ("le", "lt") if kind.startswith("greater") else ("ge", "gt")
    for word in wanted:
        limit = _bound(field, word)
        if limit is not None:
            return f" ({OTHER_LIMIT[word]} {amount(limit, key)})"
    return ""


def _bound(field: FieldInfo | None, word: str) -> float | None:
    found = [getattr(mark, word) for mark in (field.metadata if field else []) if hasattr(mark, word)]
    return found[0] if found else None


def _range(key: str, field: FieldInfo | None) -> str:
    low, open_low, high = (_bound(field, word) for word in ("ge", "gt", "le"))
    if high is None:
        return ""
    start = f"{low:g}" if low is not None else f"above {open_low:g}" if open_low is not None else ""
    return f"{start} to {amount(high, key)}".lstrip()


def _in_unit(key: str) -> str:
    return f" in {unit_of(key)}" if unit_of(key) else ""


def _point(value: object) -> str:
    """Advice for a number written in quotes, with a decimal comma or with its unit."""
    if not isinstance(value, str):
        return ""
    return ", without quotes or unit, with a point for decimals"


def _meaning(key: str, field: FieldInfo | None) -> str:
    return f"; {key} is {field.description}" if field and field.description else ""


def _known_keys(key: str, loc: list[str], model: type[BaseModel]) -> str:
    holder = _model_at(loc[:-1], model)
    known = list(holder.model_fields) if holder else []
    return f"{nearest(key, known)} (known here: {', '.join(known)}); correct it or take it out"


def _field_at(loc: list[str], model: type[BaseModel]) -> FieldInfo | None:
    holder = _model_at(loc[:-1], model)
    return holder.model_fields.get(loc[-1]) if holder else None


def _model_at(loc: list[str], model: type[BaseModel]) -> type[BaseModel] | None:
    """The model that checks the table at `loc`, None where there is no table."""
    here: Any = model
    for part in loc:
        here = _within(_plain(here), part)
    here = _plain(here)
    return here if isinstance(here, type) and issubclass(here, BaseModel) else None


def _within(kind: Any, part: str) -> Any:
    """What checks one part of a location in a table, a list, or one of several kinds of table."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        field = kind.model_fields.get(part)
        return field.annotation if field else None
    if get_origin(kind) is dict:
        return get_args(kind)[1]
    if get_origin(kind) is tuple:
        return get_args(kind)[0]
    return next((one for one in get_args(kind) if part in _tags(one)), None)


def _plain(kind: Any) -> Any:
    """A kind without its bounds, and without the None that stands for left out."""
    if get_origin(kind) is Annotated:
        kind = get_args(kind)[0]
    rest = [one for one in get_args(kind) if one is not NoneType]
    return rest[0] if get_origin(kind) in (UnionType, Union) and len(rest) == 1 else kind


def _tags(kind: Any) -> tuple[str, ...]:
    """The words by which a table says that it is of this kind, as in kind = "ph_amplifier"."""
    field = kind.model_fields.get("kind") if isinstance(kind, type) and issubclass(kind, BaseModel) else None
    return get_args(field.annotation) if field else ()
