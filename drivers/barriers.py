"""What stands between a fault and a pump that runs on, or a dose forgotten: judged, each with what to do.

    judge(look(ROOT, use))        for a person, by `evenwater check`
    missing_release(root)         for the daemon itself, by the rig's `missing_barriers`

Nothing here can be proven by software alone: a barrier that is `ok` is set up, not tested.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

from drivers.box import PINS, Device, Facts, outputs_kept

FREE_MB: Final = 100.0  # below this the card is close to where nothing can be written
DURABLE: Final = frozenset({"ext4", "ext3", "btrfs", "f2fs", "xfs"})
GONE_AT_RESTART: Final = frozenset({"tmpfs", "ramfs", "overlay"})
OFF: Final = frozenset({"", "0", "0s", "off", "infinity"})  # from systemd-system.conf(5)
GROUPS: Final = frozenset({"gpio", "i2c"})
INSTALL: Final = "sudo sh systemd/install.sh"


class Standing(StrEnum):
    """How a barrier stands."""

    OK = "ok"
    MISSING = "missing"
    UNKNOWN = "unknown"  # it cannot be seen from here


@dataclass(frozen=True, slots=True)
class Barrier:
    """One barrier: what was seen of it, and what to do unless it is ok.

    needed: whether a reservoir must not keep itself while it is missing.
    """

    name: str
    standing: Standing
    seen: str
    todo: str = ""
    needed: bool = True


def judge(facts: Facts) -> tuple[Barrier, ...]:
    """Every barrier of a Raspberry Pi. On another box there is one, which says to look there."""
    if "Raspberry Pi" not in facts.model:
        seen = f"this is {facts.model or 'no Raspberry Pi'}"
        return (Barrier("board", Standing.UNKNOWN, seen, "run this check on the Raspberry Pi itself"),)
    return tuple(barrier for one in _JUDGES for barrier in one(facts))


def missing(barriers: tuple[Barrier, ...]) -> tuple[Barrier, ...]:
    """Those without which no reservoir may keep itself."""
    return tuple(one for one in barriers if one.needed and one.standing is Standing.MISSING)


def missing_release(root: Path) -> tuple[str, ...]:
    """One sentence where a killed process would leave its pumps on, or where that cannot be seen."""
    barrier = _release(outputs_kept(root))
    return () if barrier.standing is Standing.OK else (f"{barrier.seen}: {barrier.todo}",)


def _board(facts: Facts) -> Iterator[Barrier]:
    yield Barrier("board", Standing.OK, facts.model)


def _pin_release(facts: Facts) -> Iterator[Barrier]:
    yield _release(facts.outputs_kept)


def _release(kept: Mapping[str, bool]) -> Barrier:
    """The Pi's kernel leaves an output as it was when its process dies, unless it is told not to."""
    if kept and not any(kept.values()):
        return Barrier("pin release", Standing.OK, "the kernel lets go of the pins of a process that dies")
    todo = "put `dtparam=strict_gpiod` in config.txt, restart, and fit a 10 kΩ pull-down at every pump driver"
    if not kept:
        todo += " (a kernel from before the middle of 2024 has no such setting: sudo apt full-upgrade)"
    return Barrier(
        "pin release", Standing.MISSING, "the kernel may leave a pump on when its process is killed", todo
    )


def _pull_downs(facts: Facts) -> Iterator[Barrier]:
    todo = "10 kΩ from each pump driver's input to ground; to try it, pull that wire off the Pi: no pump may turn"
    yield Barrier("pull-downs", Standing.UNKNOWN, "a program cannot see resistors", todo)


def _stop_program(facts: Facts) -> Iterator[Barrier]:
    """The service manager runs it after each stop, crash and kill."""
    unit = facts.unit
    if unit is None:
        yield Barrier("stop program", Standing.MISSING, "the service is not installed", INSTALL)
    elif not unit.stop_can_run:
        seen = f"the service's {unit.stop_program or 'ExecStopPost'} is not there, or cannot be run"
        yield Barrier("stop program", Standing.MISSING, seen, INSTALL)
    elif not facts.gpioset:
        yield Barrier("stop program", Standing.MISSING, "it has no gpioset", "sudo apt-get install gpiod")
    else:
        yield Barrier("stop program", Standing.OK, f"{unit.stop_program} runs after each stop")


def _watchdog(facts: Facts) -> Iterator[Barrier]:
    """Restarts a frozen box; whether pins are low then is for the wiring."""
    name, setting = "watchdog", facts.watchdog_setting
    todo = "put RuntimeWatchdogSec=15s below [Manager] in /etc/systemd/system.conf.d/evenwater.conf, then restart"
    if not facts.watchdog:
        yield Barrier(
            name, Standing.MISSING, "no /dev/watchdog", "put `dtparam=watchdog=on` in config.txt; " + todo
        )
    elif setting in OFF or facts.watchdog_active is False:
        seen = f"nothing feeds /dev/watchdog (RuntimeWatchdogSec={setting or 'not set'})"
        yield Barrier(name, Standing.MISSING, seen, todo)
    elif facts.watchdog_active is None:
        seen = f"RuntimeWatchdogSec={setting}, and the kernel does not say whether it counts"
        yield Barrier(name, Standing.UNKNOWN, seen, "journalctl -b | grep -i watchdog must show no refusal")
    else:
        yield Barrier(name, Standing.OK, f"counting, RuntimeWatchdogSec={setting}")


def _clock(facts: Facts) -> Iterator[Barrier]:
    name = "clock"
    if facts.synchronised:
        yield Barrier(name, Standing.OK, "set by network time since the start", needed=False)
    else:
        todo = "sudo timedatectl set-ntp true; until then time without power frees no cap, and records may be off"
        yield Barrier(
            name, Standing.MISSING, "not yet set by network time (systemd-timesyncd)", todo, needed=False
        )


def _battery_clock(facts: Facts) -> Iterator[Barrier]:
    name = "battery clock"
    if not facts.battery_clock:
        todo = "fit one if there is no network: without both, time stands still while the power is off"
        yield Barrier(name, Standing.MISSING, "none", todo, needed=False)
    elif "bcm2712" in facts.chip:
        todo = "see that a battery is in its socket beside the board"
        yield Barrier(name, Standing.UNKNOWN, "the Pi 5's own, with or without a battery", todo, needed=False)
    else:
        yield Barrier(name, Standing.OK, "there", needed=False)


def _state(facts: Facts) -> Iterator[Barrier]:
    """The ledger must be there after a power cut."""
    name, state = "state folder", facts.state
    seen = f"{state.path} on {state.file_system or 'an unknown file system'}"
    if state.read_only:
        yield Barrier(name, Standing.MISSING, f"{seen}, read-only", "mount it to be written: the ledger must be")
    elif not state.allowed:
        todo = f"sudo chown {facts.user.name} {state.path}, or {INSTALL}"
        yield Barrier(name, Standing.MISSING, f"{seen}, where {facts.user.name} may not write", todo)
    elif state.file_system in GONE_AT_RESTART:
        todo = "put it on the card or a disk: what was dosed would be forgotten at the next start"
        yield Barrier(name, Standing.MISSING, f"{seen}, gone at a restart", todo)
    elif state.file_system not in DURABLE:
        todo = f"best is one of {', '.join(sorted(DURABLE))}: after a power cut it must hold what was written"
        yield Barrier(name, Standing.UNKNOWN, seen, todo)
    else:
        yield Barrier(name, Standing.OK, seen if state.there else f"{seen}, made at the first start")


def _disk(facts: Facts) -> Iterator[Barrier]:
    free_mb = facts.state.free_mb
    seen = f"{free_mb:.0f} MB free at {facts.state.path}"
    if free_mb >= FREE_MB:
        yield Barrier("disk", Standing.OK, seen)
    else:
        todo = f"make room, to {FREE_MB:.0f} MB at least (sudo apt-get clean; journalctl --vacuum-size=64M)"
        yield Barrier("disk", Standing.MISSING, seen, todo)


def _devices(facts: Facts) -> Iterator[Barrier]:
    for device in facts.devices:
        yield _pins(device, facts) if device.path == PINS else _bus(device, facts)


def _pins(device: Device, facts: Facts) -> Barrier:
    if not device.there:
        return Barrier(
            "pins", Standing.MISSING, "no /dev/gpiochip*", "restart with a current Raspberry Pi OS kernel"
        )
    if not device.allowed:
        return Barrier("pins", Standing.MISSING, f"{facts.user.name} may not use them", _join(facts, "gpio"))
    if not facts.lgpio:
        todo = "pip install 'evenwater[pi]', or for the service: " + INSTALL
        return Barrier("pins", Standing.MISSING, "this Python lacks lgpio, which drives them", todo)
    return Barrier("pins", Standing.OK, f"{facts.user.name} may use them, through lgpio")


def _bus(device: Device, facts: Facts) -> Barrier:
    if not device.there:
        todo = "switch I2C on: sudo raspi-config nonint do_i2c 0"
        return Barrier("I2C", Standing.MISSING, f"no {device.path}", todo)
    if not device.allowed:
        return Barrier(
            "I2C", Standing.MISSING, f"{facts.user.name} may not use {device.path}", _join(facts, "i2c")
        )
    return Barrier("I2C", Standing.OK, f"{facts.user.name} may use {device.path}")


def _join(facts: Facts, group: str) -> str:
    return INSTALL if facts.unit else f"sudo adduser {facts.user.name} {group}, then log in anew"


def _groups(facts: Facts) -> Iterator[Barrier]:
    user = facts.user
    lacking = sorted(GROUPS - user.groups)
    if user.uid == 0 or not lacking:
        yield Barrier("groups", Standing.OK, f"{user.name} is in all it needs")
    else:
        todo = "; ".join(_join(facts, group) for group in lacking[: 1 if facts.unit else None])
        yield Barrier("groups", Standing.MISSING, f"{user.name} is not in {', '.join(lacking)}", todo)


def _one_wire(facts: Facts) -> Iterator[Barrier]:
    if facts.one_wire:
        yield Barrier("one-wire", Standing.OK, "switched on")
    elif facts.one_wire is False:
        todo = "put `dtoverlay=w1-gpio` in config.txt and restart"
        yield Barrier("one-wire", Standing.MISSING, "no /sys/bus/w1/devices", todo)


def _credential(facts: Facts) -> Iterator[Barrier]:
    """The service does not start without the file, and nobody else should read it."""
    unit = facts.unit
    if unit is None or not unit.credential:
        return
    name, mode = "password file", unit.credential_mode
    if mode is None:
        seen = f"no {unit.credential}, or it cannot be looked at"
        yield Barrier(name, Standing.MISSING, seen, f"{INSTALL} makes it; without it the service does not start")
    elif mode & 0o077:
        todo = f"sudo chmod 600 {unit.credential}"
        yield Barrier(name, Standing.MISSING, f"others may read {unit.credential} (mode {mode:04o})", todo)
    else:
        yield Barrier(name, Standing.OK, f"{unit.credential}, for root alone")


_JUDGES: tuple[Callable[[Facts], Iterator[Barrier]], ...] = (
    _board,
    _pin_release,
    _pull_downs,
    _stop_program,
    _watchdog,
    _clock,
    _battery_clock,
    _state,
    _disk,
    _devices,
    _groups,
    _one_wire,
    _credential,
)
