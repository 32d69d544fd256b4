"""What crop files say to a settings file: the stages of a reservoir, and whether the garden's wants are known."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from config.complaint import Complaint, nearest
from config.crop import Crop, CropStage, load_crop
from config.settings import Bands, Reservoir, Settings, Stage
from config.toml_file import SettingsError


def own_crops(settings: Settings) -> Path | None:
    """The folder of the grower's own crop files, None where there is none."""
    folder = settings.garden.crops_folder
    return None if folder is None else Path(folder)


def with_crops(settings: Settings, folder: Path) -> tuple[Settings, tuple[Complaint, ...]]:
    """The settings with the stages of each reservoir that names a crop, and what is wrong with what they name.

    folder: of the settings file, where a folder of own crop files and a mix file begin.
    """
    named = {key: of for key in ("crops_folder", "mix_file") if (of := getattr(settings.garden, key)) is not None}
    if named:
        garden = settings.garden.model_copy(update={key: str(folder / of) for key, of in named.items()})
        settings = settings.model_copy(update={"garden": garden})
    complaints = list(_of_garden(settings))
    filled = {}
    for name, reservoir in settings.reservoir.items():
        filled[name], wrong = _filled(f"reservoir.{name}", reservoir, own_crops(settings))
        complaints += wrong
    return settings.model_copy(update={"reservoir": filled}), tuple(complaints)


def _of_garden(settings: Settings) -> Iterator[Complaint]:
    own = own_crops(settings)
    if own is not None and not own.is_dir():
        yield Complaint("garden", f'crops_folder = "{own}": is no folder; make it, or take the key out')
    for name, want in settings.garden.want.items():
        table = f"garden.want.{name}"
        if want.reservoir not in settings.reservoir:
            known = ", ".join(settings.reservoir)
            yield Complaint(table, f'reservoir = "{want.reservoir}": must be one of {known}')
        crop, wrong = _crop(table, want.crop, own)
        yield from wrong
        if crop is not None and want.variety not in crop.variety:
            hint, known = nearest(want.variety, crop.variety), ", ".join(crop.variety)
            yield Complaint(table, f'variety = "{want.variety}": must be one of {known}{hint}')


def _crop(table: str, name: str, own: Path | None) -> tuple[Crop | None, tuple[Complaint, ...]]:
    try:
        return load_crop(name, own), ()
    except SettingsError as wrong:
        return None, (Complaint(table, f'crop = "{name}": {wrong}'),)


def _filled(table: str, reservoir: Reservoir, own: Path | None) -> tuple[Reservoir, tuple[Complaint, ...]]:
    """The reservoir with its crop's stages, where it names one and has none of its own."""
    if reservoir.crop is None:
        return reservoir, ()
    crop, wrong = _crop(table, reservoir.crop, own)
    if crop is None or reservoir.stage:
        return reservoir, wrong
    wrong = tuple(_apart(table, reservoir, crop))
    return (reservoir if wrong else reservoir.model_copy(update={"stage": stages_of(crop, reservoir)})), wrong


def _in_water(crop: Crop) -> tuple[CropStage, ...]:
    """The stages from transplanting on."""
    begun = [stage for stage in crop.stage if stage.from_day <= crop.transplant_on_day]
    return (begun[-1], *(stage for stage in crop.stage if stage.from_day > crop.transplant_on_day))


def stages_of(crop: Crop, reservoir: Reservoir) -> tuple[Stage, ...]:
    """What the crop asks of this reservoir, stage by stage, never beyond the reservoir's own bands."""
    return tuple(_bounded(stage, reservoir) for stage in _in_water(crop))


def _bounded(stage: CropStage, reservoir: Reservoir) -> Stage:
    bands = _common(stage, reservoir.bands)
    ph_slack, ec_slack = reservoir.ph.dead_band, reservoir.ec.dead_band_ms_per_cm
    return Stage(
        name=stage.name,
        from_day=stage.from_day,
        ph_target=_within(stage.ph_target, bands["ph_low"], bands["ph_high"], ph_slack),
        ec_target_ms_per_cm=_within(
            stage.ec_target_ms_per_cm, bands["ec_low_ms_per_cm"], bands["ec_high_ms_per_cm"], ec_slack
        ),
        bands=Bands(**bands),
    )


def _common(stage: CropStage, own: Bands) -> dict[str, float]:
    """The bands that both the stage and the reservoir allow; a low end may lie above its high end."""
    return {
        "ph_low": max(stage.ph_low, own.ph_low),
        "ph_high": min(stage.ph_high, own.ph_high),
        "ec_low_ms_per_cm": max(stage.ec_low_ms_per_cm, own.ec_low_ms_per_cm),
        "ec_high_ms_per_cm": min(stage.ec_high_ms_per_cm, own.ec_high_ms_per_cm),
        "temperature_low_c": max(stage.water_low_c, own.temperature_low_c),
        "temperature_high_c": min(stage.water_high_c, own.temperature_high_c),
    }


def _within(target: float, low: float, high: float, slack: float) -> float:
    return min(max(target, low + slack), high - slack)


def _apart(table: str, reservoir: Reservoir, crop: Crop) -> Iterator[Complaint]:
    """Stages whose bands leave no room for dosing within the reservoir's own."""
    for stage in _in_water(crop):
        bands = _common(stage, reservoir.bands)
        for low, high, room in (
            ("ph_low", "ph_high", 2 * reservoir.ph.dead_band),
            ("ec_low_ms_per_cm", "ec_high_ms_per_cm", 2 * reservoir.ec.dead_band_ms_per_cm),
            ("temperature_low_c", "temperature_high_c", 0.1),
        ):
            if not bands[high] - bands[low] >= room:
                own = reservoir.bands
                yield Complaint(
                    f"{table}.bands",
                    f"{low} = {getattr(own, low):g}, {high} = {getattr(own, high):g}: leaves less than "
                    f"{room:g} of what {crop.title.lower()} bears while {stage.name}; widen the band, or take "
                    "crop out",
                )
