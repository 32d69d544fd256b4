"""Files of crops: those that ship, those of the grower's own, and what is said of a wrong one."""

from __future__ import annotations

from pathlib import Path

import pytest

from config.crop import SHIPPED, Crop, load_crop, names
from config.toml_file import SettingsError

LETTUCE = (SHIPPED / "lettuce.toml").read_text()


@pytest.mark.parametrize("name", names())
def test_every_crop_that_ships_loads(name: str) -> None:
    """With stages, varieties, and something for a walk to look for."""
    crop = load_crop(name)
    assert crop.variety
    assert crop.walk


def test_the_four_kinds_of_lettuce_are_there() -> None:
    """With days and spacing of their own."""
    assert set(load_crop("lettuce").variety) == {"loose-leaf", "butterhead", "cos", "oak-leaf"}


def test_emergence_is_read_between_the_lines() -> None:
    """Straight between two temperatures, held below the coldest, unknown above the warmest."""
    lettuce = load_crop("lettuce")
    assert lettuce.emergence_days(17.5) == pytest.approx(3.5)
    assert lettuce.emergence_days(2.0) == 15.0
    assert lettuce.emergence_days(25.0) == 2.0
    assert lettuce.emergence_days(25.1) is None
    assert load_crop("rocket").emergence_days(27.0) == 3.0


def own(folder: Path, text: str, name: str = "pak-choi") -> Crop:
    """A crop of the grower's own."""
    (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return load_crop(name, folder)


def test_a_crop_is_added_by_a_file_alone(tmp_path: Path) -> None:
    """And one of the same name as one that ships wins over it."""
    assert own(tmp_path, LETTUCE.replace('title = "Lettuce"', 'title = "Pak choi"')).title == "Pak choi"
    assert own(tmp_path, LETTUCE.replace('title = "Lettuce"', 'title = "Mine"'), "lettuce").title == "Mine"
    assert load_crop("lettuce").title == "Lettuce"
    assert set(names(tmp_path)) == {"lettuce", "rocket", "pak-choi"}


def test_a_crop_that_is_not_there_is_told_with_those_that_are() -> None:
    """And the nearest name."""
    with pytest.raises(SettingsError, match=r"did you mean lettuce.*known are: lettuce, rocket"):
        load_crop("letuce")


WRONG = [
    ("transplant_on_day = 14.0", "transplant_on_day = 2.0", "must be at least 3 days"),
    (
        "transplant_on_day = 14.0",
        "transplant_on_day = 50.0",
        "variety.loose-leaf: days_to_harvest = 45 must be above",
    ),
    ("thin_on_day = 8.0", "thin_on_day = 14.0", "thin_on_day = 14 must be below transplant_on_day = 14"),
    ("ph_target = 5.8", "ph_target = 6.8", "ph_target = 6.8 must be from ph_low = 5.5"),
    ("ph_low = 5.5", "ph_low = 6.9", "ph_low = 6.9 must be below ph_high = 6.5"),
    ("from_day = 14", "from_day = 4", "from_day of the stages must begin with 0 and rise"),
    ("days = [15, 7, 4, 3, 2]", "days = [15, 7, 4]", "days holds 3 values for 5 temperatures"),
    ("temperature_c = [5, 10,", "temperature_c = [5, 5,", "temperature_c must rise"),
    ("days = [15, 7, 4, 3, 2]", "days = [15, 7, 4, 3, 0]", "must be above 0"),
    ('pick = "head"', 'pick = "root"', 'pick = "root": must be one of'),
    ("seeds_per_plug = 2", "seeds_per_plug = 2\ncolour = 3", "unknown key"),
    ("[variety.cos]", "[variety.Cos]", "the table's name"),
    ("seeds_per_plug = 2", "seeds_per_plug = 2,5", "decimals take a point"),
]


@pytest.mark.parametrize(("was", "becomes", "why"), WRONG, ids=[row[2] for row in WRONG])
def test_a_wrong_file_is_told_what_is_allowed(tmp_path: Path, was: str, becomes: str, why: str) -> None:
    """With the file's name."""
    assert was in LETTUCE
    with pytest.raises(SettingsError) as refused:
        own(tmp_path, LETTUCE.replace(was, becomes, 1))
    assert why in str(refused.value)
    assert str(tmp_path / "pak-choi.toml") in str(refused.value)
