"""Other ways to keep pH, to hold ours against: on the same water, with the same pumps, caps and waits.

They are not wired to chips: each minute they are told pH with a good probe's noise (the oracle: the truth), and
what they ask for goes into the tank at once, as much as the pump truly gives. Every wait begins when its run
would end, caps shrink with the level as they do for ours, and a bottle that runs dry gives no more. Strength and
level are kept for them by a hand that reads the truth, once an hour, since they are about pH only.

    nothing          no dosing
    timer            the same dose every so often while pH is above the target
    pid              a fixed-gain PID (simple-pid), acid and base
    pid, dead band   the same, silent near the target
    oracle           reads the true pH of the whole tank and knows its chemistry

The PIDs are tuned on the very waters they are compared on, in their favour: of gains from 0.3 to 0.9 of the
first guess, integrals from none to 0.2 an hour and dead bands from 0 to 0.1 pH, the setting whose error times
pump starts (each as a multiple of the oracle's) is least, among those within ±0.2 pH for 99.5 % of the time
(the twelve waters that are dosed, a week, one seed): 1.7 times 1.0. A band of 0.1 pH takes 0.6 times the starts
at 3.6 times the error. Water adds up by itself what is poured in, so more integral only winds up on the long
way down at first.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import inf
from random import Random
from types import MappingProxyType
from typing import Any, Literal, Protocol

from config.pump import MIXING_TIMES, Pump, RoleName
from config.settings import Reservoir
from daemon.dose.control import prior_ml_per_ph
from daemon.dose.permit import level_factor
from daemon.dose.strength import stock_a_of_a_fill_ml
from daemon.values import Role
from sim_hw.tables import TankTable
from sim_hw.tank import Tank

MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86400.0
EC_EVERY = 10  # minutes: it takes as long to work out as all else of a step, and changes by the hour
PROBE_NOISE_PH = 0.005  # of a reading that is the median of three conversions with 0.5 mV of noise
TIMER_EVERY_S = 3600.0
PID_GAIN, PID_INTEGRAL_PER_H, PID_DEAD_BAND_PH = 0.7, 0.005, 0.05
ORACLE_DEAD_BAND_PH = 0.02  # above the target it doses, to as far below: the saw-tooth has its middle there
BISECTIONS = 14
KEPT_EC_SHARE, KEPT_LEVEL = 0.05, 0.9


class NoPid(ImportError):  # noqa: N818 - what it is
    """simple-pid is not installed."""


May = Callable[[RoleName], bool]
"""Whether any of this role could be given now: for a way that would reckon long for nothing."""


class Way(Protocol):
    """One way to keep pH: mL above zero for acid, below zero for base, 0 for nothing."""

    def __call__(self, ph: float, now_s: float, may: May, /) -> float: ...


@dataclass(slots=True)
class Sight:
    """What came of a run: each minute, of EC now and then (time in s, true value), each dose (time in s, mL, base
    below zero)."""

    ph: list[tuple[float, float]] = field(default_factory=list)
    ec: list[tuple[float, float]] = field(default_factory=list)
    doses: list[tuple[float, float]] = field(default_factory=list)
    violations: int = 0


@dataclass(slots=True)
class _Bottle:
    """One pump with the caps that permit holds it to; `room` is what they leave now. dry_s: when it is empty."""

    pump: Pump
    true_rate: float
    dry_s: float = inf
    given: deque[tuple[float, float]] = field(default_factory=deque)

    def room_ml(self, now_s: float) -> float:
        while self.given and self.given[0][0] <= now_s - DAY_S:
            self.given.popleft()
        hour_ml = sum(ml for at_s, ml in self.given if at_s > now_s - HOUR_S)
        day_ml = sum(ml for _, ml in self.given)
        caps = (self.pump.max_per_dose_ml or 0.0, (self.pump.max_per_hour_ml or 0.0) - hour_ml)
        return max(0.0, min(*caps, (self.pump.max_per_day_ml or 0.0) - day_ml))

    @property
    def since_s(self) -> float:
        return self.given[-1][0] if self.given else -inf


class Rival:
    """A tank of the bench kept another way.

    way: asked each minute; off_ph: it is told so much too low; dry_s: by role, since when its bottle is empty.
    """

    def __init__(
        self,
        bed: Reservoir,
        table: TankTable,
        way: Callable[[Tank], Way],
        *,
        seed: int,
        off_ph: float = 0.0,
        dry_s: Mapping[str, float] = MappingProxyType({}),
    ) -> None:
        self._bed = bed
        self._tank = Tank(table)
        self._way = way(self._tank)
        self._chance = Random(f"{seed} rival")
        rates = {pump.role: pump.ml_per_s for pump in table.pump}
        self._bottles: dict[RoleName, _Bottle] = {
            role: _Bottle(pump, rates[role] / pump.ml_per_s, dry_s.get(role, inf))
            for role, pump in bed.pump.items()
            if role in ("ph_down", "ph_up")
        }
        self._last_s = -inf
        self._off_ph = off_ph
        self.sight = Sight()

    def live(self, days: float, start_day_s: float) -> Sight:
        """Minute after minute, from so many seconds into a local day."""
        for minute in range(round(days * DAY_S / MINUTE_S)):
            now_s = minute * MINUTE_S
            self._tank.advance(MINUTE_S, start_day_s + now_s)
            look = self._tank.look()
            self.sight.ph.append((now_s, look.ph))
            if minute % EC_EVERY == 0:
                self.sight.ec.append((now_s, look.ec25_ms_per_cm))
            if minute % 60 == 0:
                self._feed_by_hand()
            if now_s - self._last_s >= MIXING_TIMES * self._bed.mixing_time_s:
                seen_ph = look.ph - self._off_ph + self._chance.gauss(0.0, PROBE_NOISE_PH)
                self._keep_ph(seen_ph, now_s)
        return self.sight

    def _keep_ph(self, seen_ph: float, now_s: float) -> None:
        def may(role: RoleName) -> bool:
            return self._room_ml(role, now_s) > 0.0

        self._dose(self._way(seen_ph, now_s, may), now_s)

    def _room_ml(self, role: RoleName, now_s: float) -> float:
        """The most of this role that may be given now; 0 in its waits, and where it is too little to be given."""
        opposite: RoleName = "ph_up" if role == "ph_down" else "ph_down"
        bottle, other = self._bottles.get(role), self._bottles.get(opposite)
        if bottle is None or now_s - bottle.since_s < bottle.pump.min_gap_s:
            return 0.0
        if other is not None and now_s - other.since_s < self._bed.opposite_gap_h * HOUR_S:
            return 0.0
        room_ml = bottle.room_ml(now_s) * level_factor(self._tank.look().level_share)
        return room_ml if room_ml >= bottle.pump.smallest_dose_ml else 0.0

    def _dose(self, ml: float, now_s: float) -> None:
        if ml == 0.0:
            return
        role: RoleName = "ph_down" if ml > 0.0 else "ph_up"
        given_ml = min(abs(ml), self._room_ml(role, now_s))
        bottle = self._bottles.get(role)
        if bottle is None or given_ml < bottle.pump.smallest_dose_ml:
            return
        if now_s < bottle.dry_s:
            self._tank.deliver(role, given_ml * bottle.true_rate)
        self._last_s = now_s + given_ml / bottle.pump.ml_per_s
        bottle.given.append((self._last_s, given_ml))
        self.sight.doses.append((now_s, given_ml if ml > 0.0 else -given_ml))

    def _feed_by_hand(self) -> None:
        look, bed = self._tank.look(), self._bed
        if "top_up" in bed.pump and look.level_share < KEPT_LEVEL:
            self._tank.add_water(bed.volume_l * (KEPT_LEVEL + 0.05 - look.level_share))
        target = bed.ec.target_ms_per_cm
        short = (target - look.ec25_ms_per_cm) / target
        if "stock_a" in bed.pump and short > KEPT_EC_SHARE:
            a_ml = short * stock_a_of_a_fill_ml(bed) * look.level_share
            self._tank.deliver("stock_a", a_ml)
            self._tank.deliver("stock_b", a_ml * bed.ec.stock_b_ml_per_a_ml)


def _guess_ml_per_ph(bed: Reservoir) -> float:
    return prior_ml_per_ph(bed, Role.PH_DOWN)


def nothing(_bed: Reservoir) -> Callable[[Tank], Way]:
    """No dosing."""
    return lambda _tank: lambda _ph, _now_s, _may: 0.0


def timer(bed: Reservoir) -> Callable[[Tank], Way]:
    """A quarter of the first guess per pH, every hour while pH is above the target."""

    def begin(_tank: Tank) -> Way:
        last_s = -inf

        def way(ph: float, now_s: float, _may: May) -> float:
            nonlocal last_s
            if now_s - last_s < TIMER_EVERY_S or ph <= bed.ph.target:
                return 0.0
            last_s = now_s
            return 0.25 * _guess_ml_per_ph(bed)

        return way

    return begin


def pid(bed: Reservoir, dead_band_ph: float = 0.0) -> Callable[[Tank], Way]:
    """A fixed-gain PID by simple-pid, in shares of the first guess per pH. Raises NoPid."""
    try:
        from simple_pid import PID
    except ImportError as error:
        raise NoPid("comparing needs the library simple-pid: pip install simple-pid") from error

    def begin(_tank: Tank) -> Way:
        kp = PID_GAIN * _guess_ml_per_ph(bed)
        clock = {"s": 0.0}
        controller: Any = PID(
            -kp,
            -kp * PID_INTEGRAL_PER_H / HOUR_S,
            0.0,
            setpoint=bed.ph.target,
            time_fn=lambda: clock["s"],
            sample_time=None,
        )
        controller.output_limits = (-_guess_ml_per_ph(bed), _guess_ml_per_ph(bed))

        def way(ph: float, now_s: float, _may: May) -> float:
            clock["s"] = now_s
            ml = float(controller(ph) or 0.0)
            return 0.0 if abs(ph - bed.ph.target) < dead_band_ph else ml

        return way

    return begin


def oracle(bed: Reservoir) -> Callable[[Tank], Way]:
    """The dose that the whole tank needs, worked out from its true chemistry."""

    def begin(tank: Tank) -> Way:
        def way(_ph: float, _now_s: float, may: May) -> float:
            ph, target = tank.bulk().ph, bed.ph.target
            if ph > target + ORACLE_DEAD_BAND_PH and may("ph_down"):
                return _ml_to(tank, "ph_down", target - ORACLE_DEAD_BAND_PH, 4.0 * _guess_ml_per_ph(bed))
            if ph < bed.bands.ph_low and may("ph_up"):
                return -_ml_to(tank, "ph_up", target, 4.0 * _guess_ml_per_ph(bed))
            return 0.0

        return way

    return begin


def _ml_to(tank: Tank, role: Literal["ph_down", "ph_up"], target: float, most_ml: float) -> float:
    """mL of this bottle that bring the whole tank to `target`, at most `most_ml`."""
    low_ml, high_ml = 0.0, most_ml
    falls = role == "ph_down"
    for _ in range(BISECTIONS):
        middle_ml = (low_ml + high_ml) / 2.0
        ph = tank.ph_with(role, middle_ml)
        short = ph > target if falls else ph < target
        low_ml, high_ml = (middle_ml, high_ml) if short else (low_ml, middle_ml)
    return low_ml


RIVALS: dict[str, Callable[[Reservoir], Callable[[Tank], Way]]] = {
    "nothing": nothing,
    "timer": timer,
    "pid": pid,
    "pid, dead band": lambda bed: pid(bed, PID_DEAD_BAND_PH),
    "oracle": oracle,
}
WITHOUT_CHANCE = frozenset({"nothing", "oracle"})
"""Those that ask no probe: the bench's only chance is in its probes, so every seed gives them the same."""
