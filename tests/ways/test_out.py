"""The ways out in the whole program: alerts get out, a hanging service delays no pass, nothing is sent twice."""

from __future__ import annotations

import json
import logging
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from config.notify import Notify
from config.settings import Settings
from daemon.alarm.kinds import Kind
from daemon.service import Service as Program
from daemon.values import Alarm
from daemon.ways.herald import Herald
from daemon.ways.out import WaysOut
from sim_hw.bench import open_rig
from sim_hw.from_settings import bench_table
from tests.at_the_tank import raw_settings
from tests.brokers import until
from tests.link.states import alarm, state
from tests.services import Service
from tests.ways.test_herald import ONE, Sender

SECRET = "grower:hunter2@"


def garden(folder: Path, service: Service, path: str) -> Settings:
    """The school garden with one way out, no broker, and a lamp."""
    urls = folder / "urls"
    urls.write_text(service.url(path, SECRET) + "\n")
    urls.chmod(0o600)
    raw = raw_settings()
    raw["mqtt"] = {"enabled": False}
    raw["signal"] = {"line": 12}
    raw["notify"] = {"enabled": True, "urls_file": str(urls), "priorities": ["high", "medium", "low"]}
    raw["notify"] |= {"quiet_priorities": []}
    return Settings.model_validate(raw)


def program(settings: Settings, folder: Path) -> Program:
    """The whole of it on a stepped bench; without calibrations there is an alarm soon."""
    bench = open_rig(bench_table(settings, seed=1))
    return Program(settings, rig=bench, state_folder=folder, control=False)


def passes(of: Program, count: int) -> float:
    """So many passes; how long the slowest took, in s."""
    slowest_s = 0.0
    for _ in range(count):
        began_s = time.monotonic()
        of.loop.one_pass()
        slowest_s = max(slowest_s, time.monotonic() - began_s)
        of.rig.clock.sleep(60.0)
    return slowest_s


def test_an_alert_gets_out_and_a_restart_does_not_repeat_it(tmp_path: Path, service: Service) -> None:
    """With the garden's name, what is wrong and what to do."""
    settings = garden(tmp_path, service, "good")
    for _ in range(2):
        with program(settings, tmp_path / "state") as here:
            passes(here, 15)
            until(lambda: here._ways is not None and here._ways.status().waiting == 0)
            until(lambda: service.got, 20.0)
    print([f["title"] for _, f in service.got])
    ((_, fields),) = service.got
    assert fields["title"].startswith(settings.site.name)
    assert "evenwater calibrate" in fields["message"]


def test_a_service_that_hangs_delays_no_pass_and_is_told(
    tmp_path: Path, service: Service, caplog: pytest.LogCaptureFixture
) -> None:
    """The alarm `ways-out`, the lamp at the box, and no piece of the address in state, log or history."""
    settings = garden(tmp_path, service, "hang/t0ken")
    with caplog.at_level(logging.DEBUG), program(settings, tmp_path / "state") as here:
        slowest_s = passes(here, 15)
        ways = here._ways
        assert ways is not None
        until(lambda: service.got, 20.0)
        slowest_s = max(slowest_s, passes(here, 5))
        assert ways.status().ways[0].failed == 0  # it was hanging all the while
        until(lambda: ways.status().none_works, 20.0)
        passes(here, 2)
        seen = here.loop.state
        assert seen is not None
        told = {one.kind: one.text for one in seen.alarms}
        assert "No way out works (way 1 (json): " in told[Kind.WAYS_OUT.value]
        assert here._somebody_must_come(replace(seen, alarms=()))
    assert slowest_s < 2.0
    kept = b"".join(file.read_bytes() for file in (tmp_path / "state").rglob("*") if file.is_file())
    for secret in ("hunter2", "t0ken"):
        assert secret not in repr(seen)
        assert secret not in caplog.text
        assert secret.encode() not in kept


def test_what_was_sent_outlasts_a_restart_and_a_damaged_file_is_told(tmp_path: Path) -> None:
    """At worst an alert comes twice."""
    file, heard = tmp_path / "told.json", replace(state(), alarms=(alarm("a"),))
    settings = Notify(priorities=("high", "medium", "low"), quiet_priorities=())

    def out() -> tuple[WaysOut, Herald]:
        one = Herald((ONE,), Sender())  # not started: what it is told waits
        return WaysOut(settings, "Garden", one, file), one

    first, told = out()
    first.see(heard, 100.0)
    assert told.status().waiting == 1
    again, told = out()
    again.see(heard, 110.0)
    assert told.status().waiting == 0
    for damage in ("[]", "{", json.dumps({"told": {"a": [1.0, "nan"]}, "sent_s": [], "summary": ""})):
        file.write_text(damage)
        damaged, told = out()
        assert "alerts may come twice" in damaged.trouble
        damaged.see(heard, 120.0)
        assert told.status().waiting == 1


def test_that_one_is_over_is_told_after_a_restart_too(tmp_path: Path) -> None:
    """Where there was no room to tell it before."""
    settings = Notify(most_per_hour=1, quiet_priorities=())

    def sees(alarms: tuple[Alarm, ...], now_s: float) -> int:
        herald = Herald((ONE,), Sender())  # not started: what it is told waits
        WaysOut(settings, "Garden", herald, tmp_path / "told.json").see(replace(state(), alarms=alarms), now_s)
        return herald.status().waiting

    assert [sees((alarm("a"),), 100.0), sees((), 110.0), sees((), 3800.0), sees((), 9000.0)] == [1, 0, 1, 0]


def test_off_by_default_and_no_address_without_a_file(tmp_path: Path) -> None:
    """Nothing is loaded, nothing is asked for; switched on without addresses it does not start."""
    assert not Notify().enabled
    raw: dict[str, Any] = raw_settings()
    raw["notify"] = {"enabled": True, "urls_file": str(tmp_path / "none")}
    with pytest.raises(ValueError, match="none: cannot be read"):
        program(Settings.model_validate(raw), tmp_path / "state")
