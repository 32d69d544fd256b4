"""sim_hw.tank_settings: what may stand below `[rig.tank.NAME]`, and what contradicts itself."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from sim_hw.reagents import Reagent
from sim_hw.tank_settings import TankSettings


def test_a_bottle_left_out_keeps_its_default() -> None:
    """Naming one bottle changes that one only."""
    reagent = TankSettings(reagent={"ph_down": Reagent(substance="nitric_acid", strength_mol_per_l=1.0)}).reagent
    assert reagent["ph_down"].substance == "nitric_acid"
    assert reagent["ph_up"] == Reagent(substance="potassium_hydroxide", strength_mol_per_l=0.5)


@pytest.mark.parametrize(
    "wrong",
    [
        {"volume": 60.0},
        {"volume_l": 0.0},
        {"temperature_c": float("nan")},
        {"light_on_h": 20.0, "light_off_h": 6.0},
        {"reagent": {"ph_down": {"substance": "vinegar", "strength_mol_per_l": 0.5}}},
    ],
)
def test_settings_out_of_range_are_refused(wrong: dict[str, object]) -> None:
    """Unknown keys, sizes, substances and light the wrong way round stop the start."""
    with pytest.raises(ValidationError):
        TankSettings.model_validate(wrong)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (
            {"water": "hard", "alkalinity_mmol_per_l": 1.0},
            "water and alkalinity_mmol_per_l: the source water is told",
        ),
        ({"crop": {}, "transpiration_l_per_day": 1.0}, "transpiration_l_per_day with a crop"),
        ({"spell": [{"from_day": 0.0, "until_day": 1.0, "by_c": 25.0}] * 2}, "from 18.5 to 71.5 °C"),
        ({"spell": [{"from_day": 0.0, "until_day": 1.0, "by_c": -25.0}]}, "from -6.5 to 21.5 °C"),
        ({"volume_l": 10.0, "system": {"kind": "ebb_and_flow"}}, "a flood takes 17 L out of volume_l = 10 L"),
        ({"system": {"kind": "aquarium"}}, "ebb_and_flow"),
        ({"water": "sea"}, "soft"),
    ],
)
def test_settings_that_contradict_are_refused(wrong: dict[str, object], says: str) -> None:
    """The source told twice, thirst told twice, ice and steam, a bed too large, and names nobody knows."""
    with pytest.raises(ValidationError, match=says):
        TankSettings.model_validate(wrong)
