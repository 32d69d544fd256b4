"""A Raspberry Pi made of files: everything drivers.box looks at, as it stands once all is set up."""

from __future__ import annotations

import os
from pathlib import Path

from drivers.box import Use

UNIT = Path(__file__).parents[2] / "systemd" / "evenwater.service"
STOP = "opt/evenwater/systemd/pumps-off"
PARAMETER = "sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs"
MANAGER = "etc/systemd/system.conf.d/watchdog.conf"
USE = Use(Path("/srv/evenwater"), (1,), one_wire=True)

MODEL = "Raspberry Pi 4 Model B Rev 1.4"
OTHER = os.getuid() + 1  # a user that owns none of the files here
FILES = {
    "proc/device-tree/model": f"{MODEL}\0",
    "proc/device-tree/compatible": "raspberrypi,4-model-b\0brcm,bcm2711\0",
    PARAMETER: "N\n",
    "dev/watchdog": "",
    "sys/class/watchdog/watchdog0/state": "active\n",
    MANAGER: "[Manager]\nRuntimeWatchdogSec=15s\n",
    "run/systemd/timesync/synchronized": "",
    "sys/class/rtc/rtc0/name": "rtc-ds1307\n",
    "etc/systemd/system/evenwater.service": UNIT.read_text(),
    STOP: "#!/bin/sh\n",
    "usr/bin/gpioset": "",
    "dev/gpiochip0": "",
    "dev/i2c-1": "",
    "sys/bus/w1/devices/w1_bus_master1/name": "",
    "etc/evenwater/mqtt-password": "",
    "etc/passwd": f"root:x:0:0::/root:/bin/sh\nevenwater:x:{OTHER}:993::/:/bin/false\nbroken line\n",
    "etc/group": f"root:x:0:\ngpio:x:{os.getgid()}:\ni2c:x:{os.getgid()}:pi\nevenwater:x:993:\n",
    "proc/mounts": "/dev/mmcblk0p2 / ext4 rw,noatime 0 0\ntmpfs /run tmpfs rw,nosuid 0 0\n",
}


def a_pi(root: Path) -> Path:
    """Lay it out below `root`; the devices belong to the group that the service is given."""
    for name, text in FILES.items():
        change(root, name, text)
    for name, mode in ((STOP, 0o755), ("dev/gpiochip0", 0o660), ("dev/i2c-1", 0o660)):
        (root / name).chmod(mode)
    (root / "etc/evenwater/mqtt-password").chmod(0o600)
    (root / "var/lib/evenwater").mkdir(parents=True)
    (root / "var/lib/evenwater").chmod(0o777)
    return root


def change(root: Path, name: str, text: str | None) -> None:
    """Another text for one file, or None to remove it."""
    file = root / name
    if text is None:
        file.unlink()
        return
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text)
