"""A simulated peristaltic pump: seconds on its line become mL out of its bottle."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from sim_hw.faults import FaultName, Held
from sim_hw.tables import PumpTable

USUAL_FAST = 2.0
USUAL_LEAK_ML_PER_MIN = 1.0
S_PER_MIN = 60.0
RUNS_KEPT = 1000


@dataclass(frozen=True, slots=True)
class Run:
    """One run as it truly was: bench seconds, and what came out."""

    start_s: float
    end_s: float
    ml: float


class Pump:
    """One pump. `on` is its line, `supplied` its supply; whether it turns also depends on its faults."""

    def __init__(self, table: PumpTable) -> None:
        self.role = table.role
        self.line = table.line
        self.on = False
        self.supplied = True
        self.faults: Held = {}
        self.left_ml = table.bottle_ml
        self.delivered_ml = 0.0
        self.runs: deque[Run] = deque(maxlen=RUNS_KEPT)
        self._full_ml = table.bottle_ml
        self._ml_per_s = table.ml_per_s
        self._since: tuple[float, float] | None = None

    def turns(self) -> bool:
        """Whether its rollers go round."""
        return self.supplied and (self.on or FaultName.PUMP_STUCK_ON in self.faults)

    def run(self, seconds: float) -> float:
        """mL that come out in these seconds; the bottle gives no more than it holds."""
        if not (self.on or self.faults):
            return 0.0
        if FaultName.BOTTLE_EMPTY in self.faults:
            return 0.0
        ml = min(self.left_ml, seconds * self._now_ml_per_s())
        self.left_ml -= ml
        self.delivered_ml += ml
        return ml

    def note(self, now_s: float) -> None:
        """Keep the record of runs: called whenever its line or its faults may have changed."""
        if self.turns() and self._since is None:
            self._since = (now_s, self.delivered_ml)
        elif not self.turns() and self._since is not None:
            start_s, before_ml = self._since
            self.runs.append(Run(start_s, now_s, self.delivered_ml - before_ml))
            self._since = None

    def empty(self) -> None:
        """Nothing left in the bottle."""
        self.left_ml = 0.0

    def refill(self) -> None:
        """A full bottle again."""
        self.left_ml = max(self._full_ml, self.left_ml)

    def _now_ml_per_s(self) -> float:
        if not self.turns():
            leaks = self.faults.get(FaultName.PUMP_LEAKS)
            return leaks.sized(USUAL_LEAK_ML_PER_MIN) / S_PER_MIN if leaks else 0.0
        return 0.0 if FaultName.PUMP_DEAD in self.faults else self._ml_per_s * self._times()

    def _times(self) -> float:
        fast = self.faults.get(FaultName.PUMP_FAST)
        return fast.sized(USUAL_FAST) if fast else 1.0
