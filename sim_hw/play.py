"""What a person can do at the bench, as commands with parameters. Each answers with plain values.

`tank` may be left out where there is one tank; a probe, pump or target may also be written "bed1/ph".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import inf
from typing import Annotated, Any, TypeVar

from pydantic import ConfigDict, Field, ValidationError, validate_call

from sim_hw.faults import Fault, FaultName
from sim_hw.world import Basin, PlayError, World

MOST_LITRES = 2000.0
Litres = Annotated[float, Field(gt=0.0, le=MOST_LITRES, allow_inf_nan=False)]
Seconds = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
Size = Annotated[float, Field(allow_inf_nan=False)]
Celsius = Annotated[float, Field(ge=0.0, le=50.0)]
Answer = dict[str, Any]
Thing = TypeVar("Thing")
NOTHING_TO_ADD = ConfigDict(arbitrary_types_allowed=True)


def play(world: World, command: str, params: Mapping[str, Any]) -> Answer:
    """Do it, now. Raises PlayError saying what is wrong and what there is instead."""
    function = COMMANDS.get(command)
    if function is None:
        raise PlayError(f"there is no command {command!r}: there are {', '.join(COMMANDS)}")
    try:
        with world.lock:
            world.catch_up()
            answer = function(world, **params)
            world.settle()
            return answer
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = first["loc"][-1] if first["loc"] else ""
        raise PlayError(f"{command}: {key} = {first['input']!r}: {first['msg']}") from error
    except PlayError:
        raise
    except ValueError as error:
        raise PlayError(f"{command}: {error}") from error


def dip(
    world: World, *, probe: str, standard: str | float, tank: str = "", temperature_c: Celsius | None = None
) -> Answer:
    """Put a probe in a standard, which has the tank's temperature unless another is given."""
    basin, name = _locate(world, tank, probe)
    found = _one_of(basin.probes, name, "probe", basin)
    warmth_c = basin.tank.look().temperature_c if temperature_c is None else temperature_c
    found.dip(str(standard), warmth_c)
    return {"probe": f"{basin.name}/{name}", "in": found.dipped_in, "temperature_c": warmth_c}


def back(world: World, *, probe: str, tank: str = "") -> Answer:
    """Put a probe back in its tank."""
    basin, name = _locate(world, tank, probe)
    _one_of(basin.probes, name, "probe", basin).back()
    return {"probe": f"{basin.name}/{name}", "in": "tank"}


def unplug(world: World, *, probe: str, tank: str = "") -> Answer:
    """Pull a probe's plug."""
    return fault(world, name=FaultName.PROBE_UNPLUGGED, target=probe, tank=tank)


def plug(world: World, *, probe: str, tank: str = "") -> Answer:
    """Plug a probe in again."""
    return mend(world, name=FaultName.PROBE_UNPLUGGED, target=probe, tank=tank)


def empty(world: World, *, pump: str, tank: str = "") -> Answer:
    """Empty a pump's bottle."""
    basin, role = _locate(world, tank, pump)
    found = _one_of(basin.pumps, role, "pump", basin)
    found.empty()
    return {"pump": f"{basin.name}/{role}", "left_ml": found.left_ml}


def refill(world: World, *, pump: str, tank: str = "") -> Answer:
    """Fill a pump's bottle as at the start."""
    basin, role = _locate(world, tank, pump)
    found = _one_of(basin.pumps, role, "pump", basin)
    found.refill()
    return {"pump": f"{basin.name}/{role}", "left_ml": found.left_ml}


def add_water(world: World, *, litres: Litres, tank: str = "") -> Answer:
    """Pour tap water into a tank."""
    basin = _basin(world, tank)
    basin.tank.add_water(litres)
    return {"tank": basin.name, "volume_l": basin.tank.volume_l}


def drain(world: World, *, litres: Litres, tank: str = "") -> Answer:
    """Let water out of a tank."""
    basin = _basin(world, tank)
    basin.tank.drain(litres)
    return {"tank": basin.name, "volume_l": basin.tank.volume_l}


def fault(
    world: World,
    *,
    name: FaultName,
    target: str,
    tank: str = "",
    for_s: Seconds | None = None,
    size: Size | None = None,
) -> Answer:
    """Begin a fault now, for that many bench seconds or until mended. size: see FaultName."""
    where = "/".join(_parts(world, tank, target))
    start_s = world.now_s()
    world.add_fault(Fault(name, where, start_s, inf if for_s is None else start_s + for_s, size))
    return {"fault": name.value, "target": where}


def mend(world: World, *, name: FaultName, target: str, tank: str = "") -> Answer:
    """End a fault."""
    where = "/".join(_parts(world, tank, target))
    if not world.end_fault(name, where):
        there = ", ".join(f"{one.name} on {one.target}" for one in world.faults_now()) or "none"
        raise PlayError(f"{where} has no {name.value} to mend; faults now: {there}")
    return {"mended": name.value, "target": where}


def look(world: World) -> Answer:
    """Everything as it truly is."""
    return world.truth()


COMMANDS: dict[str, Callable[..., Answer]] = {
    function.__name__: validate_call(config=NOTHING_TO_ADD)(function)
    for function in (dip, back, unplug, plug, empty, refill, add_water, drain, fault, mend, look)
}


def _parts(world: World, tank: str, name: str) -> tuple[str, str]:
    """The tank's name and the name within it."""
    before, slash, after = name.partition("/")
    if slash and tank and tank != before:
        raise PlayError(f"{name!r} is not in tank {tank!r}: name the tank once")
    if slash:
        return before, after
    return _basin(world, tank).name, name


def _locate(world: World, tank: str, name: str) -> tuple[Basin, str]:
    where, within = _parts(world, tank, name)
    return _basin(world, where), within


def _basin(world: World, tank: str) -> Basin:
    if not tank and len(world.basins) == 1:
        return next(iter(world.basins.values()))
    if not tank:
        raise PlayError(f"which tank? There are {', '.join(world.basins)}; write one, or a name as in bed1/ph")
    return _one_of(world.basins, tank, "tank")


def _one_of(things: Mapping[str, Thing], name: str, what: str, basin: Basin | None = None) -> Thing:
    if name not in things:
        where = f" in {basin.name}" if basin else ""
        raise PlayError(f"there is no {what} {name!r}{where}: there are {', '.join(things) or 'none'}")
    return things[name]
