"""A peristaltic pump: millilitres by a measured rate, as runs of bounded length."""

from __future__ import annotations

from drivers.keeper import RunReport
from drivers.keeping import Keeper

RUN_DECIMALS = 6  # of a run in seconds: the longest run allowed must not fail by a binary fraction


class PeristalticPump:
    """One pump on one line of the keeper. ml_per_s: measured with the tube and the supply in use."""

    def __init__(self, *, keeper: Keeper, line: int, ml_per_s: float) -> None:
        if not 0.0 < ml_per_s < float("inf"):
            raise ValueError(f"ml_per_s = {ml_per_s}: must be a number above 0 mL/s")
        self._keeper = keeper
        self._line = line
        self._ml_per_s = ml_per_s

    def run_s_for(self, ml: float) -> float:
        """Seconds that deliver `ml`. Raises ValueError unless that is a finite volume above 0 mL."""
        if not 0.0 < ml < float("inf"):
            raise ValueError(f"a dose of {ml} mL: must be a number above 0 mL")
        return round(ml / self._ml_per_s, RUN_DECIMALS)

    def deliver(self, ml: float) -> RunReport:
        """Run the pump for `ml`, to the end. The keeper refuses what would run too long. Raises as Keeper.run."""
        return self._keeper.run(self._line, self.run_s_for(ml))
