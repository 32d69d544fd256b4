"""`evenwater watch`: on any machine, tells when a box elsewhere is gone, hung or silent. Needs no daemon here."""

from __future__ import annotations

import argparse
import json
import logging
import os
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from config.settings import Mqtt
from daemon import notify
from daemon.cli.ask import finite
from daemon.link.fleet import Change, Fleet, Standing
from daemon.link.trust import MqttSettingsError, Trust, explained
from daemon.link.wire import Wire
from daemon.ways.addresses import WaysError, ways_in
from daemon.ways.herald import Herald
from daemon.ways.plan import Message

STEP_S = 0.5
RETRY_FIRST_S, RETRY_LONGEST_S = 1.0, 60.0
EXEC_S = 30.0  # that a command may take
EPILOG = """\
examples:
  evenwater watch --host broker.local --expect quince-lane
  evenwater watch --host broker.local --user watch --password-file watch.password --ca-file ca.pem --port 8883
  evenwater watch --expect quince-lane --exec ./ring-me.sh    BOX, STANDING, TEXT and ALERT are in its environment
  evenwater watch --expect quince-lane --once --json            one look after three heartbeats, for a script

A box is well while its heartbeat moves. `ready` alone is no sign of life: a broker keeps it for ever.
exit code: 0 ended by itself (with --once: all are well); 1 with --once, not all are well; 2 used wrongly
"""


def add_commands(commands: Any) -> None:
    """watch."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "watch",
        help="on any machine: tell when a box elsewhere is gone, hung or silent",
        description="Follow the boxes at a broker by state and heartbeat, and tell what changes.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--host", default="127.0.0.1", help="the broker (default 127.0.0.1)")
    parser.add_argument("--port", type=int, default=1883, help="its port (default 1883)")
    parser.add_argument("--domain", default="homie", help="the first level of every topic (default homie)")
    parser.add_argument("--user", help="who to be at the broker")
    parser.add_argument("--password-file", type=Path, metavar="FILE", help="the file that holds the password")
    parser.add_argument(
        "--ca-file", type=Path, metavar="FILE", help="the certificate that signed the broker's: TLS"
    )
    parser.add_argument(
        "--certificate-file",
        type=Path,
        metavar="FILE",
        help="a certificate to be known by, where one is asked for",
    )
    parser.add_argument("--key-file", type=Path, metavar="FILE", help="the key that belongs to it")
    parser.add_argument("--expect", action="append", default=[], metavar="BOX", help="a box that must be there")
    parser.add_argument(
        "--heartbeat-s",
        type=finite,
        default=30.0,
        metavar="S",
        help="of the boxes' settings (default 30)",
    )
    parser.add_argument(
        "--urls",
        type=Path,
        metavar="FILE",
        help="addresses of other services by which each change goes out, mode 0600 (see evenwater notify --help)",
    )
    parser.add_argument("--exec", metavar="COMMAND", help="a program to run at each change; no shell")
    parser.add_argument("--once", action="store_true", help="look once, after three heartbeats, and end")
    parser.add_argument("--for", dest="for_s", type=finite, metavar="S", help="end after so many seconds")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.set_defaults(act=_watch)


def _watch(arguments: argparse.Namespace) -> int:
    logging.basicConfig(level=logging.ERROR)
    if not arguments.heartbeat_s > 0.0:
        print(f"evenwater watch: --heartbeat-s {arguments.heartbeat_s:g}: must be above 0 s", file=sys.stderr)
        return 2
    try:
        password = (
            arguments.password_file.read_text(encoding="utf-8").strip() if arguments.password_file else None
        )
        trust = _trust(arguments)
        herald = _herald(arguments.urls)
    except (OSError, MqttSettingsError, WaysError) as trouble:
        print(f"evenwater watch: {trouble}", file=sys.stderr)
        return 2
    watching = _Watching(arguments, password, trust, herald)
    notify.tell(notify.READY)
    watching.run()
    if not arguments.once:
        return 0
    standings = watching.fleet.standings(time.monotonic())
    for name, standing in sorted(standings.items()):
        watching.tell(Change(name, standing, standing.value))
    return 0 if standings and set(standings.values()) == {Standing.WELL} else 1


def _trust(arguments: argparse.Namespace) -> Trust | None:
    """What was said of TLS, tried once. Raises MqttSettingsError."""
    certificate, key = arguments.certificate_file, arguments.key_file
    if (certificate is None) != (key is None) or (certificate is not None and arguments.ca_file is None):
        raise MqttSettingsError("--certificate-file, --key-file and --ca-file belong together: give all three")
    if arguments.ca_file is None:
        return None
    trust = Trust(arguments.ca_file, certificate, key)
    trust.context()
    return trust


def _herald(file: Path | None) -> Herald | None:
    """Who sends what is told by other services; None where none is named. Raises WaysError, OSError."""
    if file is None or not file.stat().st_size:  # an empty credential says that there are none
        return None
    herald = Herald(ways_in(file))
    herald.start()
    return herald


class _Watching:
    """The loop: connect, listen, look, tell; for ever, or as long as was asked."""

    def __init__(
        self, arguments: argparse.Namespace, password: str | None, trust: Trust | None, herald: Herald | None
    ) -> None:
        self.fleet = Fleet(tuple(arguments.expect), arguments.heartbeat_s)
        self._asked, self._password, self._trust = arguments, password, trust
        self._table, self._herald = _table(arguments), herald
        ends = [arguments.for_s, 4.0 * arguments.heartbeat_s if arguments.once else None]
        ends_s = min((s for s in ends if s is not None), default=None)
        self._end_s = None if ends_s is None else time.monotonic() + ends_s
        self._silent_because = ""

    def run(self) -> None:
        pause_s = RETRY_FIRST_S
        while not self._is_over():
            if self._listen():
                pause_s = RETRY_FIRST_S
            notify.tell(notify.ALIVE)
            if not self._is_over():
                time.sleep(min(pause_s, RETRY_LONGEST_S))
                pause_s *= 2.0

    def tell(self, change: Change) -> None:
        """Print it, and run what was asked for."""
        now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        if self._asked.json:
            fields = {"utc": now, "box": change.box, "standing": change.standing.value}
            print(
                json.dumps({**fields, "alert": change.alert, "text": change.text}, ensure_ascii=False), flush=True
            )
        else:
            about = f" [{change.alert}]" if change.alert else ""
            print(f"{now}  {change.box or 'this watcher'}{about}: {change.text}", flush=True)
        if self._herald is not None and not self._asked.once:
            about = f" {change.alert}" if change.alert else f" is {change.standing.value}"
            self._herald.tell(Message(f"{change.box or 'The watcher'}{about}", change.text))
        if self._asked.exec and not self._asked.once:
            _run(self._asked.exec, change)

    def _is_over(self) -> bool:
        return self._end_s is not None and time.monotonic() >= self._end_s

    def _listen(self) -> bool:
        """One connection from beginning to end; whether there was one."""
        tls = None if self._trust is None else self._trust.context()
        wire = Wire(self._table, f"evenwater-watch-{os.getpid()}", self._password, tls)
        was_connected = False
        try:
            wire.open(f"evenwater-watch/{os.getpid()}", "")
            while not (wire.problem or self._is_over()):
                if wire.connected and not was_connected:
                    was_connected = True
                    self._begin(wire)
                self._take_all(wire)
                for change in self.fleet.look(time.monotonic()):
                    if not self._asked.once:
                        self.tell(change)
                wire.step(STEP_S)
                notify.tell(notify.ALIVE)
            problem = wire.problem
        except OSError as error:
            problem = explained(error, self._table)
        finally:
            wire.close()
        if not self._is_over():
            self._cut_off(problem)
        return was_connected

    def _begin(self, wire: Wire) -> None:
        if self._silent_because:
            self.tell(Change("", Standing.WELL, "hears the broker again"))
            self._silent_because = ""
        self.fleet.connected(time.monotonic())
        for path in ("$state", "box/heartbeat", "$alert/#"):
            wire.subscribe(f"{self._asked.domain}/5/+/{path}", stored=True, as_published=False)

    def _take_all(self, wire: Wire) -> None:
        while wire.messages:
            message = wire.messages.popleft()
            parts = message.topic.split("/", 3)
            if len(parts) == 4:
                text = message.payload.decode("utf-8", errors="replace")
                self.fleet.take(parts[2], parts[3], text, time.monotonic(), retained=message.retained)

    def _cut_off(self, problem: str) -> None:
        """Told once: while it hears nothing it must not look as if all were well."""
        self.fleet.cut_off()
        if not self._silent_because:
            self._silent_because = problem or "the connection ended"
            where = f"{self._asked.host}:{self._asked.port}"
            text = (
                f"hears nothing of the broker at {where} ({self._silent_because}): how the boxes are is not known"
            )
            self.tell(Change("", Standing.UNKNOWN, text))


def _table(arguments: argparse.Namespace) -> Mqtt:
    """The connection in the words of the settings."""
    files = (arguments.ca_file, arguments.certificate_file, arguments.key_file)
    ca_file, certificate, key = (None if file is None else str(file) for file in files)
    return Mqtt(
        host=arguments.host,
        port=arguments.port,
        username=arguments.user,
        tls_ca_file=ca_file,
        client_certificate_credential=certificate,
        client_key_credential=key,
    )


def _run(command: str, change: Change) -> None:
    """Run a program with the change in its environment; its trouble is told, and watching goes on."""
    told = {"BOX": change.box, "STANDING": change.standing.value, "TEXT": change.text, "ALERT": change.alert}
    try:
        subprocess.run([command], env={**os.environ, **told}, timeout=EXEC_S, check=True)
    except (OSError, subprocess.SubprocessError) as trouble:
        print(f"evenwater watch: --exec {command}: {trouble}", file=sys.stderr, flush=True)
