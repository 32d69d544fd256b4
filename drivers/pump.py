"""A peristaltic pump: millilitres by a measured rate, as runs of bounded length."""

from __future__ import annotations

from math import isclose

from drivers.keeper import MAX_RUN_S
from drivers.keeping import Keeper
from drivers.pump_run import RunReport

HAIR = 1e-12  # share by which binary fractions may miss: the longest run allowed must not fail by it


class PeristalticPump:
    """One pump on one line of the keeper. ml_per_s: measured with the tube and the supply in use."""

    def __init__(self, *, keeper: Keeper, line: int, ml_per_s: float) -> None:
        self._keeper = keeper
        self._line = line
        self.ml_per_s = ml_per_s

    @property
    def ml_per_s(self) -> float:
        """What it is taken to deliver in a second."""
        return self._ml_per_s

    @ml_per_s.setter
    def ml_per_s(self, ml_per_s: float) -> None:
        if not 0.0 < ml_per_s < float("inf"):
            raise ValueError(f"ml_per_s = {ml_per_s}: must be a number above 0 mL/s")
        self._ml_per_s = ml_per_s

    def run_s_for(self, ml: float) -> float:
        """Seconds that deliver `ml`. Raises ValueError unless that is a finite volume above 0 mL."""
        if not 0.0 < ml < float("inf"):
            raise ValueError(f"a dose of {ml} mL: must be a number above 0 mL")
        run_s = ml / self._ml_per_s
        return MAX_RUN_S if isclose(run_s, MAX_RUN_S, rel_tol=HAIR) else run_s

    def deliver(self, ml: float) -> RunReport:
        """Run the pump for `ml`, to the end. The keeper refuses what would run too long. Raises as Keeper.run."""
        return self._keeper.run(self._line, self.run_s_for(ml))
