"""A private copy of the tree, and the tests run in it by processes that import from nowhere else.

The processes are forked from one that has imported pytest and the libraries already, so that a trial costs
its tests and little more.
"""

from __future__ import annotations

import compileall
import multiprocessing
import os
import py_compile
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from multiprocessing.context import ForkServerContext, ForkServerProcess
from pathlib import Path

import pytest

from tests.mutants.mutant import Mutant, StaleError

TOP = Path(__file__).parents[2]
PACKAGES = ("config", "daemon", "drivers", "sim_hw", "tests")
LIBRARIES = ("pytest", "hypothesis", "pydantic", "gpiozero", "paho.mqtt.client", "rich.progress", "sqlite3")
ELSEWHERE = 100  # exit code of a trial that imports from elsewhere than its copy
TAIL = 12  # lines of pytest's output that are kept


class Verdict(StrEnum):
    """What became of a mutant. Only the first two are well."""

    KILLED = "killed"
    TIMED_OUT = "killed by time-out"  # no test may wait for ever: as good as red
    SURVIVED = "SURVIVED"
    STALE = "STALE"
    NOT_RUN = "NOT RUN"  # its tests could not be collected: it says nothing


@dataclass(frozen=True, slots=True)
class Trial:
    """One mutant tried: what became of it, in how many seconds, and the end of what pytest said."""

    name: str
    verdict: Verdict
    took_s: float = 0.0
    said: str = ""

    @property
    def is_well(self) -> bool:
        """Whether a test noticed."""
        return self.verdict in (Verdict.KILLED, Verdict.TIMED_OUT)


def copy_tree(to: Path) -> None:
    """The project's files as they stand here, uncommitted ones too, compiled so that a change always shows."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=TOP,
        capture_output=True,
        text=True,
        check=True,
    )
    for name in filter(None, listed.stdout.split("\0")):
        with suppress(FileNotFoundError):  # deleted here, not yet in git
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(TOP / name, to / name)
    # By the hash of the source: the usual way, by time and size, may miss a change of the same second.
    compileall.compile_dir(to, quiet=1, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH)


def forking() -> ForkServerContext:
    """Where trials come from."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(LIBRARIES))
    return context


def passing(
    context: ForkServerContext, copy: Path, tests: Sequence[str], within_s: float
) -> tuple[int | None, str]:
    """Exit code of pytest in `copy`, None past `within_s`, and the end of what it said."""
    log = copy / "trial.log"
    process = context.Process(target=_run, args=(copy, tuple(tests), log))
    process.start()
    process.join(within_s)
    code = process.exitcode
    _end(process)
    return code, "\n".join(log.read_text(encoding="utf-8", errors="replace").splitlines()[-TAIL:])


def tried(context: ForkServerContext, copy: Path, mutant: Mutant, within_s: float) -> Trial:
    """Apply one mutant to `copy`, run its tests there, put the file back."""
    started_s = time.monotonic()
    try:
        before = mutant.written_over(copy)
    except (StaleError, FileNotFoundError, SyntaxError) as error:
        return Trial(mutant.name, Verdict.STALE, said=str(error))
    try:
        code, said = passing(context, copy, mutant.tests, within_s)
    finally:
        (copy / mutant.file).write_text(before, encoding="utf-8")
    return Trial(mutant.name, _verdict(code), time.monotonic() - started_s, said)


def _verdict(code: int | None) -> Verdict:
    known: dict[int | None, Verdict] = {
        None: Verdict.TIMED_OUT,
        int(pytest.ExitCode.OK): Verdict.SURVIVED,
        int(pytest.ExitCode.TESTS_FAILED): Verdict.KILLED,
    }
    return known.get(code, Verdict.NOT_RUN)


def _end(process: ForkServerProcess) -> None:
    """End the trial and what it left behind: it leads a group of its own."""
    assert process.pid is not None
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.kill()
    process.join()


def _run(copy: Path, tests: tuple[str, ...], log: Path) -> None:
    """In a process of its own: import from `copy`, run pytest, leave with its exit code."""
    os.setsid()
    with log.open("wb") as written:
        os.dup2(written.fileno(), 1)
        os.dup2(written.fileno(), 2)
    os.chdir(copy)
    os.environ |= {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}  # for what the tests start
    sys.dont_write_bytecode = True
    sys.path[:] = [str(copy), *(folder for folder in sys.path if folder and Path(folder) != TOP)]
    for name in [name for name in sys.modules if name.partition(".")[0] in PACKAGES]:
        del sys.modules[name]
    import daemon

    if Path(daemon.__file__).parents[1] != copy:
        print(f"daemon was imported from {daemon.__file__}, not from {copy}")
        sys.exit(ELSEWHERE)
    options = ["-x", "-q", "-p", "no:cacheprovider", "--rootdir", str(copy)]
    options += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # of the libraries imported already
    sys.exit(int(pytest.main([*options, *tests])))
