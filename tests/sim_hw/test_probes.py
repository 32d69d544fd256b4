"""Simulated probes as volts."""

from __future__ import annotations

from random import Random
from statistics import fmean, stdev
from typing import Any

import pytest

from sim_hw.contacts import FloatSwitch
from sim_hw.faults import Fault, FaultName
from sim_hw.probes import EcCell, PhElectrode
from sim_hw.standards import StandardError, Touched
from sim_hw.tables import Ds18b20Table, EcTable, FloatSwitchTable, NtcTable, PhTable, Pt1000Table
from sim_hw.thermometers import Ds18b20, NtcDivider, Pt1000Divider
from tests.sim_hw.a_bench import EC, NTC, PH, quiet

WARM = Touched(ph=6.0, ec_ms_per_cm=1.2, temperature_c=25.0)


def electrode(**changes: Any) -> PhElectrode:
    """A pH electrode without noise unless changed."""
    return PhElectrode(PhTable.model_validate(quiet(PH, **changes)), Random(1))


def settled(probe: Any, water: Touched = WARM) -> float:
    """Volts once the probe has been in this water for long."""
    probe.advance(0.0, water, 0.0)
    probe.advance(1e6, water, 0.0)
    return float(probe.volts(0.0))


def befallen(probe: Any, name: FaultName, size: float | None = None, start_s: float = 0.0) -> None:
    """The probe with that one fault."""
    probe.faults = {name: Fault(name, "bed1/x", start_s, size=size)}
    probe.settle(start_s)


# Published slopes at 100 %: R T ln 10 / F from CODATA 2018 constants, in mV per pH
@pytest.mark.parametrize(("temperature_c", "slope_mv"), [(5.0, 55.1909), (20.0, 58.1672), (25.0, 59.1593)])
def test_an_ideal_electrode_follows_nernst(temperature_c: float, slope_mv: float) -> None:
    """One pH moves it by the published slope at the water's temperature, acid to the positive side."""
    probe = electrode(slope_percent=100.0, offset_mv=0.0)
    volts = [settled(probe, Touched(ph, 1.0, temperature_c)) for ph in (6.0, 7.0)]
    assert volts[1] == pytest.approx(1.65)
    assert (volts[0] - volts[1]) / -3.0 * 1000.0 == pytest.approx(slope_mv, abs=0.001)


def test_slope_offset_and_amplifier_show_in_the_volts() -> None:
    """97 % of Nernst and 6 mV off, behind zero_v 1.65 V and gain -3."""
    electrode_mv = 6.0 + 0.97 * 59.1593 * (7.0 - 6.0)
    assert settled(electrode()) == pytest.approx(1.65 - 3.0 * electrode_mv / 1000.0, abs=1e-5)


def test_a_change_shows_with_the_response_time() -> None:
    """63.2 % of a step after one response time."""
    probe = electrode(response_s=5.0)
    before = settled(probe)
    after = settled(electrode(), Touched(8.0, 1.0, 25.0))
    probe.advance(5.0, Touched(8.0, 1.0, 25.0), 5.0)
    assert (probe.volts(5.0) - before) / (after - before) == pytest.approx(0.632, abs=0.001)


def test_a_conductivity_cell_gives_conductance() -> None:
    """EC over the cell constant, over mS per volt, above the zero."""
    probe = EcCell(EcTable.model_validate(quiet(EC, ms_per_v=2.0, zero_v=0.1)), Random(1))
    assert settled(probe) == pytest.approx(0.1 + 1.2 / 0.98 / 2.0)


@pytest.mark.parametrize(("celsius", "ohm"), [(25.0, 10000.0), (0.0, 33620.6)])
def test_a_thermistor_has_its_resistance(celsius: float, ohm: float) -> None:
    """10 kohm at 25 °C; at 0 °C exp(3950 (1/273.15 - 1/298.15)) times that, by the beta equation."""
    probe = NtcDivider(NtcTable.model_validate(quiet(NTC, error_c=0.0)), Random(1))
    assert settled(probe, Touched(6.0, 1.2, celsius)) == pytest.approx(3.3 * ohm / (ohm + 10000.0), rel=1e-5)


# IEC 60751: resistance of a Pt1000
@pytest.mark.parametrize(("celsius", "ohm"), [(0.0, 1000.0), (20.0, 1077.935), (30.0, 1116.729)])
@pytest.mark.parametrize("sensor_to", ["ground", "supply"])
def test_a_platinum_sensor_has_its_published_resistance(celsius: float, ohm: float, sensor_to: str) -> None:
    """In a divider either way round."""
    table = {"kind": "pt1000_divider", "input": 2, "series_ohm": 1000.0, "sensor_to": sensor_to, "error_c": 0.0}
    probe = Pt1000Divider(Pt1000Table.model_validate(quiet(table)), Random(1))
    below = ohm if sensor_to == "ground" else 1000.0
    assert settled(probe, Touched(6.0, 1.2, celsius)) == pytest.approx(3.3 * below / (ohm + 1000.0), rel=1e-6)


def test_noise_has_the_size_of_the_table_and_the_seed_decides_it() -> None:
    """0.5 mV standard deviation; the same seed gives the same volts, another seed others."""

    def volts(seed: int) -> list[float]:
        probe = PhElectrode(PhTable.model_validate(PH), Random(seed))
        settled(probe)
        return [probe.volts(0.0) for _ in range(2000)]

    assert volts(1) == volts(1)
    assert volts(1) != volts(2)
    assert stdev(volts(1)) == pytest.approx(0.0005, rel=0.1)


@pytest.mark.parametrize(("ph", "volts"), [(0.0, 0.0), (14.0, 3.3)])
def test_the_output_never_leaves_its_supply(ph: float, volts: float) -> None:
    """An amplifier with too much gain stays at 0 V or 3.3 V."""
    assert settled(electrode(gain=-20.0), Touched(ph, 1.0, 25.0)) == volts


def test_a_pair_of_inputs_stands_on_its_reference() -> None:
    """With a minus input the volts stand above what that input is wired to."""
    assert settled(electrode(zero_v=0.0, minus_input=1)) == pytest.approx(1.65 + settled(electrode()) - 1.65)


def test_dipped_it_shows_the_standard_and_back_the_tank() -> None:
    """A buffer at its own temperature, whatever the tank is."""
    probe = electrode(slope_percent=100.0, offset_mv=0.0)
    in_tank = settled(probe)
    probe.dip("4.01", 25.0)
    probe.advance(1e6, WARM, 1.0)
    assert probe.volts(1.0) == pytest.approx(1.65 - 3.0 * 0.0591593 * (7.0 - 4.005), abs=1e-4)
    probe.back()
    probe.advance(1e6, WARM, 2.0)
    assert probe.volts(2.0) == pytest.approx(in_tank)


def test_a_standard_of_another_kind_is_refused_and_the_probe_stays() -> None:
    """1.413 mS/cm is no buffer."""
    probe = electrode()
    with pytest.raises(StandardError):
        probe.dip("1.413", 25.0)
    assert probe.dipped_in == ""


def test_unplugged_the_ph_input_goes_to_the_rail_with_hum() -> None:
    """Soon after, its volts are high and disagree with each other."""
    probe = electrode()
    before = settled(probe)
    befallen(probe, FaultName.PROBE_UNPLUGGED, start_s=100.0)
    first = fmean(probe.volts(100.0) for _ in range(100))
    later = [probe.volts(130.0) for _ in range(100)]
    assert first == pytest.approx(before, abs=0.05)
    assert fmean(later) > 3.1
    assert stdev(later) > 0.01


@pytest.mark.parametrize(("sensor_to", "rail_v"), [("ground", 3.3), ("supply", 0.0)])
def test_an_unplugged_thermometer_is_pulled_by_its_resistor(sensor_to: str, rail_v: float) -> None:
    """To the supply's end that the resistor is on."""
    probe = NtcDivider(NtcTable.model_validate(quiet(NTC, sensor_to=sensor_to)), Random(1))
    settled(probe)
    befallen(probe, FaultName.PROBE_UNPLUGGED)
    assert probe.volts(1.0) == rail_v


def test_an_unplugged_or_dry_cell_conducts_nothing() -> None:
    """EC 0: the amplifier's zero."""
    for name in (FaultName.PROBE_UNPLUGGED, FaultName.PROBE_DRY):
        probe = EcCell(EcTable.model_validate(quiet(EC, zero_v=0.2)), Random(1))
        settled(probe)
        befallen(probe, name)
        probe.advance(1e6, WARM, 1.0)
        assert probe.volts(1.0) == pytest.approx(0.2)


def test_a_dry_electrode_wanders() -> None:
    """In air it holds no value and is noisy."""
    probe = electrode()
    settled(probe)
    befallen(probe, FaultName.PROBE_DRY)
    seen = []
    for second in range(0, 3600, 60):
        probe.advance(60.0, WARM, float(second))
        seen.append(probe.volts(float(second)))
    assert stdev(seen) > 0.05


def test_stuck_means_neither_movement_nor_noise() -> None:
    """Volts stay exactly, whatever the water does."""
    probe = PhElectrode(PhTable.model_validate(PH), Random(1))
    settled(probe)
    befallen(probe, FaultName.PROBE_STUCK)
    before = probe.volts(0.0)
    probe.advance(1e6, Touched(9.0, 1.0, 25.0), 1.0)
    assert {probe.volts(1.0) for _ in range(20)} == {before}


def test_drifting_moves_by_its_size_per_hour() -> None:
    """12 mV an hour, half an hour after its start."""
    probe = electrode()
    before = settled(probe)
    befallen(probe, FaultName.PROBE_DRIFTING, size=12.0, start_s=1000.0)
    probe.advance(1.0, WARM, 2800.0)
    assert probe.volts(2800.0) - before == pytest.approx(-3.0 * 0.006, abs=1e-6)


def test_coated_means_slow() -> None:
    """One fault response time later, 63 % of a step, not all of it."""
    probe = electrode(response_s=5.0)
    before = settled(probe)
    after = settled(electrode(), Touched(8.0, 1.0, 25.0))
    befallen(probe, FaultName.PROBE_COATED, size=300.0)
    probe.advance(300.0, Touched(8.0, 1.0, 25.0), 300.0)
    assert (probe.volts(300.0) - before) / (after - before) == pytest.approx(0.632, abs=0.001)


def test_a_one_wire_thermometer_gives_degrees_or_nothing() -> None:
    """0.1 °C off as its table says; nothing when unplugged."""
    table = {"kind": "ds18b20", "sensor_id": "28-0000000000aa"}
    probe = Ds18b20(Ds18b20Table.model_validate(table), Random(1))
    probe.advance(0.0, WARM, 0.0)
    assert probe.celsius() == pytest.approx(25.1)
    befallen(probe, FaultName.PROBE_UNPLUGGED)
    assert probe.celsius() is None


@pytest.mark.parametrize(("means", "closed"), [("enough", [True, False]), ("low", [False, True])])
def test_a_float_switch_changes_at_its_level(means: str, closed: list[bool]) -> None:
    """Either way round, and a pulled plug is an open contact."""
    table = {"kind": "float_switch", "line": 23, "closed_means": means, "switches_at_share": 0.4}
    switch = FloatSwitch(FloatSwitchTable.model_validate(table), Random(1))
    seen = []
    for share in (0.41, 0.39):
        switch.float_at(share)
        seen.append(switch.closed())
    assert seen == closed
    befallen(switch, FaultName.PROBE_UNPLUGGED)
    assert not switch.closed()
