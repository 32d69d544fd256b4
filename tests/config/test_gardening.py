"""What crop files say to a settings file: stages within a reservoir's bands, and wants that can be grown."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.crop import SHIPPED, load_crop
from config.gardening import stages_of
from config.load import SettingsError, load
from config.settings import Bands, EcControl, PhControl, Reservoir, Settings
from tests.config.test_load import SOUND

BED = "[reservoir.bed1]\n"


def loaded(folder: Path, text: str = SOUND) -> Settings:
    """The settings of a file with this text."""
    file = folder / "site.toml"
    file.write_text(text)
    return load(file)


def with_crop(text: str = SOUND, crop: str = "lettuce") -> str:
    return text.replace(BED, f'{BED}crop = "{crop}"\n', 1)


def test_a_reservoir_that_names_a_crop_has_its_stages(tmp_path: Path) -> None:
    """Those from transplanting on, strength rising."""
    stages = loaded(tmp_path, with_crop()).reservoir["bed1"].stage
    assert [stage.name for stage in stages] == ["leafing", "finishing"]
    assert [stage.ec_target_ms_per_cm for stage in stages] == [1.0, 1.1]


def test_another_crop_needs_no_code(tmp_path: Path) -> None:
    """Its file is all."""
    stages = loaded(tmp_path, with_crop(crop="rocket")).reservoir["bed1"].stage
    assert [stage.name for stage in stages] == ["leafing"]
    assert stages[0].ph_target == 6.0


def test_stages_of_ones_own_win(tmp_path: Path) -> None:
    """Over those of the crop's file."""
    text = with_crop() + '\n[[reservoir.bed1.stage]]\nname = "mine"\nfrom_day = 0.0\n'
    assert [stage.name for stage in loaded(tmp_path, text).reservoir["bed1"].stage] == ["mine"]


def test_without_a_crop_nothing_is_as_before(tmp_path: Path) -> None:
    """No stages."""
    assert loaded(tmp_path).reservoir["bed1"].stage == ()


def test_bands_apart_from_the_crops_are_refused(tmp_path: Path) -> None:
    """With both, and what to do."""
    bands = "ec_low_ms_per_cm = 0.8\nec_high_ms_per_cm = 1.6"
    text = with_crop().replace(bands, "ec_low_ms_per_cm = 1.1\nec_high_ms_per_cm = 1.6", 1)
    with pytest.raises(
        SettingsError, match=r"ec_low_ms_per_cm = 1\.1.*lettuce bears while leafing; widen the band"
    ):
        loaded(tmp_path, text)


WANT = "[garden.want.salad]"
WRONG = [
    ('variety = "butterhead"', 'variety = "buterhead"', "did you mean butterhead"),
    ('crop = "lettuce"\nvariety', 'crop = "letuce"\nvariety', "did you mean lettuce"),
    ('reservoir = "bed1"', 'reservoir = "bed9"', "must be one of bed1"),
    ("places = 18", "places = 0", "must be at least 1"),
    ("heads_per_week = 3.0", "heads_per_week = nan", "finite"),
    ("[garden]\n", '[garden]\ncrops_folder = "nowhere"\n', "is no folder"),
    ('walk_on = "friday"', 'walk_on = "someday"', "must be one of"),
]


@pytest.mark.parametrize(("was", "becomes", "why"), WRONG, ids=[row[2] for row in WRONG])
def test_a_wrong_garden_is_told_what_is_allowed(tmp_path: Path, was: str, becomes: str, why: str) -> None:
    """By the table and the key."""
    assert was in SOUND
    with pytest.raises(SettingsError) as refused:
        loaded(tmp_path, SOUND.replace(was, becomes, 1))
    assert why in str(refused.value)
    assert "[garden" in str(refused.value)


def test_a_folder_of_own_crops_begins_at_the_settings_file(tmp_path: Path) -> None:
    """Wherever the program is started."""
    (tmp_path / "mine").mkdir()
    shutil.copy(SHIPPED / "rocket.toml", tmp_path / "mine" / "cress.toml")
    text = SOUND.replace("[garden]\n", '[garden]\ncrops_folder = "mine"\n', 1)
    text = text.replace('crop = "lettuce"\nvariety = "butterhead"', 'crop = "cress"\nvariety = "garden"', 1)
    assert loaded(tmp_path, text).garden.crops_folder == str(tmp_path / "mine")


@given(
    st.tuples(st.floats(4.0, 6.5), st.floats(0.3, 2.5)),
    st.tuples(st.floats(0.0, 2.0), st.floats(0.2, 3.0)),
    st.floats(0.02, 0.3),
    st.sampled_from(["lettuce", "rocket"]),
)
def test_no_crop_asks_for_more_than_the_settings_allow(
    ph: tuple[float, float], ec: tuple[float, float], dead_band: float, name: str
) -> None:
    """Whatever its file says: targets and bands stay within the reservoir's own, dead bands included."""
    (ph_low, ph_room), (ec_low, ec_room) = ph, ec
    bands = Bands(
        ph_low=ph_low, ph_high=ph_low + ph_room, ec_low_ms_per_cm=ec_low, ec_high_ms_per_cm=ec_low + ec_room
    )
    bed = Reservoir(
        title="Bed",
        system="film",
        volume_l=20.0,
        mixing_time_s=60.0,
        bands=bands,
        ph=PhControl(dead_band=dead_band),
        ec=EcControl(dead_band_ms_per_cm=dead_band),
    )
    try:
        stages = stages_of(load_crop(name), bed)
    except ValueError:
        return  # bands apart: refused when the file is read
    for stage in stages:
        assert stage.bands is not None
        assert stage.ph_target is not None
        assert stage.ec_target_ms_per_cm is not None
        assert bands.ph_low <= stage.bands.ph_low < stage.bands.ph_high <= bands.ph_high
        assert stage.bands.ec_high_ms_per_cm <= bands.ec_high_ms_per_cm
        assert stage.ph_target <= bands.ph_high - dead_band + 1e-9
        assert stage.ec_target_ms_per_cm <= bands.ec_high_ms_per_cm - dead_band + 1e-9
