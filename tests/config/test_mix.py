"""config.mix: what a mix file may hold, and what is said of one that cannot be used."""

from __future__ import annotations

from pathlib import Path

import pytest

from config.mix import EXAMPLE, fertilisers, load_mix, recipes
from config.toml_file import SettingsError

PLAIN = """
title = "Bench"
volume_l = 20.0
recipe = "hoagland_1"

[shelf.potassium_nitrate]
"""


def written(folder: Path, text: str, name: str = "mix.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def complaint(folder: Path, text: str) -> str:
    """What is said of a file."""
    with pytest.raises(SettingsError) as refused:
        load_mix(written(folder, text))
    return str(refused.value)


def test_the_example_loads() -> None:
    """Invented, and it says so."""
    assert "invented" in load_mix(EXAMPLE).title


def test_what_ships_loads() -> None:
    """Every fertiliser and recipe by the models; tables of solubility have as many figures as temperatures."""
    assert len(fertilisers()) >= 20
    assert {"hoagland_1", "hoagland_2", "sonneveld_lettuce"} <= recipes().keys()
    for one in fertilisers().values():
        assert len(one.soluble_c) == len(one.soluble_g_per_kg)
        assert list(one.soluble_c) == sorted(one.soluble_c)


def test_products_of_a_shelf_file_stand_beside_those_of_the_mix(tmp_path: Path) -> None:
    """A two-part feed by its labels."""
    written(
        tmp_path,
        """
        [shelf.part_a]
        label_percent = { nitrate_N = 4.5, K2O = 3.0, CaO = 6.0, Fe = 0.05 }
        density_g_per_ml = 1.18
        price_per_l = 9.0

        [shelf.part_b]
        label_percent = { N = 1.0, P2O5 = 4.0, K2O = 6.0, MgO = 1.5, SO3 = 3.0 }
        density_g_per_ml = 1.15
        """,
        "shelf.toml",
    )
    mix = load_mix(written(tmp_path, 'shelf_file = "shelf.toml"\n' + PLAIN))
    assert list(mix.shelf) == ["part_a", "part_b", "potassium_nitrate"]
    assert mix.shelf["part_a"].label_percent == {"nitrate_N": 4.5, "K2O": 3.0, "CaO": 6.0, "Fe": 0.05}


def test_a_recipe_of_ones_own(tmp_path: Path) -> None:
    """By its name in the file."""
    own = PLAIN.replace("hoagland_1", "basil") + "[own_recipe.basil]\nmg_per_l = { N = 180, K = 200 }\n"
    assert load_mix(written(tmp_path, own)).own_recipe["basil"].mg_per_l == {"N": 180.0, "K": 200.0}


# The file beyond the plain one, and what is said.
@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("[shelf.potasium_nitrate]", "shelf.potasium_nitrate] is none that ships; tell its label_percent"),
        ("[shelf.potasium_nitrate]", "did you mean potassium_nitrate?"),
        ("[shelf.boric_acid]\nlabel_percent = { B = 17.0 }", "is the name of one that ships; give yours another"),
        ("[shelf.x]\nof = 'nitric_acit'\npercent = 5.0", "did you mean nitric_acid?"),
        ("[shelf.x]\nof = 'nitric_acid'", "of and percent go together"),
        ("[shelf.x]\nlabel_percent = { P2O5 = 5.0, P = 2.0 }", "P and P2O5: the same told twice"),
        ("[shelf.x]\nlabel_percent = { N = 5.0, nitrate_N = 2.0 }", "N beside its kinds"),
        ("[shelf.x]\nlabel_percent = { K2O = 60.0, P2O5 = 50.0 }", "adds up to 110 %: at most 100"),
        ("[shelf.x]\nlabel_percent = { K2O = 0.0 }", "label_percent is all 0"),
        ("[shelf.x]\nlabel_percent = { K2O = -1.0 }", "must be at least 0"),
        ("[shelf.x]\nlabel_percent = { Au = 1.0 }", "Au"),
        ("[shelf.boric_acid]\ndensity_g_per_ml = 1.1", "density_g_per_ml goes with of and percent"),
        ("[shelf.boric_acid]\nprice_per_kg = 1.0\nprice_per_l = 1.0", "keep one"),
        ("[acid]\nuse = 'vinegar'", 'use = "vinegar": is not on the shelf, and none that ships'),
        ("[water]\nmg_per_l = { calcium = 40.0 }", "alkalinity_mmol_per_l"),
        ("[stocks]\nvolume_l = 1.0\nstrength = 1000.0", "strength = 1000.0: must be at most 400"),
        ("[own_recipe.x]\nmg_per_l = { N = 5.0, NH4_N = 9.0 }", "NH4_N is a part of N"),
        ("[own_recipe.x]\nmg_per_l = { N = 0.0 }", "there is nothing to mix"),
    ],
)
def test_what_cannot_be_is_refused_in_words(more: str, says: str, tmp_path: Path) -> None:
    """With file, table, value and what is allowed."""
    said = complaint(tmp_path, f"{PLAIN}\n{more}\n")
    assert said.startswith(str(tmp_path / "mix.toml"))
    assert says in said


# Keys of the file itself.
@pytest.mark.parametrize(
    ("line", "says"),
    [
        (
            'recipe = "hoagland_9"',
            'recipe = "hoagland_9": must be one of sonneveld_lettuce, hoagland_1, hoagland_2',
        ),
        ("volume_l = 0.0", "volume_l = 0.0: must be above 0 L"),
        ("volume_l = nan", "volume_l = nan: must be a finite number"),
        ('volume_l = "20 L"', "must be a number in L, without quotes or unit"),
        ("scale_g = 0.0", "scale_g = 0.0: must be at least 0.0001 g"),
        ("strength_percent = 400.0", "must be at most 300 %"),
        ("strength_percent = 50.0\nec_ms_per_cm = 1.2", "strength_percent and ec_ms_per_cm: keep one"),
        ("litres = 5.0", "litres = 5.0: unknown key"),
        ('shelf_file = "nowhere.toml"', "nowhere.toml: no such file"),
    ],
)
def test_keys_of_the_file_are_checked(line: str, says: str, tmp_path: Path) -> None:
    """Each with its unit and bounds."""
    key = line.split(" = ", maxsplit=1)[0]
    kept = [old for old in PLAIN.splitlines() if not old.startswith(f"{key} =")]
    assert says in complaint(tmp_path, "\n".join([line, *kept]))


def test_a_product_in_both_files_is_refused(tmp_path: Path) -> None:
    """Which of the two would count?"""
    written(tmp_path, "[shelf.potassium_nitrate]\nprice_per_kg = 2.0\n", "shelf.toml")
    said = complaint(tmp_path, 'shelf_file = "shelf.toml"\n' + PLAIN)
    assert "[shelf.potassium_nitrate] is in shelf.toml as well; keep one" in said


def test_a_file_that_is_missing_says_what_to_copy(tmp_path: Path) -> None:
    """The invented example."""
    with pytest.raises(SettingsError, match=r"start from the example: cp config/mixes/quince-lane\.toml"):
        load_mix(tmp_path / "nowhere.toml")
