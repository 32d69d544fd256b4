"""systemd/pumps-off in a place where gpioset only records what it is asked."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

PUMPS_OFF = Path(__file__).parents[2] / "systemd" / "pumps-off"
V1, V2 = "gpioset (libgpiod) v1.6.3", "gpioset (libgpiod) v2.1.3"  # first line of --version, from memory

GPIOSET = """#!/bin/sh
[ "$1" = --version ] && { echo "$FAKE_VERSION"; exit 0; }
echo "$*" >>"$FAKE_LOG"
case "$*" in *"$FAKE_BUSY=0") exit 1 ;; esac
"""
GPIODETECT = """#!/bin/sh
printf '%s' "$FAKE_CHIPS"
"""
NOWHERE = Path("/nonexistent")


class StopProgram:
    """The program with its tools in a folder of their own below `folder`: no real gpioset, even on a Pi."""

    def __init__(self, folder: Path) -> None:
        self.tools, self._log = folder / "bin", folder / "log"
        self.tools.mkdir()
        for name in ("cat", "grep", "head", "sed", "timeout", "tr"):
            (self.tools / name).symlink_to(str(shutil.which(name)))
        for name, script in (("gpioset", GPIOSET), ("gpiodetect", GPIODETECT)):
            (self.tools / name).write_text(script)
            (self.tools / name).chmod(0o755)

    def run(
        self,
        *lines: str,
        state: Path = NOWHERE,
        settings: Path = NOWHERE,
        version: str = V1,
        chips: str = "",
        busy: str = "none",
    ) -> tuple[int, list[str], str]:
        """Its exit code, the calls of gpioset, and what it said. state, settings: the folders it looks in."""
        environ = {
            "PATH": str(self.tools),
            "STATE_DIRECTORY": str(state),
            "CONFIGURATION_DIRECTORY": str(settings),
            "FAKE_LOG": str(self._log),
            "FAKE_VERSION": version,
            "FAKE_CHIPS": chips,
            "FAKE_BUSY": busy,
        }
        command = ["/bin/sh", str(PUMPS_OFF), *lines]
        done = subprocess.run(command, env=environ, capture_output=True, text=True, timeout=10, check=False)
        calls = self._log.read_text().splitlines() if self._log.exists() else []
        return done.returncode, calls, done.stderr
