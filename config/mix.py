"""What a mix is told by: the file of `evenwater mix`, and the fertilisers and recipes that ship.

fertilisers.toml, recipes.toml   what ships          mixes/quince-lane.toml   an example of a grower's file
"""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import Field, ValidationError, model_validator

from config.complaint import Complaint, complaints_of, nearest
from config.source_water import Analysis
from config.table import Table
from config.toml_file import SettingsError, tables_of

EXAMPLE = "config/mixes/quince-lane.toml"

Kind = Literal["salt", "chelate", "acid", "base"]
Wanted = Literal["N", "NH4_N", "P", "K", "Ca", "Mg", "S", "Fe", "Mn", "Zn", "B", "Cu", "Mo", "Cl", "Na"]
Nitrogen = Literal["nitrate_N", "ammonium_N", "urea_N", "N"]
Main = Literal["P2O5", "P", "K2O", "K", "CaO", "Ca", "MgO", "Mg", "SO3", "S"]
Trace = Literal["Fe", "Mn", "Zn", "B", "Cu", "Mo", "Na", "Cl"]
OnLabel = Literal[Nitrogen, Main, Trace]
Percent = Annotated[float, Field(ge=0.0, le=100.0)]
Density = Annotated[float, Field(ge=0.7, le=2.5)]
Price = Annotated[float, Field(ge=0.0, le=100_000.0)]
MgPerL = Annotated[float, Field(ge=0.0, le=5000.0)]
NAME = r"^[a-z][a-z0-9_]{0,39}$"
Name = Annotated[str, Field(pattern=NAME)]


class Fertiliser(Table):
    """A substance of the trade, by its formula."""

    about: str = Field(min_length=1, max_length=200, description="what it is sold as")
    kind: Kind
    formula: str = Field(min_length=1, max_length=80, description="with its water, as Ca(NO3)2·4H2O")
    percent: float = Field(default=100.0, gt=0.0, le=100.0, description="of the formula, by weight")
    density_g_per_ml: Density | None = Field(default=None, description="of a liquid")
    oxidiser: bool = Field(default=False, description="feeds a fire")
    soluble_c: tuple[float, ...] = Field(default=(), strict=False, description="rising temperatures")
    soluble_g_per_kg: tuple[float, ...] = Field(default=(), strict=False, description="in 1 kg of water at those")
    source: str = ""
    status: str = ""


class Recipe(Table):
    """What a solution is to hold."""

    about: str = Field(default="", max_length=200, description="for which crop, where from")
    source: str = Field(default="", max_length=200, description="where the figures come from")
    status: str = Field(default="", max_length=200, description="how well that is known")
    mg_per_l: dict[Wanted, MgPerL] = Field(min_length=1, description="of each element, at full strength")

    @model_validator(mode="after")
    def _ammonium_within_nitrogen(self) -> Self:
        if "NH4_N" in self.mg_per_l and not self.mg_per_l["NH4_N"] <= self.mg_per_l.get("N", 0.0):
            raise ValueError("NH4_N is a part of N: tell N, at least as much")
        if not any(self.mg_per_l.values()):
            raise ValueError("mg_per_l is all 0: there is nothing to mix")
        return self


class Shelf(Table):
    """A product that stands on the shelf: by its name in fertilisers.toml alone, or told by its label.

    `of` and `percent` tell a solution or a grade of a shipped substance, label_percent what a label prints.
    """

    about: str = Field(default="", max_length=200, description="what it is, for who reads the table")
    of: Name | None = Field(default=None, description="the substance it is made of, as nitric_acid")
    percent: float | None = Field(default=None, gt=0.0, le=100.0, description="of that substance, by weight")
    label_percent: dict[OnLabel, Percent] | None = Field(
        default=None, description="what the label tells, in percent by weight, as P2O5 = 5.0"
    )
    density_g_per_ml: Density | None = Field(
        default=None, description="of a liquid, which is measured in mL; weigh 100 mL of it where no label tells"
    )
    price_per_kg: Price | None = Field(default=None, description="for the cost; of a liquid price_per_l will do")
    price_per_l: Price | None = None

    @model_validator(mode="after")
    def _told_in_one_way(self) -> Self:
        if self.label_percent is not None and (self.of is not None or self.percent is not None):
            raise ValueError("tell it by label_percent, or by of and percent, not both")
        if (self.of is None) != (self.percent is None):
            raise ValueError("of and percent go together: of which substance, how many percent by weight")
        if self.price_per_kg is not None and self.price_per_l is not None:
            raise ValueError("price_per_kg and price_per_l: keep one")
        if self.density_g_per_ml is not None and self.of is None and self.label_percent is None:
            raise ValueError("density_g_per_ml goes with of and percent, or with label_percent")
        return self

    @model_validator(mode="after")
    def _label_that_can_be(self) -> Self:
        label = self.label_percent or {}
        if self.label_percent is not None and not any(label.values()):
            raise ValueError("label_percent is all 0: tell what the label does, as { P2O5 = 5.0, K2O = 6.0 }")
        if "N" in label and {"nitrate_N", "ammonium_N", "urea_N"} & label.keys():
            raise ValueError("N beside its kinds: keep those that are told (nitrate_N, ...), or N alone")
        for element, oxide in (("P", "P2O5"), ("K", "K2O"), ("Ca", "CaO"), ("Mg", "MgO"), ("S", "SO3")):
            if element in label and oxide in label:
                raise ValueError(f"{element} and {oxide}: the same told twice; keep the one on the label")
        if not sum(label.values()) <= 100.0:
            raise ValueError(f"label_percent adds up to {sum(label.values()):g} %: at most 100; look for a slip")
        return self


class Neutralise(Table):
    """Acid against the alkalinity of the water."""

    use: Name = Field(description="an acid of the shelf, as nitric_acid_38")
    leave_mg_caco3_per_l: float = Field(
        default=30.0, ge=0.0, le=300.0, description="the alkalinity to leave, which keeps pH from falling"
    )


class Stocks(Table):
    """Concentrates A and B instead of salts into the tank."""

    volume_l: float = Field(gt=0.0, le=2000.0, description="of each of the two")
    strength: float = Field(default=100.0, ge=2.0, le=400.0, description="1 mL of each in so many mL is the mix")
    coldest_c: float = Field(
        default=10.0, ge=0.0, le=40.0, description="the coldest they will stand: what dissolves warm falls out"
    )


class MixFile(Table):
    """A mix: which water, which recipe, what stands on the shelf."""

    title: str = Field(min_length=1, max_length=80, description="what people call it")
    volume_l: float = Field(gt=0.0, le=100_000.0, description="of the tank to fill")
    recipe: Name = Field(description="of config/recipes.toml, or of [own_recipe.NAME]")
    strength_percent: float | None = Field(
        default=None, gt=0.0, le=300.0, description="of the recipe; 100 where this and ec_ms_per_cm are left out"
    )
    ec_ms_per_cm: float | None = Field(
        default=None, gt=0.0, le=6.0, description="instead: as strong as it takes, at 25 °C, with the water's own"
    )
    ammonium_most_percent: float = Field(
        default=10.0, ge=0.0, le=100.0, description="of all nitrogen, where the recipe does not tell it"
    )
    scale_g: float = Field(default=0.1, ge=0.0001, le=100.0, description="the smallest step of your scale")
    measure_ml: float = Field(default=0.5, ge=0.001, le=100.0, description="the smallest step of your cylinder")
    currency: str = Field(default="", max_length=8, description="printed behind costs")
    shelf_file: str | None = Field(
        default=None, min_length=1, description="a file with more [shelf.NAME] tables, beside this one"
    )
    water: Analysis | None = Field(default=None, description="the source water; left out, it is rain water")
    acid: Neutralise | None = Field(default=None, description="against its alkalinity")
    stocks: Stocks | None = Field(default=None, description="concentrates A and B")
    shelf: dict[Name, Shelf] = Field(default_factory=dict, description="what there is to mix with")
    own_recipe: dict[Name, Recipe] = Field(default_factory=dict, description="recipes of your own")

    @model_validator(mode="after")
    def _one_strength(self) -> Self:
        if self.strength_percent is not None and self.ec_ms_per_cm is not None:
            raise ValueError("strength_percent and ec_ms_per_cm: keep one")
        return self


class ShelfFile(Table):
    """A file of products alone."""

    shelf: dict[Name, Shelf] = Field(min_length=1, description="what there is to mix with")


Model = TypeVar("Model", bound=Table)


def load_mix(path: Path | str) -> MixFile:
    """A mix, with the products of its shelf file, all names known. Raises SettingsError with every complaint."""
    read = _checked(Path(path), MixFile)
    complaints = []
    if read.shelf_file is not None:
        more = _checked(Path(path).parent / read.shelf_file, ShelfFile)
        twice = sorted(more.shelf.keys() & read.shelf.keys())
        complaints += [Complaint(f"shelf.{name}", f"is in {read.shelf_file} as well; keep one") for name in twice]
        read = read.model_copy(update={"shelf": {**more.shelf, **read.shelf}})
    complaints += _unknown_names(read)
    if complaints:
        raise SettingsError(str(path), tuple(complaints))
    return read


def _checked(path: Path, model: type[Model]) -> Model:
    raw = tables_of(path, EXAMPLE)
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        raise SettingsError(str(path), complaints_of(error, model)) from None


def _unknown_names(mix: MixFile) -> list[Complaint]:
    """Names that stand for nothing, and shipped names that a label would hide."""
    known = fertilisers()
    found = []
    for name, entry in mix.shelf.items():
        own = entry.of is not None or entry.label_percent is not None
        if own and name in known:
            found.append(Complaint(f"shelf.{name}", "is the name of one that ships; give yours another"))
        elif not own and name not in known:
            what = "is none that ships; tell its label_percent, or of which substance it is (of, percent)"
            found.append(Complaint(f"shelf.{name}", f"{what}{nearest(name, known)}"))
        elif entry.of is not None and entry.of not in substances():
            near = nearest(entry.of, substances())
            found.append(Complaint(f"shelf.{name}", f'of = "{entry.of}": is no substance that ships{near}'))
    names = {**recipes(), **mix.own_recipe}
    if mix.recipe not in names:
        words = f'recipe = "{mix.recipe}": must be one of {", ".join(names)}{nearest(mix.recipe, names)}'
        found.append(Complaint("", words))
    if mix.acid is not None and mix.acid.use not in {**known, **mix.shelf}:
        words = f'use = "{mix.acid.use}": is not on the shelf, and none that ships{nearest(mix.acid.use, known)}'
        found.append(Complaint("acid", words))
    return found


@cache
def fertilisers() -> dict[str, Fertiliser]:
    """What ships, by name."""
    return {name: Fertiliser.model_validate(table) for name, table in _shipped("fertilisers.toml").items()}


@cache
def substances() -> dict[str, Fertiliser]:
    """What ships, by the name of its substance: nitric_acid where there is a nitric_acid_38."""
    return {re.sub(r"_\d+$", "", name): one for name, one in fertilisers().items()}


@cache
def recipes() -> dict[str, Recipe]:
    """The recipes that ship, by name."""
    return {name: Recipe.model_validate(table) for name, table in _shipped("recipes.toml").items()}


def _shipped(name: str) -> dict[str, Any]:
    return tomllib.loads(resources.files("config").joinpath(name).read_text(encoding="utf-8"))
