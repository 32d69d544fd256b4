"""The garden as the settings and the crops' files describe it, for the plan; and the plan of this day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from fractions import Fraction
from math import ceil, floor

from config.crop import Crop, Look, load_crop
from config.garden import Want
from config.gardening import own_crops
from config.settings import Settings
from config.toml_file import SettingsError
from daemon.crop.diary import Batch, Line, batches
from daemon.crop.plan import WEEKS_SHOWN, Kind, Nursery, Plan, plan
from daemon.crop.tasks import Task, tasks


@dataclass(frozen=True, slots=True)
class Day:
    """What the garden asks for on one day."""

    plan: Plan
    tasks: tuple[Task, ...]
    looks: tuple[Look, ...]


def day_of(settings: Settings, lines: Iterable[Line], today: date, weeks: int = WEEKS_SHOWN) -> Day:
    """The plan, what is to do, and what to look for, by what was written down. Raises SettingsError."""
    every = tuple(lines)
    known = batches(every)
    kinds = kinds_of(settings, known)
    garden = settings.garden
    now = plan(kinds, Nursery(garden.nursery_plugs, garden.nursery_batches), known, today, weeks)
    looks = looks_of(settings, kinds)
    return Day(now, tasks(now, every, garden.walk_on, [look.what for look in looks]), looks)


def calendar_of(settings: Settings, day: Day, now: datetime) -> bytes:
    """All tasks of the day's plan as an iCalendar file (RFC 5545). now: with its time zone."""
    from daemon.crop.ical import calendar_file  # its library is large, and only who asks for the file needs it

    at = now.astimezone(UTC).replace(microsecond=0)
    return calendar_file(day.tasks, settings.site.device_id, f"{settings.site.name}: garden", at)


def kinds_of(settings: Settings, known: Mapping[str, Batch]) -> tuple[Kind, ...]:
    """What is wanted, and what else stands: a batch of a variety that no want names. Raises SettingsError."""
    garden = settings.garden
    wanted = [_kind(settings, name, want.crop, want.variety, want) for name, want in garden.want.items()]
    return (*wanted, *_unwanted(settings, known))


def looks_of(settings: Settings, kinds: Iterable[Kind]) -> tuple[Look, ...]:
    """What a walk past these looks for; of crops that share a name for it, by the file of the first."""
    found: dict[str, Look] = {}
    for name in dict.fromkeys(kind.crop for kind in kinds):
        for look in _crop(settings, name).walk:
            found.setdefault(look.what, look)
    return tuple(found.values())


def _crop(settings: Settings, name: str) -> Crop:
    return load_crop(name, own_crops(settings))


def _unwanted(settings: Settings, known: Mapping[str, Batch]) -> Iterator[Kind]:
    """Batches of no want are followed too, as far as there is a file of their crop."""
    wanted = {(want.crop, want.variety) for want in settings.garden.want.values()}
    others = {(batch.crop, batch.variety) for batch in known.values() if not batch.over} - wanted
    for crop_name, variety in sorted(others):
        with suppress(SettingsError, KeyError):  # its file is gone, or names that variety no more
            yield _kind(settings, variety, crop_name, variety, None)


def _kind(settings: Settings, name: str, crop_name: str, variety_name: str, want: Want | None) -> Kind:
    """Raises SettingsError, KeyError. want: None for what is raised without one: no places are kept for it."""
    crop = _crop(settings, crop_name)
    variety = crop.variety[variety_name]
    own_days = None if want is None else want.days_to_harvest
    up_days = crop.emergence_days(settings.garden.nursery_c)
    sprouting = crop.stage[0]
    return Kind(
        name=name,
        crop=crop_name,
        variety=variety_name,
        title=variety.title,
        heads_per_week=Fraction(0) if want is None else Fraction(str(round(want.heads_per_week, 3))),
        reservoir="the reservoir" if want is None else want.reservoir,
        places=0 if want is None else want.places,
        look_on_day=ceil(max(crop.emergence.days) if up_days is None else up_days) + 1,
        thin_on_day=None if crop.thin_on_day is None else ceil(crop.thin_on_day),
        transplant_on_day=ceil(crop.transplant_on_day),
        days_to_harvest=max(ceil(own_days or variety.days_to_harvest), ceil(crop.transplant_on_day) + 1),
        best_days=floor(variety.best_days),
        seeds_per_plug=crop.seeds_per_plug,
        spare_plugs_share=Fraction(str(round(crop.spare_plugs_share, 3))),
        soak_h=crop.soak_h,
        germination_c=(sprouting.air_low_c, sprouting.air_high_c),
        warmest_c=crop.emergence.warmest_c,
        spacing_cm=variety.spacing_cm,
        keeps_cut_days=crop.keeps_cut_days,
        by_leaves=variety.pick == "leaves",
    )
