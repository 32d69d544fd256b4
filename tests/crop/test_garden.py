"""The garden of the settings, with the crops' files, on one day."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

from config.garden import Want
from config.settings import Settings
from daemon.crop.diary import Sown
from daemon.crop.garden import day_of
from tests.at_the_tank import one_bed
from tests.crop.test_diary import diary

TODAY = date(2026, 3, 1)


def garden(**wants: Want) -> Settings:
    """The school's settings, wanting this."""
    settings = one_bed()
    return settings.model_copy(update={"garden": settings.garden.model_copy(update={"want": wants})})


SALAD = Want(crop="lettuce", variety="butterhead", heads_per_week=3.5, reservoir="bed1", places=24)
LEAVES = Want(crop="rocket", variety="garden", heads_per_week=2.0, reservoir="bed1", places=12)


def test_what_is_wanted_is_raised_by_its_file() -> None:
    """Days, seeds and the way of picking come from there."""
    salad, leaves = day_of(garden(salad=SALAD, leaves=LEAVES), (), TODAY).plan.kinds
    assert (salad.heads_per_week, salad.days_to_harvest, salad.thin_on_day) == (Fraction(7, 2), 56, 8)
    assert (salad.look_on_day, salad.seeds_per_plug, salad.by_leaves) == (4, 2, False)
    assert (leaves.days_to_harvest, leaves.thin_on_day, leaves.by_leaves) == (30, None, True)


def test_days_of_ones_own_experience_win() -> None:
    """Over those of the file."""
    slow = SALAD.model_copy(update={"days_to_harvest": 70.0})
    assert day_of(garden(salad=slow), (), TODAY).plan.kinds[0].days_to_harvest == 70


def test_a_batch_that_nobody_asked_for_is_followed_too() -> None:
    """Its tasks are there; no sowing follows it."""
    lines = diary(Sown(batch="gift", crop="lettuce", variety="cos", plugs=4))
    day = day_of(garden(), lines, TODAY)
    assert [course.name for course in day.plan.courses] == ["gift"]
    assert [task.id for task in day.tasks if task.course] == [
        *("look-gift", "thin-gift", "transplant-gift", "harvest-gift")
    ]
    assert day.plan.weeks == ()


def test_a_batch_of_an_unknown_crop_is_left_in_peace() -> None:
    """Its file may be gone; the diary still has it."""
    lines = diary(
        Sown(batch="gift", crop="cress", variety="cos", plugs=4),
        Sown(batch="other", crop="lettuce", variety="iceberg", plugs=4),
    )
    assert day_of(garden(), lines, TODAY).plan.courses == ()


def test_a_walk_looks_for_what_troubles_each_crop() -> None:
    """Once each."""
    whats = [look.what for look in day_of(garden(salad=SALAD, leaves=LEAVES), (), TODAY).looks]
    assert {"aphids", "thrips", "mildew", "brown roots", "flea beetles"} <= set(whats)
    assert len(whats) == len(set(whats))
