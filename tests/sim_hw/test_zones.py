"""sim_hw.zones: water and salts move between bodies of water, and none is lost."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.chemistry import Totals
from sim_hw.zones import LEFT_BEHIND_L, Zone, go_round

SALTY, FRESH = Totals(sodium=0.02, chloride=0.02), Totals(sodium=0.001, chloride=0.001)


def a_zone(litres: float, mol_per_l: Totals) -> Zone:
    """So many litres of it, at 20 °C."""
    return Zone(litres, [litres * amount for amount in mol_per_l], 20.0)


@given(here=st.floats(1.0, 100.0), there=st.floats(0.2, 100.0), litres=st.floats(0.0, 1000.0))
def test_going_round_loses_nothing_and_evens_out(here: float, there: float, litres: float) -> None:
    """Volumes stay, moles add up, and neither zone overshoots the mean."""
    one, other = a_zone(here, SALTY), a_zone(there, FRESH)
    whole = [a + b for a, b in zip(one.mol, other.mol, strict=True)]
    go_round(one, other, litres)
    assert (one.litres, other.litres) == (here, there)
    assert [a + b for a, b in zip(one.mol, other.mol, strict=True)] == pytest.approx(whole)
    assert one.mol[3] / here >= other.mol[3] / there - 1e-12


def test_going_round_a_little_moves_what_the_water_carries() -> None:
    """A tenth of a litre each way moves a tenth of a litre's salts, to first order."""
    one, other = a_zone(60.0, SALTY), a_zone(20.0, FRESH)
    go_round(one, other, 0.1)
    assert one.mol[3] == pytest.approx(60.0 * 0.02 - 0.1 * 0.019, rel=1e-5)


@given(there=st.floats(0.2, 50.0), litres=st.floats(0.0, 100.0))
def test_pouring_takes_salts_along_and_leaves_the_last_of_the_water(there: float, litres: float) -> None:
    """What arrives is what left, as strong as it was."""
    one, other = a_zone(10.0, SALTY), a_zone(there, FRESH)
    one.pour_into(other, litres)
    moved_l = min(litres, 10.0 - LEFT_BEHIND_L)
    assert one.litres == pytest.approx(10.0 - moved_l)
    assert other.mol[3] == pytest.approx(there * 0.001 + moved_l * 0.02)


def test_lost_water_leaves_its_salts() -> None:
    """Evaporated to the last, the moles are all there."""
    zone = a_zone(10.0, SALTY)
    zone.lose_water(1000.0)
    assert zone.litres == pytest.approx(LEFT_BEHIND_L)
    assert zone.mol[3] == pytest.approx(0.2)
