"""Read a TOML file to its tables, or say what is wrong with it in words a grower can act on.

SettingsError (a ValueError)   the file cannot be used; its text has one line for each thing wrong
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from config.complaint import Complaint


class SettingsError(ValueError):
    """A settings file cannot be used. `complaints` says each thing wrong; the text is one line for each."""

    def __init__(self, file: str, complaints: tuple[Complaint, ...]) -> None:
        super().__init__("\n".join(one.line(file) for one in complaints))
        self.complaints = complaints


def tables_of(path: Path, example: str) -> dict[str, Any]:
    """The tables of a file as they stand there. Raises SettingsError; where there is none, naming the example."""
    try:
        text = path.read_text("utf-8-sig")  # some editors put a mark at the start
    except FileNotFoundError:
        raise _unusable(path, f"no such file; start from the example: cp {example} {path}") from None
    except UnicodeDecodeError as error:
        raise _unusable(path, f"is not UTF-8 text (byte {error.start}); save it as UTF-8") from error
    except OSError as error:
        raise _unusable(path, f"cannot be read ({error.strerror}); check the name and its permissions") from error
    return tables_in(text, str(path))


def tables_in(text: str, name: str) -> dict[str, Any]:
    """The tables of this text. name: what complaints call it. Raises SettingsError."""
    try:
        return tomllib.loads(text)
    except ValueError as error:  # also a number of thousands of digits, which Python refuses
        raise _unusable(name, _syntax(str(error), text)) from error
    except RecursionError as error:
        raise _unusable(name, "is not TOML: brackets in brackets without end; is one left open?") from error


def _unusable(name: Path | str, text: str) -> SettingsError:
    return SettingsError(str(name), (Complaint("", text),))


def _syntax(said: str, text: str) -> str:
    """What tomllib says, with the line it means, e.g. `line 3, column 8: … in: ph_low = 5,5`."""
    place = re.search(r" \(at line (\d+), column (\d+)\)$", said)
    if place is None:
        return f"is not TOML: {said}; is a quote or a bracket left open?"
    row, column = int(place[1]), int(place[2])
    line = text.splitlines()[row - 1].strip()
    comma = "; decimals take a point" if re.search(r"\d,\d", line) else ""
    return f"line {row}, column {column}: {said[: place.start()]} in: {line}{comma}; correct that line"
