"""Bodies of water that a tank is made of: litres, moles, and how they meet."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp

from config.chemistry import Totals, equilibrate

WATER_KG_PER_L = 0.998  # at 20 °C; its change with temperature is below 0.5 %
LEFT_BEHIND_L = 0.1  # what neither a drain, a pump nor the roots can reach (own choice)


class Batch:
    """Water and what is dissolved in it, in litres and mol (in the order of Totals)."""

    __slots__ = ("litres", "mol")

    def __init__(self, litres: float, mol: Sequence[float]) -> None:
        self.litres = litres
        self.mol = list(mol)

    def add(self, litres: float, mol: Sequence[float]) -> None:
        """Pours in so much, with so much in it."""
        self.litres += litres
        self.mol = [have + more for have, more in zip(self.mol, mol, strict=True)]

    def take(self, share: float) -> tuple[float, list[float]]:
        """Removes this share of it, and gives it."""
        litres, mol = self.litres * share, [amount * share for amount in self.mol]
        self.litres -= litres
        self.mol = [have - gone for have, gone in zip(self.mol, mol, strict=True)]
        return litres, mol

    def totals(self) -> Totals:
        """In mol per kg of water."""
        kg = self.litres * WATER_KG_PER_L
        return Totals._make([amount / kg for amount in self.mol])


class Zone(Batch):
    """A well stirred body of water, with its pH and species as last settled."""

    __slots__ = ("water",)

    def __init__(self, litres: float, mol: Sequence[float], temperature_c: float) -> None:
        super().__init__(litres, mol)
        self.water = equilibrate(self.totals(), temperature_c)

    def settle(self, temperature_c: float) -> None:
        """Works out its pH and species."""
        self.water = equilibrate(self.totals(), temperature_c, self.water)

    def pour_into(self, other: Batch, litres: float) -> None:
        """Moves up to so many litres; the last of the water stays."""
        other.add(*self.take(max(0.0, min(litres, self.litres - LEFT_BEHIND_L)) / self.litres))

    def lose_water(self, litres: float) -> None:
        """Pure water leaves; what was dissolved stays, and so does the last of the water."""
        self.litres -= max(0.0, min(litres, self.litres - LEFT_BEHIND_L))


def go_round(one: Zone, other: Zone, litres: float) -> None:
    """So many litres go from each to the other at the same time, mixing as they go; neither volume changes."""
    whole_l = one.litres + other.litres
    share = 1.0 - exp(-litres * whole_l / (one.litres * other.litres))
    for place, (here, there) in enumerate(zip(one.mol, other.mol, strict=True)):
        moved = share * (one.litres * (here + there) / whole_l - here)
        one.mol[place] = here + moved
        other.mol[place] = there - moved
