"""What is judged of a box, one thing amiss at a time, from a Raspberry Pi made of files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from drivers.barriers import Barrier, Standing, judge, missing, missing_release
from drivers.box import Facts, Use, look
from tests.drivers.a_pi import MANAGER, MODEL, PARAMETER, STOP, USE, a_pi, change

NEVER_SURE = {"pull-downs"}  # no program can see them


def seen(root: Path, use: Use = USE, *, lgpio: bool = True) -> Facts:
    """A look at a Pi with lgpio or without."""
    return look(root, use, can_import=lambda _: lgpio)


@pytest.fixture
def pi(tmp_path: Path) -> Path:
    """The root folder of a Pi with everything set up."""
    return a_pi(tmp_path)


def amiss(facts: Facts) -> dict[str, Barrier]:
    """What is not ok, beside what never is."""
    found = {one.name: one for one in judge(facts) if one.standing is not Standing.OK}
    assert set(found) >= NEVER_SURE
    return {name: barrier for name, barrier in found.items() if name not in NEVER_SURE}


def test_a_pi_with_everything_set_up_misses_nothing(pi: Path) -> None:
    """Each barrier is told, with its board first; what can be seen is ok."""
    barriers = judge(seen(pi))
    assert (barriers[0].name, barriers[0].seen) == ("board", MODEL)
    assert len(barriers) == 14
    assert amiss(seen(pi)) == {}
    assert missing(barriers) == ()
    assert missing_release(pi) == ()


# What is amiss, by the file that is changed (None: removed), and how it is told: name, standing, words, needed.
CHANGES: dict[str, tuple[str, str | None, str, Standing, str, bool]] = {
    "pins kept": (PARAMETER, "Y\n", "pin release", Standing.MISSING, "dtparam=strict_gpiod", True),
    "pins not told": (PARAMETER, None, "pin release", Standing.MISSING, "apt full-upgrade", True),
    "no unit": (
        "etc/systemd/system/evenwater.service", None, "stop program", Standing.MISSING, "install.sh", True,
    ),
    "no stop program": (STOP, None, "stop program", Standing.MISSING, "install.sh", True),
    "no gpioset": ("usr/bin/gpioset", None, "stop program", Standing.MISSING, "apt-get install gpiod", True),
    "no watchdog": ("dev/watchdog", None, "watchdog", Standing.MISSING, "dtparam=watchdog=on", True),
    "watchdog not set": (MANAGER, None, "watchdog", Standing.MISSING, "Sec=15s below", True),
    "watchdog off": (MANAGER, "RuntimeWatchdogSec=off\n", "watchdog", Standing.MISSING, "Sec=15s below", True),
    "watchdog at rest": (
        "sys/class/watchdog/watchdog0/state", "inactive\n", "watchdog", Standing.MISSING, "then restart", True,
    ),
    "watchdog silent": (
        "sys/class/watchdog/watchdog0/state", None, "watchdog", Standing.UNKNOWN, "journalctl", True,
    ),
    "clock not set": (
        "run/systemd/timesync/synchronized", None, "clock", Standing.MISSING, "timedatectl set-ntp true", False,
    ),
    "read-only": ("proc/mounts", "/dev/a / ext4 ro 0 0\n", "state folder", Standing.MISSING, "mount it", True),
    "in memory": ("proc/mounts", "none / tmpfs rw 0 0\n", "state folder", Standing.MISSING, "card or", True),
    "on a stick": ("proc/mounts", "/dev/a / vfat rw 0 0\n", "state folder", Standing.UNKNOWN, "ext4", True),
    "no pins": ("dev/gpiochip0", None, "pins", Standing.MISSING, "kernel", True),
    "no bus": ("dev/i2c-1", None, "I2C", Standing.MISSING, "do_i2c 0", True),
    "no password": ("etc/evenwater/mqtt-password", None, "password file", Standing.MISSING, "install.sh", True),
}  # fmt: skip


@pytest.mark.parametrize("case", CHANGES)
def test_one_thing_amiss_is_told_alone_with_what_to_do(pi: Path, case: str) -> None:
    """By its name, how it stands, and the next step; it keeps a reservoir from keeping itself where it should."""
    file, text, name, standing, todo, needed = CHANGES[case]
    change(pi, file, text)
    found = amiss(seen(pi))
    if case == "no unit":  # then it is about who asks, root or not, as well
        found = {name: found[name]}
    assert list(found) == [name]
    assert found[name].standing is standing
    assert todo in found[name].todo
    stops = [one.name for one in missing(judge(seen(pi)))]
    assert (name in stops) is (needed and standing is Standing.MISSING)


@pytest.mark.parametrize(
    ("file", "mode", "name", "todo"),
    [
        (STOP, 0o644, "stop program", "install.sh"),
        ("dev/gpiochip0", 0o600, "pins", "install.sh"),
        ("dev/i2c-1", 0o640, "I2C", "install.sh"),
        ("var/lib/evenwater", 0o755, "state folder", "chown evenwater /var/lib/evenwater"),
        ("etc/evenwater/mqtt-password", 0o640, "password file", "chmod 600 /etc/evenwater/mqtt-password"),
        ("etc/evenwater/mqtt-password", 0o604, "password file", "mode 0604"),
    ],
)
def test_a_wrong_mode_is_told_alone(pi: Path, file: str, mode: int, name: str, todo: str) -> None:
    """Too little for the service, or too much for others."""
    (pi / file).chmod(mode)
    found = amiss(seen(pi))
    assert list(found) == [name]
    assert found[name].standing is Standing.MISSING
    assert todo in f"{found[name].seen}; {found[name].todo}"


def test_groups_that_are_lacking_are_named(pi: Path) -> None:
    """A unit cannot give a group that no file knows."""
    change(pi, "etc/group", "gpio:x:0:\n")
    found = amiss(seen(pi))
    assert found["groups"].seen == "evenwater is not in i2c"
    assert found["groups"].todo == "sudo sh systemd/install.sh"


def test_who_runs_it_by_hand_is_told_how_to_join(pi: Path) -> None:
    """No unit: it is about the user and both groups."""
    facts = replace(seen(pi), unit=None)
    user = replace(facts.user, name="ann", groups=frozenset())
    assert amiss(replace(facts, user=user))["groups"].todo == (
        "sudo adduser ann gpio, then log in anew; sudo adduser ann i2c, then log in anew"
    )
    assert "groups" not in amiss(replace(facts, user=replace(user, uid=0)))


def test_the_pin_library_is_needed(pi: Path) -> None:
    """Without it the daemon cannot start."""
    assert "evenwater[pi]" in amiss(seen(pi, lgpio=False))["pins"].todo


@pytest.mark.parametrize(("free_mb", "fine"), [(99.9, False), (100.0, True), (float("nan"), False)])
def test_room_on_the_disk(pi: Path, free_mb: float, fine: bool) -> None:
    """100 MB is enough; what is no number is not."""
    facts = seen(pi)
    assert ("disk" not in amiss(replace(facts, state=replace(facts.state, free_mb=free_mb)))) is fine


def test_a_battery_clock_is_told_but_not_needed(pi: Path) -> None:
    """Most boards have none; whether a Pi 5's has a battery is not known."""
    facts = seen(pi)
    none = replace(facts, battery_clock=False)
    assert amiss(none)["battery clock"].standing is Standing.MISSING
    assert missing(judge(none)) == ()
    assert amiss(replace(facts, chip="brcm,bcm2712"))["battery clock"].standing is Standing.UNKNOWN


def test_what_the_settings_do_not_use_is_not_told(pi: Path) -> None:
    """No one-wire thermometer, no second bus; what they do use is."""
    names = [one.name for one in judge(seen(pi, Use(Path("/srv"), (1,))))]
    assert "one-wire" not in names
    assert names.count("I2C") == 1
    found = amiss(seen(pi, Use(Path("/srv"), (1, 3))))
    assert found["I2C"].seen == "no /dev/i2c-3"
    gone = replace(seen(pi), one_wire=False)
    assert "dtoverlay=w1-gpio" in amiss(gone)["one-wire"].todo


@pytest.mark.parametrize("model", ["", "A desk machine"])
def test_another_box_is_sent_to_the_pi(tmp_path: Path, model: str) -> None:
    """Nothing is known here, so nothing is missing."""
    change(tmp_path, "proc/device-tree/model", model)
    [barrier] = judge(seen(tmp_path))
    assert (barrier.name, barrier.standing) == ("board", Standing.UNKNOWN)
    assert missing((barrier,)) == ()


def test_whatever_is_not_ok_says_what_to_do(tmp_path: Path) -> None:
    """A Pi with nothing set up: each line has its next step."""
    change(tmp_path, "proc/device-tree/model", MODEL)
    barriers = judge(seen(tmp_path, lgpio=False))
    assert all(one.todo for one in barriers if one.standing is not Standing.OK)
    assert {"pin release", "stop program", "watchdog", "pins", "I2C"} <= {one.name for one in missing(barriers)}
    assert missing_release(tmp_path) != ()
