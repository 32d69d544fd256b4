"""What the pumps of one reservoir may give now: every cap, asked with the facts of this moment.

Runs on the loop's thread. The caps themselves are in daemon.dose.permit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from config.settings import Reservoir as Table
from daemon.dose.ledger import Ledger
from daemon.dose.pairs import as_far_as_b, b_for
from daemon.dose.permit import Facts, cap_use, permit
from daemon.dose.usual import Usual
from daemon.dose.windows import Stamp
from daemon.keeping.acidity import Acidity
from daemon.keeping.feed import Feed
from daemon.keeping.instruments import Instruments
from daemon.keeping.rates import PumpRates
from daemon.keeping.record import Record
from daemon.values import (
    CapUse,
    Condition,
    DoseReason,
    DoseRequest,
    Permit,
    Quantity,
    Refusal,
    Role,
    Verdict,
)

_RESTS_ON = {
    DoseReason.PH_HIGH: Quantity.PH,
    DoseReason.PH_LOW: Quantity.PH,
    DoseReason.EC_LOW: Quantity.EC,
    DoseReason.EC_HIGH: Quantity.EC,
    DoseReason.LEVEL_LOW: Quantity.LEVEL,
}
"""The quantity whose reading a dose is decided by."""


@dataclass(frozen=True, slots=True)
class Water:
    """What is known of the water of one reservoir: what is seen, what went in, and what followed from it."""

    instruments: Instruments
    record: Record
    acidity: Acidity
    feed: Feed


class Permits:
    """The caps of the reservoir `name`. condition: what it is in now."""

    def __init__(  # noqa: PLR0917 - the parts it asks, once
        self,
        name: str,
        table: Table,
        water: Water,
        rates: PumpRates,
        ledger: Ledger,
        condition: Callable[[Stamp], Condition],
    ) -> None:
        self._name = name
        self._table = table
        self._water = water
        self._rates = rates
        self._limits = rates.limits
        self._ledger = ledger
        self._condition = condition

    def answer(self, request: DoseRequest, stamp: Stamp) -> Permit | Refusal:
        """Whether this dose may be given now, and how much of it. Raises KeyError where there is no such pump."""
        verdict = self._water.instruments.verdicts.get(_RESTS_ON[request.reason])
        facts = self._facts(request.pump, stamp, verdict, self._water.acidity.usual(request, stamp))
        allowed = permit(request, self._limits[request.pump], facts)
        if request.pump is Role.STOCK_A and isinstance(allowed, Permit):
            return self._with_its_b(allowed, stamp)
        return allowed

    def _with_its_b(self, a: Permit, stamp: Stamp) -> Permit | Refusal:
        """Stock A only as far as its B could follow now; else the refusal of that B."""
        facts = self._facts(Role.STOCK_B, stamp, self._water.instruments.verdicts.get(Quantity.EC))
        asked = b_for(a, self._water.feed.b_per_a)
        b = permit(asked, self._limits[Role.STOCK_B], replace(facts, level_share=None))
        return as_far_as_b(a, b, self._limits[Role.STOCK_A].smallest_dose_ml)

    def prime(self, role: Role, ml: float, stamp: Stamp) -> Permit | Refusal:
        """Whether a person may run this pump by hand now. Raises KeyError where there is none."""
        request = DoseRequest(self._name, role, ml, DoseReason.PRIME)
        return permit(request, self._limits[role], self._facts(role, stamp))

    def timed(self, role: Role, run_s: float, stamp: Stamp) -> Permit | Refusal:
        """Whether a person may run this pump into a cylinder now, and how long. Raises KeyError as above."""
        limits = self._limits[role]
        request = DoseRequest(self._name, role, run_s * limits.ml_per_s, DoseReason.MEASURE)
        return permit(request, limits, self._facts(role, stamp))

    def use(self, stamp: Stamp) -> dict[Role, CapUse]:
        """How much of each cap is used."""
        volume_l = self._volume_l
        return {
            role: cap_use(limits, self._ledger.totals(self._name, role, stamp), volume_l)
            for role, limits in self._limits.items()
        }

    @property
    def _volume_l(self) -> float:
        """Litres in the reservoir, nominal where no probe measures it."""
        return self._table.volume_l * self._water.instruments.share_of_water

    def _facts(
        self, role: Role, stamp: Stamp, verdict: Verdict | None = None, usual: Usual | None = None
    ) -> Facts:
        instruments = self._water.instruments
        return Facts(
            condition=self._condition(stamp),
            verdict=verdict,
            spent=self._ledger.totals(self._name, role, stamp),
            volume_l=self._volume_l,
            mixing_time_s=self._table.mixing_time_s,
            level_enough=instruments.level_enough,
            has_level_probe=instruments.has(Quantity.LEVEL),
            level_share=instruments.level_share,
            circulation_on=instruments.circulation_on,
            has_circulation=instruments.has_circulation,
            rate_usable=self._rates.of(role, stamp.utc.date()).usable,
            since_refill_s=instruments.since_refill_s(stamp.at_s),
            since_moved_s=self._water.acidity.since_moved_s(stamp.at_s),
            usual=usual,
        )
