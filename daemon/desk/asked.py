"""What each request may carry, and which reservoir and pump it means."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from config.pump import Pump
from daemon import words
from daemon.desk.requests import RequestRefused
from daemon.keeping.reservoir import KeptReservoir
from daemon.measure.rate import RUN_S
from daemon.values import Quantity, Role

if TYPE_CHECKING:
    from daemon.loop import Loop

MOST_READ_ML = 1000.0  # in one run of the fastest pump, twice over


class Ask(BaseModel):
    """Parameters of a request: nothing unknown, no silent conversions."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Nothing(Ask):
    """No parameters."""


class Named(Ask):
    """A reservoir, which may be left out where there is only one."""

    reservoir: str | None = None


class Clear(Named):
    """measured_ph: of the water, by something else than the probe; needed where the probe is in doubt."""

    measured_ph: float | None = Field(default=None, ge=0.0, le=14.0)


class Hold(Named):
    """For how long at most, and why."""

    reason: str = Field(min_length=1, max_length=200)
    hours: float | None = Field(default=None, gt=0.0, le=720.0)


class Doses(Ask):
    """How many."""

    last: int = Field(default=20, ge=1, le=1000)


class Keys(Ask):
    """Alarms by their keys; none named: all."""

    keys: tuple[str, ...] = ()


class Shelve(Ask):
    """One alarm, and for how long it is to be silent."""

    key: str
    hours: float = Field(default=24.0, gt=0.0, le=24.0)


class OfPump(Named):
    """One pump of a reservoir."""

    pump: Role


class Prime(OfPump):
    """How much to run."""

    ml: float


class Poured(OfPump):
    """What a person poured by hand. sure: asked again, they say it is no slip."""

    ml: float
    note: str = Field(default="", max_length=200)
    sure: bool = False


class TimedRun(OfPump):
    """How long to run. runs: how many the asker knows of, so that asking twice is no second run."""

    runs: int | None = None
    run_s: float = Field(default=15.0, ge=RUN_S[0], le=RUN_S[1])


class Measured(OfPump):
    """What was read of each run. keep: take the new rate; else only reckon it.

    first: the first run's line in the ledger, from who may have looked at other runs than those that wait now.
    """

    measured_ml: tuple[Annotated[float, Field(gt=0.0, le=MOST_READ_ML)], ...]
    keep: bool = True
    first: int | None = None


class Probe(Named):
    """One probe of a reservoir."""

    quantity: Quantity


class Did(Ask):
    """A task of the plan, by its id, and what the plan cannot know of it. Left out, it was as planned."""

    task: str = Field(min_length=1, max_length=80)
    plugs: int | None = Field(default=None, ge=0, le=5000)
    heads: int | None = Field(default=None, ge=1, le=5000)
    grams: float | None = Field(default=None, gt=0.0, le=1_000_000.0)


class Walk(Ask):
    """Where somebody walked past every plant, and what they found of each thing they looked for."""

    where: str = Field(min_length=1, max_length=40)
    found: Mapping[str, Literal["none", "few", "many"]]


class Look(Probe):
    """afresh: forget what the probe has shown so far."""

    afresh: bool = False


class Standard(Probe):
    """What the probe stands in.

    standard: None to be known by the signal. temperature_c: of the standard, None for the tank's. true_c: what a
    reference thermometer beside it shows; litres: the water that is in the reservoir.
    """

    standard: str | None = None
    temperature_c: float | None = Field(default=None, ge=0.0, le=50.0)
    true_c: float | None = Field(default=None, ge=0.0, le=50.0)
    litres: float | None = Field(default=None, ge=0.0, le=2000.0)


class Result(Probe):
    """stop_gap: of pH, the offset from one buffer."""

    stop_gap: bool = False


class Finish(Result):
    """accept: keep it though something about it is odd."""

    accept: bool = False


def one(loop: Loop, asked: Named) -> KeptReservoir:
    """The reservoir that is meant. Raises RequestRefused where that is none, or open."""
    names = ", ".join(loop.reservoirs)
    if asked.reservoir is None:
        if len(loop.reservoirs) > 1:
            raise RequestRefused(f"which reservoir? Name one with --reservoir: {names}")
        return next(iter(loop.reservoirs.values()))
    if asked.reservoir not in loop.reservoirs:
        raise RequestRefused(f"no reservoir {asked.reservoir}; there is {names}")
    return loop.reservoirs[asked.reservoir]


def with_probe(loop: Loop, asked: Probe) -> KeptReservoir:
    """The reservoir that is meant. Raises RequestRefused where it has no such probe."""
    reservoir = one(loop, asked)
    if not reservoir.instruments.has(asked.quantity):
        raise RequestRefused(f"{reservoir.table.title} has no {words.QUANTITY[asked.quantity]} probe")
    return reservoir


def pump_of(reservoir: KeptReservoir, role: Role) -> Pump:
    """The pump as the settings have it. Raises RequestRefused where there is none."""
    pump = reservoir.table.pump.get(role.value)
    if pump is None:
        raise RequestRefused(f"{reservoir.table.title} has no {words.ROLE[role]} pump")
    return pump


def now(reservoir: KeptReservoir, loop: Loop) -> str:
    """What the reservoir does from now on, for the person who asked."""
    return f"{reservoir.table.title} is {words.condition(reservoir.condition(loop.stamp()))}"
