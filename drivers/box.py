"""What a Linux box shows of itself: read below a root folder, nothing opened that has a wire behind it.

look(root, use) -> Facts      judged by drivers.barriers
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final

ROOT: Final = Path("/")
UNIT: Final = "evenwater.service"
UNIT_FOLDERS: Final = ("etc/systemd/system", "usr/local/lib/systemd/system", "usr/lib/systemd/system")
MANAGER_FOLDERS: Final = (
    "usr/lib/systemd",
    "usr/local/lib/systemd",
    "run/systemd",
    "etc/systemd",
)  # the last wins
PINS: Final = "/dev/gpiochip"  # any of them stands for all
MB: Final = 1_000_000

# Parameters of the kernel's pin drivers by which they keep, or let go of, a dead process's outputs.
KEEPS_OUTPUTS: Final = "persist_gpio_outputs"  # Y or N
LETS_GO: Final = "strict_gpiod"  # Y or N
HEADER_DRIVER: Final = {"brcm,bcm2712": "pinctrl_rp1"}  # a Pi 5's header hangs on a chip of its own


@dataclass(frozen=True, slots=True)
class Use:
    """What the settings need of the box."""

    state_folder: Path
    i2c_buses: tuple[int, ...] = ()
    one_wire: bool = False


@dataclass(frozen=True, slots=True)
class User:
    """Who the program runs as: the unit's user, else who asks. Root may everything."""

    name: str
    uid: int
    gids: frozenset[int]
    groups: frozenset[str]

    def may_use(self, of: os.stat_result) -> bool:
        """Whether a device or folder with this owner, group and mode can be read and written."""
        shift = 6 if of.st_uid == self.uid else 3 if of.st_gid in self.gids else 0
        return self.uid == 0 or of.st_mode >> shift & 0o6 == 0o6


@dataclass(frozen=True, slots=True)
class Unit:
    """The installed service, as its file reads."""

    user: str
    groups: tuple[str, ...]
    stop_program: str
    stop_can_run: bool
    state_folder: Path | None
    credential: str  # the file it loads, "" for none
    credential_mode: int | None  # None where there is no such file


@dataclass(frozen=True, slots=True)
class Device:
    """A device file, or a folder that stands for several."""

    path: str
    there: bool
    allowed: bool = False


@dataclass(frozen=True, slots=True)
class StateFolder:
    """Where the state is kept, or will be: then `folder` is the nearest one that exists."""

    path: Path
    there: bool
    allowed: bool
    file_system: str  # "" where it is not known
    read_only: bool
    free_mb: float


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything seen in one look."""

    model: str  # "" where the box does not say
    chip: str  # the first word of its kind, as "raspberrypi,5-model-b brcm,bcm2712"
    outputs_kept: Mapping[str, bool]  # for each pin driver that says it
    watchdog: bool
    watchdog_active: bool | None  # None where the kernel does not say
    watchdog_setting: str  # RuntimeWatchdogSec, "" where it is not set
    synchronised: bool
    battery_clock: bool
    unit: Unit | None
    gpioset: bool
    lgpio: bool
    user: User
    devices: tuple[Device, ...]
    one_wire: bool | None  # None where no probe needs it
    state: StateFolder


def look(root: Path, use: Use, can_import: Callable[[str], bool] | None = None) -> Facts:
    """Look below `root`, which is / but in tests. can_import: whether this Python has a module."""
    unit = _unit(root)
    user = _user(root, unit)
    device_tree = root / "proc/device-tree"
    return Facts(
        model=_text(device_tree / "model"),
        chip=_text(device_tree / "compatible"),
        outputs_kept=outputs_kept(root),
        watchdog=(root / "dev/watchdog").exists(),
        watchdog_active={"active": True, "inactive": False}.get(
            _text(root / "sys/class/watchdog/watchdog0/state")
        ),
        watchdog_setting=_watchdog_setting(root),
        synchronised=(root / "run/systemd/timesync/synchronized").exists(),
        battery_clock=any((root / "sys/class/rtc").glob("rtc*")),
        unit=unit,
        gpioset=any((root / folder / "gpioset").exists() for folder in ("usr/bin", "usr/local/bin", "bin")),
        lgpio=(can_import or _can_import)("lgpio"),
        user=user,
        devices=tuple(_devices(root, use, user)),
        one_wire=(root / "sys/bus/w1/devices").is_dir() if use.one_wire else None,
        state=_state_folder(root, use, unit, user),
    )


def outputs_kept(root: Path) -> dict[str, bool]:
    """For each pin driver of the header that says it: whether a dead process's outputs stay as they were."""
    only = next(
        (driver for chip, driver in HEADER_DRIVER.items() if chip in _text(root / "proc/device-tree/compatible")),
        "pinctrl_*",
    )
    kept = {}
    for parameter, keeps in ((LETS_GO, "N"), (KEEPS_OUTPUTS, "Y")):
        for file in (root / "sys/module").glob(f"{only}/parameters/{parameter}"):
            said = _text(file)
            kept[file.parents[1].name] = said not in {"Y", "N"} or said == keeps
    return kept


# --- parts ----------------------------------------------------------------------------------------------


def _text(file: Path) -> str:
    """A small file of the kernel or the system, "" for none. Zero bytes end texts of the device tree."""
    try:
        return file.read_text(encoding="utf-8", errors="replace").replace("\0", " ").strip()
    except OSError:
        return ""


def _can_import(module: str) -> bool:
    return find_spec(module) is not None


def _watchdog_setting(root: Path) -> str:
    """RuntimeWatchdogSec as the service manager reads it: system.conf, then the drop-ins by name."""
    dropped = {
        file.name: file for folder in MANAGER_FOLDERS for file in (root / folder / "system.conf.d").glob("*.conf")
    }
    files = [root / "etc/systemd/system.conf", *(dropped[name] for name in sorted(dropped))]
    said = [value for file in files for value in _keys(_text(file), "RuntimeWatchdogSec")]
    return said[-1] if said else ""


def _keys(text: str, key: str) -> list[str]:
    """What stands behind each `key=` of a unit-like file; remarks are passed over."""
    return [value.strip() for value in re.findall(rf"^\s*{key}\s*=(.*)$", text, re.MULTILINE)]


def _unit(root: Path) -> Unit | None:
    text = next((text for folder in UNIT_FOLDERS if (text := _text(root / folder / UNIT))), "")
    if not text:
        return None
    program = next(iter(_keys(text, "ExecStart")), "")
    stop = next(iter(_keys(text, "ExecStopPost")), "").partition(" ")[0]
    state = re.search(r"--state (\S+)", program)
    _, _, credential = next(iter(_keys(text, "LoadCredential")), "").partition(":")
    return Unit(
        user=next(iter(_keys(text, "User")), "root"),
        groups=tuple(" ".join(_keys(text, "SupplementaryGroups")).split()),
        stop_program=stop,
        stop_can_run=bool(stop) and os.access(_below(root, stop), os.X_OK),
        state_folder=Path(state[1]) if state else None,
        credential=credential,
        credential_mode=_mode(_below(root, credential)) if credential else None,
    )


def _below(root: Path, path: str | Path) -> Path:
    return root / str(path).lstrip("/")


def _mode(file: Path) -> int | None:
    try:
        return stat.S_IMODE(file.stat().st_mode)
    except OSError:
        return None


def _user(root: Path, unit: Unit | None) -> User:
    """The unit's user with the groups that it is given, else the one who asks."""
    accounts = {row[0]: (int(row[2]), int(row[3])) for row in _rows(root / "etc/passwd", 7)}
    names = {uid: name for name, (uid, _) in accounts.items()}
    name = unit.user if unit else names.get(os.getuid(), str(os.getuid()))
    uid, own_gid = accounts.get(name, (-1 if unit else os.getuid(), -1))
    given = unit.groups if unit else ()
    member_of = {
        row[0]: int(row[2])
        for row in _rows(root / "etc/group", 4)
        if name in row[3].split(",") or row[0] in given or int(row[2]) == own_gid
    }
    return User(name, uid, frozenset(member_of.values()), frozenset(member_of))


def _rows(file: Path, fields: int) -> Iterator[list[str]]:
    """The whole rows of passwd (7 fields: numbers are third and fourth) or group (4: the third, then members)."""
    for line in _text(file).splitlines():
        row = line.split(":")
        if len(row) == fields and row[2].isdecimal() and (fields == 4 or row[3].isdecimal()):
            yield row


def _devices(root: Path, use: Use, user: User) -> Iterator[Device]:
    chips = sorted((root / "dev").glob("gpiochip*"))
    yield Device(PINS, bool(chips), any(user.may_use(chip.stat()) for chip in chips))
    for bus in use.i2c_buses:
        path = f"/dev/i2c-{bus}"
        found = _below(root, path)
        yield Device(path, found.exists(), found.exists() and user.may_use(found.stat()))


def _state_folder(root: Path, use: Use, unit: Unit | None, user: User) -> StateFolder:
    """The unit's folder, else the settings'. The service manager makes the unit's, so that one may be missing."""
    own = unit.state_folder if unit else None
    path = own or use.state_folder.absolute()
    nearest = next(
        folder for folder in (path, *path.parents) if os.path.isdir(_below(root, folder))
    )  # never raises
    there = nearest == path
    space = os.statvfs(_below(root, nearest))
    file_system, options = _mount(root, nearest)
    return StateFolder(
        path=path,
        there=there,
        allowed=user.may_use(_below(root, nearest).stat()) or (own is not None and not there),
        file_system=file_system,
        read_only="ro" in options,
        free_mb=space.f_bavail * space.f_frsize / MB,
    )


def _mount(root: Path, folder: Path) -> tuple[str, tuple[str, ...]]:
    """File system and mount options of a folder: those of the longest mount above it, the newest of these."""
    best: tuple[int, str, tuple[str, ...]] = (0, "", ())
    for line in _text(root / "proc/mounts").splitlines():
        _, place, kind, options, *_ = line.split(" ")
        above = Path(place.replace("\\040", " "))
        if folder.is_relative_to(above) and len(above.parts) >= best[0]:
            best = (len(above.parts), kind, tuple(options.split(",")))
    return best[1], best[2]
