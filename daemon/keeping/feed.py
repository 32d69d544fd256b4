"""Strength and level of one reservoir from pass to pass: what to ask for, and whether it worked.

Holds what must be remembered; all deciding is done by the pure rooms. Runs on the loop's thread.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from config.settings import Reservoir as Table
from daemon.dose.finding import Finding
from daemon.dose.newest import READINGS, Newest
from daemon.dose.strength import Strength, ask_strength, ec_aim_of, owed_ml
from daemon.dose.strength_response import STOCK_SHARE, Feeding, disturbed, fed, watch_strength
from daemon.dose.water import ask_water, water_aim_of
from daemon.keeping.instruments import Instruments
from daemon.values import DoseRequest, Entry, Permit, Quantity, Role

STOCKS = (Role.STOCK_A, Role.STOCK_B)


class Feed:
    """The strength and the level of the reservoir `name`. b_per_a: mL of stock B that belong to 1 mL of A."""

    def __init__(self, name: str, table: Table, instruments: Instruments) -> None:
        self._name = name
        self._aim = ec_aim_of(table)
        self._water = water_aim_of(table)
        self._instruments = instruments
        self._newest: Newest = ()
        self._filling = False
        self._feeding = Feeding()

    @property
    def b_per_a(self) -> float:
        """mL of stock B that belong to 1 mL of A."""
        return self._aim.b_per_a

    def aim_at(self, ec_ms_per_cm: float) -> None:
        """The crop's stage asks for another strength."""
        self._aim = replace(self._aim, target=ec_ms_per_cm)

    def wishes(
        self, now_s: float, last_dose_s: float | None, doses: Callable[[], tuple[Entry, ...]]
    ) -> tuple[DoseRequest, ...]:
        """What to ask for at this pass, most urgent first: the other half of a pair, water, strength.

        now_s, last_dose_s: monotonic; doses: gives the newest into this water, newest first.
        """
        water = ask_water(self._name, self._water, self._instruments.rest_share, filling=self._filling)
        self._filling = water is not None
        strength = self._wanted_strength(now_s, last_dose_s, doses)
        wanted = [strength, water] if _is_owed(strength) else [water, strength]
        return tuple(request for request in wanted if request is not None)

    def _wanted_strength(
        self, now_s: float, last_dose_s: float | None, doses: Callable[[], tuple[Entry, ...]]
    ) -> DoseRequest | None:
        ec = self._instruments.verdicts.get(Quantity.EC)
        if ec is None:
            return None
        owed = owed_ml(doses(), self._aim.b_per_a) if self._aim.has_stocks else 0.0
        look = Strength(ec, now_s, last_dose_s, self._instruments.rest_share, self._instruments.level_share, owed)
        asked, self._newest = ask_strength(self._name, self._aim, look, self._newest)
        return asked

    @property
    def looking(self) -> bool:
        """Whether it has yet to tell if strength asks for something, as after a moment without its probe: pH then
        waits, or it would come before the B of an A that is already in.
        """
        ec = self._instruments.verdicts.get(Quantity.EC)
        return self._aim.has_stocks and ec is not None and ec.usable and len(self._newest) < READINGS

    # what it did

    def watch(self) -> Finding | None:
        """Hold strength against what the stocks should have done."""
        ec = self._instruments.verdicts.get(Quantity.EC)
        if ec is None or not self._aim.has_stocks:
            return None
        finding, self._feeding = watch_strength(self._feeding, ec)
        return finding

    def dosed(self, allowed: Permit, end_s: float) -> None:
        """A run has ended: of a stock, what it should do follows. Acid and base hardly move strength."""
        pump = allowed.request.pump
        if pump is Role.TOP_UP:
            self.disturbed()
        if pump not in STOCKS:
            return
        per_ml = self._aim.a_ml_per_ms_per_cm * self._instruments.share_of_water
        pair_ml = allowed.ml if pump is Role.STOCK_A else allowed.ml / self._aim.b_per_a
        rise = STOCK_SHARE * pair_ml / per_ml
        self._feeding = fed(self._feeding, pump, allowed.ml, rise, end_s, self._aim.mixing_time_s)

    def disturbed(self) -> None:
        """People are at work, or something else went in: what was being followed says nothing."""
        self._feeding = disturbed(self._feeding)


def _is_owed(request: DoseRequest | None) -> bool:
    return request is not None and request.pump is Role.STOCK_B
