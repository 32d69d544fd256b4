"""What a crop's file may hold, as config/crops/lettuce.toml: stages, varieties, what a walk looks for.

Files of the grower's own lie in the folder that `[garden] crops_folder` names, and win over those that ship.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, ValidationError, model_validator

from config.complaint import Complaint, complaints_of, nearest
from config.table import HomieId, Table
from config.toml_file import SettingsError, tables_of

SHIPPED = Path(__file__).parent / "crops"
EXAMPLE = "config/crops/lettuce.toml"


class Emergence(Table):
    """Days until half of the seedlings are up, by the temperature of the plug; straight lines in between."""

    temperature_c: tuple[float, ...] = Field(min_length=2, max_length=20, strict=False, description="rising")
    days: tuple[float, ...] = Field(min_length=2, max_length=20, strict=False, description="one for each of them")
    warmest_c: float = Field(ge=5.0, le=45.0, description="above this the seed sleeps or dies")

    @model_validator(mode="after")
    def _a_table(self) -> Self:
        if len(self.days) != len(self.temperature_c):
            raise ValueError(f"days holds {len(self.days)} values for {len(self.temperature_c)} temperatures")
        if not all(before < after for before, after in pairwise(self.temperature_c)):
            raise ValueError("temperature_c must rise from each to the next")
        if not all(0.0 < each <= 60.0 for each in self.days):
            raise ValueError("days must be above 0 and at most 60 each")
        return self


class CropStage(Table):
    """A stage of the crop: what it wants of solution and air."""

    name: str = Field(min_length=1, max_length=40, description="the name people see, as seedling")
    from_day: float = Field(ge=0.0, le=365.0, description="the days after sowing from which it holds")
    ph_low: float = Field(ge=4.0, le=8.0, description="the lowest pH it bears")
    ph_high: float = Field(ge=4.0, le=8.0, description="the highest pH it bears")
    ph_target: float = Field(ge=4.5, le=7.5, description="the pH it does best at")
    ec_low_ms_per_cm: float = Field(ge=0.0, le=5.0, description="the weakest solution it bears, at 25 °C")
    ec_high_ms_per_cm: float = Field(ge=0.1, le=5.0, description="the strongest solution it bears, at 25 °C")
    ec_target_ms_per_cm: float = Field(ge=0.2, le=5.0, description="the strength it does best at, at 25 °C")
    water_low_c: float = Field(ge=0.0, le=40.0, description="the coldest water it bears")
    water_high_c: float = Field(ge=0.0, le=40.0, description="the warmest water it bears")
    air_low_c: float = Field(ge=-5.0, le=45.0, description="the coldest air it bears")
    air_high_c: float = Field(ge=-5.0, le=45.0, description="the warmest air it bears")
    look: str = Field(default="", max_length=200, description="how it should look, and what to do if not")

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        for low, at, high in (
            ("ph_low", "ph_target", "ph_high"),
            ("ec_low_ms_per_cm", "ec_target_ms_per_cm", "ec_high_ms_per_cm"),
            ("water_low_c", "water_low_c", "water_high_c"),
            ("air_low_c", "air_low_c", "air_high_c"),
        ):
            at_low, at_target, at_high = (getattr(self, key) for key in (low, at, high))
            if not at_low < at_high:
                raise ValueError(f"{low} = {at_low:g} must be below {high} = {at_high:g}")
            if not at_low <= at_target <= at_high:
                raise ValueError(f"{at} = {at_target:g} must be from {low} = {at_low:g} to {high} = {at_high:g}")
        return self


class Variety(Table):
    """A kind of the crop: its days, its room, how it is picked."""

    title: str = Field(min_length=1, max_length=60, description="the name people see")
    days_to_harvest: float = Field(ge=10.0, le=365.0, description="from sowing to the first good head")
    best_days: float = Field(ge=1.0, le=60.0, description="how long it then stands without losing by it")
    spacing_cm: float = Field(ge=2.0, le=100.0, description="from plant to plant")
    head_g: float = Field(gt=0.0, le=5000.0, description="a usual head, or all leaves of a plant")
    pick: Literal["head", "leaves"] = Field(description="head: cut whole; leaves: the outer ones, more than once")


class Look(Table):
    """One thing that a scouting walk looks for, and what to do about it: cultural before chemical."""

    what: str = Field(min_length=1, max_length=60, description="its name, as aphids")
    look: str = Field(min_length=1, max_length=300, description="where to look, and how it shows")
    first: str = Field(min_length=1, max_length=300, description="what to try first")
    then: str = Field(min_length=1, max_length=300, description="what to do if that was not enough")
    where: Literal["leaves", "heart", "roots"] = Field(description="leaves, heart or roots")
    tank: Literal["", "hold", "change-out"] = Field(default="", description="what to tell the tank if many")


class Published(Table):
    """A published figure, for comparison."""

    quantity: str = Field(min_length=1, max_length=80)
    low: float
    high: float
    unit: str = Field(max_length=20)
    source: str = Field(min_length=1, max_length=200)
    status: Literal["confirmed", "memory"]


class Crop(Table):
    """A crop: how it is raised, what it bears, its varieties."""

    title: str = Field(min_length=1, max_length=60, description="the name people see")
    seeds_per_plug: int = Field(default=2, ge=1, le=20, description="the seeds in each plug")
    spare_plugs_share: float = Field(
        default=0.2, ge=0.0, le=2.0, description="plugs sown beyond the heads wanted, as a share of these"
    )
    soak_h: float = Field(default=1.0, ge=0.0, le=72.0, description="how long plugs soak before sowing")
    thin_on_day: float | None = Field(
        default=None, ge=1.0, le=90.0, description="days after sowing: to the strongest; left out, not thinned"
    )
    transplant_on_day: float = Field(ge=3.0, le=120.0, description="days after sowing: into net cups")
    keeps_cut_days: float = Field(default=5.0, ge=0.0, le=60.0, description="how long it keeps, cut, in the cold")
    emergence: Emergence
    stage: tuple[CropStage, ...] = Field(min_length=1, max_length=12, strict=False)
    variety: dict[HomieId, Variety] = Field(min_length=1, max_length=40)
    walk: tuple[Look, ...] = Field(default=(), max_length=40, strict=False)
    published: tuple[Published, ...] = Field(default=(), max_length=100, strict=False)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        days = [stage.from_day for stage in self.stage]
        if days[0] != 0.0 or not all(before < after for before, after in pairwise(days)):
            raise ValueError("from_day of the stages must begin with 0 and rise from each to the next")
        if self.thin_on_day is not None and not self.thin_on_day < self.transplant_on_day:
            raise ValueError(
                f"thin_on_day = {self.thin_on_day:g} must be below transplant_on_day = {self.transplant_on_day:g}"
            )
        for name, variety in self.variety.items():
            if not self.transplant_on_day < variety.days_to_harvest:
                raise ValueError(
                    f"variety.{name}: days_to_harvest = {variety.days_to_harvest:g} must be above "
                    f"transplant_on_day = {self.transplant_on_day:g}"
                )
        return self

    def emergence_days(self, temperature_c: float) -> float | None:
        """Days until half of the seedlings are up at this temperature; None where it is too warm."""
        of = self.emergence
        if temperature_c > of.warmest_c:
            return None
        points = list(zip(of.temperature_c, of.days, strict=True))
        for (cold_c, slow), (warm_c, fast) in pairwise(points):
            if temperature_c <= warm_c:
                share = max(0.0, (temperature_c - cold_c) / (warm_c - cold_c))
                return slow + share * (fast - slow)
        return points[-1][1]


def names(own: Path | None = None) -> tuple[str, ...]:
    """The crops there are files of."""
    folders = (SHIPPED,) if own is None else (SHIPPED, own)
    return tuple(sorted({file.stem for folder in folders for file in folder.glob("*.toml")}))


def load_crop(name: str, own: Path | None = None) -> Crop:
    """The crop of that name. Raises SettingsError with every complaint about its file, or where there is none."""
    places = [folder / f"{name}.toml" for folder in (own, SHIPPED) if folder is not None]
    path = next((place for place in places if place.is_file()), None)
    if path is None:
        known = names(own)
        raise SettingsError(
            str(places[0]),
            (Complaint("", f"there is no crop {name}{nearest(name, known)}; known are: {', '.join(known)}"),),
        )
    try:
        return Crop.model_validate(tables_of(path, EXAMPLE))
    except ValidationError as error:
        raise SettingsError(str(path), complaints_of(error, Crop)) from error
