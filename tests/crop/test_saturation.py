"""daemon.crop.saturation: what falls out, against PHREEQC itself and against single salts' own solubility.

PHREEQC (U.S. Geological Survey, public domain) with its database Amm.dat, brushite added by the constant that our
module names. For concentrates ours is an upper bound; for tanks it is PHREEQC's within 0.05.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import inf
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.chemistry import ChemistryError, Totals, equilibrate
from daemon.crop.elements import amounts_of, scaled, totals_of
from daemon.crop.products import Kind
from daemon.crop.saturation import brushite, brushite_at_most, clear_up_to_ph, full, gypsum_at_most, most_g_per_l
from tests.crop.shelves import WATERS, everything, product

INPUT = """
PHASES
Brushite
    CaHPO4:2H2O = Ca+2 + HPO4-2 + 2H2O
    log_k -6.59
SOLUTION 1
    temp {temperature_c}
    units mmol/kgw
    pH 6 charge
{rows}
SELECTED_OUTPUT
    -reset false
USER_PUNCH
    -headings gypsum brushite hydroxyapatite ec
    10 PUNCH SI("Gypsum"), SI("Brushite"), SI("Hydroxyapatite"), SC / 1000
END
"""
HOAGLAND_1 = Totals(calcium=5e-3, nitrate=15e-3, potassium=6e-3, phosphate=1e-3, magnesium=2e-3, sulfate=2e-3)


@pytest.fixture(scope="module")
def engine() -> Any:
    """PHREEQC with its database."""
    phreeqc = pytest.importorskip("phreeqc", reason="no PHREEQC here: its package has no wheel for this machine")
    made = phreeqc.Phreeqc()
    assert made.LoadBuiltInDatabase("Amm.dat") == 0
    return made


def asked(engine: Any, totals: Totals, temperature_c: float) -> Mapping[str, float]:
    """PHREEQC's saturation indices and conductivity."""
    from tests.reference.test_phreeqc import NAMES

    amounts = {name: 1000.0 * amount for name, amount in totals._asdict().items() if amount > 0.0}
    rows = "\n".join(f"    {NAMES[name]} {mmol:.10g}" for name, mmol in amounts.items())
    engine.RunString(INPUT.format(temperature_c=temperature_c, rows=rows))
    assert engine.GetErrorString() == ""
    return {name: values[0] for name, values in engine.GetSelectedOutput().items()}


def drawn(seed: int, strongest: float) -> tuple[Totals, float]:
    """A solution with calcium beside sulfate and phosphate, 1 to `strongest` times a nutrient solution's."""
    chance = Random(seed)
    fold = strongest ** chance.random()
    phosphate, sulfate, calcium, potassium = (fold * chance.uniform(0.2, 3.0) * 1e-3 for _ in range(4))
    magnesium = fold * chance.uniform(0.0, 2.0) * 1e-3
    base = chance.uniform(0.0, 0.9) * phosphate
    cations = potassium + 2.0 * (calcium + magnesium)
    nitrate = cations - 2.0 * sulfate - phosphate - base
    totals = Totals(
        calcium=calcium,
        magnesium=magnesium,
        potassium=potassium + max(0.0, -nitrate),
        nitrate=max(0.0, nitrate),
        sulfate=sulfate,
        phosphate=phosphate,
    )
    return totals, chance.uniform(8.0, 30.0)


def test_brushite_of_tanks_is_phreeqcs(engine: Any) -> None:
    """100 drawn tanks within 0.05."""
    for seed in range(100):
        totals, temperature_c = drawn(seed, 3.0)
        theirs = asked(engine, totals, temperature_c)["brushite"]
        assert brushite(equilibrate(totals, temperature_c), temperature_c) == pytest.approx(theirs, abs=0.05), (
            seed
        )


def test_concentrates_are_never_nearer_to_falling_out_than_told(engine: Any) -> None:
    """100 drawn concentrates up to 150-fold: PHREEQC's indices of gypsum and brushite are no higher than ours."""
    for seed in range(200, 300):
        totals, temperature_c = drawn(seed, 150.0)
        theirs = asked(engine, totals, temperature_c)
        assert theirs["gypsum"] <= gypsum_at_most(totals, temperature_c) + 0.02, seed
        assert theirs["brushite"] <= brushite_at_most(totals, temperature_c) + 0.02, seed


def test_weak_solutions_are_not_overstated_much(engine: Any) -> None:
    """At a tank's strength the upper bounds lie within 0.5 of PHREEQC: no false alarm is far off."""
    theirs = asked(engine, HOAGLAND_1, 20.0)
    assert gypsum_at_most(HOAGLAND_1, 20.0) == pytest.approx(theirs["gypsum"], abs=0.5)
    assert brushite_at_most(HOAGLAND_1, 20.0) == pytest.approx(theirs["brushite"], abs=0.5)


def test_the_ph_up_to_which_a_tank_stays_clear(engine: Any) -> None:
    """Hoagland's solution: near pH 6.5; there PHREEQC finds it just saturated."""
    ph = clear_up_to_ph(HOAGLAND_1, 20.0)
    assert 6.2 < ph < 6.8
    assert asked(engine, _brought_to(ph), 20.0)["brushite"] == pytest.approx(0.0, abs=0.05)


def _brought_to(ph: float) -> Totals:
    """Hoagland's solution with as much base as brings it to this pH."""
    low, high = 0.0, 2e-3
    for _ in range(40):
        base = 0.5 * (low + high)
        made = HOAGLAND_1._replace(potassium=HOAGLAND_1.potassium + base)
        low, high = (base, high) if equilibrate(made, 20.0).ph < ph else (low, base)
    return made


def test_a_tank_without_phosphate_stays_clear() -> None:
    """At any pH; and one that is saturated as it is, up to no more than its own pH."""
    assert clear_up_to_ph(HOAGLAND_1._replace(phosphate=0.0), 20.0) == inf
    assert clear_up_to_ph(_brought_to(7.5), 20.0) == pytest.approx(7.5, abs=1e-3)
    assert clear_up_to_ph(_brought_to(6.0), 20.0) == pytest.approx(clear_up_to_ph(HOAGLAND_1, 20.0), abs=1e-3)


def test_without_calcium_or_partner_nothing_is_said_to_fall_out() -> None:
    """Neither gypsum nor phosphate."""
    assert gypsum_at_most(HOAGLAND_1._replace(sulfate=0.0, nitrate=19e-3), 20.0) == -inf
    assert brushite_at_most(HOAGLAND_1._replace(calcium=0.0, nitrate=5e-3), 20.0) == -inf


def test_where_no_ph_is_found_the_worst_is_assumed() -> None:
    """A concentrate with 25 mol/L more acid than base: all its phosphate is counted, so it falls out."""
    beyond = Totals(calcium=1.0, phosphate=1.0, nitrate=27.0)
    with pytest.raises(ChemistryError):
        equilibrate(beyond, 25.0)
    assert brushite_at_most(beyond, 25.0) > 1.0


@given(
    name=st.sampled_from(
        ["potassium_nitrate", "potassium_sulfate", "monoammonium_phosphate", "calcium_chloride"]
    ),
    share=st.floats(0.01, 2.0),
    temperature_c=st.floats(5.0, 25.0),
)
def test_a_salt_alone_is_as_full_as_it_is_weighed(name: str, share: float, temperature_c: float) -> None:
    """c/s, whatever its ions."""
    one = product(name)
    totals = totals_of(scaled(one.mg_per_g, share * most_g_per_l(one, temperature_c)))
    found = full(totals, everything(), temperature_c)
    assert found.share == pytest.approx(share, rel=1e-6)
    assert found.of == name


def test_a_salt_forms_from_others() -> None:
    """Potassium nitrate and magnesium sulfate, each well dissolved, are full of potassium sulfate."""
    kn, mg = product("potassium_nitrate"), product("magnesium_sulfate")
    totals = totals_of(amounts_of(totals_of({**scaled(kn.mg_per_g, 150.0), **scaled(mg.mg_per_g, 350.0)})))
    assert full(totals, [kn, mg], 20.0).share < 0.7
    assert full(totals, everything(), 20.0) > (1.0, "")
    assert full(totals, everything(), 20.0).of == "potassium_sulfate"


def test_only_salts_are_asked() -> None:
    """Acids and chelates fall out of no concentrate here; with no salt nothing does."""
    assert full(HOAGLAND_1, [product("nitric_acid_60"), product("iron_dtpa")], 20.0) == (0.0, "")
    assert all(one.kind in (Kind.SALT, Kind.CHELATE) for one in everything())
    assert full(WATERS["hard"], everything(), 10.0).share < 0.05
