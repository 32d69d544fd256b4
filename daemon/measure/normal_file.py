"""What was learned of each water, kept in a small file, so that a restart need not watch it for weeks again.

Where it stood is not kept: how long the program was off is not always known. A file that cannot be read is set
aside with a note; what cannot be written is only missed at the next start. Nothing here lets a reading pass the
fixed limits of the judge.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from pathlib import Path
from typing import Any

from daemon.disk import keep_if_may_be, recalled
from daemon.measure.normal import Normal
from daemon.values import Quantity

Normals = Mapping[Quantity, Normal]


class NormalFile:
    """The normals of all reservoirs at `path`. trouble: why what was kept there is not used, "" where it is."""

    def __init__(self, path: Path) -> None:
        self.trouble = ""
        self._path = path
        self._kept, fault = recalled(path, _read, dict[str, Normals]())
        if fault is not None:
            self.trouble = f"what the water usually does, in {path}, cannot be read: learned again ({fault!r})"

    def known(self, reservoir: str) -> dict[Quantity, Normal]:
        """What was learned of its water before this start."""
        return dict(self._kept.get(reservoir, {}))

    def keep(self, normals: Mapping[str, Normals]) -> None:
        """Write down what is known of each reservoir now. Never raises: at worst it is learned again."""
        self._kept.update(normals)
        keep_if_may_be(self._path, _raw(self._kept))


def _raw(kept: Mapping[str, Normals]) -> dict[str, Any]:
    return {
        name: {quantity.value: _raw_normal(normal) for quantity, normal in normals.items()}
        for name, normals in kept.items()
    }


def _raw_normal(of: Normal) -> dict[str, Any]:
    return {
        "largest": list(of.largest),
        "lately": list(of.lately),
        "still_s": of.still_s,
        "seen_s": of.seen_s,
        "untaught_s": of.untaught_s,
        "doubts": of.doubts,
    }


def _read(raw: Any) -> dict[str, Normals]:
    """Raises ValueError, TypeError, KeyError or AttributeError where it is not what `_raw` gives."""
    return {
        str(name): {Quantity(quantity): _normal(**fields) for quantity, fields in table.items()}
        for name, table in raw.items()
    }


def _normal(*, largest: Any, lately: Any, still_s: Any, seen_s: Any, untaught_s: Any, doubts: Any) -> Normal:
    """Raises ValueError or TypeError for what cannot have been learned."""
    return Normal(
        largest=_moves(largest),
        lately=_moves(lately),
        still_s=_number(still_s),
        seen_s=_number(seen_s),
        untaught_s=_number(untaught_s),
        doubts=_number(doubts),
    )


def _moves(raw: Any) -> tuple[float, float, float]:
    up, down, back = (_number(move) for move in raw)
    return up, down, back


def _number(value: Any) -> float:
    number = float(value)
    if not (isfinite(number) and number >= 0.0):
        raise ValueError(f"{value!r} cannot have been learned")
    return number
