"""daemon.crop.stocks: calcium apart from sulfate and phosphate, nothing that falls out, by PHREEQC too."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from config.chemistry import Totals
from config.mix import recipes
from daemon.crop.contents import MixError, Portion
from daemon.crop.elements import Element, added, totals_of
from daemon.crop.mixing import mixed
from daemon.crop.products import Product, by_label
from daemon.crop.saturation import most_g_per_l
from daemon.crop.stocks import MOST_FULL, Asked, Place, Stock, place, split
from tests.crop.shelves import MICRO, PURE, WATERS, a_task, everything, product, products
from tests.crop.test_saturation import asked, engine

__all__ = ["engine"]

A_HUNDREDFOLD = Asked(volume_l=1.0, strength=100.0, coldest_c=10.0)


def held(stock: Stock, water: Totals) -> Totals:
    """All that is dissolved in a stock, in mol/L."""
    brought = totals_of(added(*(portion.brings(stock.volume_l) for portion in stock.portions)))
    return Totals._make(map(sum, zip(brought, water, strict=True)))


def salts_of(recipe: str) -> tuple[Portion, ...]:
    """Portions of a recipe for ten litres of rain water."""
    return mixed(a_task(recipe, shelf=products(*PURE, "monoammonium_phosphate", *MICRO))).portions


@pytest.mark.parametrize("water", WATERS)
@pytest.mark.parametrize("recipe", sorted(recipes()))
@pytest.mark.parametrize("coldest_c", [10.0, 20.0])
def test_hundredfold_stocks_stay_clear_by_phreeqc(engine: Any, recipe: str, water: str, coldest_c: float) -> None:
    """Neither gypsum nor brushite nor hydroxyapatite in A or in B; poured together, gypsum at once."""
    hundredfold = Asked(1.0, 100.0, coldest_c)
    made = split(salts_of(recipe), 10.0, WATERS[water], hundredfold, everything())
    for stock in (made.a, made.b):
        theirs = asked(engine, held(stock, WATERS[water]), coldest_c)
        assert max(theirs[name] for name in ("gypsum", "brushite", "hydroxyapatite")) < 0.0, (stock.name, theirs)
    together = Totals._make(
        map(sum, zip(held(made.a, WATERS["rain"]), held(made.b, WATERS["rain"]), strict=True))
    )
    assert asked(engine, together, coldest_c)["gypsum"] > 0.0


def test_stocks_hold_what_the_mix_does() -> None:
    """A and B at a hundredfold, 1 mL of each per 100 mL, give the tank its grams back."""
    portions = salts_of("hoagland_1")
    made = split(portions, 10.0, WATERS["rain"], A_HUNDREDFOLD, everything())
    back = added(*(p.brings(1.0) for stock in (made.a, made.b) for p in stock.portions))
    whole = added(*(p.brings(10.0) for p in portions))
    assert {e: mg / 100.0 for e, mg in back.items()} == pytest.approx(whole)
    assert made.straight == ()


# Where each goes, by what it holds.
@pytest.mark.parametrize(
    ("name", "where"),
    [
        ("calcium_nitrate_double_salt", Place.A),
        ("calcium_chloride", Place.A),
        ("iron_dtpa", Place.A),
        ("magnesium_sulfate", Place.B),
        ("monoammonium_phosphate", Place.B),
        ("copper_sulfate", Place.B),
        ("boric_acid", Place.B),
        ("manganese_chloride", Place.B),
        ("potassium_nitrate", Place.EITHER),
        ("magnesium_nitrate", Place.EITHER),
        ("nitric_acid_60", Place.TANK),
        ("potassium_hydroxide", Place.TANK),
    ],
)
def test_where_each_goes(name: str, where: Place) -> None:
    """Common practice."""
    assert place(product(name)) is where


def test_what_holds_both_goes_into_no_stock() -> None:
    """A complete feed, and anything that is a liquid already."""
    complete = by_label("complete", "", {"CaO": 5.0, "P2O5": 5.0})
    liquid = by_label("part_a", "", {"CaO": 5.0}, density_g_per_ml=1.2)
    assert place(complete) is place(liquid) is Place.TANK
    portions = [Portion(complete, 5.0), Portion(liquid, 20.0), Portion(product("potassium_nitrate"), 5.0)]
    made = split(portions, 10.0, WATERS["rain"], A_HUNDREDFOLD, everything())
    assert made.straight == tuple(portions[:2])


def test_too_strong_is_refused_with_the_strength_that_holds() -> None:
    """Hoagland 400-fold at 5 °C; at the strength that is named it stays dissolved."""
    with pytest.raises(MixError, match=r"stock [AB] at 400-fold .* 5 °C.*at most (\d+)-fold") as refused:
        split(salts_of("hoagland_1"), 10.0, WATERS["rain"], Asked(1.0, 400.0, 5.0), everything())
    named = float(str(refused.value).split("at most ")[1].split("-fold")[0])
    assert 50.0 < named < 400.0
    made = split(salts_of("hoagland_1"), 10.0, WATERS["rain"], Asked(1.0, named, 5.0), everything())
    assert made.a.dissolves
    assert made.b.dissolves


def test_hard_water_is_told_where_gypsum_may_fall_out() -> None:
    """Sulfates 300-fold in hard water: the water's own calcium is enough; in rain water nothing falls out."""
    portions = [Portion(product("magnesium_sulfate"), 4.9)]
    hard, rain = (
        split(portions, 10.0, WATERS[water], Asked(1.0, 300.0, 15.0), everything()).b
        for water in ("hard", "rain")
    )
    assert not hard.clear
    assert hard.gypsum > 0.0
    assert rain.clear


def test_nothing_to_stock_is_an_empty_stock() -> None:
    """No salts at all."""
    made = split([], 10.0, WATERS["rain"], A_HUNDREDFOLD, everything())
    assert made.a.portions == made.b.portions == ()
    assert made.a.dissolves
    assert made.a.clear


labels = st.builds(
    lambda calcium, partner, potassium: by_label("own", "", {"CaO": calcium, "SO3": partner, "K2O": potassium}),
    st.sampled_from([0.0, 8.0]),
    st.sampled_from([0.0, 9.0]),
    st.sampled_from([0.0, 6.0]),
)


@settings(max_examples=80, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(
    chosen=st.lists(
        st.tuples(st.one_of(st.sampled_from(everything()), labels), st.floats(0.01, 30.0)), min_size=1, max_size=9
    ),
    strength=st.floats(2.0, 400.0),
    coldest_c=st.floats(0.0, 30.0),
)
def test_never_calcium_beside_its_partners_and_never_more_than_dissolves(
    chosen: list[tuple[Product, float]], strength: float, coldest_c: float
) -> None:
    """Any salts and labels: refused, or A without sulfate and phosphate, B without calcium, each dissolved."""
    portions = [Portion(one, grams) for one, grams in chosen]
    try:
        made = split(portions, 10.0, WATERS["rain"], Asked(2.0, strength, coldest_c), everything())
    except MixError:
        return
    assert not any(portion.product.has(Element.S, Element.P) for portion in made.a.portions)
    assert not any(portion.product.has(Element.CA) for portion in made.b.portions)
    for stock in (made.a, made.b):
        for portion in stock.portions:
            assert portion.grams >= 0.0
            if portion.product.solubility:
                most_g = MOST_FULL * most_g_per_l(portion.product, coldest_c) * stock.volume_l
                assert portion.grams <= most_g * (1.0 + 1e-9)
