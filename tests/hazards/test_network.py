"""H31 to H34: brokers that are away, messages that ask for too much, people who hear nothing, open doors."""

from __future__ import annotations

import gc
import os
import socket
from pathlib import Path
from typing import Any

import pytest

from config.settings import Settings
from daemon.desk.methods import METHODS
from daemon.desk.requests import Origin, Request
from daemon.link.trust import MqttSettingsError
from daemon.service import Service
from daemon.values import Condition
from sim_hw.bench import open_rig
from sim_hw.faults import FaultName
from sim_hw.from_settings import bench_table
from tests.at_the_tank import CALIBRATIONS, TO_A_DOSE, at_the_tank, one_bed, raw_settings
from tests.hazards.conftest import Figure
from tests.hazards.kept import befall, keep, until_locked

LISTENING = "0A"  # of /proc/net/tcp
NOBODY = "127.0.0.1"


def without_broker() -> Settings:
    """The school garden with a broker's address where nobody listens."""
    raw = raw_settings()
    with socket.socket() as taken:
        taken.bind((NOBODY, 0))
        raw["mqtt"] = {"host": NOBODY, "port": taken.getsockname()[1]}
    return Settings.model_validate(raw)


HOURS, WARM_H = 72, 12
MOST_GROWTH_MB = 5.0


def resident_mb() -> float:
    """Memory that this process holds now."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def edges_of(settings: Settings, folder: Path, *, mqtt: bool) -> tuple[list[tuple[float, int, bool]], float]:
    """Everything the pump lines did in three days, and by how many MB memory grew once it was warm."""
    folder.mkdir()
    (folder / "calibrations.toml").write_text(CALIBRATIONS.format(name="bed1"), encoding="utf-8")
    bench = open_rig(bench_table(settings, seed=4))
    with Service(settings, rig=bench, state_folder=folder, control=False, mqtt=mqtt) as service:
        warm_mb = 0.0
        for number in range(HOURS * 60):
            if number == WARM_H * 60:
                warm_mb = resident_mb()
            service.loop.one_pass()
            bench.clock.sleep(60.0)
        grown_mb = resident_mb() - warm_mb
        return [(edge.at_s - bench.clock.opened_s, edge.line, edge.on) for edge in bench.edges], grown_mb


def test_h31_without_a_broker_it_doses_just_the_same(tmp_path: Path, figure: Figure) -> None:
    """Three days with the link trying in vain and three without a link: the same edges, to the millisecond."""
    settings = without_broker()
    alone, _ = edges_of(settings, tmp_path / "alone", mqtt=False)
    trying, grown_mb = edges_of(settings, tmp_path / "trying", mqtt=True)
    assert len(trying) == len(alone) > 10
    assert grown_mb <= MOST_GROWTH_MB
    for seen, wanted in zip(trying, alone, strict=True):
        assert seen == pytest.approx(wanted, abs=0.001)
    same = f"{len(alone) // 2} doses in {HOURS} h, the same with and without"
    figure(f"{same}; memory grew by {MOST_GROWTH_MB:g} MB at most")


@pytest.mark.parametrize("method", sorted(METHODS))
def test_h32_no_message_from_afar_moves_a_pump(tmp_path: Path, method: str) -> None:
    """Any request, a hundred times, while the reservoir is locked: still locked, and no pump turns."""
    with at_the_tank(tmp_path) as at:
        at.passes(2)
        at.loop.reservoirs["bed1"].lock("the hose came off", at.loop.stamp())
        answers: list[Any] = []
        for _ in range(100):
            at.service.submit(Request(method, params_of(method), Origin.REMOTE, answers.append))
        at.loop.answer_requests()
        assert len(answers) == 100
        at.passes(2 * TO_A_DOSE)
        assert at.bed().condition is Condition.LOCKED
        assert at.runs() == []


def params_of(method: str) -> dict[str, Any]:
    """What that request needs."""
    probe = {"quantity": "ph"}
    more: dict[str, dict[str, Any]] = {
        "hold": {"reason": "x"},
        "shelve": {"key": "bed1-locked"},
        "bottle": {"pump": "ph_down"},
        "prime": {"pump": "ph_down", "ml": 1.0},
        "tube": {"pump": "ph_down"},
        "calibrate_pump.run": {"pump": "ph_down"},
        "calibrate_pump.finish": {"pump": "ph_down", "measured_ml": [8.0, 8.0]},
        "calibrate_pump.cancel": {"pump": "ph_down"},
    }
    of_a_probe = method.startswith("calibrate") or method.endswith("_service")
    return more.get(method, probe if of_a_probe else {})


def test_h33_who_is_at_the_box_hears_without_a_network(tmp_path: Path, figure: Figure) -> None:
    """A safety stop is in the same pass's alarms, stays through a restart, and silencing it frees nothing."""
    with at_the_tank(tmp_path) as at:
        befall(at, FaultName.PUMP_DEAD, "ph_down")
        until_locked(at, 2.0)
        assert "bed1-locked" in at.alarms()
        at.ask("ack")
        doses = len(at.runs())
        at.passes(60)
        assert len(at.runs()) == doses
    with at_the_tank(tmp_path) as at:
        at.passes(1)
        assert "bed1-locked" in at.alarms()
        figure("in the alarms of the very pass, and of the first after a restart")


TOO_WEAK = {"ec_low_ms_per_cm": 4.0, "ec_high_ms_per_cm": 5.0}  # for this water: far out, and nothing feeds it


def test_h33_no_dosing_goes_on_beside_a_grave_alarm_that_nobody_heard(tmp_path: Path, figure: Figure) -> None:
    """`far-out` locks nothing by itself: after 24 h unheard it does; once acknowledged, clearing goes on."""
    with at_the_tank(tmp_path, one_bed(bands=TOO_WEAK)) as at:
        keep(at, 23.9)
        assert at.bed().condition is Condition.KEEPING
        bed, minutes = until_locked(at, 0.5)
        assert "bed1-ec-far-out has stood for 24 h" in bed.condition_reason
        at.ask("clear")
        at.passes(1)
        assert at.bed().condition is Condition.LOCKED  # still unheard
        at.ask("ack")
        at.ask("clear")
        keep(at, 25.0)
        assert at.bed().condition is Condition.KEEPING
        figure(f"`far-out` unheard: locked after {23.9 + minutes / 60.0:.1f} h")


def listening_sockets() -> set[str]:
    """Inodes of this process's own sockets that listen for TCP or UDP from anywhere."""
    own = {os.readlink(f"/proc/self/fd/{one}") for one in os.listdir("/proc/self/fd") if _is_there(one)}
    found = set()
    for table, states in (("tcp", (LISTENING,)), ("tcp6", (LISTENING,)), ("udp", ("07",)), ("udp6", ("07",))):
        path = Path(f"/proc/self/net/{table}")
        rows = path.read_text(encoding="ascii").splitlines()[1:] if path.exists() else []
        found |= {row.split()[9] for row in rows if row.split()[3] in states}
    return {inode for inode in found if f"socket:[{inode}]" in own}


def _is_there(descriptor: str) -> bool:
    return os.path.lexists(f"/proc/self/fd/{descriptor}")


def test_h34_it_opens_no_port(tmp_path: Path, figure: Figure) -> None:
    """With its control socket and its link to a broker up, it listens on no port of any network."""
    before = listening_sockets()
    with socket.socket() as door:
        door.bind((NOBODY, 0))
        door.listen()
        assert len(listening_sockets()) == len(before) + 1  # a port would be seen
    settings = without_broker()
    bench = open_rig(bench_table(settings, seed=4))
    with Service(settings, rig=bench, state_folder=tmp_path, control=True, mqtt=True) as service:
        service.loop.one_pass()
        ports = listening_sockets() - before
        assert ports == set()
        mode = (tmp_path / "control.sock").stat().st_mode & 0o007
        assert mode == 0
    figure(f"{len(ports)} ports, the control socket closed to others")


SECRETS: dict[str, dict[str, Any]] = {
    "password": {"username": "box", "password_credential": "mqtt-password"},
    "key of a controller": {"release_controllers": ["panel"]},
}


@pytest.mark.parametrize("secret", sorted(SECRETS))
def test_h34_without_its_secrets_it_does_not_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, figure: Figure, secret: str
) -> None:
    """Not by another way in their place; every pump line was driven low, and none high."""
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
    raw = raw_settings()
    raw["mqtt"] = {"host": NOBODY, "port": 1, **SECRETS[secret]}
    settings = Settings.model_validate(raw)
    bench = open_rig(bench_table(settings, seed=4))
    with pytest.raises(MqttSettingsError, match="cannot be read"):
        Service(settings, rig=bench, state_folder=tmp_path / "state", control=False)
    assert {(edge.line, edge.on) for edge in bench.edges} == {(17, False), (27, False)}
    figure("without its password, or a controller's key, it does not start; every pump line low")
