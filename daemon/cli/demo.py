"""`evenwater demo`: a simulated reservoir kept before your eyes, an unplugged probe and all."""

from __future__ import annotations

import argparse
import os
import shutil
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from rich.console import Console, RenderableType
from rich.live import Live
from rich.text import Text

from config.load import load
from config.settings import Settings
from daemon import words
from daemon.cli import lines
from daemon.cli.ask import Commands
from daemon.cli.page_beside import page_beside
from daemon.cli.run import stopping_at_signals
from daemon.cli.tally import Tally, readings
from daemon.cli.view import Trends, render
from daemon.dose.ledger import LedgerError
from daemon.link.client import CallRefused, ControlClient, NoDaemon
from daemon.lock import FILE_NAME as LOCK_FILE
from daemon.lock import StateLock
from daemon.service import CANNOT_START, Service, settings_with
from daemon.values import Entry, Quantity, Role, State
from sim_hw import grower
from sim_hw.bench import Bench, open_rig
from sim_hw.broker import BrokerError, EmbeddedBroker

USUAL_MINUTES = 5.0
MINUTE_S = 60.0
UNPLUGGED = (0.6, 0.7)  # shares of the run between which the pH probe is unplugged
VALUES_EVERY_S = 600.0  # plain lines: rig time between two lines of values
DEMO_FOLDER = Path("var/demo")
OURS = "made-by-evenwater-demo"
# `make demo` runs the command by its path; another shell has to find it too.
_ACTIVATE = "" if shutil.which("evenwater") else ". .venv/bin/activate, then "
EPILOG = """\
examples:
  evenwater demo                     five minutes, in a terminal as a live view, else as plain lines
  DEMO_MINUTES=2 evenwater demo
  evenwater demo --plain --no-page | tee demo.txt

While it runs, from another shell:
  evenwater status                   evenwater ledger               evenwater alarms
  evenwater hold "cleaning"          evenwater release              evenwater calibrate ph
  python -m sim_hw --help            play the world: dip, unplug, empty a bottle, add water
  mosquitto_sub -t 'homie/5/#' -v    what a phone would see
"""


def add_commands(commands: Commands) -> None:
    """`evenwater demo`."""
    parser = commands.add_parser(
        "demo",
        help="show the whole job on a simulated bench; nothing gets wet",
        description="Keep an invented school garden's reservoir on a simulated bench, sixty times as fast.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--minutes", type=_minutes, help="how long, real minutes (default $DEMO_MINUTES, else 5)")
    parser.add_argument("--plain", action="store_true", help="plain lines even in a terminal")
    parser.add_argument("--no-page", action="store_true", help="without the page to look at")
    parser.set_defaults(act=demo)


def _minutes(text: str) -> float:
    try:
        minutes = float(text)
    except ValueError:
        minutes = -1.0
    if not 0.0 < minutes <= 1440.0:
        raise argparse.ArgumentTypeError(f"{text!r}: must be a number of minutes above 0, at most 1440")
    return minutes


def demo(arguments: argparse.Namespace) -> int:
    """Run the demo and sum it up."""
    console = Console()
    plain = arguments.plain or not console.is_terminal
    try:
        minutes = arguments.minutes or _minutes(os.environ.get("DEMO_MINUTES") or str(USUAL_MINUTES))
    except argparse.ArgumentTypeError as wrong:
        print(f"evenwater demo: DEMO_MINUTES = {wrong}", file=sys.stderr)
        return 2
    try:
        with _broker(_settings()) as (settings, broker_words):
            return _Demo(settings, minutes, console, plain).run(broker_words, with_page=not arguments.no_page)
    except BrokenPipeError:
        raise
    except CANNOT_START as trouble:
        print(f"evenwater demo: {trouble}", file=sys.stderr)
        return 1


def _settings() -> Settings:
    """The invented garden, with its mix for the page."""
    settings = load(_settings_file())
    return settings_with(
        settings, garden={"mix_file": str(_settings_file().parents[1] / "mixes" / "quince-lane.toml")}
    )


def _settings_file() -> Path:
    return Path(str(resources.files("config") / "rigs" / "quince-lane.toml"))


@contextmanager
def _broker(settings: Settings) -> Iterator[tuple[Settings, str]]:
    """The broker at the configured place if there is one, else an embedded one, and what to type to listen."""
    mqtt = settings.mqtt
    if _answers(mqtt.host, mqtt.port):
        yield settings, f"MQTT: the broker that already listens on {mqtt.host}:{mqtt.port}. {_listen(mqtt.port)}"
        return
    broker = EmbeddedBroker(port=mqtt.port)
    try:
        broker.start()
    except BrokerError as trouble:
        quiet = settings_with(settings, mqtt={"enabled": False})
        yield quiet, f"MQTT is off: {trouble}"
        return
    try:
        yield settings, f"MQTT: an embedded broker on {mqtt.host}:{mqtt.port}. {_listen(mqtt.port)}"
    finally:
        broker.close()


def _answers(host: str, port: int) -> bool:
    try:
        socket.create_connection((host, port), timeout=0.5).close()
    except OSError:
        return False
    return True


def _listen(port: int) -> str:
    return f"Listen with: mosquitto_sub -p {port} -t 'homie/5/#' -v"


@dataclass(slots=True)
class _Shown:
    """What the view's thread draws: the newest state and what the bench's grower did last."""

    state: State | None = None
    grower: str = "starting"


class _Demo:
    """One demo: bench, service, view and the bench's grower."""

    def __init__(self, settings: Settings, minutes: float, console: Console, plain: bool) -> None:
        self._console, self._plain = console, plain
        factor = float(settings.rig_table().get("time_factor", 60.0))
        self._for_s = minutes * MINUTE_S * factor
        self._settings = settings_with(
            settings,
            site={"state_folder": str(_fresh_folder())},
            rig={"fault": [self._unplugging()]},
        )
        self._title = settings.site.name
        self._trends = Trends(self._for_s)
        self._tally = Tally(settle_s=0.0)
        self._shown = _Shown()
        self._before: State | None = None
        self._next_values_s = 0.0
        self._printing = threading.Lock()

    def _unplugging(self) -> dict[str, Any]:
        start_s, end_s = (share * self._for_s for share in UNPLUGGED)
        return {"name": "probe_unplugged", "target": "bed1/ph", "start_s": start_s, "end_s": end_s}

    def run(self, broker_words: str, *, with_page: bool) -> int:
        bench = open_rig(self._settings.rig_table())
        with (
            Service(self._settings, rig=bench, watch=self._see, settings_file=_settings_file()) as service,
            page_beside(service.folder) if with_page else nullcontext("") as where,
            stopping_at_signals(service),
        ):
            self._introduce(broker_words, where)
            person = threading.Thread(target=self._grow, args=(service, bench), name="grower", daemon=True)
            person.start()
            with self._view():
                service.run(self._for_s)
            entries = _entries(service)
        for line in self._summary(entries):
            self._console.print(line, highlight=False, markup=False, soft_wrap=True)
        return 0

    def _introduce(self, broker_words: str, where: str) -> None:
        for line in (
            f"Evenwater demo: {self._title}. Everything here is simulated, sixty times as fast as real.",
            broker_words,
            *([f"The page to look at, from a browser on this machine: {where}"] if where else []),
            f"From another shell: {_ACTIVATE}evenwater status · ledger · alarms · hold · python -m sim_hw look",
            "Ctrl-C ends it.",
        ):
            self._console.print(line, highlight=False, markup=False, soft_wrap=True)

    def _grow(self, service: Service, bench: Bench) -> None:
        """The bench's grower calibrates pH, then EC, over the control socket as any person would."""
        client = ControlClient(service.folder)
        try:
            probes = self._settings.reservoir["bed1"].probe
            for quantity in (name for name in grower.STANDARDS if name in probes):
                self._say(f"grower: calibrating {quantity}")
                said = grower.calibrate(
                    quantity, "bed1", ask=_asking(client), play=bench.play, wait=_waiting(self._settings)
                )
                self._say(f"grower: {said}")
        except (grower.GrowerStoppedError, CallRefused, NoDaemon) as trouble:
            self._say(f"grower: stopped: {trouble}")

    def _say(self, text: str) -> None:
        self._shown.grower = text
        if self._plain:
            with suppress(BrokenPipeError):  # whoever read along has gone: the loop's own line ends it all
                self._print(text)

    def _see(self, state: State) -> None:
        self._tally.see(state, readings(state))
        self._trends.see(state)
        self._shown.state = state
        if self._plain:
            self._print_changes(state)

    def _print_changes(self, state: State) -> None:
        for line in lines.between(self._before, state):
            self._print(line)
        self._before = state
        if state.at_s >= self._next_values_s:
            self._next_values_s = state.at_s + VALUES_EVERY_S
            for line in lines.values(state):
                self._print(line)

    def _print(self, text: str) -> None:
        clock = f"{self._shown.state.utc:%H:%M:%S} " if self._shown.state else ""
        with self._printing:  # the loop's and the grower's threads both speak
            print(f"{clock}{text}", flush=True)

    @contextmanager
    def _view(self) -> Iterator[None]:
        if self._plain:
            yield
            return
        with Live(get_renderable=self._picture, console=self._console, refresh_per_second=4, transient=True):
            yield

    def _picture(self) -> RenderableType:
        state = self._shown.state
        if state is None:
            return Text("starting")
        return render(state, self._trends, f"Evenwater · {self._title}", footer=self._shown.grower)

    def _summary(self, entries: tuple[Entry, ...]) -> Iterator[str]:
        tally = self._tally
        if tally.last is None or tally.begun_s is None:
            return
        yield ""
        yield f"In {_span(tally.last.at_s - tally.begun_s)} of bench time and {tally.passes} passes:"
        yield from _dosed(entries)
        for quantity, share in tally.shares().items():
            if share is not None:
                yield f"  {words.QUANTITY[Quantity(quantity)]}: {share:.0%} of the good readings in band"
        for run in tally.alarm_runs():
            over = "still there" if run.over_s is None else f"over after {_span(run.over_s - run.raised_s)}"
            yield f"  alarm {run.key} after {_span(run.raised_s)}, {over}"
        for cap, count in tally.refusals.most_common():
            yield f"  refused, spells of it: {count} × {words.CAP[cap]}"
        for line in lines.values(tally.last):
            yield f"  at the end: {line}"
        yield "Next:"
        yield "  evenwater rehearse config/rigs/quince-lane.toml --days 14     a fortnight in half a minute"
        yield "  evenwater check config/rigs/pi-example.toml                  then make that file your own"


def _dosed(entries: tuple[Entry, ...]) -> Iterator[str]:
    if not entries:
        yield "  no dose"
    for role in Role:
        mine = [entry for entry in entries if entry.pump is role]
        if mine:
            first, last = (entry.numbers.get("ph", 0.0) for entry in (mine[-1], mine[0]))
            doses = "1 dose" if len(mine) == 1 else f"{len(mine)} doses"
            in_all = f"{doses} of {words.ROLE[role]}, {sum(entry.ml for entry in mine):.1f} mL in all"
            yield f"  {in_all}; the first at pH {first:.2f}, the last at pH {last:.2f}"


def _entries(service: Service) -> tuple[Entry, ...]:
    try:
        return service.ledger.recent(1000)
    except LedgerError:
        return ()


def _fresh_folder() -> Path:
    """The demo's own state folder, emptied: an earlier demo's ledger would count against this one's caps.

    Raises StateLockError where another demo is running in it.
    """
    with StateLock(DEMO_FOLDER):
        if (DEMO_FOLDER / OURS).exists():
            for left in DEMO_FOLDER.iterdir():
                _remove(left)
        (DEMO_FOLDER / OURS).touch()
    return DEMO_FOLDER


def _remove(left: Path) -> None:
    if left.name in (OURS, LOCK_FILE):
        return
    if left.is_dir():
        shutil.rmtree(left)
    else:
        left.unlink()


def _asking(client: ControlClient) -> grower.Ask:
    def ask(method: str, **params: Any) -> Mapping[str, Any]:
        answer: Mapping[str, Any] = client.call(method, **params)
        return answer

    return ask


def _waiting(settings: Settings) -> Callable[[], None]:
    real_s = settings.site.pass_every_s / float(settings.rig_table().get("time_factor", 60.0))
    return lambda: time.sleep(real_s)


def _span(seconds: float) -> str:
    if seconds < 2 * MINUTE_S:
        return f"{seconds:.0f} s"
    minutes = int(seconds / MINUTE_S + 0.5)
    return f"{minutes} min" if minutes < 120 else f"{minutes / 60:.1f} h"
