"""The table printed on a bottle: what no label can have printed, or what its keys do not mean."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

SPAN_C = (0.0, 50.0)
PH = (1.0, 13.0)
MS_PER_CM = (0.01, 200.0)
STEEPEST_PH_PER_K = 0.05  # carbonate near 0 °C, the steepest buffer in use, has 0.014
RISE_PER_K = (0.012, 0.03)  # of its middle: potassium chloride rises by 1.5 to 2.5 % a kelvin


class _Step(NamedTuple):
    """From one row of the table to the next."""

    low_c: float
    high_c: float
    below: float
    above: float

    @property
    def per_k(self) -> float:
        return (self.above - self.below) / (self.high_c - self.low_c)

    def words(self, key: str) -> str:
        return f"{key} goes from {self.below:g} to {self.above:g} between {self.low_c:g} and {self.high_c:g} °C"


def wrong_buffer(temperature_c: Sequence[float], ph: Sequence[float]) -> str:
    """The first thing wrong with a buffer's table; "" if nothing is."""
    if wrong := _wrong("ph", temperature_c, ph, PH):
        return wrong
    steep = [step for step in _steps(temperature_c, ph) if not abs(step.per_k) <= STEEPEST_PH_PER_K]
    return f"{steep[0].words('ph')}: no buffer is so steep; look for a slip" if steep else ""


def wrong_conductivity(temperature_c: Sequence[float], ms_per_cm: Sequence[float]) -> str:
    """The first thing wrong with a conductivity standard's table; "" if nothing is."""
    if wrong := _wrong("ms_per_cm", temperature_c, ms_per_cm, MS_PER_CM):
        return wrong
    for step in _steps(temperature_c, ms_per_cm):
        if not RISE_PER_K[0] <= step.per_k / ((step.above + step.below) / 2.0) <= RISE_PER_K[1]:
            return (
                f"{step.words('ms_per_cm')}: a solution rises by 1.2 to 3 % a kelvin; take the values at each "
                "temperature, not those brought to 25 °C"
            )
    return ""


def _wrong(key: str, temperature_c: Sequence[float], values: Sequence[float], span: tuple[float, float]) -> str:
    if len(values) != len(temperature_c):
        return f"{key} has {len(values)} values for {len(temperature_c)} temperatures; give one for each"
    inside = all(SPAN_C[0] <= at_c <= SPAN_C[1] for at_c in temperature_c)
    if not inside or not all(low_c < high_c for low_c, high_c in pairwise(temperature_c)):
        return f"temperature_c = {list(temperature_c)}: must rise from one to the next, within 0 to 50 °C"
    if not all(span[0] <= value <= span[1] for value in values):
        return f"{key} = {list(values)}: each must be {span[0]:g} to {span[1]:g}"
    return ""


def _steps(temperature_c: Sequence[float], values: Sequence[float]) -> Iterator[_Step]:
    for (low_c, below), (high_c, above) in pairwise(zip(temperature_c, values, strict=True)):
        yield _Step(low_c, high_c, below, above)
