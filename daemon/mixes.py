"""A mix file answered: what to weigh, as its scale can, and what the tank then holds. For command line and page.

A mix file, changed, gives an answer; words_of_mixing makes words of it, for the lines of a terminal and the page.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from config.mix import MixFile, Recipe, Stocks
from daemon.crop.contents import Contents, Portion, contents
from daemon.crop.mixing import Mix, mixed, mixed_to_ec, what_would_help
from daemon.crop.products import Product
from daemon.crop.stocks import Asked, Split, split
from daemon.crop.weighing import Weighing, weighing
from daemon.shelf import recipe_of, shelf, shop, task_of, water_of

LARGEST_L = 100_000.0
FOLD = (2.0, 400.0)


@dataclass(frozen=True, slots=True)
class Answer:
    """A mix, and how a person measures it: into the tank, or into A and B and only the rest into the tank."""

    file: MixFile
    recipe: Recipe
    mix: Mix
    helped: dict[str, tuple[str, ...]]
    tank: Weighing
    stocks: Split | None
    stock_weighings: tuple[Weighing, Weighing] | None
    weighed: Contents
    water_ec_ms_per_cm: float
    ml_per_ms_per_cm: float | None  # of each stock, that raise this tank by 1 mS/cm

    @property
    def products(self) -> tuple[Product, ...]:
        """All that is handled."""
        return tuple(portion.product for portion in self.mix.portions)


@dataclass(frozen=True, slots=True)
class Held:
    """What a tank holds after doses."""

    file: MixFile
    portions: tuple[Portion, ...]
    contents: Contents


def changed(
    mix: MixFile,
    *,
    volume_l: float | None = None,
    ec_ms_per_cm: float | None = None,
    stock_l: float | None = None,
    strength: float | None = None,
) -> MixFile:
    """The file's mix for another tank, another EC, or as concentrates of so many litres. None: as it is."""
    change: dict[str, Any] = {}
    if volume_l is not None:
        change["volume_l"] = volume_l
    if ec_ms_per_cm is not None:
        change |= {"ec_ms_per_cm": ec_ms_per_cm, "strength_percent": None}
    if stock_l is not None:
        folds = {} if strength is None else {"strength": strength}
        coldest = {} if mix.stocks is None else {"coldest_c": mix.stocks.coldest_c}
        change["stocks"] = Stocks(volume_l=stock_l, **folds, **coldest)
    return mix.model_copy(update=change)


def answer(mix: MixFile) -> Answer:
    """Reckoned, and weighed as its scale can. Raises MixError, NoAnswerError, ValueError."""
    task = task_of(mix, shelf(mix))
    if mix.ec_ms_per_cm is not None:
        made = mixed_to_ec(task, mix.ec_ms_per_cm)
    else:
        made = mixed(task, (mix.strength_percent or 100.0) / 100.0)
    helped = what_would_help(task, made, shop().values())
    stocks = _stocks(mix, made.portions)
    straight = stocks.straight if stocks is not None else made.portions
    tank, a, b = (
        weighing(portions, mix.scale_g, mix.measure_ml)
        for portions in (straight, *((stocks.a.portions, stocks.b.portions) if stocks else ((), ())))
    )
    as_weighed = (*tank.portions, *_of_tank(mix, a), *_of_tank(mix, b))
    return Answer(
        file=mix,
        recipe=recipe_of(mix),
        mix=made,
        helped=helped,
        tank=tank,
        stocks=stocks,
        stock_weighings=(a, b) if stocks else None,
        weighed=contents(task.water, mix.volume_l, as_weighed),
        water_ec_ms_per_cm=contents(task.water, mix.volume_l, ()).ec_ms_per_cm,
        ml_per_ms_per_cm=_ml_per_ms_per_cm(mix, made, straight),
    )


def _ml_per_ms_per_cm(mix: MixFile, made: Mix, straight: tuple[Portion, ...]) -> float | None:
    """mL of each stock that raise the tank by 1 mS/cm, above its water with what goes straight into it."""
    if mix.stocks is None:
        return None
    rise = made.contents.ec_ms_per_cm - contents(water_of(mix), mix.volume_l, straight).ec_ms_per_cm
    return 1000.0 * mix.volume_l / mix.stocks.strength / rise if rise > 0.0 else None


def _stocks(mix: MixFile, portions: tuple[Portion, ...]) -> Split | None:
    if mix.stocks is None:
        return None
    asked = Asked(mix.stocks.volume_l, mix.stocks.strength, mix.stocks.coldest_c)
    return split(portions, mix.volume_l, water_of(mix), asked, tuple(shop().values()))


def _of_tank(mix: MixFile, stock: Weighing) -> Iterable[Portion]:
    """What of a stock comes into the tank."""
    if mix.stocks is not None:
        share = mix.volume_l / (mix.stocks.strength * mix.stocks.volume_l)
        yield from (Portion(portion.product, portion.grams * share) for portion in stock.portions)
