"""What the crop's diary says to the running daemon."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from config.garden import Want
from config.gardening import with_crops
from config.settings import Settings
from daemon.crop.diary import Event, Lost, Picked, Sown, Transplanted
from daemon.crop.diary_file import FILE_NAME, write
from daemon.cropping import Cropping
from daemon.values import Quantity
from tests.at_the_tank import BEGINNING, AtTheTank, at_the_tank, one_bed

TODAY = date(2027, 3, 1)
SOWN = Sown(batch="a", crop="lettuce", variety="butterhead", plugs=6)
PLANTED = Transplanted(batch="a", heads=5, reservoir="bed1")


def settings(*, crop: str | None = "lettuce", wanted: bool = True) -> Settings:
    """The school's, growing lettuce in bed1."""
    school = one_bed()
    bed = school.reservoir["bed1"].model_copy(update={"crop": crop})
    salad = Want(crop="lettuce", variety="butterhead", heads_per_week=3.0, reservoir="bed1", places=21)
    garden = school.garden.model_copy(update={"want": {"salad": salad} if wanted else {}})
    return school.model_copy(update={"reservoir": {"bed1": bed}, "garden": garden})


def add(folder: Path, event: Event, days_ago: int = 0) -> None:
    at = datetime.combine(TODAY, datetime.min.time(), UTC)
    write(folder / FILE_NAME, event, TODAY - timedelta(days=days_ago), at)


def test_the_next_task_comes_from_plan_and_diary(tmp_path: Path) -> None:
    """Without a diary what is to be sown first."""
    crop = Cropping(settings(), tmp_path / FILE_NAME)
    assert crop.look(TODAY)
    assert crop.next_task.startswith("today: soak ")


def test_it_is_read_only_where_file_or_day_changed(tmp_path: Path) -> None:
    """Else nothing is new."""
    crop = Cropping(settings(), tmp_path / FILE_NAME)
    assert [crop.look(TODAY) for _ in range(3)] == [True, False, False]
    add(tmp_path, SOWN, days_ago=20)
    assert [crop.look(TODAY) for _ in range(2)] == [True, False]
    assert crop.next_task.startswith("late since")
    assert crop.look(TODAY + timedelta(days=1))


def test_nobody_who_keeps_no_garden_is_told_of_one(tmp_path: Path) -> None:
    """Neither task nor stage."""
    crop = Cropping(settings(wanted=False), tmp_path / FILE_NAME)
    crop.look(TODAY)
    assert (crop.next_task, dict(crop.counts_from)) == ("", {})


def test_stages_count_from_the_youngest_batch_that_stands(tmp_path: Path) -> None:
    """As if it had been planted on the usual day, the 14th."""
    crop = Cropping(settings(), tmp_path / FILE_NAME)
    for event, ago in ((SOWN, 60), (PLANTED, 40)):
        add(tmp_path, event, ago)
    crop.look(TODAY)
    assert crop.counts_from == {"bed1": TODAY - timedelta(days=54)}
    add(tmp_path, SOWN.model_copy(update={"batch": "b"}), 30)
    add(tmp_path, PLANTED.model_copy(update={"batch": "b", "heads": 2}), 3)
    crop.look(TODAY)
    assert crop.counts_from == {"bed1": TODAY - timedelta(days=17)}
    add(tmp_path, Lost(batch="b", heads=2, cause="slugs"))
    crop.look(TODAY)
    assert crop.counts_from == {"bed1": TODAY - timedelta(days=54)}
    add(tmp_path, Picked(batch="a", heads=5))
    crop.look(TODAY)
    assert crop.counts_from == {}


@pytest.mark.parametrize("crop_of_bed", [None, "rocket"])
def test_stages_of_another_crop_do_not_count_from_it(tmp_path: Path, crop_of_bed: str | None) -> None:
    """Nor where the settings name none."""
    crop = Cropping(settings(crop=crop_of_bed), tmp_path / FILE_NAME)
    add(tmp_path, SOWN, 20)
    add(tmp_path, PLANTED, 5)
    crop.look(TODAY)
    assert crop.counts_from == {}


def test_a_damaged_diary_is_told_and_what_was_known_stays(tmp_path: Path) -> None:
    """Until it is put right."""
    crop = Cropping(settings(), tmp_path / FILE_NAME)
    add(tmp_path, SOWN, 20)
    add(tmp_path, PLANTED, 5)
    crop.look(TODAY)
    known = dict(crop.counts_from)
    sound = (tmp_path / FILE_NAME).read_bytes()
    (tmp_path / FILE_NAME).write_bytes(b"nonsense\n" + sound)
    assert crop.look(TODAY)
    assert "crop-diary.jsonl line 1 is damaged" in crop.next_task
    assert crop.counts_from == known
    (tmp_path / FILE_NAME).write_bytes(sound)
    crop.look(TODAY)
    assert "damaged" not in crop.next_task


def test_a_folder_in_its_place_is_told(tmp_path: Path) -> None:
    """It stops nothing."""
    crop = Cropping(settings(), tmp_path)
    assert crop.look(TODAY)
    assert "cannot be used" in crop.next_task


def test_the_daemon_shows_what_is_next_in_every_snapshot(tank: AtTheTank, tmp_path: Path) -> None:
    """Within a minute of its being written down, on the bench's clock; a damaged diary stops no pass."""
    assert tank.passes(1).next_task.startswith("today: soak ")
    write(tmp_path / FILE_NAME, SOWN, BEGINNING.date() - timedelta(days=30), BEGINNING)
    assert tank.passes(7).next_task.startswith("late since ")
    (tmp_path / FILE_NAME).write_text("nonsense\n")
    before = tank.passes(1).passes
    state = tank.passes(7)
    assert "line 1 is damaged" in state.next_task
    assert state.passes == before + 7


def strengths(folder: Path, bed: Settings, passes: int) -> tuple[float, float]:
    """The band of EC that is kept after so many passes."""
    with at_the_tank(folder, bed) as tank:
        tank.passes(passes)
        return tank.bed().bands[Quantity.EC]


def test_a_reservoir_is_kept_at_what_its_youngest_batch_bears(tmp_path: Path) -> None:
    """From the start on where the diary had it; never beyond the bands of the settings."""
    growing = with_crops(one_bed(crop="lettuce"), tmp_path)[0]
    assert strengths(tmp_path, growing, 1) == (0.8, 1.6)
    write(tmp_path / FILE_NAME, SOWN, BEGINNING.date() - timedelta(days=60), BEGINNING)
    write(tmp_path / FILE_NAME, PLANTED, BEGINNING.date() - timedelta(days=46), BEGINNING)
    assert strengths(tmp_path, growing, 1) == (0.9, 1.2)
    narrow = one_bed(crop="lettuce").reservoir["bed1"].bands.model_dump() | {"ec_high_ms_per_cm": 1.15}
    bounded = with_crops(one_bed(crop="lettuce", bands=narrow, ec={"target_ms_per_cm": 1.0}), tmp_path)[0]
    assert strengths(tmp_path, bounded, 1) == (0.9, 1.15)


def test_a_planting_that_is_written_down_moves_the_bands_slowly(tmp_path: Path) -> None:
    """Two hundredths an hour at most, whatever the diary says."""
    growing = with_crops(one_bed(crop="lettuce"), tmp_path)[0]
    with at_the_tank(tmp_path, growing) as tank:
        tank.passes(1)
        write(tmp_path / FILE_NAME, SOWN, BEGINNING.date() - timedelta(days=60), BEGINNING)
        write(tmp_path / FILE_NAME, PLANTED, BEGINNING.date() - timedelta(days=46), BEGINNING)
        tank.passes(60)
        low, high = tank.bed().bands[Quantity.EC]
    assert 0.8 < low <= 0.8 + 0.02 * 600.0 / 3600.0 + 1e-9
    assert 1.6 > high >= 1.6 - 0.02 * 600.0 / 3600.0 - 1e-9
