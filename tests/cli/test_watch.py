"""`evenwater watch` at a real broker."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from daemon.cli.main import main
from tests.brokers import HOUSE, MOSQUITTO, Broker, Watcher, free_port, until
from tests.services import running

pytestmark = pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed")
ROOT = "homie/5/quince-lane"
Told = Callable[[str], bool]


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A broker of one's own, to stop."""
    started = Broker("mosquitto", tmp_path)
    yield started
    started.stop()


@pytest.fixture
def told(broker: Broker, tmp_path: Path) -> Iterator[Told]:
    """The watcher as a process; whether it has told something by now."""
    log = tmp_path / "told"
    words = ["--port", str(broker.port), "--expect", "quince-lane", "--heartbeat-s", "0.4", "--json"]
    ring = tmp_path / "ring.sh"
    ring.write_text(f'#!/bin/sh\necho "rung $BOX $STANDING" >> {log}\n', encoding="utf-8")
    ring.chmod(0o755)
    with log.open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "daemon.cli.main", "watch", *words, "--exec", str(ring)],
            cwd=HOUSE,
            stdout=out,
            env={**os.environ, "PYTHONPATH": str(HOUSE)},
        )
    yield lambda text: text in log.read_text(encoding="utf-8")
    process.terminate()
    process.wait()


def test_silent_well_hung_gone_and_cut_off(broker: Broker, told: Told) -> None:
    """Each told once it is known, and the program that was asked for is run."""
    until(lambda: told('"standing": "silent"'), within_s=15.0)
    with Watcher(broker.port, "none") as box:
        box.publish(f"{ROOT}/$state", "ready", retain=True)
        for beat in range(5):
            box.publish(f"{ROOT}/box/heartbeat", str(beat), retain=True)
        until(lambda: told('"standing": "well"'), within_s=10.0)
        until(lambda: told("rung quince-lane well"))
        until(lambda: told('"standing": "hung"'), within_s=10.0)
        box.publish(f"{ROOT}/$state", "lost", retain=True)
        until(lambda: told('"standing": "gone"'), within_s=10.0)
    broker.stop()
    until(lambda: told("how the boxes are is not known"), within_s=10.0)


def test_once_says_how_all_are_by_its_exit_code(broker: Broker, capsys: pytest.CaptureFixture[str]) -> None:
    """For a script."""
    words = ["watch", "--port", str(broker.port), "--expect", "quince-lane", "--heartbeat-s", "0.1", "--once"]
    assert main([*words, "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["standing"] == "silent"


def test_what_cannot_be_used_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, with the file or the value; a broker that is not there is told and tried again."""
    assert main(["watch", "--password-file", str(tmp_path / "none")]) == 2
    assert "none" in capsys.readouterr().err
    assert main(["watch", "--heartbeat-s", "0"]) == 2
    assert "above 0" in capsys.readouterr().err
    assert main(["watch", "--port", str(free_port()), "--for", "0.3"]) == 0
    assert "how the boxes are is not known" in capsys.readouterr().out


def test_what_it_tells_goes_out_by_other_services_too(broker: Broker, tmp_path: Path) -> None:
    """For who has no broker on the phone; an empty file says that there are none."""
    urls = tmp_path / "urls"
    with running() as service:
        urls.write_text(service.url("good", "grower:hunter2@") + "\n")
        urls.chmod(0o600)
        words = [
            "--port",
            str(broker.port),
            "--expect",
            "quince-lane",
            "--heartbeat-s",
            "0.1",
            "--urls",
            str(urls),
        ]
        process = subprocess.Popen(
            [sys.executable, "-m", "daemon.cli.main", "watch", *words, "--urls", str(urls)],
            cwd=HOUSE,
            stdout=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": str(HOUSE)},
        )
        try:
            until(lambda: service.got, within_s=30.0)
        finally:
            process.terminate()
            process.wait()
        ((_, fields), *_) = service.got
        assert fields["title"] == "quince-lane is silent"
        assert "was never heard" in fields["message"]
    urls.write_text("")
    assert main(["watch", "--port", str(broker.port), "--for", "0.1", "--urls", str(urls)]) == 0
    urls.write_text("hunter2")
    assert main(["watch", "--port", str(broker.port), "--for", "0.1", "--urls", str(urls)]) == 2


@pytest.mark.parametrize(
    "half",
    [
        ["--certificate-file", "c.pem", "--ca-file", "ca.pem"],
        ["--key-file", "c.key", "--ca-file", "ca.pem"],
        ["--certificate-file", "c.pem", "--key-file", "c.key"],
        ["--ca-file", "none.pem"],
    ],
)
def test_half_of_a_certificate_or_no_authority_is_used_wrongly(
    half: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is connected to."""
    assert main(["watch", *half]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "evenwater watch: " in said.err
