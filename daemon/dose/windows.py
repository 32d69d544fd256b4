"""Time that is proven to have passed, and what was spent in it. Pure: no file, no clock.

A Pi has no battery clock, so the ledger counts *proven time*: seconds that only ever move on while
something vouches for them.

    boot 1              off      boot 2            off    boot 3
    |first_s ... last_s|. . . . .|first_s ... last_s|. . .|first_s ... now|
     monotonic counts   counts 0  monotonic counts   0     monotonic counts

Time between the last record of one boot and the first of the next counts zero, unless the wall clock
was synchronised in boots on both sides; then what it says beyond the counted seconds is credited
(`Boot.off_s`). A window can so only be longer than its name says, never shorter.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace
from datetime import datetime
from math import fsum, inf, isfinite

from daemon.values import Role

HOUR_S = 3600.0
DAY_S = 86400.0
RUN_MARGIN_S = 60.0  # a dose leaves its window this much late: the pump may start a little after the intent
WALL_TOLERANCE_S = 60.0  # synchronised wall clocks are believed to this; a larger step in a boot is a fault

OPPOSITE = {Role.PH_DOWN: Role.PH_UP, Role.PH_UP: Role.PH_DOWN}


@dataclass(frozen=True, slots=True)
class Stamp:
    """One look at the rig's clocks.

    at_s: monotonic, within `boot_id`; utc: aware; utc_trusted: the wall clock is known to be synchronised.
    Raises ValueError for a monotonic time that is not finite or a utc without a zone.
    """

    boot_id: str
    at_s: float
    utc: datetime
    utc_trusted: bool = False

    def __post_init__(self) -> None:
        if not isfinite(self.at_s):
            raise ValueError(f"monotonic time {self.at_s} s: must be finite")
        if self.utc.tzinfo is None:
            raise ValueError(f"utc {self.utc}: must carry a time zone")


@dataclass(frozen=True, slots=True)
class Boot:
    """One stretch of a monotonic clock, from the first to the last time the ledger recorded in it.

    off_s: seconds proven to have passed between the boot before and this one.
    anchor_s, anchor_utc_s: the first synchronised look at the wall clock, None before there was one.
    doubted: the wall clock stepped while it claimed to be synchronised; it proves nothing for this boot.
    """

    number: int
    boot_id: str
    first_s: float
    last_s: float
    off_s: float = 0.0
    anchor_s: float | None = None
    anchor_utc_s: float | None = None
    doubted: bool = False


def join(boots: tuple[Boot, ...], stamp: Stamp) -> tuple[Boot, ...]:
    """The boots with the one that `stamp` belongs to at the end: the last one if its clock still runs on.

    A clock that went back is taken for a new boot, whatever it calls itself.
    """
    if boots and boots[-1].boot_id == stamp.boot_id and stamp.at_s >= boots[-1].last_s:
        return boots
    number = boots[-1].number + 1 if boots else 1
    return (*boots, Boot(number, stamp.boot_id, stamp.at_s, stamp.at_s))


def offsets(boots: tuple[Boot, ...]) -> dict[int, float]:
    """Seconds to add to a monotonic time of each boot to get proven time, by boot number."""
    found, proven_s = {}, 0.0
    for boot in boots:
        proven_s += boot.off_s
        found[boot.number] = proven_s - boot.first_s
        proven_s += boot.last_s - boot.first_s
    return found


def wall_news(boot: Boot, stamp: Stamp) -> bool:
    """Whether the wall clock says something about `boot` that `observe` would act on."""
    if not stamp.utc_trusted or boot.doubted or not stamp.at_s >= boot.last_s:
        return False
    if boot.anchor_s is None or boot.anchor_utc_s is None:
        return True
    step_s = (stamp.utc.timestamp() - boot.anchor_utc_s) - (stamp.at_s - boot.anchor_s)
    return not abs(step_s) <= WALL_TOLERANCE_S


def observe(boots: tuple[Boot, ...], stamp: Stamp) -> tuple[Boot, ...]:
    """The boots after a synchronised look at the wall clock, `stamp` belonging to the last of them.

    The first look in a boot credits off-time; a later one that disagrees with it by more than
    WALL_TOLERANCE_S takes the credit back for good. In between, nothing changes.
    """
    if not wall_news(boots[-1], stamp):
        return boots
    if boots[-1].anchor_s is None:
        anchored = replace(boots[-1], anchor_s=stamp.at_s, anchor_utc_s=stamp.utc.timestamp())
        return _credit((*boots[:-1], anchored))
    return _withdraw(boots)


def _after_last_anchor(boots: tuple[Boot, ...]) -> int:
    """Position after the newest earlier boot whose wall clock was synchronised; 0 if there is none."""
    return next((i + 1 for i in range(len(boots) - 2, -1, -1) if boots[i].anchor_s is not None), 0)


def _credit(boots: tuple[Boot, ...]) -> tuple[Boot, ...]:
    """Off-time between two synchronised boots, placed right after the earlier: only entries before it age."""
    first = _after_last_anchor(boots)
    now, known = boots[-1], boots[first - 1]
    if first == 0 or now.anchor_s is None or now.anchor_utc_s is None:
        return boots
    if known.anchor_s is None or known.anchor_utc_s is None:
        return boots
    counted_s = (
        (known.last_s - known.anchor_s)
        + sum(boot.last_s - boot.first_s for boot in boots[first:-1])
        + (now.anchor_s - now.first_s)
    )
    off_s = now.anchor_utc_s - known.anchor_utc_s - counted_s - WALL_TOLERANCE_S
    return _with_off(boots, first, off_s) if off_s > 0.0 else boots


def _withdraw(boots: tuple[Boot, ...]) -> tuple[Boot, ...]:
    doubted = replace(boots[-1], anchor_s=None, anchor_utc_s=None, doubted=True)
    boots = (*boots[:-1], doubted)
    return _with_off(boots, _after_last_anchor(boots), 0.0)


def _with_off(boots: tuple[Boot, ...], position: int, off_s: float) -> tuple[Boot, ...]:
    return (*boots[:position], replace(boots[position], off_s=off_s), *boots[position + 1 :])


@dataclass(frozen=True, slots=True)
class Totals:
    """What the ledger says of one pump, and of its reservoir, at one moment. Unfinished runs count in full.

    hour_ml, day_ml: charged in the rolling hour and 24 h; since_refill_ml: since its bottle was last full.
    since_pump_s, since_any_s, since_opposite_s: proven seconds since the end of the last run of this pump,
    of any pump of the reservoir, of the pump with the opposite effect; None where there never was one.
    ok: False when the ledger cannot be relied on; every figure then says "spent, just now".
    """

    hour_ml: float
    day_ml: float
    since_refill_ml: float
    since_pump_s: float | None = None
    since_any_s: float | None = None
    since_opposite_s: float | None = None
    ok: bool = True


SPENT = Totals(inf, inf, inf, 0.0, 0.0, 0.0, ok=False)


@dataclass(slots=True)
class _Pump:
    """The charges of one pump that a window may still hold, oldest first, and sums good until `until_s`."""

    charges: deque[tuple[float, float]] = field(default_factory=deque)  # (end of run in proven s, mL)
    hour_ml: float = 0.0
    day_ml: float = 0.0
    since_refill_ml: float = 0.0
    until_s: float = -inf
    last_end_s: float = -inf

    def recount(self, now_s: float) -> None:
        while self.charges and now_s - self.charges[0][0] > DAY_S + RUN_MARGIN_S:
            self.charges.popleft()
        in_hour = [charge for charge in self.charges if now_s - charge[0] <= HOUR_S + RUN_MARGIN_S]
        self.day_ml = fsum(ml for _, ml in self.charges)
        self.hour_ml = fsum(ml for _, ml in in_hour)
        self.until_s = min(
            self.charges[0][0] + DAY_S + RUN_MARGIN_S if self.charges else inf,
            in_hour[0][0] + HOUR_S + RUN_MARGIN_S if in_hour else inf,
        )


class Tally:
    """What was spent, kept in memory beside the ledger file. Times are proven seconds, never going back."""

    def __init__(self) -> None:
        self._pumps: dict[tuple[str, Role], _Pump] = {}
        self._last_end_s: dict[str, float] = {}
        self._known: dict[tuple[str, Role], Totals] = {}  # at _known_s; each is asked for several times a pass
        self._known_s = -inf

    def charge(self, reservoir: str, pump: Role, end_s: float, ml: float, *, from_bottle: bool = True) -> None:
        """Charge `ml` for a run that ends at `end_s`. from_bottle: the bottle was not refilled since."""
        self._known.clear()
        spent = self._pumps.setdefault((reservoir, pump), _Pump())
        spent.charges.append((end_s, ml))
        spent.since_refill_ml += ml if from_bottle else 0.0
        spent.until_s = -inf
        spent.last_end_s = max(spent.last_end_s, end_s)
        self._last_end_s[reservoir] = max(self._last_end_s.get(reservoir, -inf), end_s)

    def refill(self, reservoir: str, pump: Role) -> None:
        """The bottle of this pump is full again."""
        self._known.clear()
        self._pumps.setdefault((reservoir, pump), _Pump()).since_refill_ml = 0.0

    def totals(self, reservoir: str, pump: Role, now_s: float) -> Totals:
        """What counts at `now_s` (proven)."""
        if now_s != self._known_s:
            self._known, self._known_s = {}, now_s
        known = self._known.get((reservoir, pump))
        if known is None:
            known = self._known[reservoir, pump] = self._totals(reservoir, pump, now_s)
        return known

    def _totals(self, reservoir: str, pump: Role, now_s: float) -> Totals:
        """Sums are kept until a charge leaves a window."""
        spent = self._pumps.get((reservoir, pump), _NOTHING)
        if not now_s <= spent.until_s and spent is not _NOTHING:
            spent.recount(now_s)
        opposite = self._pumps.get((reservoir, OPPOSITE[pump]), _NOTHING) if pump in OPPOSITE else _NOTHING
        return Totals(
            spent.hour_ml,
            spent.day_ml,
            spent.since_refill_ml,
            _since(spent.last_end_s, now_s),
            _since(self._last_end_s.get(reservoir, -inf), now_s),
            _since(opposite.last_end_s, now_s),
        )


_NOTHING = _Pump()


def _since(end_s: float, now_s: float) -> float | None:
    """Seconds since a run ended; 0 while it may still be running, None if there never was one."""
    return None if end_s == -inf else max(0.0, now_s - end_s)
