"""config.chemistry: one pH for each solution, found at once, moved the right way by every acid and base."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.chemistry import (
    ChemistryError,
    Equilibrium,
    Totals,
    carbonate_for_ph,
    co2_in_air_equilibrium,
    conductivity_ms_per_cm,
    constants_at,
    equilibrate,
    strong_charge,
)

CHARGE = {
    "hydrogen": 1,
    "hydroxide": -1,
    "calcium": 2,
    "magnesium": 2,
    "potassium": 1,
    "sodium": 1,
    "ammonium": 1,
    "nitrate": -1,
    "chloride": -1,
    "sulfate": -2,
    "hydrogensulfate": -1,
    "bicarbonate": -1,
    "carbonate": -2,
    "dihydrogenphosphate": -1,
    "hydrogenphosphate": -2,
    "phosphate": -3,
}
RESERVOIR = Totals(
    calcium=0.0025,
    magnesium=0.001,
    potassium=0.004,
    nitrate=0.0075,
    sulfate=0.001,
    phosphate=0.0005,
    carbonate=0.001,
)


@st.composite
def waters(draw: st.DrawFn, most_acid: float = 0.009, most_base: float = 0.009) -> Totals:
    """A solution from rain water to twice full strength, with up to so much acid or base, in mol/kg."""
    amount = st.floats(0.0, 0.012)
    part = Totals(
        calcium=draw(amount),
        magnesium=draw(amount),
        potassium=draw(amount),
        sodium=draw(amount),
        ammonium=draw(amount),
        sulfate=draw(amount),
        phosphate=draw(amount),
        carbonate=draw(amount),
    )
    balance = strong_charge(part) - draw(st.floats(-most_acid, most_base))
    return part._replace(nitrate=max(0.0, balance), potassium=part.potassium + max(0.0, -balance))


TEMPERATURES = st.floats(2.0, 45.0)
DOSES = st.floats(1e-6, 0.005)
ACIDS = st.sampled_from(["nitrate", "chloride", "sulfate", "phosphate", "carbonate"])


@given(totals=waters(most_acid=0.004, most_base=0.0015), temperature_c=st.floats(5.0, 45.0))
def test_any_plausible_water_has_a_ph_from_2_to_12(totals: Totals, temperature_c: float) -> None:
    """Every composition a reservoir can come to is solved, to a pH within 2..12."""
    assert 2.0 < equilibrate(totals, temperature_c).ph < 12.0


@given(totals=waters(), temperature_c=TEMPERATURES, acid=ACIDS, dose=DOSES)
def test_acid_never_raises_ph(totals: Totals, temperature_c: float, acid: str, dose: float) -> None:
    """More of an acid gives the same pH or a lower one."""
    before = equilibrate(totals, temperature_c)
    after = equilibrate(totals._replace(**{acid: getattr(totals, acid) + dose}), temperature_c, before)
    assert after.ph <= before.ph + 1e-4


@given(totals=waters(), temperature_c=TEMPERATURES, dose=DOSES)
def test_base_never_lowers_ph(totals: Totals, temperature_c: float, dose: float) -> None:
    """More potassium hydroxide gives the same pH or a higher one."""
    before = equilibrate(totals, temperature_c)
    after = equilibrate(totals._replace(potassium=totals.potassium + dose), temperature_c, before)
    assert after.ph >= before.ph - 1e-4


@given(totals=waters(), temperature_c=TEMPERATURES)
def test_charges_cancel_and_nothing_is_lost(totals: Totals, temperature_c: float) -> None:
    """Where no pairs form, the species' charges sum to zero and their amounts to the totals."""
    soft = totals._replace(potassium=totals.potassium + 2.0 * (totals.calcium + totals.magnesium))
    soft = soft._replace(calcium=0.0, magnesium=0.0)
    water = equilibrate(soft, temperature_c)
    charge = sum(getattr(water, name) * z for name, z in CHARGE.items())
    assert charge == pytest.approx(0.0, abs=2e-6)
    assert water.co2 + water.bicarbonate + water.carbonate == pytest.approx(soft.carbonate)
    assert water.sulfate + water.hydrogensulfate == pytest.approx(soft.sulfate)


@given(totals=waters(), other=waters(), temperature_c=TEMPERATURES)
def test_where_it_starts_does_not_change_the_answer(totals: Totals, other: Totals, temperature_c: float) -> None:
    """A start from any other water ends at the same pH and conductivity."""
    cold, warm = (equilibrate(totals, temperature_c, near) for near in (None, equilibrate(other, temperature_c)))
    assert warm.ph == pytest.approx(cold.ph, abs=1e-4)
    assert conductivity_ms_per_cm(warm, 25.0) == pytest.approx(conductivity_ms_per_cm(cold, 25.0), rel=1e-3)


def test_pure_water_is_neutral() -> None:
    """Water with nothing in it is at half its pKw, and hardly conducts."""
    water = equilibrate(Totals(), 25.0)
    assert water.ph == pytest.approx(6.997, abs=0.002)
    assert conductivity_ms_per_cm(water, 25.0) == pytest.approx(5.5e-5, rel=0.02)  # 0.055 uS/cm, common knowledge


def test_closed_water_rebounds_once_its_co2_has_left() -> None:
    """Three quarters of the alkalinity neutralised: pH 5.86 at first, 7.89 in air (PHREEQC, phreeqc.dat)."""
    totals = Totals(sodium=0.002, carbonate=0.002, chloride=0.0015)
    closed = equilibrate(totals, 25.0)
    open_to_air = equilibrate(totals, 25.0, held_co2=co2_in_air_equilibrium(25.0, 10.0**2.6))
    assert closed.ph == pytest.approx(5.855, abs=0.05)
    assert open_to_air.ph == pytest.approx(7.893, abs=0.05)


def test_a_dose_does_more_the_nearer_the_buffer_is_spent() -> None:
    """0.6 mmol/kg nitric acid takes half Hoagland from 6.81 to 6.02, the next 0.4 to 4.68 (phreeqc.dat)."""
    ph = [equilibrate(RESERVOIR._replace(nitrate=0.0075 + dose / 1000.0), 22.0).ph for dose in (0.0, 0.6, 1.0)]
    assert ph == pytest.approx([6.808, 6.017, 4.679], abs=0.05)


def test_phosphoric_acid_counts_as_one_proton_at_ph_6() -> None:
    """Phosphoric acid takes a bicarbonate water to the same pH near 6 as nitric acid does, within 0.1."""
    one = equilibrate(Totals(sodium=0.002, carbonate=0.002, phosphate=0.0015), 25.0)
    strong = equilibrate(Totals(sodium=0.002, carbonate=0.002, nitrate=0.0015), 25.0)
    assert abs(one.ph - strong.ph) < 0.1


def test_phosphoric_acid_lowers_conductivity_of_bicarbonate_water_and_nitric_raises_it() -> None:
    """Bicarbonate gives way to a slower ion with phosphoric acid, and to a faster one with nitric acid."""
    plain = Totals(potassium=0.002, carbonate=0.002)
    ec = [
        conductivity_ms_per_cm(equilibrate(totals, 25.0), 25.0)
        for totals in (plain._replace(phosphate=0.001), plain, plain._replace(nitrate=0.001))
    ]
    assert ec == sorted(ec)
    assert ec[0] < ec[1] < ec[2]


# Limiting molar conductivities in S cm2/mol: CRC Handbook (Vanysek); divalent ions per mole.
@pytest.mark.parametrize(
    ("totals", "expected_ms_per_cm"),
    [
        (Totals(potassium=2e-4, phosphate=1e-4), 2e-4 * 73.48 + 1e-4 * 114.0),
        (Totals(potassium=5e-4, phosphate=5e-4), 5e-4 * (73.48 + 36.0)),
        (Totals(sodium=1e-4, carbonate=1e-4), 1e-4 * (50.08 + 44.5)),
        (Totals(ammonium=2e-4, sulfate=1e-4), 2e-4 * 73.5 + 1e-4 * 160.0),
    ],
)
def test_thin_solutions_conduct_as_their_ions_do(totals: Totals, expected_ms_per_cm: float) -> None:
    """At a few tenths of a millimole the conductivity is within 6 % of the sum of the limiting ones."""
    water = equilibrate(totals, 25.0)
    assert conductivity_ms_per_cm(water, 25.0) == pytest.approx(expected_ms_per_cm, rel=0.06)


def test_carbonate_is_found_for_a_wanted_ph() -> None:
    """The carbonate given back brings the water to the pH asked for."""
    carbonate = carbonate_for_ph(RESERVOIR, 7.2, 20.0)
    assert equilibrate(RESERVOIR._replace(carbonate=carbonate), 20.0).ph == pytest.approx(7.2, abs=1e-3)


def test_a_ph_out_of_reach_is_refused_with_what_can_be_reached() -> None:
    """The message names the pH and the range that this water reaches."""
    with pytest.raises(ChemistryError, match=r"pH = 11: this water reaches \d\.\d\d .*to \d\.\d\d"):
        carbonate_for_ph(RESERVOIR, 11.0, 20.0)


@pytest.mark.parametrize("temperature_c", [-0.1, 50.1, float("nan"), float("inf")])
def test_temperatures_out_of_range_are_refused(temperature_c: float) -> None:
    """Outside 0..50 °C, and for no number at all, there are no constants."""
    with pytest.raises(ChemistryError, match="the chemistry holds from 0 to 50"):
        constants_at(temperature_c)


def test_nonsense_amounts_are_refused() -> None:
    """Amounts that are no numbers end in an error, not in a pH."""
    with pytest.raises(ChemistryError, match="no pH found"):
        equilibrate(Totals(calcium=float("nan")), 20.0)


def test_species_have_one_conductivity_each() -> None:
    """The table of ions covers exactly the charged species."""
    assert list(Equilibrium._fields[2:18]) == list(CHARGE)
