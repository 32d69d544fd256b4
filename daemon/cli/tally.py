"""What a run came to: shares in band, doses, refusals, alarms. Fed one snapshot a pass."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from daemon.values import Alarm, Cap, Quantity, Refusal, ReservoirState, State

DAY_S = 86400.0
Values = Mapping[Quantity, float]


@dataclass(slots=True)
class BandShare:
    """Passes seen, and those inside the band."""

    seen: int = 0
    inside: int = 0

    def see(self, value: float, band: tuple[float, float]) -> None:
        self.seen += 1
        self.inside += band[0] <= value <= band[1]

    @property
    def share(self) -> float | None:
        """0..1, or None where nothing was seen."""
        return self.inside / self.seen if self.seen else None


@dataclass(frozen=True, slots=True)
class AlarmRun:
    """One alarm from raised to over; over_s is None while it lasts. Seconds since the run began."""

    key: str
    priority: str
    text: str
    raised_s: float
    over_s: float | None = None


@dataclass(slots=True)
class Tally:
    """Counts over a run.

    `settle_s`: what comes before it is also left out of `in_band_settled`. `levels`: of each reservoir the first
    of each day, as a share of the full one.
    """

    settle_s: float = 6 * 3600.0
    passes: int = 0
    begun_s: float | None = None
    last: State | None = None
    in_band: dict[Quantity, BandShare] = field(default_factory=dict)
    in_band_settled: dict[Quantity, BandShare] = field(default_factory=dict)
    refusals: Counter[Cap] = field(default_factory=Counter)
    alarms: dict[str, list[AlarmRun]] = field(default_factory=dict)
    levels: dict[str, dict[int, float]] = field(default_factory=dict)
    _refused: dict[str, Cap | None] = field(default_factory=dict)

    def see(self, state: State, values: Mapping[str, Values]) -> None:
        """Count one pass. values: per reservoir what to hold against its bands, e.g. `readings(state)`."""
        self.passes += 1
        self.begun_s = state.at_s if self.begun_s is None else self.begun_s
        elapsed_s = state.at_s - self.begun_s
        for name, reservoir in state.reservoirs.items():
            self._see_bands(reservoir.bands, values.get(name, {}), elapsed_s)
            self._see_refusal(reservoir)
            self._see_level(reservoir, elapsed_s)
        self._see_alarms(state.alarms, elapsed_s)
        self.last = state

    def shares(self, settled: bool = False) -> dict[str, float | None]:
        """Share of passes in band per quantity, 0..1."""
        counts = self.in_band_settled if settled else self.in_band
        return {quantity.value: None if (s := c.share) is None else round(s, 5) for quantity, c in counts.items()}

    def alarm_runs(self) -> list[AlarmRun]:
        """Every alarm of the run, in the order they were raised."""
        runs = [run for each in self.alarms.values() for run in each]
        return sorted(runs, key=lambda run: (run.raised_s, run.key))

    def _see_bands(self, bands: Mapping[Quantity, tuple[float, float]], values: Values, elapsed_s: float) -> None:
        for quantity, band in bands.items():
            value = values.get(quantity)
            if value is None:
                continue
            self.in_band.setdefault(quantity, BandShare()).see(value, band)
            if elapsed_s >= self.settle_s:
                self.in_band_settled.setdefault(quantity, BandShare()).see(value, band)

    def _see_level(self, reservoir: ReservoirState, elapsed_s: float) -> None:
        """What the level showed first on each day."""
        level = reservoir.verdicts.get(Quantity.LEVEL)
        if level is not None and level.usable and level.reading is not None:
            self.levels.setdefault(reservoir.name, {}).setdefault(int(elapsed_s // DAY_S), level.reading.value)

    def _see_refusal(self, reservoir: ReservoirState) -> None:
        """Count a refusal once for as long as the same cap goes on saying no."""
        decision = reservoir.last_decision
        cap = decision.cap if isinstance(decision, Refusal) else None
        if cap is not None and self._refused.get(reservoir.name) is not cap:
            self.refusals[cap] += 1
        self._refused[reservoir.name] = cap

    def _see_alarms(self, alarms: tuple[Alarm, ...], elapsed_s: float) -> None:
        if not alarms and not self.alarms:
            return
        now = {alarm.key: alarm for alarm in alarms}
        for key, runs in self.alarms.items():
            if runs[-1].over_s is None and key not in now:
                run = runs[-1]
                runs[-1] = AlarmRun(run.key, run.priority, run.text, run.raised_s, elapsed_s)
        for key, alarm in now.items():
            runs = self.alarms.setdefault(key, [])
            if not runs or runs[-1].over_s is not None:
                runs.append(AlarmRun(key, alarm.priority.value, alarm.text, elapsed_s))


def readings(state: State) -> dict[str, Values]:
    """What the daemon itself reads, good readings only, per reservoir."""
    return {
        name: {
            quantity: verdict.reading.value
            for quantity, verdict in reservoir.verdicts.items()
            if verdict.usable and verdict.reading is not None
        }
        for name, reservoir in state.reservoirs.items()
    }
