"""The calibrations on disk: one file in the state folder, written whole or not at all.

Usually the program writes it after `evenwater calibrate`. It may also be written by hand, e.g. with values
known from another meter. Its format, with every key there is:

    [reservoir.bed1.ph]             # the reservoir's name in the settings, then ph, ec, temperature or level
    day = 2026-03-02                # the day it was made
    slope_percent = 98.2            # 85 to 105, % of the theoretical slope
    offset_mv = 4.1                 # -30 to 30, electrode mV at pH 7
    stop_gap = false                # true: one buffer told the offset only, nothing is dosed by it
    wiring = "driver=ph_amplifier gain=5.0"   # behind what it was made; may be left out

    [[reservoir.bed1.ph.point]]     # what it was made from; may be left out
    standard = "7.00"
    reference = 7.02                # pH (or mS/cm) of the standard at its temperature
    signal = 2.9                    # electrode mV (or conductance in mS)
    spread = 0.3                    # largest minus smallest signal
    temperature_c = 20.1
    utc = 2026-03-02T09:12:00Z
    settled_s = 50.0                # how long it took to come to rest; may be left out

    [reservoir.bed1.ec]
    day = 2026-03-02
    cell_constant_per_cm = 1.02     # 0.5 to 2
    offset_ms = 0.0                 # -0.15 to 0.15; 0 where it is left out

    [reservoir.bed1.temperature]
    day = 2026-03-02
    offset_k = -0.4                 # -3 to 3, added to what the probe shows

    [reservoir.bed1.level]          # share = scale * (what the settings make of the volts) + offset_share
    day = 2026-03-02
    scale = 1.04                    # 0.5 to 2
    offset_share = -0.02            # -0.5 to 0.5

    [reservoir.bed1.pump.ph_down]   # what a pump delivers, by its role
    day = 2026-03-02
    ml_per_s = 1.04                 # above 0, at most 20

    [[reservoir.bed1.pump.ph_down.run]]   # what it was made from; may be left out
    entry = 214                     # the run's line in the ledger
    run_s = 8.0
    ml = 8.3                        # read on the cylinder

A number may be written without a decimal point. A key that is not in this list is refused.

`wiring` says behind which wiring a calibration was made: behind another it does not count
(daemon/keeping/instruments.py). One without it, as written by hand, counts behind any, until it is too old or
made anew.
"""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, NoReturn

from daemon.disk import sync, write_whole
from daemon.measure.by_reference import LEVEL_OFFSET_SHARE, LEVEL_SCALE, THERMOMETER_K
from daemon.measure.calibrate import CELL_CONSTANT_PER_CM, EC_OFFSET_MS, OFFSET_MV, SLOPE_PERCENT, Point
from daemon.measure.convert import (
    Calibration,
    EcCalibration,
    LevelCalibration,
    PhCalibration,
    TemperatureCalibration,
)
from daemon.measure.history import NAME, CalibrationHistory
from daemon.measure.rate import FASTEST_ML_PER_S, PumpRate, TimedRun
from daemon.values import Quantity, Role

_RESERVOIR = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_NEXT_STEP = "mend it, put back the .previous file beside it, or move it away and calibrate again"
_HEADER = "# Calibrations, written by the program. A hand-written file in the same form is read too.\n"
_HUGE = 1e300  # beyond it a number may not even fit a float
_TINY = 1e-9  # what is to be above zero
_PUMP = "pump"
_RUN_KEYS = ("entry", "run_s", "ml")
_POINT_KEYS = ("standard", "reference", "signal", "spread", "temperature_c", "utc")
_SETTLED = "settled_s"


class BookError(ValueError):
    """The calibrations cannot be read or written. Names the file, the key, what is allowed, what to do."""


@dataclass(frozen=True, slots=True)
class Page:
    """One calibration, what it was made from and behind which wiring (neither where it was written without)."""

    calibration: Calibration
    points: tuple[Point, ...] = ()
    wiring: str = ""


@dataclass(frozen=True, slots=True)
class _Content:
    """All that the file holds: probes, and pumps."""

    pages: Mapping[tuple[str, Quantity], Page] = field(default_factory=dict)
    rates: Mapping[tuple[str, Role], PumpRate] = field(default_factory=dict)


class CalibrationBook:
    """All calibrations of one state folder. A missing file is an empty book. history: those made so far.

    Raises BookError when the file is there but cannot be understood; it is then never overwritten.
    """

    def __init__(self, path: Path) -> None:
        self.path = Path(path)
        self.history = CalibrationHistory(self.path.with_name(NAME))
        self._content = _read(self.path)

    def get(self, reservoir: str, quantity: Quantity) -> Calibration | None:
        """The calibration in force, or None. Does not touch the disk."""
        page = self._content.pages.get((reservoir, quantity))
        return page.calibration if page else None

    def points(self, reservoir: str, quantity: Quantity) -> tuple[Point, ...]:
        """What the calibration in force was made from; empty where that is not known."""
        page = self._content.pages.get((reservoir, quantity))
        return page.points if page else ()

    def wiring(self, reservoir: str, quantity: Quantity) -> str:
        """Behind which wiring the calibration in force was made; "" where that is not known."""
        page = self._content.pages.get((reservoir, quantity))
        return page.wiring if page else ""

    def put(
        self,
        reservoir: str,
        quantity: Quantity,
        calibration: Calibration,
        points: Sequence[Point] = (),
        wiring: str = "",
    ) -> None:
        """Keep a calibration durably, and the file as it was before as `<name>.previous`.

        The file is read again first, so that what a person wrote into it meanwhile is not lost. Raises
        BookError when it cannot be read or written, or when this calibration would be refused on
        reading; the book and the file are then as before.
        """
        page = Page(calibration, tuple(points), wiring)
        content = _read(self.path)
        self._write(replace(content, pages={**content.pages, (reservoir, quantity): page}))

    def rate(self, reservoir: str, pump: Role) -> PumpRate | None:
        """What this pump was measured to deliver, or None. Does not touch the disk."""
        return self._content.rates.get((reservoir, pump))

    def put_rate(self, reservoir: str, pump: Role, rate: PumpRate) -> None:
        """Keep a measured rate as `put` keeps a calibration. Raises BookError."""
        content = _read(self.path)
        self._write(replace(content, rates={**content.rates, (reservoir, pump): rate}))

    def _write(self, content: _Content) -> None:
        text = _text(self.path, content)
        _content_of(self.path, text)  # what would not be read back is not written
        _replace(self.path, text)
        self._content = content


# Reading


def _read(path: Path) -> _Content:
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return _Content()
    except UnicodeDecodeError as error:
        raise BookError(f"{path}: not a text file in UTF-8 ({error}); {_NEXT_STEP}") from error
    except OSError as error:
        raise BookError(f"{path}: cannot be read ({error}); look at its owner and permissions") from error
    return _content_of(path, text)


def _content_of(path: Path, text: str) -> _Content:
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, a number of thousands of digits, [[[[[
        raise BookError(f"{path}: not valid TOML: {error}; {_NEXT_STEP}") from error
    top = _Table(path, "", document)
    top.only("reservoir")
    if "reservoir" not in document:
        return _Content()
    reservoirs = top.table("reservoir")
    return _Content(dict(_all_pages(reservoirs)), dict(_all_rates(reservoirs)))


def _all_pages(reservoirs: _Table) -> Iterator[tuple[tuple[str, Quantity], Page]]:
    for name in reservoirs.content:
        if not _RESERVOIR.fullmatch(name):
            reservoirs.refuse(name, "a reservoir's name may hold a-z, 0-9 and single hyphens between them")
        reservoir = reservoirs.table(name)
        reservoir.only(*(q.value for q in Quantity if q.kind in _CALIBRATION_FROM), _PUMP)
        for quantity in reservoir.content.keys() - {_PUMP}:
            page = reservoir.table(quantity)
            points = tuple(_point(point) for point in page.tables("point"))
            wiring = page.string("wiring") if "wiring" in page.content else ""
            yield (
                (name, Quantity(quantity)),
                Page(_CALIBRATION_FROM[Quantity(quantity).kind](page), points, wiring),
            )


def _all_rates(reservoirs: _Table) -> Iterator[tuple[tuple[str, Role], PumpRate]]:
    for name in reservoirs.content:
        if _PUMP not in (reservoir := reservoirs.table(name)).content:
            continue
        pumps = reservoir.table(_PUMP)
        pumps.only(*(role.value for role in Role))
        for role in pumps.content:
            yield (name, Role(role)), _rate(pumps.table(role))


def _rate(table: _Table) -> PumpRate:
    table.only("day", "ml_per_s", "run")
    runs = []
    for run in table.tables("run"):
        run.only(*_RUN_KEYS)
        run_s, ml = (run.number(key, _TINY) for key in ("run_s", "ml"))
        runs.append(TimedRun(int(run.number("entry", 1.0)), run_s, ml))
    return PumpRate(table.number("ml_per_s", _TINY, FASTEST_ML_PER_S), table.day("day"), tuple(runs))


def _ph_calibration(table: _Table) -> PhCalibration:
    table.only("day", "slope_percent", "offset_mv", "stop_gap", "wiring", "point")
    return PhCalibration(
        slope_percent=table.number("slope_percent", *SLOPE_PERCENT),
        offset_mv=table.number("offset_mv", *OFFSET_MV),
        day=table.day("day"),
        stop_gap=table.yes("stop_gap"),
    )


def _ec_calibration(table: _Table) -> EcCalibration:
    table.only("day", "cell_constant_per_cm", "offset_ms", "wiring", "point")
    return EcCalibration(
        cell_constant_per_cm=table.number("cell_constant_per_cm", *CELL_CONSTANT_PER_CM),
        offset_ms=table.number("offset_ms", *EC_OFFSET_MS) if "offset_ms" in table.content else 0.0,
        day=table.day("day"),
    )


def _temperature_calibration(table: _Table) -> TemperatureCalibration:
    table.only("day", "offset_k", "wiring", "point")
    return TemperatureCalibration(offset_k=table.number("offset_k", *THERMOMETER_K), day=table.day("day"))


def _level_calibration(table: _Table) -> LevelCalibration:
    table.only("day", "scale", "offset_share", "wiring", "point")
    return LevelCalibration(
        scale=table.number("scale", *LEVEL_SCALE),
        offset_share=table.number("offset_share", *LEVEL_OFFSET_SHARE),
        day=table.day("day"),
    )


_CALIBRATION_FROM: Mapping[Quantity, Callable[[_Table], Calibration]] = {
    Quantity.PH: _ph_calibration,
    Quantity.EC: _ec_calibration,
    Quantity.TEMPERATURE: _temperature_calibration,
    Quantity.LEVEL: _level_calibration,
}


def _point(table: _Table) -> Point:
    table.only(*_POINT_KEYS, _SETTLED)
    return Point(
        standard=table.string("standard"),
        reference=table.number("reference"),
        signal=table.number("signal"),
        spread=table.number("spread"),
        temperature_c=table.number("temperature_c"),
        utc=table.moment("utc"),
        settled_s=table.number(_SETTLED, 0.0) if _SETTLED in table.content else None,
    )


@dataclass(frozen=True, slots=True)
class _Table:
    """One table of the file, where it stands, and its keys read with a complaint that names them."""

    path: Path
    name: str
    content: Mapping[str, Any]

    def refuse(self, key: str, allowed: str) -> NoReturn:
        shown = f" {key} = {self.content[key]!r}" if key in self.content else f" {key} is missing"
        if isinstance(self.content.get(key), Mapping):
            shown = f" {key}"
        where = f" [{self.name}]" if self.name else ""
        raise BookError(f"{self.path}{where}{shown}: {allowed}; {_NEXT_STEP}")

    def only(self, *keys: str) -> None:
        for key in self.content:
            if key not in keys:
                self.refuse(key, f"not known; known are {', '.join(keys)}")

    def table(self, key: str) -> _Table:
        content = self.content[key]
        if not isinstance(content, Mapping):
            self.refuse(key, "must be a table")
        return _Table(self.path, f"{self.name}.{key}" if self.name else key, content)

    def tables(self, key: str) -> Iterator[_Table]:
        content = self.content.get(key, [])
        if not isinstance(content, list) or not all(isinstance(each, Mapping) for each in content):
            self.refuse(key, "must be a list of tables, as [[...]]")
        for number, each in enumerate(content, start=1):
            yield _Table(self.path, f"{self.name}.{key} {number}", each)

    def number(self, key: str, lowest: float = -_HUGE, highest: float = _HUGE) -> float:
        value = self.content.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not (-_HUGE < value < _HUGE):
            self.refuse(key, "must be a finite number")
        if not (lowest <= value <= highest):
            self.refuse(key, f"must be {lowest:g} to {highest:g}")
        return float(value)

    def yes(self, key: str) -> bool:
        value = self.content.get(key, False)
        if not isinstance(value, bool):
            self.refuse(key, "must be true or false")
        return value

    def string(self, key: str) -> str:
        value = self.content.get(key)
        if not isinstance(value, str) or not value:
            self.refuse(key, "must be a text in quotes")
        return value

    def day(self, key: str) -> str:
        value = self.content.get(key)
        if isinstance(value, datetime) or not isinstance(value, date):
            self.refuse(key, "must be a date without quotes, as 2026-03-02")
        return value.isoformat()

    def moment(self, key: str) -> datetime:
        value = self.content.get(key)
        if not isinstance(value, datetime) or value.tzinfo is None:
            self.refuse(key, "must be a time with its zone, as 2026-03-02T09:12:00Z")
        return value


# Writing


def _text(path: Path, content: _Content) -> str:
    pages, rates = content.pages, content.rates
    try:
        probes = "".join(_page_text(*key, pages[key]) for key in sorted(pages))
        return _HEADER + probes + "".join(_rate_text(*key, rates[key]) for key in sorted(rates))
    except ValueError as error:
        raise BookError(f"{path}: day of the calibration: {error}; it must be a date as 2026-03-02") from error


def _page_text(reservoir: str, quantity: Quantity, page: Page) -> str:
    name = f"reservoir.{reservoir}.{quantity.value}"
    lines = [f"\n[{name}]", *_calibration_lines(page.calibration)]
    if page.wiring:
        lines += _lines([("wiring", page.wiring)])
    for point in page.points:
        lines += [f"\n[[{name}.point]]", *_lines((key, getattr(point, key)) for key in _POINT_KEYS)]
        if point.settled_s is not None:
            lines += _lines([(_SETTLED, point.settled_s)])
    return "\n".join(lines) + "\n"


def _rate_text(reservoir: str, pump: Role, rate: PumpRate) -> str:
    name = f"reservoir.{reservoir}.{_PUMP}.{pump.value}"
    lines = [f"\n[{name}]", *_lines([("day", date.fromisoformat(rate.day)), ("ml_per_s", rate.ml_per_s)])]
    for run in rate.runs:
        lines += [f"\n[[{name}.run]]", f"entry = {run.entry}", *_lines([("run_s", run.run_s), ("ml", run.ml)])]
    return "\n".join(lines) + "\n"


def _calibration_lines(calibration: Calibration) -> list[str]:
    day = ("day", date.fromisoformat(calibration.day))
    keys = _NUMBERS_OF[type(calibration)]
    lines = _lines([day, *((key, getattr(calibration, key)) for key in keys)])
    stop_gap = isinstance(calibration, PhCalibration) and calibration.stop_gap
    return [*lines, "stop_gap = true"] if stop_gap else lines


_NUMBERS_OF: Mapping[type[Calibration], tuple[str, ...]] = {
    PhCalibration: ("slope_percent", "offset_mv"),
    EcCalibration: ("cell_constant_per_cm", "offset_ms"),
    TemperatureCalibration: ("offset_k",),
    LevelCalibration: ("scale", "offset_share"),
}


def _lines(pairs: Iterable[tuple[str, str | float | date | datetime]]) -> list[str]:
    return [f"{key} = {_value(value)}" for key, value in pairs]


def _value(value: str | float | date | datetime) -> str:
    """One TOML value. JSON's strings are TOML's but for the delete character, which TOML wants escaped."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, date):  # a datetime is one too
        return value.isoformat()
    return repr(float(value))


def _replace(path: Path, text: str) -> None:
    """Put `text` in the place of the file at once; a power cut leaves the old file or the new one."""
    fresh, kept = path.with_name(path.name + ".new"), path.with_name(path.name + ".previous")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            shutil.copyfile(path, fresh)
            sync(fresh)
            fresh.replace(kept)
        write_whole(path, text)
    except (OSError, UnicodeEncodeError) as error:
        with suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise BookError(
            f"{path}: cannot be written ({error}); the calibrations on disk are as before; "
            "look at the folder's owner and free space, then calibrate again"
        ) from error
