"""Which settings and which diary a command about the crop means."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

from config.load import SettingsError, load
from config.settings import Settings
from daemon.cli.where import state_folder
from daemon.crop.diary_file import FILE_NAME, Diary, DiaryError, NotWrittenError, read

USUAL = Path("/etc/evenwater/site.toml")
VARIABLE = "EVENWATER_SETTINGS"


class NoSettingsError(ValueError):
    """No settings file was named."""


def add_settings_option(parser: argparse.ArgumentParser) -> None:
    """--settings."""
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help=f"the settings file (default: ${VARIABLE}, else {USUAL})"
    )


def settings_of(arguments: argparse.Namespace) -> Settings:
    """The settings that a command line means. Raises NoSettingsError, SettingsError."""
    if arguments.settings is not None:
        return load(arguments.settings)
    if named := os.environ.get(VARIABLE):
        return load(Path(named))
    if USUAL.is_file():
        return load(USUAL)
    raise NoSettingsError(
        f"no settings file: name it with --settings FILE, or set ${VARIABLE}; the garden stands in its [garden]"
    )


def settings_if_any(arguments: argparse.Namespace) -> Settings | None:
    """The settings that a command line means; None where there are none. Raises SettingsError."""
    try:
        return settings_of(arguments)
    except NoSettingsError:
        return None


def a_day(text: str) -> date:
    """2026-03-01. Raises argparse's error for anything else."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r}: must be a day as 2026-03-01") from None


def today() -> date:
    """By the calendar of this machine."""
    return datetime.now().astimezone().date()


def diary_path(arguments: argparse.Namespace) -> Path:
    """The diary that a command line means."""
    return state_folder(arguments.state) / FILE_NAME


def diary_of(arguments: argparse.Namespace) -> Diary:
    """The diary, once what is torn in it has been said on standard error. Raises DiaryError."""
    diary = read(diary_path(arguments))
    for each in diary.torn:
        print(f"evenwater crop: {each}", file=sys.stderr)
    return diary


def or_trouble(command: str, act: Callable[[], int]) -> int:
    """The exit code of `act`: what was asked wrongly is 2; a diary or settings that cannot be used, 1."""
    try:
        return act()
    except (NotWrittenError, NoSettingsError) as wrong:
        print(f"evenwater crop {command}: {wrong}", file=sys.stderr)
        return 2
    except (DiaryError, SettingsError, OSError) as trouble:
        print(f"evenwater crop {command}: {trouble}", file=sys.stderr)
        return 1
