"""A person at the tank with a probe in a standard: what they have taken so far, and the fit of it."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from datetime import datetime

from daemon.dose.ledger_standing import Standing
from daemon.measure.calibrate import EcFit, PhFit, Point, fit_ec, fit_ph
from daemon.measure.settling import WINDOW, Settling, settle
from daemon.measure.standards import ec_standard, ph_standard
from daemon.values import Quantity


class NotSettledError(ValueError):
    """The probe has not come to rest in its standard."""

    def __init__(self, settling: Settling) -> None:
        super().__init__("the reading has not settled")
        self.settling = settling


@dataclass(slots=True)
class Visit:
    """One calibration from `begin` to `finish`: the newest signals, and the points taken.

    held_before: the hold of a person that was in force when it began, and goes on when it ends.
    """

    quantity: Quantity
    held_before: Standing | None = None
    signals: deque[float] = field(default_factory=lambda: deque(maxlen=WINDOW))
    points: list[Point] = field(default_factory=list)

    def see(self, signal: float) -> None:
        """One more sample of the probe, as its circuit says it (electrode mV or mS)."""
        self.signals.append(signal)

    def afresh(self) -> None:
        """Forget the signals: the probe went to another standard."""
        self.signals.clear()

    def settling(self) -> Settling:
        """How far the probe has come to rest."""
        return settle(self.quantity, self.signals)

    def take(self, standard: str, temperature_c: float, utc: datetime) -> Point:
        """Take the settled signal as the point for `standard`; a second take of one replaces the first.

        Raises NotSettledError, and ValueError for a standard that is not known or not at that temperature.
        """
        of = ph_standard if self.quantity is Quantity.PH else ec_standard
        reference = of(standard, temperature_c)
        rest = self.settling()
        if not rest.settled or rest.mean is None or rest.spread is None:
            raise NotSettledError(rest)
        point = Point(standard, reference, rest.mean, rest.spread, temperature_c, utc)
        self.points = [kept for kept in self.points if kept.standard != standard] + [point]
        self.afresh()
        return point

    def fit(self) -> PhFit | EcFit:
        """What the points taken come to."""
        return fit_ph(self.points) if self.quantity is Quantity.PH else fit_ec(self.points)
