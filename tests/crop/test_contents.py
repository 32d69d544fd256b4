"""daemon.crop.contents: what a tank holds after doses, against published recipes and conductivities.

tests/reference/recipes.csv: Hoagland & Arnon 1950, Calif. Agric. Exp. Stn. Circular 347, in mmol/L of salts and
mg/L of elements; modified Sonneveld solution, Mattson & Peters 2014, in grams per 100 US gallons (memory).
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.chemistry import Totals
from daemon.crop.contents import Contents, Portion, alkalinity_of, contents
from daemon.crop.elements import Element, nitrogen
from daemon.crop.products import by_label, priced
from tests.crop.shelves import RAIN, WATERS, everything, mmol, product
from tests.reference.published import rows

HOAGLAND = {
    "Hoagland & Arnon 1950 solution 1": {"KH2PO4": "monopotassium_phosphate"},
    "Hoagland & Arnon 1950 solution 2": {"NH4H2PO4": "monoammonium_phosphate"},
}
SALTS = {"KNO3": "potassium_nitrate", "Ca(NO3)2": "calcium_nitrate_tetrahydrate", "MgSO4": "magnesium_sulfate"}
US_GALLONS_100_L = 378.5412


def hoagland(recipe: str) -> Contents:
    """A litre after the salts of the table."""
    names = {**SALTS, **HOAGLAND[recipe]}
    salts = [row for row in rows("recipes.csv", recipe=recipe, unit="mmol/L")]
    assert len(salts) == 4
    return contents(RAIN, 1.0, [mmol(names[row["component"]], float(row["value"])) for row in salts])


def mg_per_l(held: Contents, name: str) -> float:
    return nitrogen(held.mg_per_l) if name == "N" else held.mg_per_l[Element(name)]


@pytest.mark.parametrize("recipe", HOAGLAND)
def test_hoaglands_salts_make_its_elements(recipe: str) -> None:
    """N, P, K, Ca, Mg and S within 0.5 % of the table's, and of the printed figures of solution 1."""
    held = hoagland(recipe)
    told = [
        row for row in rows("recipes.csv", recipe=recipe, unit="mg/L") if "(from the salts)" in row["component"]
    ]
    if recipe.endswith("1"):
        told += [row for row in rows("recipes.csv", recipe=recipe, unit="mg/L") if row["component"] in "NPKCaMgS"]
    assert len(told) >= 6
    for row in told:
        assert mg_per_l(held, row["component"].split()[0]) == pytest.approx(float(row["value"]), rel=0.005)


def test_its_trace_elements() -> None:
    """1 mL/L of the printed stock gives B, Mn, Zn and Cu as printed (to one or two digits) within 2.5 %."""
    stock = {"H3BO3": "boric_acid", "MnCl2.4H2O": "manganese_chloride"}
    stock |= {"ZnSO4.7H2O": "zinc_sulfate", "CuSO4.5H2O": "copper_sulfate"}
    salts = [row for row in rows("recipes.csv", unit="g/L") if row["component"] in stock]
    assert len(salts) == 4
    held = contents(
        RAIN, 1.0, [Portion(product(stock[s["component"]]), float(s["value"]) / 1000.0) for s in salts]
    )
    for element, printed in (("B", 0.5), ("Mn", 0.5), ("Zn", 0.05), ("Cu", 0.02)):
        assert mg_per_l(held, element) == pytest.approx(printed, rel=0.025)


def test_the_lettuce_solution_by_its_salts() -> None:
    """N 149.9, P 31.0, K 210.0, Ca 92.4, Mg 24.3, as the table's note reckons them, within 0.5 %."""
    calcium_nitrate = by_label("calcium nitrate 15.5-0-0", "", {"N": 15.5, "Ca": 19.0})
    by_name = {
        "ammonium nitrate": product("ammonium_nitrate"),
        "potassium nitrate": product("potassium_nitrate"),
        "monopotassium phosphate": product("monopotassium_phosphate"),
        "magnesium sulfate heptahydrate": product("magnesium_sulfate"),
    }
    listed = {row["component"]: row for row in rows("recipes.csv", unit="g per 100 US gal")}
    portions = [Portion(one, float(listed[name]["value"])) for name, one in by_name.items()]
    (calcium,) = (row for name, row in listed.items() if name.startswith("calcium nitrate"))
    held = contents(RAIN, US_GALLONS_100_L, [*portions, Portion(calcium_nitrate, float(calcium["value"]))])
    reckoned = dict(re.findall(r"(N|P|K|Ca|Mg) ([\d.]+)", calcium["note"]))
    assert len(reckoned) == 5
    for name, value in reckoned.items():
        assert mg_per_l(held, name) == pytest.approx(float(value), rel=0.005), name


# recipe_ec.csv: conductivity at 25 °C and pH 5.8, computed by PHREEQC. Ours is at the pH that the salts make.
@pytest.mark.parametrize("recipe", HOAGLAND)
@pytest.mark.parametrize(("strength", "word"), [(1.0, "full"), (0.5, "half")])
def test_ec_of_hoagland(recipe: str, strength: float, word: str) -> None:
    """Within 5 %, and the doubt that is told covers it."""
    names = {**SALTS, **HOAGLAND[recipe]}
    salts = rows("recipes.csv", recipe=recipe, unit="mmol/L")
    held = contents(RAIN, 1.0, [mmol(names[row["component"]], strength * float(row["value"])) for row in salts])
    solution = f"Hoagland-{recipe[-1]} {word}"
    (row,) = rows("recipe_ec.csv", solution=solution, temperature_C="25")
    published = float(row["value"]) / 1000.0
    assert held.ec_ms_per_cm == pytest.approx(published, rel=0.05)
    assert abs(held.ec_ms_per_cm - published) < held.ec_doubt_ms_per_cm


def test_acid_lowers_alkalinity_and_its_ph_recovers_in_air() -> None:
    """Nitric acid into hard water: as many meq less; the pH just mixed is below that once CO2 has left."""
    acid = product("nitric_acid_60")
    held = contents(WATERS["hard"], 100.0, [Portion(acid, 400.0 / acid.acid_meq_per_g)])
    assert held.alkalinity_meq_per_l == pytest.approx(alkalinity_of(WATERS["hard"]) - 4.0, abs=1e-6)
    assert held.ph is not None
    assert 5.5 < held.ph[0] < 6.3
    assert held.ph[1] > 7.5


def test_closed_ph_after_acid_is_the_published_one() -> None:
    """250 mg/L CaCO3 less 150 and 200 by sulfuric acid: pH 6.13 and 5.71 in a closed bottle (alkalinity.csv)."""
    water = Totals(sodium=0.0049957, carbonate=0.0050706)  # pH 8.02 at 25 °C, as there
    acid = product("sulfuric_acid_93")
    for removed, row in ((removed, _closed(removed)) for removed in (100, 150, 200)):
        grams = removed / 50.043 / acid.acid_meq_per_g
        held = contents(water, 1.0, [Portion(acid, grams)])
        assert held.ph is not None
        assert held.ph[0] == pytest.approx(float(row["value"]), abs=0.05)


def _closed(removed: int) -> dict[str, str]:
    begins = f"closed-system pH after removing {removed} "
    (found,) = (row for row in rows("alkalinity.csv") if row["quantity"].startswith(begins))
    return found


def test_a_label_tells_no_ph_and_more_doubt() -> None:
    """What it leaves untold is told."""
    feed = by_label("feed", "", {"nitrate_N": 4.0, "K2O": 6.0, "CaO": 4.0})
    by_name, pure = (contents(RAIN, 10.0, [Portion(one, 20.0)]) for one in (feed, product("potassium_nitrate")))
    assert by_name.ph is None
    assert pure.ph is not None
    shares = [held.ec_doubt_ms_per_cm / held.ec_ms_per_cm for held in (by_name, pure)]
    assert shares[0] > 2.0 * shares[1] > 0.1


def test_cost_is_told_only_where_every_price_is() -> None:
    """Two products, one or both with a price."""
    cheap, unknown = priced(product("potassium_nitrate"), per_kg=5.0), product("magnesium_sulfate")
    assert contents(RAIN, 10.0, [Portion(cheap, 100.0)]).cost == pytest.approx(0.5)
    assert contents(RAIN, 10.0, [Portion(cheap, 100.0), Portion(unknown, 1.0)]).cost is None


@given(
    grams=st.lists(st.floats(0.0, 20.0), min_size=3, max_size=3),
    names=st.lists(st.sampled_from([one.name for one in everything()]), min_size=3, max_size=3),
    water=st.sampled_from(sorted(WATERS)),
)
def test_any_salts_in_any_water_can_be_reckoned(grams: list[float], names: list[str], water: str) -> None:
    """Up to 60 g in ten litres: amounts add up, EC rises above the water's, nothing is negative."""
    portions = [Portion(product(name), g) for name, g in zip(names, grams, strict=True)]
    held, plain = contents(WATERS[water], 10.0, portions), contents(WATERS[water], 10.0, [])
    assert min(held.mg_per_l.values(), default=0.0) >= 0.0
    assert held.ec_ms_per_cm >= plain.ec_ms_per_cm - 0.15 * plain.ec_ms_per_cm - 1e-6
    for element, mg in held.mg_per_l.items():
        brought = sum(portion.brings(10.0).get(element, 0.0) for portion in portions)
        assert mg == pytest.approx(plain.mg_per_l.get(element, 0.0) + brought)
