"""How much of what to weigh: from water, shelf and what is wanted, to grams, and what the tank then holds.

    Task  ->  mixed (least squares that never go below 0)  ->  Mix: portions, goals met or missed, Contents

Acid against the water's alkalinity comes first, and what it brings counts as fed. All amounts are in grams; what
is measured in mL is so by its density. Nothing here rounds to a scale: that is in weighing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from config.chemistry import Totals
from daemon.crop.contents import Contents, MixError, Portion, alkalinity_of, contents, ec_at_25, totals_with
from daemon.crop.elements import NITROGEN, Amounts, Element, added, amounts_of
from daemon.crop.nonnegative import nonnegative
from daemon.crop.products import Kind, Product

_MET = 0.05  # of what is wanted
_MET_OF_COMPANIONS = 0.25  # of sulfate, which lettuce bears over a wide range (common practice)
_HOLD_AMMONIUM = 30.0  # how much heavier the ammonium ceiling weighs than any element
_TRIES = 60  # EC rises nearly in a line: five or six do
_NEAR_MS_PER_CM = 1e-5
_STRONGEST = 4.0  # times the recipe
_LEAST_WANTED_MG_PER_L = 1.0  # what an unwanted element is weighed against


@dataclass(frozen=True, slots=True)
class Goal:
    """What is wanted of an element, or of several together (N of all kinds). weight: 1 for most, 0 to ignore."""

    name: str
    elements: tuple[Element, ...]
    mg_per_l: float
    weight: float = 1.0

    def of(self, amounts: Amounts) -> float:
        """What amounts hold of it."""
        return sum(amounts.get(element, 0.0) for element in self.elements)


_GOALS = {
    **{"N": NITROGEN, "NH4_N": (Element.AMMONIUM_N, Element.UREA_N)},
    **{element.value: (element,) for element in Element if element not in NITROGEN},
}
_COMPANION_WEIGHT = 0.2


def goals(mg_per_l: dict[str, float]) -> tuple[Goal, ...]:
    """The goals of a recipe, by its words: N, NH4_N, P, K, ... Raises KeyError for another."""
    return tuple(
        Goal(name, _GOALS[name], wanted, _COMPANION_WEIGHT if name == "S" else 1.0)
        for name, wanted in mg_per_l.items()
    )


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be mixed. leave_meq_per_l: alkalinity that acid leaves; ammonium_most: a share of nitrogen."""

    volume_l: float
    goals: tuple[Goal, ...]
    water: Totals
    shelf: tuple[Product, ...]
    acid: Product | None = None
    leave_meq_per_l: float = 0.6
    ammonium_most: float = 0.1


class Why(StrEnum):
    """Why an element is not met."""

    NOTHING_BRINGS = "nothing on the shelf brings it"
    WATER = "the water alone has more"
    ACID = "the acid alone brings too much"
    TIED = "what brings it brings others, too"


@dataclass(frozen=True, slots=True)
class Met:
    """One goal: what is wanted, what the water has, what the mix gives, all in mg/L; why, where it is missed."""

    goal: Goal
    wanted_mg_per_l: float
    water_mg_per_l: float
    given_mg_per_l: float
    why: Why | None

    @property
    def off(self) -> float:
        """Given against wanted, as a share of what is wanted."""
        return (self.given_mg_per_l - self.wanted_mg_per_l) / (self.wanted_mg_per_l or _LEAST_WANTED_MG_PER_L)


@dataclass(frozen=True, slots=True)
class Mix:
    """The answer. strength: of the recipe, 1 is full. Portions of nothing are left out; the acid comes first."""

    volume_l: float
    strength: float
    portions: tuple[Portion, ...]
    met: tuple[Met, ...]
    contents: Contents

    @property
    def missed(self) -> tuple[Met, ...]:
        """What is not met, the worst first."""
        return tuple(sorted((met for met in self.met if met.why), key=lambda met: -abs(met.off)))


def mixed(task: Task, strength: float = 1.0) -> Mix:
    """The mix nearest to the goals at a strength (1 is the recipe's own). Raises MixError, NoAnswerError."""
    acid = _acid(task)
    portions = _portions(task, acid, strength)
    held = contents(task.water, task.volume_l, portions)
    wanted = [(goal, strength * goal.mg_per_l) for goal in task.goals if goal.weight > 0.0]
    met = tuple(_met(task, goal, mg_per_l, acid, held.mg_per_l) for goal, mg_per_l in wanted)
    return Mix(task.volume_l, strength, portions, met, held)


def mixed_to_ec(task: Task, ec_ms_per_cm: float) -> Mix:
    """The mix of that EC at 25 °C, the recipe as strong as it takes. Raises MixError where none has it."""
    acid = _acid(task)

    def reached(strength: float) -> float:
        return ec_at_25(totals_with(task.water, task.volume_l, _portions(task, acid, strength)))

    least, most = reached(0.0), reached(_STRONGEST)
    if not least < ec_ms_per_cm:
        raise MixError(
            f"ec_ms_per_cm = {ec_ms_per_cm:g} mS/cm: the water has {least:.2f} without salts; ask for more, or "
            "take softer water (rain, or by reverse osmosis)"
        )
    if not ec_ms_per_cm < most:
        raise MixError(
            f"ec_ms_per_cm = {ec_ms_per_cm:g} mS/cm: this shelf reaches {most:.2f} at {_STRONGEST:g} times the "
            "recipe; ask for less, or put more on the shelf"
        )
    low, high = 0.0, _STRONGEST
    for _ in range(_TRIES):
        strength = low + (high - low) * (ec_ms_per_cm - least) / (most - least)
        found = reached(strength)
        if abs(found - ec_ms_per_cm) <= _NEAR_MS_PER_CM:
            break
        low, least, high, most = (
            (strength, found, high, most) if found < ec_ms_per_cm else (low, least, strength, found)
        )
    return mixed(task, strength)


def _portions(task: Task, acid: Portion | None, strength: float) -> tuple[Portion, ...]:
    """The acid, then what comes nearest to the goals; nothing of which there is none."""
    there = added(amounts_of(task.water), acid.brings(task.volume_l) if acid else {})
    wanted = [(goal, strength * goal.mg_per_l) for goal in task.goals if goal.weight > 0.0]
    g_per_l = _least(task.shelf, wanted, there)
    ceiling = task.ammonium_most * strength * sum(goal.mg_per_l for goal in task.goals if goal.name == "N")
    if not any(goal.name == "NH4_N" for goal in task.goals) and _too_much_ammonium(task.shelf, g_per_l, ceiling):
        held = Goal("NH4_N", _GOALS["NH4_N"], ceiling, _HOLD_AMMONIUM)
        g_per_l = _least(task.shelf, [*wanted, (held, ceiling)], there)
    found = [
        Portion(p, grams * task.volume_l) for p, grams in zip(task.shelf, g_per_l, strict=True) if grams > 0.0
    ]
    return (acid, *found) if acid else tuple(found)


def _acid(task: Task) -> Portion | None:
    """The acid that leaves as much alkalinity as is to be left; None where there is none to take."""
    excess = alkalinity_of(task.water) - task.leave_meq_per_l
    if task.acid is None or not excess > 0.0:
        return None
    if not task.acid.acid_meq_per_g > 0.0:
        raise MixError(f"{task.acid.name}: is no acid of known strength; tell it by of, percent and density")
    return Portion(task.acid, excess * task.volume_l / task.acid.acid_meq_per_g)


def _least(shelf: Sequence[Product], wanted: Sequence[tuple[Goal, float]], there: Amounts) -> tuple[float, ...]:
    """Grams of each product per litre, of the least squares of errors relative to what is wanted."""
    scales = [goal.weight / (mg_per_l or _LEAST_WANTED_MG_PER_L) for goal, mg_per_l in wanted]
    rows = list(zip(wanted, scales, strict=True))
    columns = [[scale * goal.of(product.mg_per_g) for (goal, _), scale in rows] for product in shelf]
    return nonnegative(columns, [scale * (mg_per_l - goal.of(there)) for (goal, mg_per_l), scale in rows])


def _too_much_ammonium(shelf: Sequence[Product], g_per_l: Sequence[float], ceiling_mg_per_l: float) -> bool:
    ammonium = Goal("NH4_N", _GOALS["NH4_N"], 0.0)
    brought = sum(grams * ammonium.of(product.mg_per_g) for product, grams in zip(shelf, g_per_l, strict=True))
    return brought > ceiling_mg_per_l * 1.001


def _met(task: Task, goal: Goal, wanted: float, acid: Portion | None, given: Amounts) -> Met:
    water = goal.of(amounts_of(task.water))
    plain = Met(goal, wanted, water, goal.of(given), None)
    if not abs(plain.off) > (_MET if goal.weight >= 1.0 else _MET_OF_COMPANIONS):
        return plain
    with_acid = water + (goal.of(acid.brings(task.volume_l)) if acid else 0.0)
    if plain.off > 0.0 and water > wanted:
        why = Why.WATER
    elif plain.off > 0.0 and with_acid > wanted:
        why = Why.ACID
    elif plain.off < 0.0 and not any(product.has(*goal.elements) for product in task.shelf):
        why = Why.NOTHING_BRINGS
    else:
        why = Why.TIED
    return Met(goal, wanted, water, goal.of(given), why)


def what_would_help(task: Task, mix: Mix, shop: Iterable[Product], most: int = 3) -> dict[str, tuple[str, ...]]:
    """For each goal missed, the products of a shop of which one more would meet it, the best first."""
    missed = [met for met in mix.missed if met.why not in (Why.WATER, Why.ACID)]
    if not missed:
        return {}
    standing = {product.name for product in task.shelf}
    tried = []
    for product in shop:
        if product.kind in (Kind.SALT, Kind.CHELATE) and product.name not in standing:
            tried.append((product.name, mixed(replace(task, shelf=(*task.shelf, product)), mix.strength)))
    helped: dict[str, tuple[str, ...]] = {}
    for met in missed:
        good = [
            (sum(other.off**2 * other.goal.weight**2 for other in better.met), name)
            for name, better in tried
            if any(other.goal.name == met.goal.name and other.why is None for other in better.met)
        ]
        helped[met.goal.name] = tuple(name for _, name in sorted(good)[:most])
    return helped
