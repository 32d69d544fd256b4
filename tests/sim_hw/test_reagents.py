"""sim_hw.reagents: bottles by percent and density, by mol/L, and by times the recipe."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from config.chemistry import Totals, equilibrate, strong_charge
from sim_hw.reagents import BOTTLES, PURE, Reagent, recipe_mol_per_l


def test_percent_and_density_make_moles() -> None:
    """10 % phosphoric acid of 1.0537 g/mL holds 1.075 mol/L, and brings as much phosphate."""
    bottle = Reagent(substance="phosphoric_acid", percent=10.0, density_g_per_ml=1.0537)
    assert bottle.mol_per_l("hoagland_1") == pytest.approx(1.0753, abs=1e-4)
    assert bottle.per_l("hoagland_1") == pytest.approx(Totals(phosphate=1.0753), abs=1e-4)


def test_the_default_stocks_are_hundredfold() -> None:
    """A holds 0.5 mol/L Ca(NO3)2 and B 0.2 mol/L MgSO4, which is what a hundred times solution 1 means."""
    assert BOTTLES["stock_a"].mol_per_l("hoagland_1") == pytest.approx(0.5)
    assert BOTTLES["stock_b"].mol_per_l("hoagland_1") == pytest.approx(0.2)
    by_moles = Reagent(substance="nutrient_b", strength_mol_per_l=0.2)
    assert by_moles.per_l("hoagland_1") == pytest.approx(BOTTLES["stock_b"].per_l("hoagland_1"))


@pytest.mark.parametrize("recipe", ["hoagland_1", "hoagland_2", "sonneveld_lettuce"])
def test_both_stocks_together_are_the_recipe(recipe: Any) -> None:
    """One part of each in a hundred; A without sulfate and phosphate, B without calcium."""
    a, b = BOTTLES["stock_a"].per_l(recipe), BOTTLES["stock_b"].per_l(recipe)
    assert [(x + y) / 100.0 for x, y in zip(a, b, strict=True)] == pytest.approx(recipe_mol_per_l(recipe))
    assert (a.sulfate, a.phosphate, b.calcium) == (0.0, 0.0, 0.0)
    assert strong_charge(recipe_mol_per_l(recipe)) == pytest.approx(recipe_mol_per_l(recipe).phosphate)


def test_solution_2_and_the_lettuce_recipe_hold_ammonium() -> None:
    """In mmol/L: Hoagland & Arnon 1950 solution 2 and the modified Sonneveld solution (both from memory)."""
    second = [1000.0 * mol for mol in recipe_mol_per_l("hoagland_2")]
    lettuce = [1000.0 * mol for mol in recipe_mol_per_l("sonneveld_lettuce")]
    assert second == pytest.approx([4.0, 2.0, 6.0, 0.0, 1.0, 14.0, 0.0, 2.0, 1.0, 0.0])
    assert lettuce == pytest.approx([2.249, 0.998, 5.371, 0.0, 0.925, 9.794, 0.0, 0.998, 1.0, 0.0])


@pytest.mark.parametrize(("substance", "kind"), PURE.items())
def test_acids_lower_and_bases_raise_the_ph_and_salts_do_little(substance: str, kind: Any) -> None:
    """1 mmol of each in a kilogram of water that holds 1 mmol of bicarbonate."""
    before = Totals(sodium=0.001, carbonate=0.0011)
    after = Totals._make([have + 0.001 * more for have, more in zip(before, kind.brings, strict=True)])
    moves = equilibrate(after, 20.0).ph - equilibrate(before, 20.0).ph
    if substance.endswith("acid"):
        assert moves < -1.0
    elif substance.startswith("ammonium"):
        assert abs(moves) < 0.1
    else:
        assert moves > 0.2


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"substance": "nitric_acid"}, "tell the strength in one way"),
        (
            {"substance": "nitric_acid", "strength_mol_per_l": 1.0, "percent": 38.0},
            "tell the strength in one way",
        ),
        ({"substance": "nitric_acid", "percent": 38.0}, "percent and density_g_per_ml go together"),
        ({"substance": "nitric_acid", "strength_mol_per_l": 1.0, "density_g_per_ml": 1.2}, "go together"),
        ({"substance": "nutrient_a", "percent": 10.0, "density_g_per_ml": 1.1}, "nutrient_a: tell its strength"),
        ({"substance": "nitric_acid", "times": 100.0}, "times is for nutrient_a and nutrient_b only"),
        ({"substance": "nitric_acid", "percent": 101.0, "density_g_per_ml": 1.2}, "less than or equal to 100"),
        ({"substance": "vinegar", "strength_mol_per_l": 1.0}, "substance"),
        ({"substance": "nitric_acid", "strength_mol_per_l": float("nan")}, "finite"),
    ],
)
def test_a_strength_told_wrongly_is_refused(wrong: dict[str, Any], says: str) -> None:
    """Not at all, twice, in halves, or in a way that the substance does not have."""
    with pytest.raises(ValidationError, match=says):
        Reagent.model_validate(wrong)
