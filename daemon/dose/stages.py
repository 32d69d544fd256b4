"""What a crop's stage asks of pH and strength, day by day. Pure.

    sown          seedling           ramp       leafing            ramp      finishing
    |-------------------------------/------------------------------/------------------ ...
    day 0                     from_day, `stage_ramp_days` long

A change of stage ramps, never steps: roots bear a slow change, and no correction is larger than usual.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass
from datetime import UTC, date, datetime, time

from config.settings import Reservoir, Stage
from daemon.dose.windows import DAY_S, HOUR_S, Stamp

MOST_PH_PER_H, MOST_MS_PER_CM_PER_H = 0.02, 0.02  # whatever the wall clock says meanwhile


@dataclass(frozen=True, slots=True)
class Targets:
    """What is aimed at now, and the bands around it. Strengths in mS/cm at 25 °C."""

    ph: float
    ec: float
    ph_low: float
    ph_high: float
    ec_low: float
    ec_high: float


def plain(reservoir: Reservoir) -> Targets:
    """What the reservoir's own tables say, without any stage."""
    bands = reservoir.bands
    return Targets(
        ph=reservoir.ph.target,
        ec=reservoir.ec.target_ms_per_cm,
        ph_low=bands.ph_low,
        ph_high=bands.ph_high,
        ec_low=bands.ec_low_ms_per_cm,
        ec_high=bands.ec_high_ms_per_cm,
    )


def targets_at(reservoir: Reservoir, utc: datetime, sown_on: date | None = None) -> Targets:
    """What the stage of that moment asks for; the plain tables where no stages are set, or before sowing.

    sown_on: what the stages count from, None for the day that the settings name.
    """
    counts_from = sown_on or reservoir.sown_on
    if counts_from is None or not reservoir.stage:
        return plain(reservoir)
    sown = datetime.combine(counts_from, time.min, UTC)
    return _on_day(reservoir, (utc - sown).total_seconds() / DAY_S)


def towards(now: Targets, wanted: Targets, hours: float) -> Targets:
    """As far from `now` to `wanted` as may be gone in so many hours."""
    most = (MOST_PH_PER_H, MOST_MS_PER_CM_PER_H, *(MOST_PH_PER_H,) * 2, *(MOST_MS_PER_CM_PER_H,) * 2)
    pairs = zip(astuple(now), astuple(wanted), most, strict=True)
    return Targets(*(_step(at, to, limit * max(0.0, hours)) for at, to, limit in pairs))


class Ramp:
    """The targets of one reservoir from pass to pass: by a wall clock that can be trusted, never in steps.

    sown_on: what its stages count from as the crop's diary has it; None leaves it to the settings.
    """

    def __init__(self, reservoir: Reservoir) -> None:
        self.targets = plain(reservoir)
        self.sown_on: date | None = None
        self._reservoir = reservoir
        self._at_s: float | None = None

    def follow(self, stamp: Stamp) -> bool:
        """Move on to what this moment asks for; whether anything changed: nothing without a trusted clock."""
        if not (self._reservoir.stage and stamp.utc_trusted):
            return False
        wanted = targets_at(self._reservoir, stamp.utc, self.sown_on)
        before = self.targets
        if self._at_s is None:  # a restart goes on where the days are by now
            self.targets = wanted
        else:
            self.targets = towards(before, wanted, (stamp.at_s - self._at_s) / HOUR_S)
        self._at_s = stamp.at_s
        return self.targets != before


def _on_day(reservoir: Reservoir, day: float) -> Targets:
    """The stage of that day, or the way there from the one before."""
    begun = [stage for stage in reservoir.stage if stage.from_day <= day]
    if not begun:
        return plain(reservoir)
    now = _of(reservoir, begun[-1])
    before = _of(reservoir, begun[-2]) if len(begun) > 1 else now
    share = min(1.0, (day - begun[-1].from_day) / reservoir.stage_ramp_days)
    return Targets(*(a + share * (b - a) for a, b in zip(astuple(before), astuple(now), strict=True)))


def _of(reservoir: Reservoir, stage: Stage) -> Targets:
    """What a stage sets, the rest from the reservoir's own tables."""
    own = plain(reservoir)
    ph, ec, bands = stage.ph_target, stage.ec_target_ms_per_cm, stage.bands
    return Targets(
        ph=own.ph if ph is None else ph,
        ec=own.ec if ec is None else ec,
        ph_low=own.ph_low if bands is None else bands.ph_low,
        ph_high=own.ph_high if bands is None else bands.ph_high,
        ec_low=own.ec_low if bands is None else bands.ec_low_ms_per_cm,
        ec_high=own.ec_high if bands is None else bands.ec_high_ms_per_cm,
    )


def _step(at: float, to: float, limit: float) -> float:
    return to if abs(to - at) <= limit else at + (limit if to > at else -limit)
