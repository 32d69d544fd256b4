"""A person at the tank with a probe in a standard: what they have taken so far, and the fit of it."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from datetime import datetime

from daemon.dose.ledger_standing import Standing
from daemon.measure.by_reference import fit_level, fit_temperature
from daemon.measure.calibrate import AnyFit, Point, fit_ec, fit_ph, fit_stop_gap
from daemon.measure.convert import Calibration, EcCalibration, PhCalibration
from daemon.measure.recognise import recognise
from daemon.measure.settling import LONGEST_WINDOW, Seen, Settling, settle
from daemon.measure.standards import SHIPPED, Shelf
from daemon.values import Quantity

THERMOMETER, WATER = "thermometer", "water"
"""What temperature and level are calibrated by, in place of a bottle; a point of water is named by its share."""

_SAME_PH = 0.5  # two points nearer than this are of one buffer, named twice


class NotSettledError(ValueError):
    """The probe has not come to rest in its standard."""

    def __init__(self, settling: Settling) -> None:
        super().__init__("the reading has not settled")
        self.settling = settling


class WhichStandardError(ValueError):
    """The signal alone does not tell which bottle it is. candidates: those it may be; none where it fits none."""

    def __init__(self, candidates: tuple[str, ...]) -> None:
        super().__init__(", ".join(candidates))
        self.candidates = candidates


@dataclass(slots=True)
class Visit:
    """One calibration from `begin` to `finish`: the newest signals, and the points taken.

    held_before: the hold of a person that was in force when it began, and goes on when it ends.
    before: the calibration in force; it stays so until another is accepted. kept: one made here was.
    """

    quantity: Quantity
    held_before: Standing | None = None
    before: Calibration | None = None
    shelf: Shelf = SHIPPED
    seen: deque[Seen] = field(default_factory=lambda: deque(maxlen=LONGEST_WINDOW))
    points: list[Point] = field(default_factory=list)
    first_s: float | None = None
    settled_after_s: float | None = None
    kept: bool = False

    @property
    def kind(self) -> Quantity:
        """What is measured, by the first probe or the second."""
        return self.quantity.kind

    def see(self, at_s: float, signal: float) -> None:
        """One more sample of the probe, as its circuit says it (electrode mV, mS, °C or share)."""
        self.first_s = at_s if self.first_s is None else self.first_s
        self.seen.append(Seen(at_s, signal))
        if self.settled_after_s is None and self.settling().settled:
            self.settled_after_s = at_s - self.first_s

    def afresh(self) -> None:
        """Forget the signals: the probe went to another standard."""
        self.seen.clear()
        self.first_s = self.settled_after_s = None

    def settling(self) -> Settling:
        """How far the probe has come to rest."""
        return settle(self.kind, self.seen)

    def candidates(self, temperature_c: float) -> tuple[str, ...]:
        """The bottles that the signal may be of; one where it is unambiguous, empty without a signal."""
        mean = self.settling().mean
        return () if mean is None else recognise(self.kind, mean, temperature_c, self.shelf, self.before)

    def bottles(self, temperature_c: float | None) -> tuple[str, ...]:
        """What the probe may be dipped in; empty where it is not calibrated in bottles."""
        if temperature_c is None:
            return self.shelf.names(self.kind)
        return tuple(self.shelf.bottles(self.kind, temperature_c))

    def take(
        self, standard: str | None, temperature_c: float, utc: datetime, reference: float | None = None
    ) -> Point:
        """Take the settled signal as the point for `standard`; a second take of one replaces the first.

        standard: None finds it by the signal. reference: what a thermometer shows, °C, or the share of the full
        reservoir that is in it; for those two quantities only.
        Raises NotSettledError, WhichStandardError, and ValueError for a standard that is not known or not at
        that temperature.
        """
        if self.kind in (Quantity.PH, Quantity.EC):
            name, reference = self._of_bottle(standard, temperature_c)
        elif reference is None:
            raise ValueError("it needs the true value beside the probe's")
        else:
            name = THERMOMETER if self.kind is Quantity.TEMPERATURE else f"{WATER} {reference:.3f}"
        rest = self.settling()
        if not rest.settled or rest.mean is None or rest.spread is None:
            raise NotSettledError(rest)
        point = Point(name, reference, rest.mean, rest.spread, temperature_c, utc, self.settled_after_s)
        self.points = [kept for kept in self.points if not self._same(kept, point)] + [point]
        self.afresh()
        return point

    def _of_bottle(self, standard: str | None, temperature_c: float) -> tuple[str, float]:
        if standard is None:
            candidates = self.candidates(temperature_c)
            if not self.settling().settled:
                raise NotSettledError(self.settling())
            if len(candidates) != 1:
                raise WhichStandardError(candidates)
            (standard,) = candidates
        row = self.shelf.standard(self.kind, standard)
        return row.name, self.shelf.value(self.kind, row.name, temperature_c)

    def _same(self, kept: Point, taken: Point) -> bool:
        """Whether both are of one solution: by name, and in pH also by value, as 6.86 told after 7.00."""
        alike = self.kind is Quantity.PH and abs(kept.reference - taken.reference) < _SAME_PH
        return kept.standard == taken.standard or alike

    def fit(self, *, stop_gap: bool = False) -> AnyFit:
        """What the points taken come to. stop_gap: of pH, the offset from one buffer."""
        if self.kind is Quantity.PH:
            before = self.before if isinstance(self.before, PhCalibration) else None
            return fit_stop_gap(self.points, before) if stop_gap else fit_ph(self.points, before)
        if self.kind is Quantity.EC:
            return fit_ec(self.points, self.before if isinstance(self.before, EcCalibration) else None)
        return fit_temperature(self.points) if self.kind is Quantity.TEMPERATURE else fit_level(self.points)
