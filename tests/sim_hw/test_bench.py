"""The bench as a rig: what the daemon's side of the wires sees."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from math import exp
from pathlib import Path

import pytest
from adafruit_ads1x15.ads1115 import ADS1115
from adafruit_ads1x15.analog_in import AnalogIn
from gpiozero import InputDevice, OutputDevice

from drivers.rig import Rig, RigError
from drivers.rig import open_rig as open_named
from sim_hw.bench import Bench, open_rig
from tests.sim_hw.a_bench import EC, FLOAT, NTC, PH, a_bench, a_table, quiet

DS18B20 = {"kind": "ds18b20", "sensor_id": "28-0316a2795cff", "error_c": 0.0}
ONE_PUMP = {"role": "ph_down", "line": 17, "ml_per_s": 1.03}


@pytest.fixture
def bench() -> Iterator[Bench]:
    """A stepped bench whose probes have no noise."""
    with closing(a_bench(tank={"probe": [quiet(PH), quiet(EC), quiet(NTC), FLOAT]})) as opened:
        yield opened


def volts(bench: Bench, pin: int) -> float:
    """What the unmodified library reads at a pin."""
    return float(AnalogIn(ADS1115(bench.i2c(1)), pin).voltage)


def electrode_ph(read_v: float) -> float:
    """pH that the true electrode of the table shows at 20 °C: 97 % slope, 6 mV off."""
    return 7.0 - ((read_v - 1.65) / -3.0 * 1000.0 - 6.0) / (0.97 * 58.1672)


def test_a_settings_file_names_it_and_it_is_a_rig() -> None:
    """The seam's opener finds it by name."""
    rig: Rig = open_named(a_table())
    assert rig.in_process is True
    rig.close()
    rig.close()


def test_the_library_reads_the_water_through_every_probe(bench: Bench) -> None:
    """pH 7.2, the tank's EC over the cell constant, and 20.1 °C by the beta equation, within a count."""
    truth = bench.play("look")["tanks"]["bed1"]
    assert electrode_ph(volts(bench, 0)) == pytest.approx(7.2, abs=0.001)
    assert volts(bench, 1) * 0.98 == pytest.approx(bench.world.basins["bed1"].tank.look().ec_ms_per_cm, abs=2e-4)
    ohm = 10000.0 * exp(3950.0 * (1 / (truth["temperature_c"] + 0.1 + 273.15) - 1 / 298.15))
    assert volts(bench, 2) == pytest.approx(3.3 * ohm / (ohm + 10000.0), abs=4.096 / 32768)


def test_the_loop_is_closed(bench: Bench) -> None:
    """Pump on for 40 s: 41.2 mL of acid, nothing to see at once, pH well down after the mixing time."""
    before = electrode_ph(volts(bench, 0))
    with OutputDevice(17, pin_factory=bench.pin_factory()) as pump:
        pump.on()
        bench.clock.sleep(40.0)
        pump.off()
    delivered = bench.play("look")["tanks"]["bed1"]["pumps"]["ph_down"]["delivered_ml"]
    assert delivered == pytest.approx(41.2, abs=0.001)
    at_once = electrode_ph(volts(bench, 0))
    bench.clock.sleep(600.0)
    once_mixed = electrode_ph(volts(bench, 0))
    assert before - once_mixed > 0.2
    assert before - at_once < 0.8 * (before - once_mixed)
    assert once_mixed == pytest.approx(bench.play("look")["tanks"]["bed1"]["ph"], abs=0.002)


def test_edges_are_recorded_with_their_times(bench: Bench) -> None:
    """Bench seconds of each rise and fall."""
    with OutputDevice(17, pin_factory=bench.pin_factory()) as pump:
        bench.clock.sleep(5.0)
        pump.on()
        bench.clock.sleep(2.5)
        pump.off()
    assert [(edge.at_s, edge.line, edge.on) for edge in bench.edges] == [
        (0.0, 17, False),
        (5.0, 17, True),
        (7.5, 17, False),
    ]


def test_closing_turns_a_pump_off(bench: Bench) -> None:
    """A line that was high when the bench closed is low afterwards."""
    pump = OutputDevice(17, pin_factory=bench.pin_factory())
    pump.on()
    bench.close()
    assert not bench.world.basins["bed1"].pumps["ph_down"].turns()


def test_the_float_switch_follows_the_water(bench: Bench) -> None:
    """Closed to ground at full, open below half."""
    with InputDevice(23, pull_up=True, pin_factory=bench.pin_factory()) as switch:
        assert switch.is_active
        bench.play("drain", litres=31)
        assert not switch.is_active


def test_the_same_seed_gives_the_same_volts() -> None:
    """A whole hour's readings, compared in full; another seed differs."""

    def hour(seed: int) -> list[int]:
        with closing(a_bench(seed=seed)) as bench:
            ads, codes = ADS1115(bench.i2c(1)), []
            for _ in range(36):
                bench.clock.sleep(100.0)
                codes += [ads.read(4 + pin) for pin in range(3)]
            return codes

    assert hour(7) == hour(7)
    assert hour(7) != hour(8)


def test_faults_of_the_table_begin_and_end_at_their_times() -> None:
    """Dry from 100 s until 200 s: the EC input is at zero only in between."""
    fault = {"name": "probe_unplugged", "target": "bed1/ec", "start_s": 100.0, "end_s": 200.0}
    seen = []
    with closing(a_bench(fault=[fault])) as bench:
        for _ in range(4):
            bench.clock.sleep(66.0)
            seen.append(volts(bench, 1) > 0.5)
    assert seen == [True, False, False, True]


def test_a_pump_stuck_on_delivers_between_its_times_whoever_looks() -> None:
    """Ten seconds of 1.03 mL/s within one long sleep."""
    fault = {"name": "pump_stuck_on", "target": "bed1/ph_down", "start_s": 50.0, "end_s": 60.0}
    with closing(a_bench(fault=[fault])) as bench:
        bench.play("look")
        bench.clock.sleep(1000.0)
        pump = bench.play("look")["tanks"]["bed1"]["pumps"]["ph_down"]
    assert pump["delivered_ml"] == pytest.approx(10.3)
    assert pump["last_run"] == {"ago_s": pytest.approx(940.0), "ml": pytest.approx(10.3)}


@pytest.mark.parametrize(("line", "ml"), [(None, 20.0), (22, 10.0)])
def test_a_cut_out_stops_what_is_stuck_on(line: int | None, ml: float) -> None:
    """Two of four spans of ten seconds have a supply, or all that the fault lasts where no relay is in series."""
    fault = {"name": "pump_stuck_on", "target": "bed1/ph_down", "start_s": 10.0, "end_s": 30.0}
    with closing(a_bench(fault=[fault], cut_out_line=line)) as bench:
        pin = bench.pin_factory().pin(22)
        for high in (False, True, False, True):
            pin.output_with_state(high)
            bench.clock.sleep(10.0)
        pump = bench.play("look")["tanks"]["bed1"]["pumps"]["ph_down"]
    assert pump["delivered_ml"] == pytest.approx(1.03 * ml)


def test_a_pump_without_supply_stands() -> None:
    """Its own line is high, the cut-out's is not."""
    with closing(a_bench(cut_out_line=22)) as bench:
        pins = bench.pin_factory()
        pins.pin(17).output_with_state(True)
        bench.clock.sleep(10.0)
        pump = bench.play("look")["tanks"]["bed1"]["pumps"]["ph_down"]
    assert pump["delivered_ml"] == 0.0


def test_a_silent_chip_answers_nobody_until_it_is_mended(bench: Bench) -> None:
    """The fault names a probe; its converter is meant."""
    ads = ADS1115(bench.i2c(1))
    bench.play("fault", name="chip_silent", target="ph")
    with pytest.raises(OSError, match="0x48"):
        ads.read(4)
    bench.play("mend", name="chip_silent", target="ph")
    assert ads.read(4) > 0


def test_a_brown_out_reads_zero_volts(bench: Bench) -> None:
    """As long as it lasts, without an error."""
    ads = ADS1115(bench.i2c(1))
    bench.play("fault", name="chip_brownout", target="ph", for_s=5)
    assert ads.read(4) == 0
    bench.clock.sleep(5.0)
    volts(bench, 0)
    assert ads.read(4) > 0


def test_a_data_line_held_high_reads_minus_one(bench: Bench) -> None:
    """On every chip of that bus."""
    ads = ADS1115(bench.i2c(1))
    bench.play("fault", name="data_line_high", target="ec")
    assert [ads.read(4), ads.read(6)] == [-1, -1]


def test_a_busy_bus_gives_no_lock_and_time_passes(bench: Bench) -> None:
    """Asking again and again takes bench time, so a deadline is met."""
    bus = bench.i2c(1)
    bench.play("fault", name="bus_busy_forever", target="ph", for_s=0.5)
    refused = 0
    while refused < 100 and not bus.try_lock():
        refused += 1
    assert 40 < refused < 60


def test_a_fault_of_a_chip_ends_by_itself_though_nobody_reaches_a_probe(bench: Bench) -> None:
    """A silent chip gives no conversions to look through, and yet its time runs out."""
    ads = ADS1115(bench.i2c(1))
    bench.play("fault", name="chip_silent", target="ph", for_s=30)
    for _ in range(2):
        with pytest.raises(OSError, match="0x48"):
            ads.read(4)
        bench.clock.sleep(10.0)
    bench.clock.sleep(15.0)
    assert ads.read(4) > 0


def test_a_bus_that_no_probe_is_on_is_not_there(bench: Bench) -> None:
    """As a missing device file; the message says which there is."""
    with pytest.raises(OSError, match=r"no I2C bus 7 \(it has 1\)"):
        bench.i2c(7)


def test_a_pair_of_inputs_reads_the_amplifiers_own_volts() -> None:
    """A probe across A0 and A1 may even be negative."""
    pair = quiet(PH, zero_v=0.0, gain=3.0, minus_input=1)
    with closing(a_bench(tank={"probe": [pair]})) as bench:
        read_v = AnalogIn(ADS1115(bench.i2c(1)), 0, 1).voltage
    assert read_v == pytest.approx(3.0 * (0.006 - 0.97 * 0.0581672 * 0.2), abs=2e-4)


def test_the_one_wire_files_follow_each_sleep() -> None:
    """Thousandths of a degree after a dip in warm water; nothing readable when the plug is out."""
    with closing(a_bench(tank={"probe": [DS18B20]})) as bench:
        folder = bench.one_wire_root / "28-0316a2795cff"
        assert (folder / "temperature").read_text() == "20000\n"
        bench.play("dip", probe="temperature", standard="30")
        bench.clock.sleep(600.0)
        assert (folder / "w1_slave").read_text().endswith("t=30000\n")
        bench.play("unplug", probe="temperature")
        assert "NO" in (folder / "w1_slave").read_text()
        root = bench.one_wire_root
    assert not root.exists()


def test_a_bench_without_one_wire_sensors_has_an_empty_folder(bench: Bench) -> None:
    """It is there, and gone after closing."""
    assert list(bench.one_wire_root.iterdir()) == []


def test_the_clock_starts_where_the_table_says() -> None:
    """start_utc, on a stepped bench."""
    with closing(a_bench(start_utc=datetime(2026, 6, 1, 5, 0, tzinfo=UTC))) as bench:
        bench.clock.sleep(60.0)
        assert bench.clock.utc() == datetime(2026, 6, 1, 5, 1, tzinfo=UTC)


def test_several_tanks_are_several_waters() -> None:
    """Two reservoirs with a chip each; a dose into one leaves the other."""
    other = {**a_table()["tank"]["bed1"], "probe": [quiet(PH, address=0x49)], "pump": []}
    table = a_table(tank={"probe": [quiet(PH)], "pump": [ONE_PUMP]})
    table["tank"]["bed2"] = other
    with closing(open_rig(table)) as bench:
        before = [ADS1115(bench.i2c(1), address=address).read(4) for address in (0x48, 0x49)]
        with OutputDevice(17, pin_factory=bench.pin_factory()) as pump:
            pump.on()
            bench.clock.sleep(30.0)
        bench.clock.sleep(600.0)
        after = [ADS1115(bench.i2c(1), address=address).read(4) for address in (0x48, 0x49)]
    assert abs(after[0] - before[0]) > 100
    assert abs(after[1] - before[1]) <= 10


def test_opening_only_checks_the_table(tmp_path: Path) -> None:
    """No socket, no pins file, no world until something is used; a wrong table is refused at once."""
    table = a_table(time_factor=1.0, socket=str(tmp_path / "s"), pins_file=str(tmp_path / "p"))
    with closing(open_rig(table)) as bench:
        assert bench.in_process is False
        assert list(tmp_path.iterdir()) == []
        assert bench._world is None
    with pytest.raises(RigError, match="speed = 3: unknown key"):
        open_rig(a_table(speed=3))


def test_an_input_with_nothing_on_it_does_not_begin_the_world() -> None:
    """A process that only drives pins may read them back."""
    with closing(a_bench()) as bench:
        with InputDevice(5, pull_up=True, pin_factory=bench.pin_factory()) as nothing:
            assert not nothing.is_active
        assert bench._world is None


KEEPER = """
import sys, time
from gpiozero import OutputDevice
from sim_hw.bench import open_rig
from tests.sim_hw.a_bench import a_table
bench = open_rig(a_table(time_factor=1.0, pins_file=sys.argv[1]))
with OutputDevice(17, pin_factory=bench.pin_factory()) as pump:
    pump.on()
    time.sleep(0.4)
    pump.off()
bench.close()
"""


def test_another_process_drives_the_pump_through_the_pins_file(tmp_path: Path) -> None:
    """A child's 0.4 s on its line are 0.41 mL in this process, by the times in the file."""
    path = tmp_path / "pins"
    with closing(open_rig(a_table(time_factor=1.0, pins_file=str(path)))) as bench:
        bench.play("look")
        subprocess.run([sys.executable, "-c", KEEPER, str(path)], check=True, cwd=os.getcwd(), timeout=30)
        pump = bench.play("look")["tanks"]["bed1"]["pumps"]["ph_down"]
        low, rise, fall = bench.edges
    assert (low.on, rise.on, fall.on) == (False, True, False)
    assert 0.4 <= fall.at_s - rise.at_s < 1.0
    assert pump["delivered_ml"] == pytest.approx(1.03 * (fall.at_s - rise.at_s), rel=0.001)


def test_a_line_left_high_in_the_pins_file_still_turns_its_pump(tmp_path: Path) -> None:
    """A Pi keeps an output when its process dies: a bench opened later finds the pump running, from then on."""
    path = tmp_path / "pins"
    path.write_text(f"{time.monotonic_ns() - 3_600_000_000_000} 17 1\n")
    with closing(open_rig(a_table(time_factor=1.0, pins_file=str(path)))) as bench:
        pump = bench.world.basins["bed1"].pumps["ph_down"]
        assert pump.turns()
        assert pump.delivered_ml < 1.0


def test_a_pass_is_cheap(bench: Bench) -> None:
    """Ten seconds of world and nine conversions through the real library: far below 0.8 ms of CPU when measured.

    The limit here is loose, for slow and busy machines.
    """
    ads = ADS1115(bench.i2c(1))
    began = time.process_time()
    for _ in range(100):
        bench.clock.sleep(10.0)
        for conversion in range(9):
            ads.read(4 + conversion // 3)
    assert (time.process_time() - began) / 100 < 0.004
