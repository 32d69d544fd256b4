"""What commands of several steps share: one step from a script, or a guide through all of them at the tank."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from daemon.cli.ask import add_reservoir_option, named, or_refusal
from daemon.cli.where import state_folder
from daemon.link.client import ControlClient


def add_steps(parser: argparse.ArgumentParser, steps: Sequence[str]) -> None:
    """The step, --reservoir and --json."""
    parser.add_argument("step", nargs="?", choices=steps)
    add_reservoir_option(parser)
    parser.add_argument(
        "--json", action="store_true", help="print one JSON value for programs (step by step only)"
    )


class Asker:
    """Calls of one kind, with what this command line names filled in."""

    def __init__(self, arguments: argparse.Namespace, kind: str, **always: Any) -> None:
        self._client = ControlClient(state_folder(arguments.state))
        self._kind = kind
        self._always = {**always, **named(arguments)}

    def ask(self, step: str, **params: Any) -> Mapping[str, Any]:
        """The answer to one step. Raises NoDaemon, CallRefused."""
        answer: Mapping[str, Any] = self._client.call(f"{self._kind}.{step}", **self._always, **params)
        return answer


def step_or_guide(
    command: str, arguments: argparse.Namespace, step: Callable[[], int], guide: Callable[[], int]
) -> int:
    """Take the step that was named; where none was, be guided, which needs a terminal. The exit code."""
    if arguments.step is None and (arguments.json or not sys.stdin.isatty()):
        print(
            f"evenwater {command}: the guided way needs a terminal; from a script use the steps in --help",
            file=sys.stderr,
        )
        return 2
    return or_refusal(command, guide if arguments.step is None else step)


def told(answer: Mapping[str, Any], arguments: argparse.Namespace) -> int:
    """Print the answer to one step; 1 where what was asked did not come about."""
    print(json.dumps(answer, ensure_ascii=False) if arguments.json else answer["said"])
    return 0 if answer.get("accepted", True) else 1


def says_yes(question: str) -> bool:
    """Whether the person at the terminal types a plain yes. Raises EOFError where they hang up."""
    return input(f"{question} Then type yes: ").strip().lower() == "yes"
