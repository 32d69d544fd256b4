"""What volts would mean, and which two probes would fit exchanged."""

from __future__ import annotations

from typing import Any

import pytest

from config.settings import Bands
from daemon.survey import HUM_V, Standing, Wire, exchanged, meaning
from daemon.values import Quantity, Sample
from drivers.registry import DRIVERS, check_probe
from drivers.wiring import AdcWiring

TABLES: dict[str, tuple[str, dict[str, Any]]] = {
    "ph": ("ph_amplifier", {"input": 0, "zero_v": 1.65, "gain": -3.0}),
    "ec": ("ec_amplifier", {"input": 1, "ms_per_v": 1.0}),
    "temperature": (
        "ntc_divider",
        {"input": 2, "supply_v": 3.3, "series_ohm": 10000.0, "nominal_ohm": 10000.0, "beta_k": 3950.0},
    ),
    "level": ("level_sender", {"input": 3, "empty_v": 0.5, "full_v": 2.5}),
}


def wire(quantity: str) -> Wire:
    driver, table = TABLES[quantity]
    wiring = check_probe(driver, table)
    assert isinstance(wiring, AdcWiring)
    return Wire(f"bed1/{quantity}", DRIVERS[driver].quantity, wiring, Bands())


def seen(volts: float, spread_v: float = 0.001, *, clipped: bool = False) -> Sample:
    return Sample(Quantity.PH, 0.0, volts, volts, spread_v, clipped)


@pytest.mark.parametrize(
    ("quantity", "volts", "standing"),
    [
        ("ph", 1.473, Standing.PLAUSIBLE),  # pH 6.0
        ("ph", 1.65, Standing.PLAUSIBLE),
        ("ph", 0.80, Standing.UNLIKELY),  # pH 2.2
        ("ph", 3.3, Standing.BEYOND),  # at the supply
        ("ph", 0.0, Standing.BEYOND),
        ("ec", 1.2, Standing.PLAUSIBLE),
        ("ec", 0.001, Standing.DRY),
        ("ec", -0.5, Standing.BEYOND),
        ("ec", float("nan"), Standing.BEYOND),
        ("temperature", 1.833, Standing.PLAUSIBLE),  # 20 °C
        ("temperature", 0.58, Standing.UNLIKELY),  # 64 °C
        ("temperature", 3.3, Standing.BEYOND),  # open
        ("temperature", 0.0, Standing.BEYOND),  # shorted
        ("level", 2.1, Standing.PLAUSIBLE),
        ("level", 0.0, Standing.BEYOND),
    ],
)
def test_volts_mean_what_the_circuit_makes_of_them(quantity: str, volts: float, standing: Standing) -> None:
    """Each circuit's own range, what water gives within it, and its ends."""
    assert meaning(wire(quantity), seen(volts)).standing is standing


@pytest.mark.parametrize(
    ("spread_v", "standing"),
    [(HUM_V, Standing.PLAUSIBLE), (HUM_V * 1.01, Standing.HUM), (float("nan"), Standing.HUM)],
)
def test_conversions_that_disagree_are_hum(spread_v: float, standing: Standing) -> None:
    """Plausible in the mean, and yet nothing is plugged in; NaN fails closed."""
    assert meaning(wire("ph"), seen(1.473, spread_v)).standing is standing


def test_the_end_of_the_range_is_beyond_whatever_it_would_mean() -> None:
    """The true voltage is not known."""
    assert meaning(wire("ec"), seen(4.0, clipped=True)).standing is Standing.BEYOND


def test_ph_and_ec_exchanged_are_found() -> None:
    """1.2 mS at the pH input would be pH 4.5, and pH 6.2 at the EC input 1.5 mS: not far; a strong one is."""
    at_home = {"ph": 1.50, "ec": 0.55, "temperature": 1.85}
    swapped = {"ph": 0.55, "ec": 1.50, "temperature": 1.85}
    for volts, found in ((at_home, ()), (swapped, (("bed1/ph", "bed1/ec"),))):
        assert exchanged([wire(name) for name in volts], [seen(v) for v in volts.values()]) == found


def test_a_level_sender_and_a_thermometer_exchanged_are_found() -> None:
    """Full, the sender's volts would be 8 °C; 24 °C would be a reservoir at half."""
    wires = [wire("level"), wire("temperature")]
    assert exchanged(wires, [seen(1.70), seen(2.9)]) == (("bed1/level", "bed1/temperature"),)
    assert exchanged(wires, [seen(2.4), seen(1.70)]) == ()


@pytest.mark.parametrize("ph_v", [1.30, 1.473, 1.65, 1.83])
@pytest.mark.parametrize("ntc_v", [1.47, 1.65, 1.83, 2.2])
def test_ordinary_water_is_never_called_exchanged(ph_v: float, ntc_v: float) -> None:
    """pH 5 to 8 and 10 to 30 °C, but for warm water at pH 8, which fits the other way."""
    if (ph_v, ntc_v) != (1.83, 1.47):
        wires = [wire("ph"), wire("ec"), wire("temperature")]
        assert exchanged(wires, [seen(ph_v), seen(1.2), seen(ntc_v)]) == ()


def test_a_probe_that_is_unplugged_is_not_called_exchanged() -> None:
    """It fits nowhere; what it could be exchanged with fits at home."""
    wires = [wire("ph"), wire("ec"), wire("temperature")]
    assert exchanged(wires, [seen(3.25), seen(1.4), seen(1.83)]) == ()
    assert exchanged(wires, [seen(0.55, 0.1), seen(1.5), seen(1.83)]) == ()


@pytest.mark.parametrize(
    ("one", "other", "volts", "found"),
    [
        (
            "ph",
            "temperature",
            (1.90, 1.50),
            False,
        ),  # pH 8.4 in water of 29 °C: fits better exchanged, odd it is not
        ("ph", "temperature", (2.05, 1.60), True),  # pH 9.3
        ("level", "temperature", (2.2, 1.08), True),  # 42 °C
        ("ph", "ec", (0.2, 0.9), False),  # a dead board is better exchanged too, but would be pH 2.8 there
        ("level", "temperature", (2.38, 1.10), False),  # odd, and not clearly better exchanged
    ],
)
def test_exchanged_needs_one_that_is_odd_and_both_clearly_better(
    one: str, other: str, volts: tuple[float, float], found: bool
) -> None:
    """Either alone is no reason to send somebody to the wires."""
    assert bool(exchanged([wire(one), wire(other)], [seen(v) for v in volts])) is found


def test_each_probe_is_named_once() -> None:
    """Of several pairs that would fit, the clearest."""
    wires = [wire("ph"), wire("ec"), wire("level")]
    pairs = exchanged(wires, [seen(0.55), seen(1.50), seen(2.1)])
    names = [name for pair in pairs for name in pair]
    assert len(names) == len(set(names))


def test_a_light_sensor_may_flicker_and_is_exchanged_with_nothing() -> None:
    """From dark to bright any volts are its own."""
    wiring = check_probe("light_sensor", {"input": 3, "umol_per_v": 400.0})
    assert isinstance(wiring, AdcWiring)
    light = Wire("bed1/light", Quantity.LIGHT, wiring, Bands())
    assert meaning(light, seen(1.5, 0.4)).standing is Standing.PLAUSIBLE
    assert exchanged([wire("ph"), light], [seen(0.55), seen(1.50)]) == ()
