"""Concentrates A and B of a mix: calcium never beside sulfate or phosphate, and nothing that would fall out.

    portions of a mix  ->  split  ->  A and B, what stays out of both, how near each is to falling out

What brings calcium and iron goes into A, what brings sulfate or phosphate into B with the other trace elements
(common practice), and the rest, as potassium nitrate, where it leaves most room. Acid, anything liquid and a
product that holds calcium beside sulfate or phosphate by itself go straight into the tank.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import floor

from config.chemistry import Totals
from daemon.crop.contents import MixError, Portion
from daemon.crop.elements import TRACES, Element, added, totals_of
from daemon.crop.products import Kind, Product
from daemon.crop.saturation import Full, brushite_at_most, full, gypsum_at_most, most_g_per_l

MOST_FULL = 0.9  # of what dissolves: stocks evaporate, and cellars are colder than thermometers (our own choice)
_CLEAR = 0.0  # saturation index from which gypsum or calcium phosphate may fall out
_SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)  # of what fits both, in A
_STEPS = 14  # halvings of the strength, where it has to be less


class Place(StrEnum):
    """Where a product goes."""

    A = "A"
    B = "B"
    EITHER = "either"
    TANK = "tank"


@dataclass(frozen=True, slots=True)
class Stock:
    """One concentrate. fullest: the salt nearest to falling out, 1 is where it does; indices as in saturation."""

    name: str
    volume_l: float
    strength: float
    portions: tuple[Portion, ...]
    fullest: Full
    gypsum: float
    brushite: float

    @property
    def dissolves(self) -> bool:
        """Whether all of it stays dissolved, by its salts alone."""
        return self.fullest.share <= MOST_FULL

    @property
    def clear(self) -> bool:
        """Whether what the source water brings stays dissolved in it, too."""
        return max(self.gypsum, self.brushite) <= _CLEAR


@dataclass(frozen=True, slots=True)
class Split:
    """A, B, and what goes straight into the tank (for as many litres as the mix is for)."""

    a: Stock
    b: Stock
    straight: tuple[Portion, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """Concentrates: litres of each, how strong (1 mL of each in `strength` mL), and how cold they may stand."""

    volume_l: float
    strength: float
    coldest_c: float


def place(product: Product) -> Place:
    """Where a product goes, by what it holds."""
    calcium, partner = product.has(Element.CA), product.has(Element.S, Element.P)
    if product.liquid or product.kind in (Kind.ACID, Kind.BASE) or (calcium and partner):
        return Place.TANK
    if calcium or (product.has(Element.FE) and not partner):
        return Place.A
    if partner or product.has(*TRACES):
        return Place.B
    return Place.EITHER


def split(
    portions: Sequence[Portion], tank_l: float, water: Totals, asked: Asked, salts: Sequence[Product]
) -> Split:
    """A and B of these portions, which are for tank_l litres. salts: what may form in them.

    Raises MixError where they would not stay dissolved, with the strength that would.
    """
    made = _split(portions, tank_l, water, asked, salts)
    worst = max((made.a, made.b), key=lambda stock: stock.fullest.share)
    if not worst.dissolves:
        most = _most_strength(portions, tank_l, asked, salts)
        raise MixError(
            f"stock {worst.name} at {asked.strength:g}-fold does not stay dissolved at {asked.coldest_c:g} °C: "
            f"{worst.fullest.of} would be at {100.0 * worst.fullest.share:.0f} % of what dissolves, allowed "
            f"are {100.0 * MOST_FULL:.0f} %; make it at most {floor(most)}-fold, or keep it warmer"
        )
    return made


def _split(
    portions: Sequence[Portion], tank_l: float, water: Totals, asked: Asked, salts: Sequence[Product]
) -> Split:
    a, b = _best(portions, tank_l, asked, salts)
    return Split(a=_stock("A", a, water, asked, salts), b=_stock("B", b, water, asked, salts),
                 straight=tuple(_of(portions, Place.TANK, 1.0)))  # fmt: skip


def _best(
    portions: Sequence[Portion], tank_l: float, asked: Asked, salts: Sequence[Product]
) -> tuple[list[Portion], list[Portion]]:
    """What goes into A and into B; what fits both is shared so that neither is fuller than it must be."""
    per_stock = asked.volume_l * asked.strength / tank_l
    in_a, in_b, either = (_of(portions, where, per_stock) for where in (Place.A, Place.B, Place.EITHER))
    tried = [
        ([*in_a, *_shared(either, share)], [*in_b, *_shared(either, 1.0 - share)])
        for share in (_SHARES if either else (0.5,))
    ]
    return min(tried, key=lambda pair: max(_fullest(stock, asked, salts).share for stock in pair))


def _of(portions: Iterable[Portion], where: Place, factor: float) -> list[Portion]:
    return [Portion(p.product, p.grams * factor) for p in portions if place(p.product) is where]


def _shared(portions: Iterable[Portion], share: float) -> Iterator[Portion]:
    yield from (Portion(p.product, p.grams * share) for p in portions if share > 0.0)


def _brought(portions: Iterable[Portion], volume_l: float) -> Totals:
    return totals_of(added(*(portion.brings(volume_l) for portion in portions)))


def _fullest(portions: Sequence[Portion], asked: Asked, salts: Sequence[Product]) -> Full:
    alone = [
        Full(one.grams / asked.volume_l / most_g_per_l(one.product, asked.coldest_c), one.product.name)
        for one in portions
        if one.product.solubility
    ]
    return max([*alone, full(_brought(portions, asked.volume_l), salts, asked.coldest_c)])


def _stock(
    name: str, portions: Sequence[Portion], water: Totals, asked: Asked, salts: Sequence[Product]
) -> Stock:
    whole = Totals._make(map(sum, zip(_brought(portions, asked.volume_l), water, strict=True)))
    return Stock(
        name=name,
        volume_l=asked.volume_l,
        strength=asked.strength,
        portions=tuple(portions),
        fullest=_fullest(portions, asked, salts),
        gypsum=gypsum_at_most(whole, asked.coldest_c),
        brushite=brushite_at_most(whole, asked.coldest_c),
    )


def _most_strength(portions: Sequence[Portion], tank_l: float, asked: Asked, salts: Sequence[Product]) -> float:
    """The strongest that stays dissolved."""

    def dissolves(strength: float) -> bool:
        weaker = Asked(asked.volume_l, strength, asked.coldest_c)
        pair = _best(portions, tank_l, weaker, salts)
        return max(_fullest(stock, weaker, salts).share for stock in pair) <= MOST_FULL

    low, high = 0.0, asked.strength
    for _ in range(_STEPS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if dissolves(middle) else (low, middle)
    return low
