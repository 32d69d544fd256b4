"""daemon.crop.weighing: steps of scales and cylinders, what they change, bottles for what is too little."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.crop.contents import Portion
from daemon.crop.mixing import mixed
from daemon.crop.products import by_label
from daemon.crop.weighing import BOTTLE_ML, WELL_ENOUGH, weighing
from tests.crop.shelves import PURE, a_task, product, products

TRACES = ("manganese_sulfate", "zinc_sulfate", "boric_acid", "copper_sulfate", "sodium_molybdate")


def test_grams_in_steps_of_the_scale() -> None:
    """12.34 g by a scale of 0.1 g is 12.3 g, 0.3 % less."""
    (salt,) = weighing([Portion(product("potassium_nitrate"), 12.34)], 0.1, 0.5).single
    assert salt.measured == pytest.approx(12.3)
    assert salt.off == pytest.approx(-0.04 / 12.34)
    assert salt.fits


def test_liquids_in_steps_of_the_cylinder() -> None:
    """37.4 mL of a feed by a cylinder of 0.5 mL is 37.5 mL, and that many grams go in."""
    feed = by_label("feed", "", {"K2O": 5.0}, density_g_per_ml=1.2)
    (poured,) = weighing([Portion(feed, 37.4 * 1.2)], 0.1, 0.5).single
    assert poured.measured == pytest.approx(37.5)
    assert poured.portion.grams == pytest.approx(37.5 * 1.2)


def test_acid_is_rounded_down() -> None:
    """37.4 mL by a cylinder of 0.5 mL is 37.0 mL, though 37.5 is nearer."""
    acid = product("nitric_acid_38")
    (poured,) = weighing([Portion(acid, 37.4 * 1.2329)], 0.1, 0.5).single
    assert poured.measured == pytest.approx(37.0)


def test_traces_of_one_tank_go_into_a_bottle() -> None:
    """60 L of lettuce solution, a pocket scale: milligrams become grams in a litre for many fillings."""
    shelf = products(*PURE, *TRACES, "iron_dtpa")
    portions = mixed(a_task("sonneveld_lettuce", shelf=shelf, volume_l=60.0)).portions
    made = weighing(portions, 0.1, 0.1)
    bottle = made.bottles[-1]
    assert {w.product.name for w in bottle.weighed} == {*TRACES}
    assert bottle.worst <= WELL_ENOUGH
    assert bottle.take_ml * bottle.fillings == pytest.approx(BOTTLE_ML)
    assert bottle.take_ml >= 1.0
    assert made.too_coarse == ()


def test_iron_has_a_bottle_of_its_own() -> None:
    """Apart from copper and zinc, which would take its chelate."""
    portions = [Portion(product("iron_dtpa"), 0.013), Portion(product("copper_sulfate"), 0.004)]
    iron, traces = weighing(portions, 0.1, 0.1).bottles
    assert [w.product.name for w in iron.weighed] == ["iron_dtpa"]
    assert [w.product.name for w in traces.weighed] == ["copper_sulfate"]


def test_what_no_bottle_helps_is_said() -> None:
    """A gram of calcium nitrate on a scale of 5 g; half a drop of a label's liquid."""
    coarse = Portion(product("calcium_nitrate_double_salt"), 1.0)
    drop = Portion(by_label("drops", "", {"Fe": 1.0}, density_g_per_ml=1.0), 0.02)
    made = weighing([coarse, drop], 5.0, 0.5)
    assert made.bottles == ()
    assert {w.product.name for w in made.too_coarse} == {"calcium_nitrate_double_salt", "drops"}


def test_a_bottle_that_dissolves_is_preferred_to_one_that_is_exact() -> None:
    """Boric acid: never more than half of what dissolves at 15 °C (about 41 g in a litre)."""
    (bottle,) = weighing([Portion(product("boric_acid"), 0.23)], 5.0, 0.1).bottles
    assert bottle.weighed[0].measured <= 21.0


@given(
    grams=st.lists(st.floats(1e-4, 50.0), min_size=6, max_size=6),
    scale_g=st.sampled_from([0.001, 0.01, 0.1, 1.0]),
    measure_ml=st.sampled_from([0.1, 0.5, 1.0]),
)
def test_nothing_is_lost(grams: list[float], scale_g: float, measure_ml: float) -> None:
    """Each product is weighed once, singly or in a bottle; within 5 % of what is wanted, or named too coarse."""
    portions = [Portion(product(name), g) for name, g in zip((*TRACES, "potassium_nitrate"), grams, strict=True)]
    made = weighing(portions, scale_g, measure_ml)
    got = {portion.product.name: portion.grams for portion in made.portions}
    coarse = {w.product.name for w in made.too_coarse}
    assert len(made.portions) == len(portions)
    for portion in portions:
        name = portion.product.name
        assert got[name] == pytest.approx(portion.grams, rel=WELL_ENOUGH + 1e-9) or name in coarse
