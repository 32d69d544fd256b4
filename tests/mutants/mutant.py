"""One protection taken out: where it stands, what stands there instead, which tests must notice."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path


class StaleError(ValueError):
    """The text of an entry does not stand in its file exactly once: the code moved on, the list did not."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """find: text that stands exactly once in `file`; put: what stands there instead, "" for nothing.

    tests: pytest's names of those that should notice. removes: the reasons that can no longer be given.
    """

    name: str
    file: str
    find: str
    put: str
    tests: tuple[str, ...]
    removes: tuple[StrEnum, ...] = ()

    def applied_to(self, text: str) -> str:
        """The file's text without the protection. Raises StaleError."""
        count = text.count(self.find)
        if count != 1:
            raise StaleError(
                f"{self.name}: the text to find stands {count} times in {self.file}, must be once; "
                f"bring the entry up to date:\n{self.find}"
            )
        return text.replace(self.find, self.put)

    def written_over(self, top: Path) -> str:
        """Take the protection out of the tree at `top`. The file as it was; raises StaleError, SyntaxError."""
        path = top / self.file
        before = path.read_text(encoding="utf-8")
        after = self.applied_to(before)
        if path.suffix == ".py":
            compile(after, str(path), "exec")
        path.write_text(after, encoding="utf-8")
        return before


Row = tuple[str, str, str, str] | tuple[str, str, str, str, tuple[StrEnum, ...]]


def mutants_of(file: str, tests: str, rows: Iterable[Row]) -> tuple[Mutant, ...]:
    """The mutants of one file. A row: name, find, put, tests by their names within `tests`, removes.

    A test of another file is named in full; no name stands for the whole of `tests`.
    """
    found = []
    for name, find, put, names, *removes in rows:
        each = (one if one.startswith("tests/") else f"{tests}::{one}" for one in names.split())
        found.append(Mutant(name, file, find, put, tuple(each) or (tests,), removes[0] if removes else ()))
    return tuple(found)
