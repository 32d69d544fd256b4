"""The seam: everything that is soldered, plus time.

Settings name a rig as `[rig] open = "package.module:function"`. The function takes the parsed
`[rig]` table and returns an object with the members of `Rig`. Nothing else may reach hardware.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol, cast


class RigError(ValueError):
    """The rig named in the settings cannot be opened."""


class Clock(Protocol):
    """Time as the rig sees it. Durations come from `monotonic_s`; `utc` is for records only."""

    def monotonic_s(self) -> float: ...

    def utc(self) -> datetime: ...

    def sleep(self, seconds: float) -> None: ...


class I2C(Protocol):
    """The methods of busio's I2C that the ADC library calls."""

    def try_lock(self) -> bool: ...

    def unlock(self) -> None: ...

    def scan(self) -> list[int]: ...

    def writeto(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None: ...

    def readfrom_into(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None: ...

    def writeto_then_readfrom(
        self,
        address: int,
        buffer_out: Any,
        buffer_in: Any,
        *,
        out_start: int = 0,
        out_end: int | None = None,
        in_start: int = 0,
        in_end: int | None = None,
    ) -> None: ...


class Rig(Protocol):
    """One box of wiring. `in_process` is True where its pins exist in this process only."""

    @property
    def clock(self) -> Clock: ...

    @property
    def in_process(self) -> bool: ...

    @property
    def one_wire_root(self) -> Path: ...

    def i2c(self, bus: int) -> I2C: ...

    def pin_factory(self) -> Any: ...

    def close(self) -> None: ...


def open_rig(table: Mapping[str, Any]) -> Rig:
    """The rig that `table["open"]` names. Raises RigError when it cannot be found or opened."""
    name = str(table.get("open", ""))
    return cast(Rig, resolve(name)(table))


def resolve(name: str) -> Callable[[Mapping[str, Any]], Any]:
    """The function behind `package.module:function`. Raises RigError saying what is wrong with the name."""
    module_name, colon, function_name = name.partition(":")
    if not (module_name and colon and function_name):
        raise RigError(f'[rig] open = "{name}": must read "package.module:function", as "drivers.pi:open_rig"')
    try:
        module = importlib.import_module(module_name)
    except ImportError as error:
        raise RigError(
            f'[rig] open = "{name}": module {module_name} cannot be imported ({error}); '
            "correct the name before the colon, or install what it needs"
        ) from error
    function = getattr(module, function_name, None)
    if not callable(function):
        raise RigError(
            f'[rig] open = "{name}": {module_name} has no function {function_name}; '
            "correct the name after the colon"
        )
    return cast(Callable[[Mapping[str, Any]], Any], function)


def boot_id_of(clock: Clock, fresh_boot_id: str) -> str:
    """The boot that `clock` counts from. A clock that does not say counts as just booted (the strict side)."""
    said = getattr(clock, "boot_id", None)
    return str(said()) if callable(said) else fresh_boot_id


def utc_is_trusted(clock: Clock) -> bool:
    """Whether the wall clock is known to be synchronised. A clock that does not say is not trusted."""
    said = getattr(clock, "utc_trusted", None)
    return bool(said()) if callable(said) else False


def missing_barriers(rig: Rig) -> tuple[str, ...]:
    """What should stop a pump after its keeper was killed, and cannot be seen on this rig: a sentence for each.

    A rig that says nothing of it has pins that end with the process.
    """
    said = getattr(rig, "missing_barriers", None)
    return tuple(said()) if callable(said) else ()
