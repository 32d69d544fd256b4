"""daemon.crop.products: what a gram brings, by formula and by label; how much dissolves."""

from __future__ import annotations

from math import isnan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.crop.elements import Element, alkalinity_meq, nitrogen
from daemon.crop.products import Kind, by_formula, by_label, dissolves_g_per_kg, mol_per_g, priced
from tests.crop.shelves import product


def test_a_label_in_oxides_is_told_in_elements() -> None:
    """4-2-6 with 4 % CaO and 1 % MgO: 0.873 % P, 4.98 % K, 2.86 % Ca, 0.60 % Mg (factors of molar_masses.csv)."""
    label = {"nitrate_N": 3.6, "ammonium_N": 0.4, "P2O5": 2.0, "K2O": 6.0, "CaO": 4.0, "MgO": 1.0, "Fe": 0.02}
    feed = by_label("leaf_feed", "invented", label, density_g_per_ml=1.15)
    assert nitrogen(feed.mg_per_g) == pytest.approx(40.0)
    assert feed.mg_per_g[Element.AMMONIUM_N] == pytest.approx(4.0)
    told = {element: feed.mg_per_g[element] / 10.0 for element in (Element.P, Element.K, Element.CA, Element.MG)}
    assert told == pytest.approx({"P": 0.873, "K": 4.981, "Ca": 2.859, "Mg": 0.603}, rel=1e-3)
    assert feed.mg_per_g[Element.FE] == pytest.approx(0.2)
    assert (feed.liquid, feed.unit, feed.pure, feed.kind) == (True, "mL", False, Kind.LABEL)
    assert feed.grams(10.0) == pytest.approx(11.5)
    assert feed.measured(11.5) == pytest.approx(10.0)


def test_nitrogen_of_no_kind_is_nitrate_and_said() -> None:
    """And nothing is said where the kind is told."""
    assert by_label("x", "", {"N": 5.0}).nitrogen_untold
    assert by_label("x", "", {"N": 5.0}).mg_per_g == {Element.NITRATE_N: 50.0}
    assert not by_label("x", "", {"nitrate_N": 5.0}).nitrogen_untold


def test_a_word_no_label_uses_is_refused() -> None:
    """By name."""
    with pytest.raises(ValueError, match="Unobtainium"):
        by_label("x", "", {"Unobtainium": 5.0})


def test_an_acid_is_as_strong_as_its_bottle() -> None:
    """85 % phosphoric acid of 1.685 g/mL: 14.615 mol/L (printed reagent table), of one proton down to pH 5.8."""
    acid = product("phosphoric_acid_85")
    assert mol_per_g(acid) * 1685.0 == pytest.approx(14.615, rel=0.001)
    assert acid.acid_meq_per_g * 1685.0 == pytest.approx(14615.0, rel=0.001)
    assert acid.liquid
    assert product("sulfuric_acid_93").acid_meq_per_g == pytest.approx(2.0 * 0.93 / 98.072 * 1000.0, rel=1e-3)


def test_only_acids_and_bases_touch_alkalinity() -> None:
    """A salt leaves it; a label alone tells nothing of it."""
    assert product("potassium_nitrate").acid_meq_per_g == pytest.approx(0.0, abs=1e-3)
    assert product("potassium_hydroxide").acid_meq_per_g < -10.0
    assert by_label("x", "", {"P2O5": 20.0}).acid_meq_per_g == 0.0
    assert alkalinity_meq(by_label("x", "", {"P2O5": 20.0}).mg_per_g) < 0.0


def test_prices() -> None:
    """Per kilogram, per litre of a liquid, and none of a solid's litre."""
    assert priced(product("potassium_nitrate"), per_kg=4.0).price_per_g == pytest.approx(0.004)
    assert priced(product("nitric_acid_60"), per_l=3.0).price_per_g == pytest.approx(0.003 / 1.3673)
    assert priced(product("potassium_nitrate")).price_per_g is None
    with pytest.raises(ValueError, match="price_per_kg"):
        priced(product("potassium_nitrate"), per_l=3.0)


def a_salt(*rows: tuple[float, float]) -> float:
    return dissolves_g_per_kg(by_formula("x", "", Kind.SALT, "KNO3", solubility=rows), 15.0)


def test_solubility_between_below_and_above_its_table() -> None:
    """Straight between rows; less in the cold; no more in the warm than the table says; unknown without one."""
    assert a_salt((10.0, 200.0), (20.0, 300.0)) == pytest.approx(250.0)
    assert a_salt((20.0, 400.0)) == pytest.approx(350.0)
    assert a_salt((0.0, 100.0), (10.0, 200.0)) == pytest.approx(200.0)
    assert a_salt((15.0, 100.0), (20.0, 200.0)) == pytest.approx(100.0)
    assert isnan(a_salt())


@given(cold=st.floats(-20.0, 45.0), warmer_k=st.floats(0.0, 20.0))
def test_more_dissolves_in_the_warm(cold: float, warmer_k: float) -> None:
    """Of every salt that ships, at any temperature."""
    for name in ("potassium_nitrate", "monopotassium_phosphate", "boric_acid", "iron_dtpa"):
        one = product(name)
        assert dissolves_g_per_kg(one, cold) <= dissolves_g_per_kg(one, cold + warmer_k) + 1e-9
        assert dissolves_g_per_kg(one, cold) >= 0.0
