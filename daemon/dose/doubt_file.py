"""What is doubted of each reservoir's readings, kept in a small file, so that a restart clears nothing.

    two probes disagree, a jump no dose has proven, doses that seem to have done nothing, out of service
        ->  doubts.json, whole  ->  the next start

What is doubted only ever makes it dose less. A file that cannot be read therefore means that everything is in
doubt until it has shown itself: probes that agree for a few looks, a dose that shows. What cannot be written is
missed at the next start; the ledger, without which nothing is dosed, lies in the same folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daemon.disk import keep_if_may_be, number, recalled
from daemon.dose.finding import Finding, Surprise
from daemon.values import Quantity, Role


@dataclass(frozen=True, slots=True)
class Doubts:
    """What is doubted of one reservoir.

    apart: kinds of quantity whose two probes disagree; unproven: pH made a jump, and no dose has shown since;
    out: probes that a person has taken out of service; untold: what is about to be found of doses that seem to
    have done nothing, while a rest has yet to tell; lowest: where a still reservoir stood lowest, as a share of
    the full one: above it hang roots that live by the air.
    """

    apart: frozenset[Quantity] = frozenset()
    unproven: bool = False
    out: frozenset[Quantity] = frozenset()
    untold: Finding | None = None
    lowest: float | None = None


ALL = Doubts(frozenset({Quantity.PH, Quantity.EC, Quantity.TEMPERATURE}), unproven=True)


class DoubtFile:
    """The doubts of all reservoirs at `path`. trouble: why all is doubted at this start, "" where it is not."""

    def __init__(self, path: Path) -> None:
        self.trouble = ""
        self._path = path
        self._kept, fault = recalled(path, _read, dict[str, Doubts]())
        self._unknown = ALL if fault is not None else Doubts()
        if fault is not None:
            self.trouble = (
                f"what was in doubt cannot be read from {path}: all is, until it has shown itself ({fault!r})"
            )

    def known(self, reservoir: str) -> Doubts:
        """What is doubted of a reservoir."""
        return self._kept.get(reservoir, self._unknown)

    def keep(self, reservoir: str, doubts: Doubts) -> None:
        """Write down what is doubted of a reservoir now, where that is something else. Never raises."""
        if self.known(reservoir) != doubts:
            self._kept[reservoir] = doubts
            keep_if_may_be(self._path, _raw(self._kept))


def _raw(kept: dict[str, Doubts]) -> dict[str, Any]:
    return {name: _raw_of(of) for name, of in kept.items()}


def _raw_of(of: Doubts) -> dict[str, Any]:
    raw: dict[str, Any] = {"apart": sorted(of.apart), "unproven": of.unproven, "out": sorted(of.out)}
    if of.lowest is not None:
        raw["lowest"] = of.lowest
    if of.untold is None:
        return raw
    untold = of.untold
    return {**raw, "untold": {"surprise": untold.surprise, "pump": untold.pump, "numbers": dict(untold.numbers)}}


def _read(raw: Any) -> dict[str, Doubts]:
    """Raises ValueError, TypeError, KeyError or AttributeError where it is not what `_raw` gives."""
    return {
        str(name): Doubts(
            _quantities(table["apart"]),
            bool(table["unproven"]),
            _quantities(table.get("out", ())),
            _finding(table["untold"]) if "untold" in table else None,
            number(table["lowest"]) if "lowest" in table else None,
        )
        for name, table in raw.items()
    }


def _finding(raw: Any) -> Finding:
    numbers = {str(name): number(each) for name, each in raw["numbers"].items()}
    return Finding(Surprise(raw["surprise"]), None if raw["pump"] is None else Role(raw["pump"]), numbers)


def _quantities(raw: Any) -> frozenset[Quantity]:
    return frozenset(Quantity(each) for each in raw)
