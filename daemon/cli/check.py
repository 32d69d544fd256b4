"""`evenwater check`: is a settings file right, what would it do, and is the box ready for it?"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from config.load import SettingsError, load, warnings
from config.plausible import wire_words
from config.settings import Reservoir, Settings
from daemon.cli import wiring
from daemon.cli.ask import Commands
from daemon.lock import StateLockError
from drivers.air import Sht3xWiring
from drivers.barriers import Barrier, judge, missing
from drivers.box import ROOT, Use, look
from drivers.rig import RigError
from drivers.thermometers import Ds18b20Wiring
from drivers.wiring import AdcWiring

PI = "drivers.pi"  # the rig whose box has barriers to be seen


def add_commands(commands: Commands) -> None:
    """`evenwater check`."""
    parser = commands.add_parser(
        "check",
        help="check a settings file without touching a pin",
        description="Read a settings file, say every mistake in it, and what the daemon would do with it. On the "
        "Raspberry Pi it is for, also say what would stop a pump there if the daemon could not, and what to do. "
        "With --wiring look at every probe it names instead, while no daemon runs: who answers, what volts are "
        "there, what they would mean, and which two are exchanged.",
        epilog="examples:\n  evenwater check config/rigs/pi-example.toml\n"
        "  evenwater check --wiring config/rigs/quince-lane.toml\n\n"
        "Exit code 1 for a wrong file, and where a reservoir is to keep itself while a barrier is missing. With "
        "--wiring: 0 where all is plausible, 1 where something is not, 2 where nothing could be looked at.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("settings", type=Path, help="the settings file")
    parser.add_argument("--wiring", action="store_true", help="look at the probes on their wires")
    parser.add_argument("--json", action="store_true", help="with --wiring: print one JSON value for programs")
    parser.set_defaults(act=check)


def check(arguments: argparse.Namespace) -> int:
    """Print complaints and exit 1, or what the file means, and on a Pi its barriers, and exit 0."""
    if arguments.wiring:
        return check_wiring(arguments)
    try:
        settings = load(arguments.settings)
    except SettingsError as trouble:
        print(trouble, file=sys.stderr)
        return 1
    for line in meaning(settings):
        print(line)
    for warning in warnings(settings):
        print(f"note: {warning}")
    barriers = judge(look(ROOT, use_of(settings))) if settings.rig.open.partition(":")[0] == PI else ()
    for line in told(barriers):
        print(line)
    if (refused := why_not_kept(settings, barriers)) is not None:
        print(f"{arguments.settings}: {refused}", file=sys.stderr)
        return 1
    print(f"{arguments.settings}: fine")
    return 0


def check_wiring(arguments: argparse.Namespace) -> int:
    """Print what the wires show: 0 where all is plausible, 1 where something is not, 2 where none are seen."""
    try:
        found = wiring.look_at_wires(load(arguments.settings))
    except (SettingsError, StateLockError, RigError) as trouble:
        print(trouble, file=sys.stderr)
        return 2
    for line in [json.dumps(wiring.plain(found), ensure_ascii=False)] if arguments.json else wiring.lines(found):
        print(line)
    return 0 if found.is_fine else 1


def use_of(settings: Settings) -> Use:
    """What the settings need of the box they run on."""
    probes = [probe for reservoir in settings.reservoir.values() for probe in reservoir.probe.values()]
    wired = [probe.wired() for probe in probes]
    return Use(
        state_folder=Path(settings.site.state_folder),
        i2c_buses=tuple(sorted({one.i2c_bus for one in wired if isinstance(one, AdcWiring | Sht3xWiring)})),
        one_wire=any(isinstance(one, Ds18b20Wiring) for one in wired),
    )


def told(barriers: tuple[Barrier, ...]) -> list[str]:
    """A line for each barrier, and below it what to do."""
    lines = ["barriers against a pump that runs on, as far as they can be seen:"] if barriers else []
    for barrier in barriers:
        lines.append(f"  {barrier.standing:<9}{barrier.name:<15}{barrier.seen}")
        if barrier.todo:
            lines.append(f"{'':26}do: {barrier.todo}")
    return lines


def why_not_kept(settings: Settings, barriers: tuple[Barrier, ...]) -> str | None:
    """Why a reservoir that is to keep itself may not here; None where nothing is against it."""
    kept = [name for name, reservoir in settings.reservoir.items() if reservoir.start == "keeping"]
    lacking = ", ".join(barrier.name for barrier in missing(barriers))
    if not kept or not lacking:
        return None
    return (
        f'[reservoir.{kept[0]}] start = "keeping": not while a barrier is missing ({lacking}); '
        'do what stands beside it above, or set start = "watching"'
    )


def meaning(settings: Settings) -> list[str]:
    """What the file says, in sentences."""
    site = settings.site
    lines = [
        f"{site.name} (device {site.device_id}), a pass every {site.pass_every_s:g} s, rig {settings.rig.open}"
    ]
    for name, reference in settings.reference.items():
        low_v, high_v = reference.named(name).allowed_v
        (wire,) = reference.claims()
        lines.append(
            f"reference {name}: {low_v:.3f} to {high_v:.3f} V at {wire_words(wire)}, else no dose by its probes"
        )
    if settings.cut_out is not None:
        lines.append(f"cut-out of all pumps' supply: GPIO {settings.cut_out.line}, on for each run only")
    for name, reservoir in settings.reservoir.items():
        lines += _reservoir(name, reservoir)
    return lines


def _reservoir(name: str, reservoir: Reservoir) -> list[str]:
    lines = [f"{reservoir.title} [{name}]: {reservoir.volume_l:g} L, starts {reservoir.start}"]
    lines += [f"  {quantity:<12}{probe.driver}" for quantity, probe in reservoir.probe.items()]
    for role, pump in reservoir.pump.items():
        caps = (pump.max_per_dose_ml, pump.max_per_hour_ml, pump.max_per_day_ml)
        if None in caps:
            lines.append(f"  {role:<12}GPIO {pump.line}: never doses, a cap is not set")
        else:
            most = f"{caps[0]:g} mL a dose, {caps[1]:g} an hour, {caps[2]:g} a day"
            lines.append(f"  {role:<12}GPIO {pump.line}: at most {most}")
    return lines
