"""From what the files tell to what is reckoned with: the shop that ships, the shelf of a mix, its task."""

from __future__ import annotations

from functools import cache

from config.chemistry import Totals
from config.mix import Fertiliser, MixFile, Recipe, Shelf, fertilisers, recipes, substances
from daemon.crop.elements import MG_CACO3_PER_MEQ
from daemon.crop.mixing import Task, goals
from daemon.crop.products import Kind, Product, by_formula, by_label, priced


@cache
def shop() -> dict[str, Product]:
    """Every product that ships, by name."""
    ships = fertilisers()
    return {name: _of(name, one.about, one, one.percent, one.density_g_per_ml) for name, one in ships.items()}


def shelf(mix: MixFile) -> dict[str, Product]:
    """The products of a mix, with their prices. Raises ValueError for a price that cannot be."""
    return {name: _standing(name, entry) for name, entry in mix.shelf.items()}


def recipe_of(mix: MixFile) -> Recipe:
    """What the solution is to hold."""
    return mix.own_recipe[mix.recipe] if mix.recipe in mix.own_recipe else recipes()[mix.recipe]


def water_of(mix: MixFile) -> Totals:
    """The source water, in mol/L."""
    return mix.water.totals_mol_per_l() if mix.water is not None else Totals()


def task_of(mix: MixFile, standing: dict[str, Product]) -> Task:
    """What is to be mixed, from what stands there. Acids and bases are never chosen for what they feed."""
    acid = {**shop(), **standing}[mix.acid.use] if mix.acid is not None else None
    leave_mg_caco3_per_l = mix.acid.leave_mg_caco3_per_l if mix.acid is not None else 0.0
    return Task(
        volume_l=mix.volume_l,
        goals=goals({str(word): wanted for word, wanted in recipe_of(mix).mg_per_l.items()}),
        water=water_of(mix),
        shelf=tuple(p for p in standing.values() if p.kind not in (Kind.ACID, Kind.BASE)),
        acid=acid,
        leave_meq_per_l=leave_mg_caco3_per_l / MG_CACO3_PER_MEQ,
        ammonium_most=mix.ammonium_most_percent / 100.0,
    )


def _standing(name: str, entry: Shelf) -> Product:
    made = _made(name, entry)
    return priced(made, per_kg=entry.price_per_kg, per_l=entry.price_per_l)


def _made(name: str, entry: Shelf) -> Product:
    if entry.label_percent is not None:
        told = {str(word): percent for word, percent in entry.label_percent.items()}
        return by_label(name, entry.about or name, told, density_g_per_ml=entry.density_g_per_ml)
    if entry.of is not None and entry.percent is not None:
        return _of(name, entry.about or name, substances()[entry.of], entry.percent, entry.density_g_per_ml)
    return shop()[name]


def _of(name: str, about: str, one: Fertiliser, percent: float, density_g_per_ml: float | None) -> Product:
    return by_formula(
        name,
        about,
        Kind(one.kind),
        one.formula,
        percent=percent,
        density_g_per_ml=density_g_per_ml,
        solubility=tuple(zip(one.soluble_c, one.soluble_g_per_kg, strict=True)),
        oxidiser=one.oxidiser,
    )
