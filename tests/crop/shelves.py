"""Products, waters and tasks that the tests of mixing share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from config.chemistry import Totals
from config.mix import recipes
from config.source_water import Analysis
from daemon.crop.contents import Portion
from daemon.crop.elements import g_per_mol
from daemon.crop.mixing import Task, goals
from daemon.crop.products import Kind, Product
from daemon.shelf import shop

RAIN = Totals()
PURE = ("potassium_nitrate", "calcium_nitrate_tetrahydrate", "monopotassium_phosphate", "magnesium_sulfate")
MICRO = ("manganese_chloride", "zinc_sulfate", "boric_acid", "copper_sulfate", "sodium_molybdate", "iron_dtpa")
# Invented analyses, soft to hard, in mg/L.
WATERS: Mapping[str, Totals] = {
    "rain": RAIN,
    "soft": Analysis(
        mg_per_l={"calcium": 8.0, "sodium": 7.5, "chloride": 8.0, "sulfate": 5.0},
        alkalinity_mmol_per_l=0.4,
    ).totals_mol_per_l(),
    "hard": Analysis(
        mg_per_l={
            **{"calcium": 95.0, "magnesium": 18.0, "sodium": 30.0, "potassium": 3.0},
            **{"chloride": 42.0, "sulfate": 60.0, "nitrate": 15.0},
        },
        alkalinity_mmol_per_l=4.85,
    ).totals_mol_per_l(),
}


def product(name: str) -> Product:
    """One that ships."""
    return shop()[name]


def products(*names: str) -> tuple[Product, ...]:
    """Some that ship."""
    return tuple(shop()[name] for name in names)


def everything() -> tuple[Product, ...]:
    """All salts and chelates that ship."""
    return tuple(one for one in shop().values() if one.kind in (Kind.SALT, Kind.CHELATE))


def a_task(recipe: str = "hoagland_1", *, shelf: tuple[Product, ...] = (), **changes: Any) -> Task:
    """Ten litres of a recipe in rain water, from the pure salts, with some fields changed."""
    plain: dict[str, Any] = {
        "volume_l": 10.0,
        "goals": goals({str(word): mg for word, mg in recipes()[recipe].mg_per_l.items()}),
        "water": RAIN,
        "shelf": shelf or products(*PURE, *MICRO),
    }
    return Task(**{**plain, **changes})


def mmol(name: str, mmol_per_l: float, volume_l: float = 1.0) -> Portion:
    """So many mmol per litre of a pure salt."""
    one = product(name)
    return Portion(one, mmol_per_l / 1000.0 * g_per_mol(one.formula) * volume_l)
