"""Commands that ask a running daemon: status, ledger, alarms, hold, release, clear, ack, bottle, tube."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from math import isfinite, nan
from typing import Any

from pydantic import TypeAdapter

from daemon import words
from daemon.alarm.describe import explained
from daemon.alarm.kinds import Kind
from daemon.cli.where import add_state_option, state_folder
from daemon.desk.reach import CALLS_NOBODY, WORKS, Reach
from daemon.link.client import CallRefused, ControlClient, NoDaemon
from daemon.values import Alarm, Entry, Quantity, ReservoirState, Role, State

Commands = Any  # argparse gives its sub-parsers no public type
Printer = Callable[[Any], Iterable[str]]


def add_commands(commands: Commands) -> None:
    """The asking commands."""
    _status(commands)
    _ledger(commands)
    _alarms(commands)
    _hold(commands)
    _simple(commands, "release", "let a held reservoir correct itself again", _release)
    _clear(commands)
    _ack(commands)
    _shelving(commands)
    _service(commands, "out-of-service", "out_of_service", "take a probe out of service: nothing is dosed by it")
    _service(commands, "in-service", "in_service", "let a probe count again")
    _renewed(commands, "bottle", "tell that a bottle has been filled to the top again")
    _renewed(commands, "tube", "tell that a new tube is in a pump: it doses again once measured")


def add_command(
    commands: Commands, name: str, help_text: str, epilog: str, description: str | None = None
) -> argparse.ArgumentParser:
    """A command that speaks to a running daemon: its help, with the line breaks of the epilog, and --state."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=help_text,
        description=description or help_text[0].upper() + help_text[1:] + ".",
        epilog=epilog,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_state_option(parser)
    return parser


def add_asking(commands: Commands, name: str, help_text: str, example: str) -> argparse.ArgumentParser:
    """A command with --state, --json and an example in its help."""
    parser = add_command(commands, name, help_text, f"example:\n  {example}")
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
    return parser


def or_refusal(command: str, act: Callable[[], int]) -> int:
    """The exit code of `act`; a refusal or silence of the daemon goes to stderr with the next step, and 1."""
    try:
        return act()
    except (NoDaemon, CallRefused) as trouble:
        print(f"evenwater {command}: {trouble}", file=sys.stderr)
        return 1


def asked(arguments: argparse.Namespace, method: str, show: Printer, **params: Any) -> int:
    """Call the daemon once and print its answer; a refusal or silence goes to stderr with the next step."""

    def act() -> int:
        answer = ControlClient(state_folder(arguments.state)).call(method, **params)
        for line in [json.dumps(answer, ensure_ascii=False)] if arguments.json else show(answer):
            print(line)
        return 0

    return or_refusal(arguments.command, act)


def finite(text: str) -> float:
    """A number of an option. Raises argparse's error for anything else, NaN and infinity too."""
    try:
        number = float(text)
    except ValueError:
        number = nan
    if not isfinite(number):
        raise argparse.ArgumentTypeError(f"{text!r}: must be a number")
    return number


def add_reservoir_option(parser: argparse.ArgumentParser) -> None:
    """--reservoir."""
    parser.add_argument("--reservoir", metavar="NAME", help="which one; may be left out where there is only one")


def named(arguments: argparse.Namespace) -> dict[str, str]:
    """The reservoir, if one was named, as a request's parameter."""
    return {} if arguments.reservoir is None else {"reservoir": arguments.reservoir}


# status


def _status(commands: Commands) -> None:
    parser = add_asking(commands, "status", "show every reservoir as it is now", "evenwater status --json | jq .")
    parser.set_defaults(act=_show_status)


def _show_status(arguments: argparse.Namespace) -> int:
    def lines(answer: Mapping[str, Any]) -> Iterable[str]:
        yield from _status_lines(answer)
        yield ""
        yield from _reach_lines(ControlClient(state_folder(arguments.state)).call("reach"))

    return asked(arguments, "status", lines)


def _reach_lines(answer: Sequence[Mapping[str, Any]]) -> Iterable[str]:
    """How the box calls people."""
    ways = TypeAdapter(list[Reach]).validate_python(answer)
    if not ways:
        yield CALLS_NOBODY
    for way in ways:
        yield f"calls by {way.name}: {WORKS[way.works]}; {way.said}"


def _status_lines(answer: Mapping[str, Any]) -> Iterable[str]:
    state = TypeAdapter(State).validate_python(answer)
    yield f"{state.utc:%Y-%m-%d %H:%M:%S} UTC · pass {state.passes} · rig {state.rig}"
    for note in state.notes:
        yield f"  note: {note}"
    if state.next_task:
        yield f"  garden: {state.next_task} (evenwater crop today)"
    for reservoir in state.reservoirs.values():
        yield from _reservoir_lines(reservoir)
    yield from _alarm_lines_of(state.alarms)


_NAMES = 14  # characters: `top-up water` and a gap


def _noise(floor_v: float | None) -> str:
    return "" if floor_v is None else f", noise {floor_v * 1000.0:.2f} mV"


def _reservoir_lines(reservoir: ReservoirState) -> Iterable[str]:
    yield ""
    condition = words.condition(reservoir.condition, reservoir.condition_reason)
    yield f"{reservoir.title} [{reservoir.name}]: {condition}"
    for quantity, verdict in reservoir.verdicts.items():
        band = reservoir.bands.get(quantity)
        allowed = f"band {band[0]:g} to {band[1]:g}" if band else ""
        amount = words.value(quantity, words.believed(verdict))
        yield (
            f"  {words.QUANTITY[quantity]:<{_NAMES}}{amount:<12}{allowed:<18}"
            f"{verdict.quality.value}: {words.why(verdict)}{_noise(reservoir.noise_v.get(quantity))}"
        )
    if reservoir.water is not None:
        yield f"  {'water':<{_NAMES}}{words.water(reservoir.water)}"
    if reservoir.daily_light_mol is not None:
        yield f"  {'light':<{_NAMES}}{reservoir.daily_light_mol:.1f} mol/m² in the last 24 h"
    if reservoir.deficit_kpa is not None:
        yield f"  {'air takes':<{_NAMES}}{reservoir.deficit_kpa:.2f} kPa (vapour pressure deficit)"
    for role, use in reservoir.caps.items():
        yield (
            f"  {words.ROLE[role]:<{_NAMES}}hour {use.last_hour_ml:.1f} of {use.max_per_hour_ml:g} mL, "
            f"24 h {use.last_day_ml:.1f} of {use.max_per_day_ml:g} mL, bottle {use.bottle_left_ml:.0f} mL left"
        )
        if (pump := reservoir.pumps.get(role)) is not None:
            yield f"{'':{_NAMES + 2}}{'; '.join(filter(None, (words.rate(pump), words.tube(pump))))}"
    for entry in reservoir.last_doses[:3]:
        yield f"  {entry.utc:%H:%M:%S}    {words.entry(entry)}"
    if reservoir.waiting_for:
        yield f"  now         {reservoir.waiting_for}"


# ledger and alarms


def _ledger(commands: Commands) -> None:
    parser = add_asking(
        commands, "ledger", "list the last doses with their reasons", "evenwater ledger --last 50"
    )
    parser.add_argument("--last", type=int, default=20, metavar="N", help="how many (default 20)")
    parser.set_defaults(act=lambda arguments: asked(arguments, "ledger", _ledger_lines, last=arguments.last))


def _ledger_lines(answer: Any) -> Iterable[str]:
    entries = TypeAdapter(list[Entry]).validate_python(answer)
    if not entries:
        yield "no dose yet"
    for entry in entries:
        yield f"{entry.number:>5}  {entry.utc:%Y-%m-%d %H:%M:%S}  {entry.reservoir:<10}  {words.entry(entry)}"


def _alarms(commands: Commands) -> None:
    parser = add_asking(
        commands,
        "alarms",
        "list what calls for a person, gravest first",
        "evenwater alarms\n  evenwater alarms --explain          what each kind means, and what to do\n"
        "  evenwater alarms --explain leak     one of them",
    )
    parser.add_argument(
        "--explain", nargs="?", const="", metavar="KIND", help="what each kind means; needs no running daemon"
    )
    parser.set_defaults(act=_alarms_asked)


def _alarms_asked(arguments: argparse.Namespace) -> int:
    if arguments.explain is None:
        return asked(
            arguments,
            "alarms",
            lambda answer: _alarm_lines_of(TypeAdapter(tuple[Alarm, ...]).validate_python(answer)),
        )
    if arguments.explain and arguments.explain not in set(Kind):
        known = ", ".join(kind.value for kind in Kind)
        print(
            f"evenwater alarms: --explain {arguments.explain}: no such kind; there are: {known}", file=sys.stderr
        )
        return 2
    kinds = [Kind(arguments.explain)] if arguments.explain else list(Kind)
    if arguments.json:
        print(json.dumps({kind.value: explained(kind) for kind in kinds}, ensure_ascii=False))
        return 0
    for kind in kinds:
        print(kind.value)
        for name, text in explained(kind).items():
            print(f"  {name.replace('_', ' ')}: {text}")
    return 0


def _alarm_lines_of(alarms: tuple[Alarm, ...]) -> Iterable[str]:
    if not alarms:
        yield "no alarm"
    for alarm in alarms:
        if alarm.because_of:
            yield f"       follows from {alarm.because_of}: {alarm.key}"
            continue
        until = f" until {alarm.until_utc:%Y-%m-%d %H:%M} UTC" if alarm.until_utc is not None else ""
        yield (
            f"{alarm.priority.value:<7}{alarm.key}  since {alarm.raised_utc:%Y-%m-%d %H:%M:%S}, "
            f"{alarm.state.value.replace('_', ' ')}{until}"
        )
        yield f"       {alarm.text}"
        if alarm.within:
            yield f"       You have {alarm.within}."


def _shelving(commands: Commands) -> None:
    parser = add_asking(
        commands,
        "shelve",
        "silence an alarm of low priority for some hours",
        "evenwater shelve bed1-ph-down-rate-old --hours 12",
    )
    parser.add_argument("key", help="as `evenwater alarms` shows it")
    parser.add_argument("--hours", type=finite, default=24.0, metavar="H", help="at most 24 (default 24)")
    parser.set_defaults(act=lambda a: asked(a, "shelve", said, key=a.key, hours=a.hours))
    parser = add_asking(commands, "unshelve", "let shelved alarms be told again", "evenwater unshelve")
    parser.add_argument("key", nargs="*", help="as `evenwater alarms` shows them (default: all)")
    parser.set_defaults(act=lambda a: asked(a, "unshelve", said, keys=a.key))


def _service(commands: Commands, name: str, method: str, help_text: str) -> None:
    parser = add_asking(commands, name, help_text, f"evenwater {name} ph")
    parser.add_argument("quantity", choices=[quantity.value for quantity in Quantity], help="which probe")
    add_reservoir_option(parser)
    parser.set_defaults(act=lambda a: asked(a, method, said, quantity=a.quantity, **named(a)))


def _ack(commands: Commands) -> None:
    parser = add_asking(
        commands, "ack", "acknowledge alarms: silences them, clears nothing", "evenwater ack bed1-ph-probe"
    )
    parser.add_argument("key", nargs="*", help="keys as `evenwater alarms` shows them (default: all)")
    parser.set_defaults(act=lambda arguments: asked(arguments, "ack", said, keys=arguments.key))


# hold, release, clear, bottle, tube


def _hold(commands: Commands) -> None:
    parser = add_asking(
        commands, "hold", "pause all dosing while you work at the tank", 'evenwater hold "cleaning" --hours 2'
    )
    parser.add_argument("reason", help="why, for whoever looks later")
    parser.add_argument("--hours", type=finite, help="end by itself after this long (default: until released)")
    add_reservoir_option(parser)
    parser.set_defaults(
        act=lambda a: asked(
            a, "hold", said, reason=a.reason, **({} if a.hours is None else {"hours": a.hours}), **named(a)
        )
    )


def _simple(commands: Commands, name: str, help_text: str, act: Callable[[argparse.Namespace], int]) -> None:
    parser = add_asking(commands, name, help_text, f"evenwater {name}")
    add_reservoir_option(parser)
    parser.set_defaults(act=act)


def _release(arguments: argparse.Namespace) -> int:
    return asked(arguments, "release", said, **named(arguments))


def _clear(commands: Commands) -> None:
    help_text = "clear a locked reservoir after its cause is found and mended"
    parser = add_asking(commands, "clear", help_text, "evenwater clear --measured-ph 6.1")
    parser.add_argument(
        "--measured-ph",
        type=finite,
        metavar="N",
        help="of the water, by a hand meter or a test strip: asked for where the pH probe is in doubt",
    )
    add_reservoir_option(parser)
    parser.set_defaults(act=lambda arguments: or_refusal("clear", lambda: _cleared(arguments)))


def _cleared(arguments: argparse.Namespace) -> int:
    """Clear it; where that needs a measurement, ask whoever is there. Raises NoDaemon, CallRefused."""
    answer = _clear_answer(arguments, arguments.measured_ph)
    if arguments.measured_ph is None and not _is_accepted(answer) and _is_somebody_there(arguments):
        print(answer["said"])
        with suppress(EOFError, KeyboardInterrupt, argparse.ArgumentTypeError):
            answer = _clear_answer(
                arguments, finite(input("pH by the hand meter or strip (Enter: leave it locked): "))
            )
    print(json.dumps(answer, ensure_ascii=False) if arguments.json else answer["said"])
    return 0 if _is_accepted(answer) else 1


def _clear_answer(arguments: argparse.Namespace, measured_ph: float | None) -> Mapping[str, Any]:
    given: dict[str, Any] = {} if measured_ph is None else {"measured_ph": measured_ph}
    client = ControlClient(state_folder(arguments.state))
    answer: Mapping[str, Any] = client.call("clear", **given, **named(arguments))
    return answer


def _is_accepted(answer: Mapping[str, Any]) -> bool:
    return bool(answer.get("accepted", True))


def _is_somebody_there(arguments: argparse.Namespace) -> bool:
    return not arguments.json and sys.stdin.isatty()


def _renewed(commands: Commands, what: str, help_text: str) -> None:
    parser = add_asking(commands, what, help_text, f"evenwater {what} ph_down")
    parser.add_argument("pump", choices=[role.value for role in Role], help=f"whose {what}")
    add_reservoir_option(parser)
    parser.set_defaults(act=lambda a: asked(a, what, said, pump=a.pump, **named(a)))


def said(answer: Any) -> Iterable[str]:
    """The one sentence that most requests are answered with."""
    yield str(answer["said"])
