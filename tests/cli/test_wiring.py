"""`evenwater check --wiring`: what a bench with faults and exchanged wires shows."""

from __future__ import annotations

import json
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from config.settings import Settings
from daemon.cli.main import main
from daemon.cli.wiring import Seen, lines, look_at_wires, plain, seen
from daemon.lock import StateLock
from daemon.survey import Standing
from drivers.ads1115 import Chips
from drivers.registry import open_volts
from sim_hw.bench import Bench, open_rig
from tests.at_the_tank import RIGS, raw_settings
from tests.drivers.parts import StepRig

GARDEN = RIGS / "quince-lane.toml"
NOWHERE = Path("no such folder")


def stepped(raw: dict[str, Any], **rig: Any) -> dict[str, Any]:
    """The `[rig]` table as a stepped bench that nobody else plays with."""
    return {
        **{k: v for k, v in raw["rig"].items() if k not in ("socket", "start_utc")},
        "time_factor": 0.0,
        **rig,
    }


@pytest.fixture
def raw() -> dict[str, Any]:
    """The school garden's file on a stepped bench."""
    raw = raw_settings()
    raw["rig"] = stepped(raw)
    return raw


def look(raw: dict[str, Any], **fault: Any) -> Seen:
    """What its bench shows, ten seconds after a fault began, if there is one."""
    settings = Settings.model_validate(raw)
    table = {**settings.rig_table(), "fault": [{"start_s": 0.0, **fault}] if fault else []}
    bench = open_rig(table)
    bench.clock.sleep(10.0)
    found = seen(settings, bench)
    bench.close()
    return found


def standing(found: Seen) -> dict[str, Standing]:
    return {probe.name: probe.meaning.standing for probe in found.probes}


def test_a_sound_bench_is_fine(raw: dict[str, Any]) -> None:
    """Every probe plausible, the converter answers, nothing to do."""
    found = look(raw)
    assert set(standing(found).values()) == {Standing.PLAUSIBLE}
    assert found.is_fine
    said = list(lines(found))
    assert "  I2C bus 1: 0x48 answers" in said
    assert any(
        "as of pH 7.1" in line and "[input 0 of the converter at 0x48 on I2C bus 1]" in line for line in said
    )
    assert any("enough water" in line for line in said)
    assert len(said) == 1 + 1 + 4


@pytest.mark.parametrize(
    ("fault", "target", "is_now"),
    [
        ("probe_unplugged", "ph", {Standing.BEYOND, Standing.HUM}),
        ("probe_unplugged", "ec", {Standing.DRY}),
        ("probe_dry", "ec", {Standing.DRY}),
        ("probe_unplugged", "temperature", {Standing.BEYOND}),
    ],
)
def test_each_fault_is_told_of_its_probe_alone(
    raw: dict[str, Any], fault: str, target: str, is_now: set[Standing]
) -> None:
    """With what to look at; the others stay plausible and nothing is called exchanged."""
    found = look(raw, name=fault, target=f"bed1/{target}")
    at = standing(found)
    assert at.pop(f"bed1/{target}") in is_now
    assert set(at.values()) == {Standing.PLAUSIBLE}
    assert found.exchanged == ()
    assert not found.is_fine
    assert list(lines(found))[-1].startswith(f"bed1/{target}: ")


def test_a_silent_converter_is_named_with_what_to_do(raw: dict[str, Any]) -> None:
    """All its probes are silent; the float switch is not its."""
    found = look(raw, name="chip_silent", target="bed1/ph")
    assert [bus.missing for bus in found.buses] == [(0x48,)]
    assert standing(found)["bed1/ph"] is Standing.SILENT
    assert standing(found)["bed1/level"] is Standing.PLAUSIBLE
    assert any("0x48 of the settings does not" in line for line in lines(found))
    assert any("i2cdetect -y 1" in line for line in lines(found))


def test_exchanged_wires_are_found(raw: dict[str, Any]) -> None:
    """pH's plug in EC's board and the other way round: weak nutrient solution is no pH."""
    for probe in raw["rig"]["tank"]["bed1"]["probe"]:
        if probe.get("input") in (0, 1):
            probe["input"] = 1 - probe["input"]
    raw["rig"]["tank"]["bed1"]["nutrient_strength"] = 0.2
    found = look(raw)
    assert found.exchanged == (("bed1/ph", "bed1/ec"),)
    assert not found.is_fine
    assert any(line.startswith("exchanged? bed1/ph and bed1/ec ") for line in lines(found))


def test_an_address_that_nobody_named_is_told_and_is_no_mistake() -> None:
    """A converter that answers beside those of the settings."""
    raw = raw_settings()
    raw["rig"] = stepped(raw)
    second = deepcopy(raw["rig"]["tank"]["bed1"])
    for probe in second["probe"]:
        probe.update({"address": 0x49} if "address" in probe else {"line": 24})
    second["pump"] = []
    raw["rig"]["tank"]["bed2"] = second
    found = look(raw)
    assert [(bus.answering, bus.unnamed) for bus in found.buses] == [((0x48, 0x49), (0x49,))]
    assert found.is_fine
    assert any("0x49 is not in the settings" in line for line in lines(found))


def test_a_reference_that_is_off_is_told_and_hides_no_probe(raw: dict[str, Any]) -> None:
    """2.5 V expected, 2.6 V there."""
    raw["rig"]["tank"]["bed1"]["probe"].append({"kind": "steady_voltage", "input": 3, "volts": 2.6})
    raw["reference"] = {"shunt": {"input": 3, "expected_v": 2.5}}
    found = look(raw)
    assert set(standing(found).values()) == {Standing.PLAUSIBLE}
    assert not found.is_fine
    assert any("reference shunt: 2.600 V" in line and "off" in line for line in lines(found))


def test_a_bus_that_is_not_there_is_told(raw: dict[str, Any]) -> None:
    """Its probes are silent, and it says which buses there are."""
    raw["reservoir"]["bed1"]["probe"]["ph"]["i2c_bus"] = 3
    settings = Settings.model_validate(raw)
    found = seen(settings, OneBusOnly(open_rig(settings.rig_table())))
    trouble = {bus.number: bus.trouble for bus in found.buses}
    assert trouble[1] == ""
    assert "no I2C bus 3" in trouble[3]
    assert standing(found)["bed1/ph"] is Standing.SILENT
    assert standing(found)["bed1/ec"] is Standing.PLAUSIBLE


class OneBusOnly:
    """A bench, as a rig whose missing bus shows at the first transaction, as Linux has it."""

    def __init__(self, bench: Bench) -> None:
        self.clock, self.in_process, self.one_wire_root = bench.clock, True, bench.one_wire_root
        self.pin_factory, self.close, self._bench = bench.pin_factory, bench.close, bench

    def i2c(self, bus: int) -> Any:
        return self._bench.i2c(1) if bus == 1 else NoBus(bus)


class NoBus:
    def __init__(self, number: int) -> None:
        self._number = number

    def try_lock(self) -> bool:
        return True

    def unlock(self) -> None:
        return None

    def _nothing(self, *_: Any, **__: Any) -> Any:
        raise OSError(f"no I2C bus {self._number}")

    scan = writeto = readfrom_into = writeto_then_readfrom = _nothing


def test_the_volts_are_bare_and_the_cell_is_switched_on_for_them() -> None:
    """Whatever the circuit would make of them."""
    rig = StepRig(codes=[8000])
    table = {"input": 1, "ms_per_v": 500.0, "excitation_line": 26}
    probe = open_volts("ec_amplifier", table, rig, Chips(rig))
    assert probe is not None
    on: list[bool] = []
    rig.time.while_sleeping = lambda: on.append(bool(rig.pins.pin(26).state))
    assert probe.sample().signal == pytest.approx(1.0)
    assert on
    assert all(on)
    assert open_volts("float_switch", {"line": 23}, rig, Chips(rig)) is None


def test_an_air_sensor_is_named_and_read(raw: dict[str, Any]) -> None:
    """Its address is one of the settings'; a sensor that is not there is silent, with what to do."""
    raw["rig"]["tank"]["bed1"]["probe"] += [{"kind": "sht3x_temperature"}, {"kind": "sht3x_humidity"}]
    raw["reservoir"]["bed1"]["probe"]["humidity"] = {"driver": "sht3x_humidity"}
    found = look(raw)
    assert [(bus.answering, bus.unnamed) for bus in found.buses] == [((0x44, 0x48), ())]
    assert found.is_fine
    assert any("[the humidity of the SHT3x at 0x44 on I2C bus 1]" in line for line in lines(found))
    gone = look(raw, name="probe_unplugged", target="bed1/humidity")
    assert [bus.missing for bus in gone.buses] == [(0x44,)]
    assert standing(gone)["bed1/humidity"] is Standing.SILENT


# the command


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The school garden's file, stepped, where its folders may be made."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("daemon.cli.wiring.SERVICE_FOLDER", NOWHERE)
    text = GARDEN.read_text(encoding="utf-8").replace("time_factor = 60.0", "time_factor = 0.0")
    site = tmp_path / "site.toml"
    site.write_text(text.replace('socket = "var/bench.sock"', ""), encoding="utf-8")
    return site


def test_fine_is_exit_code_0_also_as_json(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One value for programs, the same for people."""
    assert main(["check", "--wiring", "--json", str(file)]) == 0
    value = json.loads(capsys.readouterr().out)
    assert value["fine"] is True
    assert [probe["name"] for probe in value["probes"]][:2] == ["bed1/ph", "bed1/ec"]
    assert value["probes"][0]["volts"] == pytest.approx(1.66, abs=0.05)
    assert value["probes"][3]["volts"] is None
    assert main(["check", "--wiring", str(file)]) == 0
    assert capsys.readouterr().out.startswith("on the wires:\n")


def test_something_wrong_is_exit_code_1(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An EC cell in air."""
    text = file.read_text(encoding="utf-8")
    fault = '[[rig.fault]]\nname = "probe_dry"\ntarget = "bed1/ec"\nstart_s = 0.0\n'
    dry = text.replace("cell_constant_per_cm = 0.98", "cell_constant_per_cm = 0.98\nresponse_s = 0.01")
    file.write_text(f"{dry}\n{fault}", encoding="utf-8")
    assert main(["check", "--wiring", str(file)]) == 1
    assert "bed1/ec: put the cell into the water" in capsys.readouterr().out


def test_a_running_daemon_or_a_wrong_file_is_exit_code_2(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is looked at: two programs on one bus disturb each other."""
    lock = StateLock(file.parent / "var")
    assert main(["check", "--wiring", str(file)]) == 2
    assert "is in use by process" in capsys.readouterr().err
    lock.close()
    file.write_text("[site]\n", encoding="utf-8")
    assert main(["check", "--wiring", str(file)]) == 2


def test_looking_leaves_no_lock_and_moves_no_pump(raw: dict[str, Any], tmp_path: Path) -> None:
    """The daemon can be started right after; no pump line was ever driven."""
    raw["site"]["state_folder"] = str(tmp_path)
    settings = Settings.model_validate(raw)
    assert look_at_wires(settings).is_fine
    StateLock(tmp_path).close()
    bench = open_rig(settings.rig_table())
    seen(settings, bench)
    assert bench.edges == ()
    bench.close()
    assert plain(look(raw))["exchanged"] == []
