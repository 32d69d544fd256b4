"""Tests of the service unit and of the files beside it: they name the same things."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from config.settings import Site
from daemon.cli.main import parser
from daemon.cli.watch import RETRY_LONGEST_S
from daemon.notify import PASSES_PER_WATCHDOG
from daemon.page.passwords import place_of

SYSTEMD = Path(__file__).parents[2] / "systemd"
UNIT = (SYSTEMD / "evenwater.service").read_text()
WATCHER = (SYSTEMD / "evenwater-watch.service").read_text()
PAGE = (SYSTEMD / "evenwater-page.service").read_text()
INSTALLED = "/opt/evenwater/"


def values(key: str, text: str = UNIT) -> list[str]:
    """What stands behind each `key=` of a unit."""
    return re.findall(rf"^{key}=(.*)$", text, re.MULTILINE)


def test_the_command_of_the_unit_is_one_the_program_has() -> None:
    """The command line parses it, with the settings and the state folder where the unit makes them."""
    program, *words = shlex.split(values("ExecStart")[0])
    assert program == f"{INSTALLED}.venv/bin/evenwater"
    arguments = parser().parse_args(words)
    assert arguments.command == "run"
    assert arguments.settings == Path("/etc/evenwater/site.toml")
    assert arguments.state == Path("/var/lib") / values("StateDirectory")[0]


def test_the_command_of_the_page_is_one_the_program_has() -> None:
    """It looks into the state folder of the other unit, on this box only."""
    program, *words = shlex.split(values("ExecStart", PAGE)[0])
    assert program == f"{INSTALLED}.venv/bin/evenwater"
    arguments = parser().parse_args(words)
    assert (arguments.command, arguments.address) == ("page", "127.0.0.1")
    assert arguments.state == Path("/var/lib") / values("StateDirectory")[0]


def test_the_page_has_an_account_of_its_own_in_the_group_of_the_socket() -> None:
    """It can neither end the daemon nor write in the state folder, and reads what that group may."""
    sysusers = (SYSTEMD / "evenwater.sysusers.conf").read_text()
    (user,), (group,) = values("User", PAGE), values("Group", PAGE)
    assert [user] != values("User")
    assert [group] == values("User")
    assert re.search(rf"^u {user} ", sysusers, re.MULTILINE)
    assert f"m {user} {group}\n" in sysusers
    assert values("UMask") == ["0027"]
    assert values("ReadWritePaths", PAGE) == values("StateDirectory", PAGE) == values("DeviceAllow", PAGE) == []


@pytest.mark.parametrize(
    ("unit", "modules"),
    [(UNIT, "daemon.cli.run"), (WATCHER, "daemon.cli.watch"), (PAGE, "daemon.page.server, daemon.page.answers")],
    ids=["evenwater", "evenwater-watch", "evenwater-page"],
)
def test_a_program_finds_what_its_unit_leaves_of_proc(unit: str, modules: str) -> None:
    """The library of the converter reads /proc/cpuinfo as it is loaded, and settings are checked with it."""
    if shutil.which("unshare") is None or os.geteuid() != 0:
        pytest.skip("needs root and unshare")
    subset = ",".join(f"subset={of}" for of in values("ProcSubset", unit)) or "defaults"
    proc = f"mount -t proc -o {subset} proc /proc"
    if subprocess.run(["unshare", "-m", "sh", "-c", proc], check=False, capture_output=True).returncode != 0:
        pytest.skip("no /proc of its own can be mounted here")
    program = f"{proc} && exec {shlex.quote(sys.executable)} -c 'import {modules}'"
    done = subprocess.run(
        ["unshare", "-m", "sh", "-c", program], cwd=SYSTEMD.parent, check=False, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr


def test_the_pages_passwords_are_handed_over(tmp_path: Path) -> None:
    """By the name that the program looks for, from a file that root alone reads."""
    name, path = values("LoadCredential", PAGE)[0].split(":")
    assert place_of(tmp_path, {"CREDENTIALS_DIRECTORY": str(tmp_path)}).name == name
    assert f"f {path} 0600 root root\n" in (SYSTEMD / "evenwater.tmpfiles.conf").read_text()


def test_the_stop_program_is_shipped_and_can_run() -> None:
    """It stands beside the unit, executable, and is plain shell."""
    (stop,) = values("ExecStopPost")
    file = SYSTEMD.parent / stop.removeprefix(INSTALLED)
    assert file.stat().st_mode & 0o111
    assert file.read_text().startswith("#!/bin/sh\n")


def test_the_watchdog_outlasts_three_passes_of_the_default() -> None:
    """A longer pass asks for more at the start."""
    assert float(values("WatchdogSec")[0]) >= PASSES_PER_WATCHDOG * Site(name="x", device_id="x").pass_every_s


def test_the_account_is_made_with_its_groups() -> None:
    """User and groups of the unit are those of the sysusers file."""
    sysusers = (SYSTEMD / "evenwater.sysusers.conf").read_text()
    (user,) = values("User")
    assert re.search(rf"^u {user} ", sysusers, re.MULTILINE)
    for group in values("SupplementaryGroups")[0].split():
        assert f"m {user} {group}\n" in sysusers


def test_the_credential_is_made_so_that_a_start_does_not_lack_it() -> None:
    """The tmpfiles line makes it, readable by root alone."""
    _, path = values("LoadCredential")[0].split(":")
    assert f"f {path} 0600 root root\n" in (SYSTEMD / "evenwater.tmpfiles.conf").read_text()


@pytest.mark.parametrize("group", ["gpiochip", "i2c"])
def test_pins_and_bus_stay_reachable(group: str) -> None:
    """Any device rule shuts out all devices that are not named; PrivateDevices would shut out these too."""
    assert f"char-{group} rw" in values("DeviceAllow")
    assert values("PrivateDevices") == []
    assert values("ProcSubset") == []


def test_the_watchers_command_is_one_the_program_has() -> None:
    """With the words that its own head shows, and the credentials that it loads."""
    (words,) = re.findall(r"^#   WATCH=(.*)$", WATCHER, re.MULTILINE)
    program, *given = shlex.split(
        values("ExecStart", WATCHER)[0].replace("%d", "/run/own").replace("$WATCH", words)
    )
    assert program == f"{INSTALLED}.venv/bin/evenwater"
    arguments = parser().parse_args(given)
    assert (arguments.command, arguments.expect) == ("watch", ["quince-lane"])
    loaded = dict(each.split(":") for each in values("LoadCredential", WATCHER))
    assert {arguments.password_file.name, arguments.urls.name} == set(loaded)
    for path in loaded.values():
        assert f"f {path} 0600 root root\n" in (SYSTEMD / "evenwater.tmpfiles.conf").read_text()


def test_the_watcher_starts_only_where_it_is_told_what_to_watch() -> None:
    """An empty list of boxes would look as if all were well."""
    (file,) = values("EnvironmentFile", WATCHER)
    assert values("ConditionPathExists", WATCHER) == [file]


def test_the_watchers_watchdog_outlasts_its_longest_rest() -> None:
    """Between attempts to reach the broker it says nothing."""
    assert float(values("WatchdogSec", WATCHER)[0]) >= 2.0 * RETRY_LONGEST_S
