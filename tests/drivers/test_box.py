"""What a box shows of itself, read from a Raspberry Pi made of files."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from drivers.box import ROOT, Device, Facts, StateFolder, Unit, Use, User, look, outputs_kept
from tests.drivers.a_pi import MANAGER, MODEL, OTHER, USE, a_pi, change


def seen(root: Path, use: Use = USE) -> Facts:
    """A look at a Pi that has lgpio."""
    return look(root, use, can_import={"lgpio"}.__contains__)


@pytest.fixture
def pi(tmp_path: Path) -> Path:
    """The root folder of a Pi with everything set up."""
    return a_pi(tmp_path)


def test_everything_is_read(pi: Path) -> None:
    """One look, every fact."""
    facts = seen(pi)
    assert facts.model == MODEL
    assert "brcm,bcm2711" in facts.chip
    assert facts.outputs_kept == {"pinctrl_bcm2835": False}
    assert (facts.watchdog, facts.watchdog_active, facts.watchdog_setting) == (True, True, "15s")
    assert (facts.synchronised, facts.battery_clock, facts.gpioset, facts.lgpio) == (True, True, True, True)
    assert facts.one_wire is True
    assert facts.devices == (Device("/dev/gpiochip", True, True), Device("/dev/i2c-1", True, True))
    assert facts.unit == Unit(
        user="evenwater",
        groups=("gpio", "i2c"),
        stop_program="/opt/evenwater/systemd/pumps-off",
        stop_can_run=True,
        state_folder=Path("/var/lib/evenwater"),
        credential="/etc/evenwater/mqtt-password",
        credential_mode=0o600,
    )
    assert facts.user == User(
        "evenwater", OTHER, frozenset({os.getgid(), 993}), frozenset({"gpio", "i2c", "evenwater"})
    )
    assert (facts.state.path, facts.state.there, facts.state.allowed) == (Path("/var/lib/evenwater"), True, True)
    assert (facts.state.file_system, facts.state.read_only) == ("ext4", False)
    assert facts.state.free_mb > 0.0


def test_an_empty_box_has_nothing_and_raises_nothing(tmp_path: Path) -> None:
    """Every fact is there, and says so."""
    facts = look(tmp_path, Use(Path("/srv/evenwater"), (1,), one_wire=True), can_import=lambda _: False)
    assert (facts.model, facts.chip, facts.outputs_kept, facts.unit) == ("", "", {}, None)
    assert (facts.watchdog, facts.watchdog_active, facts.watchdog_setting) == (False, None, "")
    there = (facts.synchronised, facts.battery_clock, facts.gpioset, facts.lgpio, facts.one_wire)
    assert not any(there)
    assert [device.there for device in facts.devices] == [False, False]
    assert (facts.state.there, facts.state.file_system) == (False, "")


def test_this_machine_can_be_looked_at() -> None:
    """The real root, whatever it is, raises nothing either; a reader of devices is not needed."""
    assert isinstance(look(ROOT, Use(Path("var"))).state, StateFolder)
    assert look(ROOT, Use(Path("var"))).one_wire is None


@pytest.mark.parametrize(
    ("parameters", "chip", "kept"),
    [
        ({"pinctrl_bcm2835/parameters/persist_gpio_outputs": "Y"}, "", {"pinctrl_bcm2835": True}),
        ({"pinctrl_bcm2835/parameters/persist_gpio_outputs": "?"}, "", {"pinctrl_bcm2835": True}),
        ({"pinctrl_bcm2835/parameters/strict_gpiod": "Y"}, "", {"pinctrl_bcm2835": False}),
        ({"pinctrl_bcm2835/parameters/strict_gpiod": "N"}, "", {"pinctrl_bcm2835": True}),
        (
            {
                "pinctrl_bcm2835/parameters/persist_gpio_outputs": "N",
                "pinctrl_rp1/parameters/persist_gpio_outputs": "Y",
            },
            "raspberrypi,5-model-b\0brcm,bcm2712\0",
            {"pinctrl_rp1": True},
        ),
        ({"pinctrl_bcm2835/parameters/persist_gpio_outputs": "N"}, "brcm,bcm2712\0", {}),
    ],
)
def test_which_pin_drivers_keep_outputs(
    tmp_path: Path, parameters: dict[str, str], chip: str, kept: dict[str, bool]
) -> None:
    """Anything but a clear word counts as keeping; on a Pi 5 only the driver of its header counts (H2)."""
    for name, text in parameters.items():
        change(tmp_path, f"sys/module/{name}", f"{text}\n")
    change(tmp_path, "proc/device-tree/compatible", chip)
    assert outputs_kept(tmp_path) == kept


@pytest.mark.parametrize(
    ("files", "setting"),
    [
        ({}, ""),
        ({"etc/systemd/system.conf": "[Manager]\n#RuntimeWatchdogSec=off\n"}, ""),
        ({"etc/systemd/system.conf": "[Manager]\nRuntimeWatchdogSec = 10s\n"}, "10s"),
        (
            {
                "etc/systemd/system.conf": "RuntimeWatchdogSec=10s\n",
                "usr/lib/systemd/system.conf.d/40-board.conf": "RuntimeWatchdogSec=1m\n",
            },
            "1m",
        ),
        (
            {
                "usr/lib/systemd/system.conf.d/40-board.conf": "RuntimeWatchdogSec=1m\n",
                "etc/systemd/system.conf.d/40-board.conf": "RuntimeWatchdogSec=off\n",
            },
            "off",
        ),
        (
            {
                "usr/lib/systemd/system.conf.d/40-board.conf": "RuntimeWatchdogSec=1m\n",
                "etc/systemd/system.conf.d/10-site.conf": "RuntimeWatchdogSec=off\n",
            },
            "1m",
        ),
    ],
)
def test_the_watchdog_is_set_as_the_manager_reads_it(pi: Path, files: dict[str, str], setting: str) -> None:
    """Drop-ins after the main file, by name; one in /etc hides its namesake (systemd-system.conf(5))."""
    change(pi, MANAGER, None)
    for name, text in files.items():
        change(pi, name, text)
    assert seen(pi).watchdog_setting == setting


@pytest.mark.parametrize(
    ("uid", "gid", "mode", "may"),
    [
        (7, 0, 0o600, True),
        (7, 0, 0o060, False),  # the owner's own bits count, even where the group's are wider
        (0, 20, 0o660, True),
        (0, 20, 0o640, False),
        (0, 21, 0o660, False),
        (0, 21, 0o666, True),
    ],
)
def test_who_may_use_a_device(uid: int, gid: int, mode: int, may: bool) -> None:
    """Owner, then group, then everybody else; reading and writing both."""
    found = os.stat_result((mode, 0, 0, 1, uid, gid, 0, 0, 0, 0))
    assert User("pi", 7, frozenset({20}), frozenset()).may_use(found) is may
    assert User("root", 0, frozenset(), frozenset()).may_use(found)


def test_without_a_unit_it_is_about_who_asks(pi: Path) -> None:
    """Their groups, by name in the list of members or by their own number, and the settings' state folder."""
    change(pi, "etc/systemd/system/evenwater.service", None)
    change(pi, "etc/passwd", f"pi:x:{os.getuid()}:44::/home/pi:/bin/sh\n")
    change(pi, "etc/group", "gpio:x:20:\ni2c:x:21:ann,pi\nvideo:x:44:\nspi:x:22:pip\n")
    facts = seen(pi)
    assert (facts.unit, facts.user.name, facts.user.uid) == (None, "pi", os.getuid())
    assert facts.user.groups == {"i2c", "video"}
    assert facts.state.path == Path("/srv/evenwater")


def test_an_account_that_does_not_exist_owns_nothing(pi: Path) -> None:
    """The unit names it, no file knows it."""
    change(pi, "etc/passwd", "")
    (pi / "dev/i2c-1").chmod(0o600)
    user = seen(pi).user
    assert (user.name, user.uid) == ("evenwater", -1)
    assert not user.may_use((pi / "dev/i2c-1").stat())


def test_a_state_folder_that_is_still_to_be_made(pi: Path) -> None:
    """The service manager makes the unit's; for another, the nearest folder above must be one to write in."""
    (pi / "var/lib/evenwater").rmdir()
    (pi / "var/lib").chmod(0o755)
    unit = seen(pi).state
    assert (unit.there, unit.allowed, unit.path) == (False, True, Path("/var/lib/evenwater"))
    text = (pi / "etc/systemd/system/evenwater.service").read_text()
    change(pi, "etc/systemd/system/evenwater.service", text.replace(" --state /var/lib/evenwater", ""))
    (pi / "srv").mkdir(mode=0o755)
    own = seen(pi).state
    assert (own.there, own.allowed, own.path) == (False, False, Path("/srv/evenwater"))


@pytest.mark.parametrize(
    ("mounts", "kind", "read_only"),
    [
        ("/dev/a / ext4 rw 0 0\n/dev/b /var vfat rw 0 0\n", "vfat", False),
        ("/dev/a / ext4 rw 0 0\n/dev/b /va vfat rw 0 0\n", "ext4", False),
        ("/dev/b /var vfat rw 0 0\n/dev/a / ext4 ro,noatime 0 0\n", "vfat", False),
        ("/dev/a / ext4 rw 0 0\ntmpfs /var/lib tmpfs rw 0 0\n/dev/c /var/lib xfs ro,errors=x 0 0\n", "xfs", True),
        ("/dev/a / ext4 rw,errors=remount-ro 0 0\n", "ext4", False),
    ],
)
def test_the_file_system_is_that_of_the_nearest_mount(pi: Path, mounts: str, kind: str, read_only: bool) -> None:
    """Not of a folder whose name begins alike; of two at one place, the one mounted last."""
    change(pi, "proc/mounts", mounts)
    state = seen(pi).state
    assert (state.file_system, state.read_only) == (kind, read_only)
